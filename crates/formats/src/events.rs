//! `events.json`: what `weigh --json` printed; of its events, the items that came onto the deck and left it.
//!
//! An item is known by its note, which stands in brackets at the end of the event's text. Events of other kinds, and items
//! without a size, are passed over. Everything else in the document is passed over, too.

use serde::Deserialize;

use crate::calibration::json_problem;
use crate::toml_document::without_bom;
use crate::{Problem, Problems};

/// The document.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Document {
    /// What happened, in the order of time.
    pub events: Vec<Event>,
}

/// One event.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Event {
    /// When it was seen, s from the start of the recording.
    pub t_s: f64,
    /// What it was: `added` and `removed` are items.
    pub kind: String,
    /// Its size, kg; negative for what left.
    pub kg: Option<f64>,
    /// Standard uncertainty of the size, kg.
    pub u_kg: Option<f64>,
    /// A sentence; the item's note stands in brackets at its end.
    pub text: String,
}

impl Event {
    /// What came or went by this event, with the sign that its mass should have; `None` for events of other kinds and items without a size.
    #[must_use]
    pub fn item(&self) -> Option<(f64, Item)> {
        let sign = match self.kind.as_str() {
            "added" => 1.0,
            "removed" => -1.0,
            _ => return None,
        };
        let name = note_of(&self.text).to_owned();
        Some((sign, Item { t_s: self.t_s, kg: self.kg?, u_kg: self.u_kg.unwrap_or(0.0), name }))
    }
}

/// Something other than the patient came onto the deck or left it.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// When, s from the start of the recording.
    pub t_s: f64,
    /// Its mass, kg; negative where it left.
    pub kg: f64,
    /// Standard uncertainty of the mass, kg.
    pub u_kg: f64,
    /// Its note; empty where it had none.
    pub name: String,
}

/// What the document should be.
const WRITTEN: &str = "JSON as `weigh --json` prints it";

/// Reads the items.
///
/// # Errors
/// Text that is not that JSON, times or masses that are none, a mass whose sign contradicts its kind.
pub fn read(file: &str, text: &str) -> Result<Vec<Item>, Problems> {
    let text = without_bom(text);
    let mut json = serde_json::Deserializer::from_str(text);
    let document: Document = serde_path_to_error::deserialize(&mut json)
        .map_err(|e| json_problem(file, text, &e.path().to_string(), e.inner(), WRITTEN))?;
    json.end().map_err(|e| json_problem(file, text, ".", &e, WRITTEN))?;
    let (mut items, mut problems) = (Vec::new(), Vec::new());
    for (i, event) in document.events.iter().enumerate() {
        let Some((sign, item)) = event.item() else { continue };
        let mut bad = |key: &str, found: String, expected: &str| {
            problems.push(Problem::new(file, found, expected.to_owned()).key(format!("events[{i}].{key}")));
        };
        if item.t_s < 0.0 {
            bad("t_s", item.t_s.to_string(), "seconds from the start of the recording, 0 or more");
        }
        if item.kg * sign < 0.0 {
            bad("kg", item.kg.to_string(), "a mass above 0 for what was added, below 0 for what was removed");
        }
        if item.u_kg < 0.0 {
            bad("u_kg", item.u_kg.to_string(), "a standard uncertainty of 0 or more");
        }
        items.push(item);
    }
    if items.iter().zip(items.iter().skip(1)).any(|(a, b)| a.t_s > b.t_s) {
        items.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    }
    if problems.is_empty() { Ok(items) } else { Err(Problems(problems)) }
}

/// What stands in the last pair of brackets.
fn note_of(text: &str) -> &str {
    let inside = text.trim_end().trim_end_matches('.').strip_suffix(')').and_then(|text| text.rsplit_once('('));
    inside.map_or("", |(_, note)| note)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn items_are_read_by_note_and_other_events_passed_over() {
        let items = read("events.json", include_str!("../data/examples/events.json")).unwrap();
        assert_eq!(items.iter().map(|i| (i.name.as_str(), i.kg)).collect::<Vec<_>>(), [("pad", 0.21), ("pad", -0.58)]);
        assert_eq!(note_of("0.73 kg came onto the deck."), "");
    }

    #[test]
    fn what_is_no_such_document_is_refused_by_its_place() {
        let refused = |text: &str| read("e.json", text).unwrap_err().to_string();
        assert!(refused("[]").contains("e.json:1"));
        assert!(
            refused(r#"{"events": [{"t_s": 1, "kind": "added", "text": ""}, {"kind": "x"}]}"#).contains("events[1]")
        );
        let wrong = r#"{"events": [{"t_s": 1, "kind": "removed", "kg": 0.3, "text": ""}]}"#;
        assert!(refused(wrong).contains("events[0].kg"), "{}", refused(wrong));
    }
}
