//! Patients: their files, charts, balances, alerts.

use formats::chart::{Direction, Route};
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use ward::access::Right;
use ward::records::{self, ChartBody, NOTE_MOST};
use ward::service::{ANSWER_MOST, Forward, ONCE_MOST};

use super::schema::{RECORDS, list, made, one_of, open, strict, text, text_most, time};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method};

fn chart_schema() -> Value {
    let properties = json!({
        "time": time(), "direction": one_of(Direction::all()), "route": one_of(Route::all()),
        "volume_mL": { "type": "number", "minimum": 0, "maximum": 10_000 },
        "leaves_deck": { "type": "boolean" }, "note": text_most(NOTE_MOST),
        "corrects": { "type": ["integer", "null"] }, "once": { "type": ["string", "null"], "minLength": 1, "maxLength": ONCE_MOST },
    });
    strict(&properties, &["time", "direction", "route", "volume_mL"])
}

fn patient_schema() -> Value {
    let properties = json!({
        "patient": { "type": "object", "description": "The table [patient] of patient.toml", "required": ["label"],
                     "properties": { "label": { "type": "string", "pattern": "^[A-Za-z0-9._-]{1,32}$" } } },
        "plan": { "type": "object", "description": "The table [plan] of patient.toml" },
    });
    strict(&properties, &["patient"])
}

fn forward_schema() -> Value {
    let rate = json!({ "type": "number", "minimum": 0, "maximum": 5000 });
    let properties = json!({ "intake_mL_h": rate, "output_mL_h": rate, "ultrafiltration_mL_h": rate });
    strict(&properties, &["intake_mL_h", "output_mL_h"])
}

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Get,
        path: "/api/patients",
        right: Some(Right::See),
        about: "Labels of all patients",
        query: &[],
        takes: None,
        gives: Gives::Json(|| list(&text())),
        run: |call| Answer::json(&call.ward.memory.look(|tx| Ok(records::patients(tx)))??),
    },
    Endpoint {
        method: Method::Post,
        path: "/api/patients",
        right: Some(Right::Care),
        about: "Enter a patient, or another file for a known one: the tables of patient.toml",
        query: &[],
        takes: Some(patient_schema),
        gives: Gives::Json(|| open(&json!({ "patient": text() }), &["patient"])),
        run: put,
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}",
        right: Some(Right::See),
        about: "A patient's file and stays",
        query: &[],
        takes: None,
        gives: Gives::Json(|| {
            open(&json!({ "file": text(), "stays": list(&open(&json!({}), &[])) }), &["file", "stays"])
        }),
        run: |call| {
            let label = call.part("patient");
            let (_, file, _) = call.ward.memory.look(|tx| Ok(records::patient_file(tx, label)))??;
            let stays = call.ward.memory.look(|tx| Ok(records::stays(tx, label)))??;
            Ok(Answer::Json(json!({ "file": file, "stays": stays })))
        },
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/records",
        right: Some(Right::See),
        about: "What is on record of a patient: the file, charted volumes, alerts, answers",
        query: RECORDS,
        takes: None,
        gives: Gives::Json(|| list(&open(&json!({}), &[]))),
        run: |call| {
            known(call)?;
            super::beds::given_records(call, &records::patient_chain(call.part("patient")), None)
        },
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/chart",
        right: Some(Right::See),
        about: "The chart in force",
        query: &[],
        takes: None,
        gives: Gives::Json(|| list(&open(&json!({ "number": { "type": "integer" } }), &["number"]))),
        run: |call| {
            known(call)?;
            Answer::json(&call.ward.memory.look(|tx| Ok(records::chart(tx, call.part("patient"), None)))??)
        },
    },
    Endpoint {
        method: Method::Post,
        path: "/api/patients/{patient}/chart",
        right: Some(Right::Care),
        about: "Chart a volume; `corrects` names the entry whose place it takes",
        query: &[],
        takes: Some(chart_schema),
        gives: Gives::Json(made),
        run: chart,
    },
    Endpoint {
        method: Method::Post,
        path: "/api/patients/{patient}/chart/{number}/strike",
        right: Some(Right::Care),
        about: "Strike a charted volume out; both stay on record",
        query: &[],
        takes: None,
        gives: Gives::Json(made),
        run: |call| {
            known(call)?;
            let number = call.ward.strike(call.part("patient"), call.number()?, call.by())?;
            Ok(Answer::Made(json!({ "number": number })))
        },
    },
    Endpoint {
        method: Method::Get,
        path: "/api/patients/{patient}/balance",
        right: Some(Right::See),
        about: "The balance as `bedplate balance --json` gives it, of the last four weeks",
        query: &[],
        takes: None,
        gives: Gives::Json(|| {
            open(&json!({ "rows": { "type": "array" }, "alerts": { "type": "array" } }), &["rows", "alerts"])
        }),
        run: |call| balance(call, None),
    },
    Endpoint {
        method: Method::Post,
        path: "/api/patients/{patient}/forecast",
        right: Some(Right::See),
        about: "The balance, with what would come under another plan (mL/h); nothing is entered",
        query: &[],
        takes: Some(forward_schema),
        gives: Gives::Json(|| open(&json!({ "alternatives": { "type": "array" } }), &["alternatives"])),
        run: |call| balance(call, Some(forward(call.json()?)?)),
    },
    Endpoint {
        method: Method::Post,
        path: "/api/patients/{patient}/answers",
        right: Some(Right::Care),
        about: "Answer an alert; it is not raised again",
        query: &[],
        takes: Some(|| {
            strict(
                &json!({ "time": time(), "kind": text_most(ONCE_MOST), "answer": { "type": "string", "minLength": 1, "maxLength": ANSWER_MOST } }),
                &["time", "kind", "answer"],
            )
        }),
        gives: Gives::Json(made),
        run: answer,
    },
];

