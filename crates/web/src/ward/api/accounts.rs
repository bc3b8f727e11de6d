//! Accounts, and the record of the ward itself.

use serde::Deserialize;
use serde_json::{Value, json};
use store::audit::audit;
use ward::WARD;
use ward::access::secret::PASSWORD_MOST;
use ward::access::{Right, Role};

use super::schema::{RECORDS, list, one_of, open, strict, text, text_most};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method};

fn roles() -> Value {
    one_of(Role::ALL.into_iter().map(Role::word))
}

fn ok() -> Value {
    open(&json!({ "account": text() }), &["account"])
}

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Get,
        path: "/api/accounts",
        right: Some(Right::Manage),
        about: "All accounts",
        query: &[],
        takes: None,
        gives: Gives::Json(|| {
            list(&open(
                &json!({ "account": text(), "role": text(), "closed": { "type": "boolean" } }),
                &["account", "role", "closed"],
            ))
        }),
        run: all,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/accounts",
        right: Some(Right::Manage),
        about: "Make an account; its owner chooses another password at first",
        query: &[],
        takes: Some(|| {
            let name = json!({ "type": "string", "pattern": "^[a-z0-9._-]{1,40}$" });
            strict(
                &json!({ "account": name, "role": roles(), "password": text_most(PASSWORD_MOST) }),
                &["account", "role", "password"],
            )
        }),
        gives: Gives::Json(ok),
        run: make,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/accounts/{account}/role",
        right: Some(Right::Manage),
        about: "Give an account another role, close or open it; its sessions end",
        query: &[],
        takes: Some(|| strict(&json!({ "role": roles(), "closed": { "type": "boolean" } }), &["role"])),
        gives: Gives::Json(ok),
        run: change,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/accounts/{account}/password",
        right: Some(Right::Manage),
        about: "Give an account a password and open it where failures shut it; its sessions end",
        query: &[],
        takes: Some(|| strict(&json!({ "password": text_most(PASSWORD_MOST) }), &["password"])),
        gives: Gives::Json(ok),
        run: password,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/audit",
        right: Some(Right::Manage),
        about: "Walk all chains of the audit trail and say where one is broken",
        query: &[],
        takes: None,
        gives: Gives::Json(|| {
            open(&json!({ "entries": { "type": "integer" }, "breaks": { "type": "array" } }), &["entries", "breaks"])
        }),
        run: walk,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/records",
        right: Some(Right::Manage),
        about: "What is on record of the ward itself: accounts and their changes",
        query: RECORDS,
        takes: None,
        gives: Gives::Json(|| list(&open(&json!({}), &[]))),
        run: own_records,
    },
];

fn all(call: &Call) -> Result<Answer, Problem> {
    let accounts = call.access().all()?;
    let rows: Vec<Value> = accounts
        .iter()
        .map(|(name, a)| json!({ "account": name, "role": a.role.word(), "closed": a.closed, "must_change": a.must_change }))
        .collect();
    Ok(Answer::Json(rows.into()))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Make {
    account: String,
    role: Role,
    password: String,
}

fn make(call: &Call) -> Result<Answer, Problem> {
    let Make { account, role, password } = call.json()?;
    call.access().make(&account, role, &password, call.by())?;
    Ok(Answer::Made(json!({ "account": account })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Change {
    role: Role,
    #[serde(default)]
    closed: bool,
}

fn change(call: &Call) -> Result<Answer, Problem> {
    let Change { role, closed } = call.json()?;
    call.access().change(call.part("account"), role, closed, call.by())?;
    Ok(Answer::Json(json!({ "account": call.part("account") })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Password {
    password: String,
}

fn password(call: &Call) -> Result<Answer, Problem> {
    let Password { password } = call.json()?;
    call.access().set_password(call.part("account"), &password, call.by())?;
    Ok(Answer::Json(json!({ "account": call.part("account") })))
}

fn walk(call: &Call) -> Result<Answer, Problem> {
    let found = call.ward.memory.look(|tx| audit(tx, &[]))?;
    let breaks: Vec<Value> =
        found.breaks.iter().map(|b| json!({ "chain": b.chain, "number": b.number, "what": b.what })).collect();
    Ok(Answer::Json(json!({ "entries": found.entries, "chains": found.ends.len(), "breaks": breaks })))
}

/// What hashes of passwords stand in the record is for nobody's eyes.
fn own_records(call: &Call) -> Result<Answer, Problem> {
    let Answer::Json(Value::Array(mut rows)) = super::beds::given_records(call, WARD, None)? else {
        return Err(Problem::inside("records that are no list"));
    };
    for row in &mut rows {
        if let Some(body) = row.get_mut("body").and_then(Value::as_object_mut) {
            body.remove("password");
        }
    }
    Ok(Answer::Json(rows.into()))
}
