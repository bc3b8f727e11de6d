//! Signing in and out.

use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use ward::access::Right;
use ward::access::secret::PASSWORD_MOST;

use super::schema::{open, strict, text, text_most};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method};

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Post,
        path: "/api/session",
        right: None,
        about: "Sign in: a token to be sent as `Authorization: Bearer …`",
        query: &[],
        takes: Some(|| {
            strict(&json!({ "account": text_most(40), "password": text_most(PASSWORD_MOST) }), &["account", "password"])
        }),
        gives: Gives::Json(|| {
            open(&json!({ "token": text(), "role": text(), "must_change": { "type": "boolean" } }), &["token", "role"])
        }),
        run: sign_in,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/session",
        right: Some(Right::See),
        about: "Whose session this is",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "account": text(), "role": text() }), &["account", "role"])),
        run: whose,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/session/end",
        right: Some(Right::See),
        about: "Sign out",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "ended": { "type": "boolean" } }), &["ended"])),
        run: sign_out,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/password",
        right: Some(Right::See),
        about: "Choose a new password for one's own account; all its sessions end",
        query: &[],
        takes: Some(|| {
            strict(&json!({ "old": text_most(PASSWORD_MOST), "new": text_most(PASSWORD_MOST) }), &["old", "new"])
        }),
        gives: Gives::Json(|| open(&json!({ "changed": { "type": "boolean" } }), &["changed"])),
        run: password,
    },
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SignIn {
    account: String,
    password: String,
}

fn sign_in(call: &Call) -> Result<Answer, Problem> {
    let given: SignIn = call.json()?;
    let signed = call.access().sign_in(&given.account, &given.password)?;
    tracing::info!(account = given.account, caller = %call.caller, "signed in");
    Ok(Answer::Json(json!({
        "token": signed.token,
        "role": signed.session.role.word(),
        "must_change": signed.session.must_change,
    })))
}

fn whose(call: &Call) -> Result<Answer, Problem> {
    let role = call.session.as_ref().map_or("", |s| s.role.word());
    Ok(Answer::Json(json!({ "account": call.by(), "role": role })))
}

fn sign_out(call: &Call) -> Result<Answer, Problem> {
    if let Some(token) = &call.token {
        call.access().sign_out(token)?;
    }
    Ok(Answer::Json(json!({ "ended": true })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NewPassword {
    old: String,
    new: String,
}

fn password(call: &Call) -> Result<Answer, Problem> {
    let given: NewPassword = call.json()?;
    change_password(call, &given.old, &given.new)?;
    Ok(Answer::Json(json!({ "changed": true }) as Value))
}

/// Changes the password of the account that asks, once it has given the old one.
pub(crate) fn change_password(call: &Call, old: &str, new: &str) -> Result<(), Problem> {
    if old == new {
        let detail = "the new password is the old one";
        return Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "A value does not fit", detail));
    }
    call.access().sign_in(call.by(), old)?;
    Ok(call.access().set_password(call.by(), new, call.by())?)
}