fn known(call: &Call) -> Result<(), Problem> {
    call.ward.memory.look(|tx| Ok(records::patient_file(tx, call.part("patient"))))??;
    Ok(())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PatientCall {
    patient: Map<String, Value>,
    #[serde(default)]
    plan: Option<Map<String, Value>>,
}

fn put(call: &Call) -> Result<Answer, Problem> {
    let PatientCall { patient, plan } = call.json()?;
    let mut tables = Map::new();
    tables.insert("patient".into(), patient.into());
    if let Some(plan) = plan {
        tables.insert("plan".into(), plan.into());
    }
    let text = toml::to_string(&Value::Object(tables))
        .map_err(|e| Problem::bad("patient", &e.to_string(), "what a TOML file can hold"))?;
    let label = call.ward.put_patient(&text, call.by())?;
    Ok(Answer::Made(json!({ "patient": label })))
}

#[derive(Deserialize)]
struct ChartCall {
    #[serde(default)]
    corrects: Option<i64>,
    #[serde(default)]
    once: Option<String>,
    #[serde(flatten)]
    body: Map<String, Value>,
}

fn chart(call: &Call) -> Result<Answer, Problem> {
    let ChartCall { corrects, once, body } = call.json()?;
    let body: ChartBody = serde_json::from_value(body.into()).map_err(|e| Problem::body(&e))?;
    let number = call.ward.chart(call.part("patient"), call.by(), corrects, once, &body)?;
    Ok(Answer::Made(json!({ "number": number })))
}

/// A plan within what a body can take and give.
pub(crate) fn forward(given: Forward) -> Result<Forward, Problem> {
    let rates = [given.intake_ml_h, given.output_ml_h, given.ultrafiltration_ml_h];
    match rates.iter().find(|rate| !(0.0..=5000.0).contains(*rate)) {
        Some(rate) => Err(Problem::bad("rate", &rate.to_string(), "0 to 5000 mL/h")),
        None => Ok(given),
    }
}

fn balance(call: &Call, what_if: Option<Forward>) -> Result<Answer, Problem> {
    let balanced = call.ward.balance(call.part("patient"), what_if, Timestamp::now())?;
    match balanced.report {
        Ok(report) => Answer::json(&report),
        Err(error) => Err(Problem::new(axum::http::StatusCode::CONFLICT, "No balance yet", error.to_string())),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AnswerCall {
    time: Timestamp,
    kind: String,
    answer: String,
}

fn answer(call: &Call) -> Result<Answer, Problem> {
    let AnswerCall { time, kind, answer } = call.json()?;
    let number = call.ward.answer(call.part("patient"), time, &kind, &answer, call.by())?;
    Ok(Answer::Made(json!({ "number": number })))
}
