//! Patients, under labels of the ward, and their stays in its beds.

use formats::patient::PatientFile;
use serde::Serialize;
use serde_json::json;
use store::entry::{Entry, Kind, NewEntry};
use store::journal::{self, Query};
use store::sql::Transaction;

use super::RecordError;

/// Characters of a label.
const LABEL_MOST: usize = 32;
const PREFIX: &str = "patient/";

/// A patient's time in a bed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Stay {
    /// The bed.
    pub bed: String,
    /// The patient's label.
    pub patient: String,
    /// When it began, µs of UTC.
    pub from_us: i64,
    /// When it ended; `None`: still there.
    pub to_us: Option<i64>,
}

/// The chain of a patient.
#[must_use]
pub fn patient_chain(label: &str) -> String {
    format!("{PREFIX}{label}")
}

/// The entry of a patient's file, the text of a `patient.toml`; `corrects` names the one before.
///
/// # Errors
/// Problems of the file; a label that is too long or has other signs than letters, digits, `-`, `_` and `.`.
pub fn patient_entry(text: &str, at_us: i64, by: &str, corrects: Option<i64>) -> Result<NewEntry, RecordError> {
    let file = formats::patient::read("patient.toml", text).map_err(|e| RecordError::File(e.to_string()))?;
    let label = file.patient.label;
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if label.is_empty() || label.chars().count() > LABEL_MOST || !label.chars().all(fits) {
        let expected = format!("1 to {LABEL_MOST} plain letters, digits, `-`, `_` or `.`: a label, never a name");
        return Err(RecordError::value("label", format!("{label:?}"), expected));
    }
    Ok(NewEntry {
        chain: patient_chain(&label),
        at_us,
        kind: Kind::Patient,
        subject: label,
        author: by.to_owned(),
        corrects,
        once: None,
        body: json!({ "file": text }).to_string(),
    })
}

/// A patient's file in force, its number and its text.
///
/// # Errors
/// No such patient; the memory refuses.
pub fn patient_file(tx: &mut dyn Transaction, label: &str) -> Result<(i64, String, PatientFile), RecordError> {
    let missing = || RecordError::Missing { what: "patient", name: label.to_owned() };
    let entry = journal::newest(tx, &patient_chain(label), Kind::Patient)?.ok_or_else(missing)?;
    let text = text_of(&entry);
    let file = formats::patient::read("patient.toml", &text).map_err(|e| RecordError::File(e.to_string()))?;
    Ok((entry.number, text, file))
}

fn text_of(entry: &Entry) -> String {
    let body: serde_json::Value = serde_json::from_str(&entry.new.body).unwrap_or_default();
    body["file"].as_str().unwrap_or_default().to_owned()
}

/// Labels of all patients, in order.
///
/// # Errors
/// The memory refuses.
pub fn patients(tx: &mut dyn Transaction) -> Result<Vec<String>, RecordError> {
    let chains = journal::chains(tx)?;
    Ok(chains.iter().filter_map(|(name, ..)| name.strip_prefix(PREFIX)).map(str::to_owned).collect())
}

/// The entry of a patient who comes to a bed, or leaves it.
#[must_use]
pub fn stay_entry(bed: &str, patient: &str, comes: bool, at_us: i64, by: &str) -> NewEntry {
    NewEntry {
        chain: bed.to_owned(),
        at_us,
        kind: if comes { Kind::Admission } else { Kind::Discharge },
        subject: patient.to_owned(),
        author: by.to_owned(),
        corrects: None,
        once: None,
        body: "{}".to_owned(),
    }
}

/// Who lies in a bed now.
///
/// # Errors
/// The memory refuses.
pub fn stay(tx: &mut dyn Transaction, bed: &str) -> Result<Option<Stay>, RecordError> {
    Ok(stays_of(tx, Some(bed), None)?.into_iter().rev().find(|stay| stay.to_us.is_none()))
}

