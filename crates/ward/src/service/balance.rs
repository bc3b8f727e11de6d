//! A patient's balance, from what is on record.

use balance::{Answered, BalanceError, BalanceReport, Densities, Options};
use formats::patient::Plan;
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use store::entry::Kind;
use store::journal::{self, Query};

use super::Ward;
use crate::records::{self, Charted, RecordError};

/// What is taken into a balance at most: the last weeks.
const BACK_H: i64 = 24 * 28;

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
        let mut weights = Vec::new();
        for stay in self.memory.look(|tx| Ok(records::stays(tx, patient)))?? {
            let query = Query {
                chain: Some(stay.bed),
                kind: Some(Kind::Weight),
                from_us: Some(stay.from_us.max(from_us)),
                to_us: stay.to_us.into_iter().chain(to_us).min(),
                ..Query::default()
            };
            for entry in self.memory.look(|tx| journal::entries(tx, &query))? {
                weights.extend(weight(entry.new.at_us, &entry.new.body));
            }
        }
        weights.sort_by_key(|w| w.time);
        let first = weights.first().and_then(|w| w.time);
        for w in &mut weights {
            w.t_s = first.zip(w.time).map_or(0.0, |(first, t)| t.duration_since(first).as_secs_f64());
        }
        Ok(weights)
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
            answered: self.answered(patient)?,
            ..Options::default()
        };
        let report = balance::balance(&file, &weights, &entries, &options);
        Ok(Balanced { weights, chart, report })
    }

    fn answered(&self, patient: &str) -> Result<Vec<Answered>, RecordError> {
        let query =
            Query { chain: Some(records::patient_chain(patient)), kind: Some(Kind::Answer), ..Query::default() };
        let entries = self.memory.look(|tx| journal::entries(tx, &query))?;
        Ok(entries
            .iter()
            .filter_map(|e| {
                let body: serde_json::Value = serde_json::from_str(&e.new.body).ok()?;
                Some(Answered {
                    time: body["time"].as_str()?.parse().ok()?,
                    kind: body["kind"].as_str()?.to_owned(),
                    answer: body["answer"].as_str()?.to_owned(),
                })
            })
            .collect())
    }

    /// Answers an alert of a patient.
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
        if answer.trim().is_empty() || answer.chars().count() > 500 {
            return Err(RecordError::value("answer", format!("{answer:?}"), "1 to 500 characters"));
        }
        if kind.is_empty() || kind.chars().count() > super::ONCE_MOST {
            return Err(RecordError::value(
                "kind",
                format!("{} characters", kind.chars().count()),
                "the kind of an alert",
            ));
        }
        let body = serde_json::json!({ "time": time, "kind": kind, "answer": answer }).to_string();
        let entry = store::entry::NewEntry {
            chain: records::patient_chain(patient),
            at_us: crate::clock::now_us(),
            kind: Kind::Answer,
            subject: patient.to_owned(),
            author: by.to_owned(),
            corrects: None,
            once: Some(format!("answer {time} {kind}")),
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
