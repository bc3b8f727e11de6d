//! Beds: what is live, what happened, what people do there.

use std::collections::BTreeSet;

use formats::actions::{ActionKind, ITEM_MOST_KG};
use serde::Deserialize;
use serde_json::{Value, json};
use store::entry::Kind;
use store::journal::{self, Query};
use store::readings;
use ward::access::Right;
use ward::records::{ActionBody, NOTE_MOST};
use ward::service::ONCE_MOST;

use super::schema::{
    READINGS, READINGS_MOST_D, RECORDS, RECORDS_MOST_D, list, made, number_or_null, one_of, open, strict, text,
    text_most, time,
};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method, Parameter};
use crate::ward::pages::shown;

fn bed_schema() -> Value {
    let properties = json!({
        "bed": text(), "deck": text(), "patient": { "type": ["string", "null"] },
        "lies_since": { "type": ["string", "null"], "format": "date-time" }, "at": { "type": ["string", "null"], "format": "date-time" },
        "patient_kg": number_or_null(), "u_kg": number_or_null(), "state": { "type": ["string", "null"] },
        "open_kg": { "type": "number" }, "tare_kg": number_or_null(), "items_kg": { "type": "number" },
        "questions": list(&question_schema()), "tare_at": { "type": ["string", "null"], "format": "date-time" },
        "load_kg": number_or_null(), "awaits_tare": { "type": "boolean" }, "lies": one_of(["nobody", "somebody", "patient"].into_iter()),
        "faults": list(&text()), "link_up": { "type": "boolean" }, "trouble": list(&text()),
    });
    open(&properties, &["bed", "deck", "patient_kg", "u_kg", "state", "link_up"])
}

/// What is asked about: answered by an action with its number as `question`.
fn question_schema() -> Value {
    let properties = json!({
        "question": { "type": "integer", "format": "int64" }, "at": time(), "kg": { "type": "number" }, "u_kg": { "type": "number" },
        "kind": one_of(["step", "entered"].into_iter()), "note": text(),
    });
    open(&properties, &["question", "at", "kg", "u_kg", "kind", "note"])
}

fn record_schema() -> Value {
    let properties =
        json!({ "number": { "type": "integer" }, "at": time(), "kind": text(), "author": text(), "body": {} });
    list(&open(&properties, &["number", "at", "kind", "author"]))
}

fn action_schema() -> Value {
    let properties = json!({
        "action": one_of(ActionKind::all()),
        "kg": { "type": ["number", "null"], "minimum": 0, "maximum": ITEM_MOST_KG },
        "note": text_most(NOTE_MOST),
        "question": { "type": ["integer", "null"], "format": "int64" },
        "once": { "type": ["string", "null"], "minLength": 1, "maxLength": ONCE_MOST },
    });
    strict(&properties, &["action"])
}

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Get,
        path: "/api/beds",
        right: Some(Right::See),
        about: "All beds as they are just now",
        query: &[],
        takes: None,
        gives: Gives::Json(|| list(&bed_schema())),
        run: |call| Ok(Answer::Json(call.ward.beds().map(|bed| shown(bed)).collect())),
    },
    Endpoint {
        method: Method::Get,
        path: "/api/live",
        right: Some(Right::See),
        about: "All beds, or those named, as they change: server-sent events named `bed`, one a bed and second at most",
        query: &[Parameter { name: "beds", about: "Labels, with commas between; without it all beds", schema: text }],
        takes: None,
        gives: Gives::Text("text/event-stream"),
        run: live,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/beds/{bed}",
        right: Some(Right::See),
        about: "One bed as it is just now",
        query: &[],
        takes: None,
        gives: Gives::Json(bed_schema),
        run: |call| call.bed().map(|bed| Answer::Json(shown(bed))),
    },
    Endpoint {
        method: Method::Get,
        path: "/api/beds/{bed}/live",
        right: Some(Right::See),
        about: "One bed as it changes: server-sent events named `bed`",
        query: &[],
        takes: None,
        gives: Gives::Text("text/event-stream"),
        run: |call| call.bed().map(|bed| Answer::Live(vec![bed.clone()])),
    },
    Endpoint {
        method: Method::Get,
        path: "/api/beds/{bed}/readings",
        right: Some(Right::See),
        about: "The weight of every second, as long as it is kept; before that the least, mean and greatest of minutes",
        query: READINGS,
        takes: None,
        gives: Gives::Json(|| {
            open(
                &json!({ "seconds": list(&open(&json!({}), &[])), "minutes": list(&open(&json!({}), &[])) }),
                &["seconds", "minutes"],
            )
        }),
        run: given_readings,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/beds/{bed}/records",
        right: Some(Right::See),
        about: "What is on record of a bed: weights, events, actions, stays, decks, calibrations",
        query: RECORDS,
        takes: None,
        gives: Gives::Json(record_schema),
        run: |call| {
            call.bed()?;
            given_records(call, call.part("bed"), None)
        },
    },
    Endpoint {
        method: Method::Post,
        path: "/api/beds/{bed}/actions",
        right: Some(Right::Care),
        about: "Do something at a bed; given again with the same `once` it is done once. `question` is the number of the open question that \
                add, remove, patient_step or withdraw answers. 409 for a tare that cannot be taken: nothing comes from the deck, or the patient lies there",
        query: &[],
        takes: Some(action_schema),
        gives: Gives::Json(made),
        run: act,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/beds/{bed}/actions/{number}/undo",
        right: Some(Right::Care),
        about: "Take an action of the last ten minutes back by a correcting record; 409 for one that is older, or was taken back before",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "number": { "type": "integer" }, "text": text() }), &["number", "text"])),
        run: undo,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/beds/{bed}/admission",
        right: Some(Right::Care),
        about: "A patient comes to a bed",
        query: &[],
        takes: Some(|| strict(&json!({ "patient": text_most(32) }), &["patient"])),
        gives: Gives::Json(|| open(&json!({ "bed": text(), "patient": text() }), &["bed", "patient"])),
        run: admit,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/beds/{bed}/discharge",
        right: Some(Right::Care),
        about: "The patient of a bed leaves it",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "bed": text(), "patient": text() }), &["bed", "patient"])),
        run: discharge,
    },
];

