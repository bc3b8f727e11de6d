//! What people enter, checked and kept.

use std::sync::Arc;

use formats::actions::ActionKind;
use serde::Serialize;
use store::entry::{Kind, NewEntry, WITHDRAWN};
use store::journal::{self, Kept, Query};
use store::writer::Job;
use weigh::Lies;

use super::Ward;
use crate::bed::Live;
use crate::clock::now_us;
use crate::records::{self, ActionBody, ChartBody, RecordError, Stay};

/// An action can be taken back for so long, µs: later it is part of what was weighed, and is put right by another action.
pub const UNDO_US: i64 = 10 * 60 * 1_000_000;
/// Characters of the mark of an act.
pub const ONCE_MOST: usize = 64;
/// A charted time may lie so far ahead, µs: clocks differ.
const AHEAD_US: i64 = 15 * 60 * 1_000_000;

/// A tare rests on samples of up to so long before it was asked for, µs.
const SAMPLE_US: i64 = 5_000_000;

/// Why no tare can be taken at a bed just now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoTare {
    /// It would wait for samples, and take whatever lies there by then.
    #[error("nothing comes from the deck: no tare can be taken now; look at plug and cable")]
    Silent,
    /// Somebody lies there.
    #[error("somebody lies on the deck: no tare is taken; say first that the patient leaves the bed")]
    Patient,
}

impl NoTare {
    /// The reason at a bed as it is just now; `None` where a tare can be taken.
    #[must_use]
    pub fn of(live: &Live, now_us: i64) -> Option<Self> {
        if !live.link.up || live.is_silent(now_us) {
            Some(Self::Silent)
        } else {
            (live.lies == Lies::Patient).then_some(Self::Patient)
        }
    }
}

/// What became of an action that was taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Undone {
    /// Number of the withdrawal.
    pub number: i64,
    /// What to do at the bed now, in a sentence.
    pub text: String,
    /// What it means at the deck.
    #[serde(skip)]
    pub outcome: Outcome,
}

/// What the deck does where an action is taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The opposite.
    Opposite,
    /// A tare was taken, and stays.
    TareStays,
    /// No tare was taken.
    NoTare,
    /// A question stays as it was answered.
    AnswerStays,
}

impl Ward {
    /// Enters an action at a bed, and does it. Given again with the same `once` it is done once.
    ///
    /// # Errors
    /// No such bed, an action that does not fit, a tare that cannot be taken, a memory that refuses.
    pub fn act(&self, bed: &str, by: &str, once: Option<String>, body: &ActionBody) -> Result<i64, RecordError> {
        let found = Arc::clone(self.known_bed(bed)?);
        found.goes_on()?;
        records::is_seen("note", &body.note)?;
        let action = body.action()?;
        let at_us = now_us();
        if action.kind == ActionKind::Tare
            && let Some(why) = NoTare::of(&found.live(), at_us)
        {
            return Err(RecordError::Against(why.to_string()));
        }
        // Done once it is on record, also where that comes so late that nobody waits any more: record and deck stay one.
        let then = move |kept: &Kept| {
            if !kept.again {
                found.act(at_us, &action);
            }
        };
        Ok(self.keep_then(records::action_entry(bed, at_us, by, asked(once)?, body), then)?.number)
    }

