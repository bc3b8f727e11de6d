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

/// The span that records are asked for.
pub(crate) const SPAN: &[Parameter] = &[
    Parameter { name: "from", about: "First time, RFC 3339; without it 24 h before `to`", schema: time },
    Parameter { name: "to", about: "Time before which records are given; without it now", schema: time },
];