/// All stays of a patient, in order.
///
/// # Errors
/// The memory refuses.
pub fn stays(tx: &mut dyn Transaction, patient: &str) -> Result<Vec<Stay>, RecordError> {
    stays_of(tx, None, Some(patient))
}

/// All stays in a bed, in order.
///
/// # Errors
/// The memory refuses.
pub fn stays_in(tx: &mut dyn Transaction, bed: &str) -> Result<Vec<Stay>, RecordError> {
    stays_of(tx, Some(bed), None)
}

fn stays_of(tx: &mut dyn Transaction, bed: Option<&str>, patient: Option<&str>) -> Result<Vec<Stay>, RecordError> {
    let mut query = Query {
        chain: bed.map(str::to_owned),
        kind: Some(Kind::Admission),
        subject: patient.map(str::to_owned),
        ..Query::default()
    };
    let mut entries = journal::entries(tx, &query)?;
    query.kind = Some(Kind::Discharge);
    entries.extend(journal::entries(tx, &query)?);
    // A chain has the order in which things happened, whatever the clock showed: where it was set back, a discharge stands before its
    // admission by their times.
    entries.sort_by(|a, b| (&a.new.chain, a.number).cmp(&(&b.new.chain, b.number)));
    let mut stays: Vec<Stay> = Vec::new();
    for Entry { new, .. } in entries {
        let open = stays.iter_mut().rev().find(|s| s.bed == new.chain && s.patient == new.subject && s.to_us.is_none());
        match (new.kind, open) {
            (Kind::Discharge, Some(open)) => open.to_us = Some(new.at_us.max(open.from_us)),
            (Kind::Admission, None) => {
                stays.push(Stay { bed: new.chain, patient: new.subject, from_us: new.at_us, to_us: None });
            }
            _ => {}
        }
    }
    stays.sort_by_key(|stay| stay.from_us);
    Ok(stays)
}

#[cfg(test)]
mod tests {
    use store::writer::Job;

    use super::*;
    use crate::memory::Memory;

    /// A memory with these comings and goings of bed and time, µs, in the order in which they were kept.
    fn kept(moves: &[(&str, bool, i64)]) -> (Memory, tempfile::TempDir) {
        let folder = tempfile::tempdir().unwrap();
        let memory = Memory::open(folder.path().join("ward.db").to_str().unwrap(), Box::new(|| 0)).unwrap();
        for (bed, comes, at_us) in moves {
            let entry = stay_entry(bed, "p-1", *comes, *at_us, "nurse");
            memory.keep(Job { entries: vec![entry], ..Job::default() }).unwrap();
        }
        (memory, folder)
    }

    #[test]
    fn a_clock_set_back_between_admission_and_discharge_leaves_nobody_in_two_beds() {
        // Comes at 5 s; the clock is set back; leaves at 1 s, comes elsewhere at 2 s.
        let (memory, _folder) = kept(&[("A1", true, 5), ("A1", false, 1), ("A2", true, 2)]);
        assert_eq!(memory.look(|tx| Ok(stay(tx, "A1"))).unwrap(), Ok(None));
        let all = memory.look(|tx| Ok(stays(tx, "p-1"))).unwrap().unwrap();
        let all: Vec<_> = all.iter().map(|s| (s.bed.as_str(), s.from_us, s.to_us)).collect();
        assert_eq!(all, [("A2", 2, None), ("A1", 5, Some(5))]);
    }

    #[test]
    fn who_lies_in_a_bed_by_a_clock_that_was_set_back_lies_there() {
        // A stay from 100 s to 200 s, then one from 50 s on.
        let (memory, _folder) = kept(&[("A1", true, 100), ("A1", false, 200), ("A1", true, 50)]);
        let now = memory.look(|tx| Ok(stay(tx, "A1"))).unwrap().unwrap();
        assert_eq!(now.map(|s| (s.from_us, s.to_us)), Some((50, None)));
    }
}
