//! A patient's balance, from what is on record.

use balance::{Answered, BalanceError, BalanceReport, Densities, ItemEvent, Options};
use formats::patient::Plan;
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use store::entry::{Entry, Kind};
use store::journal::{self, Query};

use super::Ward;
use crate::records::{self, Charted, RecordError};

/// What is taken into a balance at most: the last weeks.
const BACK_H: i64 = 24 * 28;

/// Characters of an answer to an alert.
pub const ANSWER_MOST: usize = 500;

/// A plan to be tried, mL/h.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Forward {
    /// All intake.
    #[serde(rename = "intake_mL_h")]
    pub intake_ml_h: f64,
    /// All charted output but ultrafiltrate.
    #[serde(rename = "output_mL_h")]
    pub output_ml_h: f64,
    /// Ultrafiltrate.
    #[serde(rename = "ultrafiltration_mL_h", default)]
    pub ultrafiltration_ml_h: f64,
}

/// A patient's record and what it amounts to.
pub struct Balanced {
    /// Settled weights.
    pub weights: Vec<Weight>,
    /// The chart in force.
    pub chart: Vec<Charted>,
    /// The balance, or why there is none.
    pub report: Result<BalanceReport, BalanceError>,
}

impl Ward {
    /// A patient's settled weights, over all stays, from one time to another (to the last one where none is named).
    ///
    /// # Errors
    /// The memory refuses.
    pub fn weights(&self, patient: &str, from_us: i64, to_us: Option<i64>) -> Result<Vec<Weight>, RecordError> {
        let entries = self.of_stays(patient, Kind::Weight, from_us, to_us)?;
        let mut weights: Vec<Weight> = entries.iter().filter_map(|e| weight(e.new.at_us, &e.new.body)).collect();
        weights.sort_by_key(|w| w.time);
        let first = weights.first().and_then(|w| w.time);
        for w in &mut weights {
            w.t_s = first.zip(w.time).map_or(0.0, |(first, t)| t.duration_since(first).as_secs_f64());
        }
        Ok(weights)
    }

    /// What the beds of a patient kept of one kind while he lay there, stay by stay.
    fn of_stays(&self, patient: &str, kind: Kind, from_us: i64, to_us: Option<i64>) -> Result<Vec<Entry>, RecordError> {
        let mut found = Vec::new();
        for stay in self.memory.look(|tx| Ok(records::stays(tx, patient)))?? {
            let query = Query {
                chain: Some(stay.bed),
                kind: Some(kind),
                from_us: Some(stay.from_us.max(from_us)),
                to_us: stay.to_us.into_iter().chain(to_us).min(),
                ..Query::default()
            };
            found.extend(self.memory.look(|tx| journal::entries(tx, &query))?);
        }
        Ok(found)
    }

    /// What came onto the deck beside the patient and left it: a pad that leaves heavier than it came took fluid with it.
    fn items(&self, patient: &str, from_us: i64) -> Result<Vec<ItemEvent>, RecordError> {
        let entries = self.of_stays(patient, Kind::Event, from_us, None)?;
        let mut items: Vec<ItemEvent> = entries.iter().filter_map(|e| item(e.new.at_us, &e.new.body)).collect();
        items.sort_by_key(|item| item.time);
        Ok(items)
    }

    /// A patient's balance, with what would come under another plan.
    ///
    /// # Errors
    /// No such patient; the memory refuses. That there is too little for a balance is no error: it is in the answer.
    pub fn balance(&self, patient: &str, what_if: Option<Forward>, now: Timestamp) -> Result<Balanced, RecordError> {
        let (_, _, file) = self.memory.look(|tx| Ok(records::patient_file(tx, patient)))??;
        let from_us = (now - SignedDuration::from_hours(BACK_H)).as_microsecond();
        let weights = self.weights(patient, from_us, None)?;
        let chart = self.memory.look(|tx| Ok(records::chart(tx, patient, Some(from_us))))??;
        let entries = records::chart_entries(&chart)?;
        let alternatives = what_if.map(|f| {
            let plan = Plan {
                intake_ml_h: f.intake_ml_h,
                output_ml_h: f.output_ml_h,
                ultrafiltration_ml_h: f.ultrafiltration_ml_h,
            };
            ("what if".to_owned(), plan)
        });
        let options = Options {
            now: Some(now),
            densities: Some(Densities::published()),
            alternatives: alternatives.into_iter().collect(),
            answered: self.answered(patient)?.into_iter().map(|(_, answered)| answered).collect(),
            items: self.items(patient, from_us)?,
            ..Options::default()
        };
        let report = balance::balance(&file, &weights, &entries, &options);
        Ok(Balanced { weights, chart, report })
    }

