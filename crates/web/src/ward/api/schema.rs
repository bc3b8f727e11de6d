//! Parts of JSON schemas that several endpoints share.

use serde_json::{Value, json};

use crate::ward::endpoint::Parameter;

pub(crate) fn text() -> Value {
    json!({ "type": "string" })
}

pub(crate) fn text_most(most: usize) -> Value {
    json!({ "type": "string", "maxLength": most })
}

pub(crate) fn time() -> Value {
    json!({ "type": "string", "format": "date-time" })
}

pub(crate) fn number_or_null() -> Value {
    json!({ "type": ["number", "null"] })
}

pub(crate) fn one_of(words: impl Iterator<Item = &'static str>) -> Value {
    json!({ "type": "string", "enum": words.collect::<Vec<_>>() })
}

/// An object; `required` lists those that must stand there, and no others may.
pub(crate) fn strict(properties: &Value, required: &[&str]) -> Value {
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

/// An object that may gain fields.
pub(crate) fn open(properties: &Value, required: &[&str]) -> Value {
    json!({ "type": "object", "properties": properties, "required": required })
}

pub(crate) fn list(of: &Value) -> Value {
    json!({ "type": "array", "items": of })
}

pub(crate) fn made() -> Value {
    open(&json!({ "number": { "type": "integer" } }), &["number"])
}

/// Days of records that one call may ask for: a weight a minute makes 45 000 entries of a bed.
pub(crate) const RECORDS_MOST_D: i64 = 31;
/// Days of readings that one call may ask for: a weight a second makes 605 000.
pub(crate) const READINGS_MOST_D: i64 = 7;

const TO: Parameter = Parameter { name: "to", about: "Time before which they are given; without it now", schema: time };

/// The span that records are asked for.
pub(crate) const RECORDS: &[Parameter] = &[
    Parameter {
        name: "from",
        about: "First time, RFC 3339, at most 31 days before `to`; without it 24 h before `to`",
        schema: time,
    },
    TO,
    Parameter {
        name: "history",
        about: "`yes`: with what was replaced or withdrawn, and the withdrawals; for who may manage",
        schema: || json!({ "type": "string", "enum": ["yes", "no"] }),
    },
];

/// The span that readings are asked for.
pub(crate) const READINGS: &[Parameter] = &[
    Parameter {
        name: "from",
        about: "First time, RFC 3339, at most 7 days before `to`; without it 24 h before `to`",
        schema: time,
    },
    TO,
];