fn live(call: &Call) -> Result<Answer, Problem> {
    let Some(labels) = call.query.get("beds") else { return Ok(Answer::Live(call.ward.beds().cloned().collect())) };
    let wanted: BTreeSet<&str> = labels.split(',').collect();
    let known = |label| call.ward.bed(label).cloned().ok_or_else(|| Problem::not_found("bed", label));
    Ok(Answer::Live(wanted.into_iter().map(known).collect::<Result<_, _>>()?))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ActionCall {
    action: String,
    #[serde(default)]
    kg: Option<f64>,
    #[serde(default)]
    note: String,
    #[serde(default)]
    once: Option<String>,
    #[serde(default)]
    question: Option<i64>,
}

fn act(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let ActionCall { action, kg, note, once, question } = call.json()?;
    let number = call.ward.act(&bed, call.by(), once, &ActionBody { action, kg, note, question })?;
    Ok(Answer::Made(json!({ "number": number })))
}

fn undo(call: &Call) -> Result<Answer, Problem> {
    let undone = call.ward.undo(&call.bed()?.setup.bed, call.number()?, call.by())?;
    Answer::json(&undone)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Admission {
    patient: String,
}

fn admit(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let Admission { patient } = call.json()?;
    call.ward.admit(&bed, &patient, call.by())?;
    Ok(Answer::Made(json!({ "bed": bed, "patient": patient })))
}

fn discharge(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let patient = call.ward.discharge(&bed, call.by())?;
    Ok(Answer::Json(json!({ "bed": bed, "patient": patient })))
}

fn given_readings(call: &Call) -> Result<Answer, Problem> {
    let bed = &call.bed()?.setup.bed;
    let (from_us, to_us) = call.span_us(READINGS_MOST_D)?;
    let (seconds, minutes) = call
        .ward
        .memory
        .look(|tx| Ok((readings::readings(tx, bed, from_us, to_us)?, readings::minutes(tx, bed, from_us, to_us)?)))?;
    let seconds: Vec<Value> = seconds
        .iter()
        .map(|r| json!({ "at": at(r.at_us), "patient_kg": r.kg, "u_kg": r.u_kg, "state": r.state }))
        .collect();
    let minutes: Vec<Value> = minutes
        .iter()
        .map(|m| {
            let [least, mean, greatest] = m.span_kg.map_or([None; 3], |s| s.map(Some));
            json!({ "at": at(m.minute_us), "readings": m.readings, "settled": m.settled,
                    "least_kg": least, "mean_kg": mean, "greatest_kg": greatest })
        })
        .collect();
    Ok(Answer::Json(json!({ "seconds": seconds, "minutes": minutes })))
}

/// The entries of a chain in the span that a call asks for; with what was replaced or withdrawn for who may manage and asks for it.
pub(crate) fn given_records(call: &Call, chain: &str, kind: Option<Kind>) -> Result<Answer, Problem> {
    let (from_us, to_us) = call.span_us(RECORDS_MOST_D)?;
    let history = match call.query.get("history").map(String::as_str) {
        None | Some("no") => false,
        Some("yes") => true,
        Some(other) => return Err(Problem::bad("history", other, "yes or no")),
    };
    if history && !call.session.as_ref().is_some_and(|s| s.role.may(Right::Manage)) {
        let detail = "what was replaced or withdrawn is shown to who may manage";
        return Err(Problem::new(axum::http::StatusCode::FORBIDDEN, "Not for this role", detail));
    }
    let (from_us, to_us, chain) = (Some(from_us), Some(to_us), Some(chain.to_owned()));
    let query = Query { chain, kind, from_us, to_us, history, ..Query::default() };
    let entries = call.ward.memory.look(|tx| journal::entries(tx, &query))?;
    let rows: Vec<Value> = entries
        .iter()
        .map(|e| {
            let body: Value = serde_json::from_str(&e.new.body).unwrap_or_default();
            json!({ "number": e.number, "at": at(e.new.at_us), "kind": e.new.kind.word(), "subject": e.new.subject,
                    "author": e.new.author, "corrects": e.new.corrects, "body": body })
        })
        .collect();
    Ok(Answer::Json(rows.into()))
}

/// A time in RFC 3339.
pub(crate) fn at(at_us: i64) -> Option<String> {
    jiff::Timestamp::from_microsecond(at_us).ok().map(|t| t.to_string())
}