    /// Takes an action back by a correcting record. Both stay on record; what the deck did meanwhile is not undone by
    /// itself, and the answer says what to do.
    ///
    /// # Errors
    /// No such action, one of longer ago than ten minutes, one that was taken back before.
    pub fn undo(&self, bed: &str, number: i64, by: &str) -> Result<Undone, RecordError> {
        let found = Arc::clone(self.known_bed(bed)?);
        found.goes_on()?;
        let query = Query { chain: Some(bed.to_owned()), kind: Some(Kind::Action), ..Query::default() };
        let entries = self.memory.look(|tx| journal::entries(tx, &query))?;
        let Some(entry) = entries.iter().find(|e| e.number == number) else {
            let all = self.memory.look(|tx| journal::entries(tx, &Query { history: true, ..query }))?;
            return Err(if all.iter().any(|e| e.new.corrects == Some(number)) {
                RecordError::Against(format!("action {number} was taken back before"))
            } else {
                RecordError::Missing { what: "action", name: number.to_string() }
            });
        };
        let now = now_us();
        if now - entry.new.at_us > UNDO_US {
            let why = format!("action {number} is of more than ten minutes ago: put it right by another action");
            return Err(RecordError::Against(why));
        }
        let opposite = match entry.new.subject.as_str() {
            "add" => Some("remove"),
            "remove" => Some("add"),
            "patient_on" => Some("patient_off"),
            "patient_off" => Some("patient_on"),
            "hold" => Some("release"),
            "release" => Some("hold"),
            // One that is taken stays; one that waits for rest is waited for no longer.
            "tare" if found.live().awaits_tare => Some("withdraw"),
            _ => None,
        };
        let mut body = records::action_on_record(entry)?;
        let withdrawal = NewEntry {
            at_us: now,
            author: by.to_owned(),
            corrects: Some(number),
            once: None,
            body: WITHDRAWN.to_owned(),
            ..entry.new.clone()
        };
        let back = match opposite {
            Some(word) => {
                // What answered a question is undone as a thing that comes or goes: the question is closed.
                (body.action, body.question) = (word.to_owned(), None);
                Some(body.action()?)
            }
            None => None,
        };
        let (has_opposite, tare_at_us) = (back.is_some(), found.live().tare_at_us);
        // What the deck does because of it is on record with it: after a restart it is done again from there.
        let opposite = back.as_ref().map(|_| records::action_entry(bed, now, by, None, &body));
        let job = Job { entries: std::iter::once(withdrawal).chain(opposite).collect(), ..Job::default() };
        let number = self.keep_job(job, move |_| {
            if let Some(action) = &back {
                found.act(now, action);
            }
        })?;
        let word = entry.new.subject.as_str();
        let was_taken = tare_at_us.is_some_and(|us| us.saturating_add(SAMPLE_US) >= entry.new.at_us);
        let (outcome, after) = match word {
            "tare" if has_opposite || !was_taken => {
                (Outcome::NoTare, "; none had been taken, and the deck keeps the zero that it had")
            }
            "tare" => {
                (Outcome::TareStays, " on record; the deck keeps its new zero until the next tare on an empty deck")
            }
            _ if has_opposite => (Outcome::Opposite, ""),
            _ => (Outcome::AnswerStays, " on record; the deck goes on as it was answered"),
        };
        Ok(Undone { number: number.number, text: format!("{word} was taken back{after}"), outcome })
    }

    /// Enters a patient's file, or a new one in the place of an earlier.
    ///
    /// # Errors
    /// Problems of the file, a label that does not fit, a memory that refuses.
    pub fn put_patient(&self, text: &str, by: &str) -> Result<String, RecordError> {
        let mut entry = records::patient_entry(text, now_us(), by, None)?;
        let before = self.memory.look(|tx| journal::newest(tx, &entry.chain, Kind::Patient))?;
        entry.corrects = before.map(|e| e.number);
        let label = entry.subject.clone();
        self.keep(entry)?;
        Ok(label)
    }

    /// A patient comes to a bed.
    ///
    /// # Errors
    /// No such bed or patient; the bed is taken; the patient lies in another.
    pub fn admit(&self, bed: &str, patient: &str, by: &str) -> Result<(), RecordError> {
        self.admit_at(bed, patient, by, now_us())
    }

    /// The same at a time of its own, for a past that is lived through.
    ///
    /// # Errors
    /// As [`Self::admit`].
    pub fn admit_at(&self, bed: &str, patient: &str, by: &str, at_us: i64) -> Result<(), RecordError> {
        let found = Arc::clone(self.known_bed(bed)?);
        self.memory.look(|tx| Ok(records::patient_file(tx, patient)))??;
        // Two who admit at once must not both find the bed, or the patient, free.
        let moving = self.moving.begin(&[bed, patient])?;
        if let Some(stay) = found.who_lies()? {
            return Err(RecordError::Against(format!("{} lies in bed {bed}: discharge first", stay.patient)));
        }
        let stays = self.memory.look(|tx| Ok(records::stays(tx, patient)))??;
        if let Some(stay) = stays.iter().find(|s| s.to_us.is_none()) {
            return Err(RecordError::Against(format!("{patient} lies in bed {}: discharge there first", stay.bed)));
        }
        let stay = Stay { bed: bed.to_owned(), patient: patient.to_owned(), from_us: at_us, to_us: None };
        self.keep_then(records::stay_entry(bed, patient, true, at_us, by), move |_| {
            found.lies_now(Some(stay));
            drop(moving);
        })?;
        Ok(())
    }