    /// The answers on record of a patient, in the order in which they were kept, with their numbers.
    fn answered(&self, patient: &str) -> Result<Vec<(i64, Answered)>, RecordError> {
        let query =
            Query { chain: Some(records::patient_chain(patient)), kind: Some(Kind::Answer), ..Query::default() };
        let mut entries = self.memory.look(|tx| journal::entries(tx, &query))?;
        // Where the clock was set back, the later word has the earlier time.
        entries.sort_by_key(|e| e.number);
        Ok(entries
            .iter()
            .filter_map(|e| {
                let body: serde_json::Value = serde_json::from_str(&e.new.body).ok()?;
                let answered = Answered {
                    time: body["time"].as_str()?.parse().ok()?,
                    kind: body["kind"].as_str()?.to_owned(),
                    answer: body["answer"].as_str()?.to_owned(),
                };
                Some((e.number, answered))
            })
            .collect())
    }

    /// Answers an alert of a patient. Another answer to it stands beside the one before, and is the one that holds; the same again is that.
    ///
    /// # Errors
    /// No such patient, an empty answer, a memory that refuses.
    pub fn answer(
        &self,
        patient: &str,
        time: Timestamp,
        kind: &str,
        answer: &str,
        by: &str,
    ) -> Result<i64, RecordError> {
        self.memory.look(|tx| Ok(records::patient_file(tx, patient)))??;
        if answer.trim().is_empty() || answer.chars().count() > ANSWER_MOST {
            let expected = format!("1 to {ANSWER_MOST} characters");
            return Err(RecordError::value("answer", records::beginning_of(answer, ANSWER_MOST), expected));
        }
        records::is_seen("answer", answer)?;
        if !records::is_one_line(kind, super::ONCE_MOST) {
            let found = records::beginning_of(kind, super::ONCE_MOST);
            return Err(RecordError::value("kind", found, "the kind of an alert, without control characters"));
        }
        let before = self.answered(patient)?.into_iter().rfind(|(_, a)| a.time == time && a.kind == kind);
        if let Some((number, _)) = before.filter(|(_, a)| a.answer == answer) {
            return Ok(number);
        }
        let body = serde_json::json!({ "time": time, "kind": kind, "answer": answer }).to_string();
        let entry = store::entry::NewEntry {
            chain: records::patient_chain(patient),
            at_us: crate::clock::now_us(),
            kind: Kind::Answer,
            subject: patient.to_owned(),
            author: by.to_owned(),
            corrects: None,
            once: None,
            body,
        };
        Ok(self.keep(entry)?.number)
    }
}

fn weight(at_us: i64, body: &str) -> Option<Weight> {
    let body: serde_json::Value = serde_json::from_str(body).ok()?;
    Some(Weight {
        time: Timestamp::from_microsecond(at_us).ok(),
        t_s: 0.0,
        patient_kg: body["patient_kg"].as_f64(),
        u_kg: body["u_kg"].as_f64(),
        state: State::Settled,
    })
}

/// An event of the weigher as what came or went; faults, and events of other kinds, are none.
fn item(at_us: i64, body: &str) -> Option<ItemEvent> {
    let event: formats::events::Event = serde_json::from_str(body).ok()?;
    let (sign, item) = event.item()?;
    let time = Timestamp::from_microsecond(at_us).ok()?;
    (item.kg * sign > 0.0).then_some(ItemEvent { time, kg: item.kg, u_kg: item.u_kg, name: item.name })
}

