//! What was charted of a patient's fluids.

use formats::chart::{Direction, Route};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use store::entry::{Kind, NewEntry};
use store::journal::{self, Query};
use store::sql::Transaction;

use super::action::NOTE_MOST;
use super::{RecordError, body_of, patient_chain};

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
            let body = body_of(&entry, "a charted volume")?;
            Ok(Charted { number: entry.number, author: entry.new.author, body })
        })
        .collect()
}

/// The chart as entries of a chart file, numbered by their place on record. Two that are alike to the minute are a slip in a file, which is refused;
/// on record both may be meant (two drains that gave as much), so the later one is told apart in its note.
///
/// # Errors
/// An entry that is no charted volume.
pub fn entries(chart: &[Charted]) -> Result<Vec<formats::chart::Entry>, RecordError> {
    let mut out: Vec<formats::chart::Entry> = Vec::with_capacity(chart.len());
    for charted in chart {
        let mut entry = charted.body.entry(usize::try_from(charted.number).unwrap_or(0))?;
        let same_time = out.iter().rev().take_while(|other| other.time == entry.time).count();
        let beside = &out[out.len() - same_time..];
        while beside.iter().any(|other| formats::chart::Entry { line: entry.line, ..other.clone() } == entry) {
            entry.note = format!("{} (again)", entry.note).trim_start().to_owned();
        }
        out.push(entry);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_entries_that_are_alike_are_both_kept_and_told_apart() {
        let charted = |number: i64, minute: u32, note: &str| Charted {
            number,
            author: "nurse".into(),
            body: ChartBody {
                time: format!("2031-05-01T06:{minute:02}:00Z").parse().unwrap(),
                direction: "output".into(),
                route: "drain".into(),
                volume_ml: 20.0,
                leaves_deck: true,
                note: note.into(),
            },
        };
        let chart = [charted(1, 0, ""), charted(2, 0, ""), charted(3, 0, "left"), charted(4, 0, ""), charted(5, 1, "")];
        let found = entries(&chart).unwrap();
        let notes: Vec<(usize, &str)> = found.iter().map(|e| (e.line, e.note.as_str())).collect();
        assert_eq!(notes, [(1, ""), (2, "(again)"), (3, "left"), (4, "(again) (again)"), (5, "")]);
        // A file of them is read again.
        formats::chart::read("chart.csv", &formats::chart::write(&found)).unwrap();
    }
}