    /// The patient of a bed leaves it.
    ///
    /// # Errors
    /// No such bed; nobody lies there.
    pub fn discharge(&self, bed: &str, by: &str) -> Result<String, RecordError> {
        let found = Arc::clone(self.known_bed(bed)?);
        let moving = self.moving.begin(&[bed])?;
        let stay = found.who_lies()?.ok_or_else(|| RecordError::Against(format!("nobody lies in bed {bed}")))?;
        let entry = records::stay_entry(bed, &stay.patient, false, now_us(), by);
        self.keep_then(entry, move |_| {
            found.lies_now(None);
            drop(moving);
        })?;
        Ok(stay.patient)
    }

    /// Enters a charted volume; `corrects` names the entry whose place it takes.
    ///
    /// # Errors
    /// No such patient or entry, a value that does not fit, a time to come.
    pub fn chart(
        &self,
        patient: &str,
        by: &str,
        corrects: Option<i64>,
        once: Option<String>,
        body: &ChartBody,
    ) -> Result<i64, RecordError> {
        Self::may_chart(body)?;
        self.memory.look(|tx| Ok(records::patient_file(tx, patient)))??;
        Ok(self.keep(records::chart_entry(patient, by, corrects, asked(once)?, body))?.number)
    }

    /// Whether a volume may be charted, of whatever patient.
    ///
    /// # Errors
    /// A value that does not fit, a time to come.
    pub fn may_chart(body: &ChartBody) -> Result<(), RecordError> {
        records::is_seen("note", &body.note)?;
        body.entry(0)?;
        if body.time.as_microsecond() > now_us() + AHEAD_US {
            let expected = "a time that has been: what is to come belongs into the plan";
            return Err(RecordError::value("time", body.time.to_string(), expected));
        }
        Ok(())
    }

    /// Strikes a charted volume out; both stay on record.
    ///
    /// # Errors
    /// No such entry, or it was corrected before.
    pub fn strike(&self, patient: &str, number: i64, by: &str) -> Result<i64, RecordError> {
        let chain = records::patient_chain(patient);
        let entry = NewEntry {
            chain,
            at_us: now_us(),
            kind: Kind::Chart,
            subject: patient.to_owned(),
            author: by.to_owned(),
            corrects: Some(number),
            once: None,
            body: WITHDRAWN.to_owned(),
        };
        Ok(self.keep(entry)?.number)
    }

    fn known_bed(&self, label: &str) -> Result<&Arc<super::Bed>, RecordError> {
        self.bed(label).ok_or_else(|| RecordError::Missing { what: "bed", name: label.to_owned() })
    }

    pub(super) fn keep(&self, entry: NewEntry) -> Result<Kept, RecordError> {
        self.keep_then(entry, |_| ())
    }

    /// Keeps an entry; `then` is done as soon as it is on record.
    fn keep_then(&self, entry: NewEntry, then: impl FnOnce(&Kept) + Send + 'static) -> Result<Kept, RecordError> {
        self.keep_job(Job { entries: vec![entry], ..Job::default() }, then)
    }

    /// Keeps entries together; tells of the first.
    fn keep_job(&self, job: Job, then: impl FnOnce(&Kept) + Send + 'static) -> Result<Kept, RecordError> {
        let kept = self.memory.keep_then(job, move |kept| {
            let first = kept.into_iter().next();
            if let Some(kept) = &first {
                then(kept);
            }
            first
        })?;
        kept.ok_or(RecordError::Store(store::StoreError::Closed))
    }
}

/// The mark of what a caller asks for: apart from the marks that decks and alerts give their own entries, so that nobody can keep
/// one of those out by using its mark first.
fn asked(once: Option<String>) -> Result<Option<String>, RecordError> {
    let Some(once) = once else { return Ok(None) };
    if records::is_one_line(&once, ONCE_MOST) {
        return Ok(Some(format!("asked {once}")));
    }
    let expected = format!("1 to {ONCE_MOST} characters, none of them a control character");
    Err(RecordError::value("once", records::beginning_of(&once, ONCE_MOST), expected))
}