#[cfg(test)]
mod tests {
    use weigh::{Event, EventKind};

    use super::*;
    use crate::testing;

    #[test]
    fn an_answer_that_is_put_right_is_kept_and_the_same_again_is_one() {
        let ward = testing::ward(&["A1"]);
        let time = testing::weighed_since_hours("A1", "p-1", &ward);
        let answer = |words: &str| ward.answer("p-1", time, "implausible-entry", words, "nurse").unwrap();
        let numbers = ["it was 90", "it was 90", "it was 900", "it was 90"].map(answer);
        assert!(numbers[0] == numbers[1] && numbers[1] < numbers[2] && numbers[2] < numbers[3], "{numbers:?}");
        let kept = ward.answered("p-1").unwrap();
        let words: Vec<&str> = kept.iter().map(|(_, a)| a.answer.as_str()).collect();
        assert_eq!(words, ["it was 90", "it was 900", "it was 90"]);
    }

    #[test]
    fn a_text_with_what_cannot_be_seen_is_refused_and_one_on_record_keeps_nothing_from_being_read() {
        let ward = testing::ward(&["A1"]);
        let time = testing::weighed_since_hours("A1", "p-1", &ward);
        let hostile = "line 1\nline 2 \u{1b}[31m";
        let act: records::ActionBody =
            serde_json::from_value(serde_json::json!({ "action": "hold", "note": hostile })).unwrap();
        let charted = |note: &str| records::ChartBody {
            time,
            direction: "output".to_owned(),
            route: "urine".to_owned(),
            volume_ml: 50.0,
            leaves_deck: true,
            note: note.to_owned(),
        };
        let refused = [
            ward.act("A1", "nurse", None, &act).unwrap_err(),
            ward.chart("p-1", "nurse", None, None, &charted(hostile)).unwrap_err(),
            ward.answer("p-1", time, "step", hostile, "nurse").unwrap_err(),
        ];
        for (refused, field) in refused.iter().zip(["note", "note", "answer"]) {
            let told = refused.to_string();
            assert!(told.starts_with(field) && told.contains("text without control characters"), "{told}");
            assert!(!told.contains('\u{1b}'), "it is told as it is: {told:?}");
        }
        // As a version kept it that took such texts.
        let old = [
            records::action_entry("A1", crate::clock::now_us(), "nurse", None, &act),
            records::chart_entry("p-1", "nurse", None, None, &charted(hostile)),
        ];
        ward.memory.keep(store::writer::Job { entries: old.to_vec(), ..store::writer::Job::default() }).unwrap();
        assert_eq!(ward.balance("p-1", None, Timestamp::now()).unwrap().chart[0].body.note, hostile);
        let again = ward.again();
        assert_eq!(again.bed("A1").unwrap().trouble().start, None);
    }

    #[test]
    fn what_the_weigher_says_of_a_pad_is_told_to_the_balance() {
        let event = |kind, kg, text: &str| {
            let (x_mm, y_mm, u_kg) = (None, None, Some(0.01));
            serde_json::to_string(&Event { t_s: 60.0, kind, kg, u_kg, x_mm, y_mm, text: text.into() }).unwrap()
        };
        let came = item(1_000_000, &event(EventKind::Added, Some(0.2), "0.20 kg came onto the deck (pad).")).unwrap();
        assert_eq!((came.kg, came.u_kg, came.name.as_str(), came.time.as_second()), (0.2, 0.01, "pad", 1));
        let left = item(2_000_000, &event(EventKind::Removed, Some(-0.5), "0.50 kg left the deck (pad).")).unwrap();
        assert_eq!((left.kg, left.name.as_str()), (-0.5, "pad"));
        assert_eq!(item(1, &event(EventKind::Turned, None, "The patient lies otherwise.")), None);
        assert_eq!(item(1, &event(EventKind::Removed, None, "A thing left.")), None);
        assert_eq!(item(1, r#"{ "fault": "lost", "cell": "A1" }"#), None);
    }
}
