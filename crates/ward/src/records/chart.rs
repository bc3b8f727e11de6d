//! What was charted of a patient's fluids.

use formats::chart::{Direction, Route};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use store::entry::{Kind, NewEntry};
use store::journal::{self, Query};
use store::sql::Transaction;

use super::action::NOTE_MOST;
use super::{RecordError, patient_chain};

/// One entry is at most so much, mL: beyond, it is a slip of the pen (a bag of dialysis fluid has 5 L).
const VOLUME_MOST_ML: f64 = 10_000.0;

/// A charted volume as it is given and kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChartBody {
    /// When: RFC 3339.
    pub time: Timestamp,
    /// `intake` or `output`.
    pub direction: String,
    /// The word of `chart.csv`.
    pub route: String,
    /// Volume, mL.
    #[serde(rename = "volume_mL")]
    pub volume_ml: f64,
    /// Whether an output has left the deck.
    #[serde(default = "yes")]
    pub leaves_deck: bool,
    /// A note.
    #[serde(default)]
    pub note: String,
}

fn yes() -> bool {
    true
}

impl ChartBody {
    /// The entry that it tells of; `line` names it.
    ///
    /// # Errors
    /// A word that is none of the file's, a volume beyond 10 L or below 0.
    pub fn entry(&self, line: usize) -> Result<formats::chart::Entry, RecordError> {
        let direction = Direction::of(&self.direction)
            .ok_or_else(|| RecordError::value("direction", format!("{:?}", self.direction), "intake or output"))?;
        let route = Route::of(&self.route).ok_or_else(|| {
            let all: Vec<&str> = Route::all().collect();
            RecordError::value("route", format!("{:?}", self.route), format!("one of {}", all.join(", ")))
        })?;
        if !(0.0..=VOLUME_MOST_ML).contains(&self.volume_ml) {
            let expected = format!("0 to {VOLUME_MOST_ML} mL; enter larger volumes in parts");
            return Err(RecordError::value("volume_mL", self.volume_ml.to_string(), expected));
        }
        if self.note.chars().count() > NOTE_MOST {
            return Err(RecordError::value("note", "a longer text", format!("at most {NOTE_MOST} characters")));
        }
        Ok(formats::chart::Entry {
            line,
            time: self.time,
            direction,
            route,
            volume_ml: self.volume_ml,
            leaves_deck: self.leaves_deck,
            note: self.note.clone(),
        })
    }
}

/// A charted volume on record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Charted {
    /// Number in the patient's chain: to correct it by.
    pub number: i64,
    /// Who charted it.
    pub author: String,
    /// What was charted.
    #[serde(flatten)]
    pub body: ChartBody,
}

/// The entry of a charted volume; `corrects` names the one whose place it takes.
#[must_use]
pub fn chart_entry(patient: &str, by: &str, corrects: Option<i64>, once: Option<String>, body: &ChartBody) -> NewEntry {
    NewEntry {
        chain: patient_chain(patient),
        at_us: body.time.as_microsecond(),
        kind: Kind::Chart,
        subject: patient.to_owned(),
        author: by.to_owned(),
        corrects,
        once,
        body: serde_json::to_string(body).unwrap_or_default(),
    }
}

/// A patient's chart in force, in the order of time.
///
/// # Errors
/// The memory refuses; an entry that is no charted volume.
pub fn chart(tx: &mut dyn Transaction, patient: &str, from_us: Option<i64>) -> Result<Vec<Charted>, RecordError> {
    let query = Query { chain: Some(patient_chain(patient)), kind: Some(Kind::Chart), from_us, ..Query::default() };
    let entries = journal::entries(tx, &query)?;
    entries
        .into_iter()
        .map(|entry| {
            let body = serde_json::from_str(&entry.new.body)
                .map_err(|e| RecordError::value("chart on record", entry.new.body.clone(), e.to_string()))?;
            Ok(Charted { number: entry.number, author: entry.new.author, body })
        })
        .collect()
}
