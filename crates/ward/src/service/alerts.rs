//! Alerts of the balances, put on record each once.
//!
//! An alert found again on a longer record stands a little elsewhere: by the balance's own rule it is the same where its kind is the
//! same and its time within [`SAME_ALERT_H`]. One that is about an entry of the chart is the same where the entry is.

use balance::{Alert, BalanceReport, SAME_ALERT_H};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use store::entry::{Kind, NewEntry};
use store::journal::{self, Query};

use super::Ward;
use crate::records::{self, RecordError};

/// An alert as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Told {
    kind: String,
    time: Timestamp,
    text: String,
    /// Number of the entry of the chart that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    entry: Option<usize>,
}

impl Told {
    fn of(alert: &Alert) -> Self {
        Self { kind: alert.kind.word().to_owned(), time: alert.time, text: alert.text.clone(), entry: alert.line }
    }

    fn is(&self, alert: &Alert) -> bool {
        let apart_h = self.time.duration_since(alert.time).as_secs_f64().abs() / 3600.0;
        let is_same = match (self.entry, alert.line) {
            (Some(entry), Some(line)) => entry == line,
            // Kept before alerts named their entry: an entry's time is its own, and does not wander.
            (None, Some(_)) => self.time == alert.time,
            _ => apart_h <= SAME_ALERT_H,
        };
        is_same && self.kind == alert.kind.word()
    }

    /// What marks it, so that it is kept once, however often it is handed in.
    fn mark(&self) -> String {
        let which = self.entry.map_or_else(|| self.time.as_microsecond().to_string(), |n| format!("entry {n}"));
        format!("alert {} {which}", self.kind)
    }
}

/// The alerts that are not on record, each of which stands for one alert at most.
fn new_ones(report: &BalanceReport, mut on_record: Vec<Told>) -> Vec<Told> {
    let answered = report.answered.iter().map(|answered| &answered.alert);
    let mut alerts: Vec<&Alert> = report.alerts.iter().chain(answered).collect();
    // Both in the order of time, each alert is the earliest that it can be: so as few as can be are new.
    alerts.sort_by_key(|alert| alert.time);
    on_record.sort_by_key(|told| told.time);
    let mut is_new = |alert: &&Alert| match on_record.iter().position(|told| told.is(alert)) {
        Some(place) => {
            on_record.remove(place);
            false
        }
        None => true,
    };
    alerts.into_iter().filter(|alert| is_new(alert)).map(Told::of).collect()
}

impl Ward {
    /// Puts on record what the balance of a patient asks to look at.
    pub(super) fn raise(&self, patient: &str, now: Timestamp) -> Result<(), RecordError> {
        let balanced = self.balance(patient, None, now)?;
        // Too little for a balance is no alert.
        let Ok(report) = balanced.report else { return Ok(()) };
        let chain = records::patient_chain(patient);
        let query = Query { chain: Some(chain.clone()), kind: Some(Kind::Alert), ..Query::default() };
        let entries = self.memory.look(|tx| journal::entries(tx, &query))?;
        // What a later version kept in another form is none that this one could raise.
        let on_record = entries.iter().filter_map(|entry| serde_json::from_str(&entry.new.body).ok()).collect();
        for told in new_ones(&report, on_record) {
            self.keep(NewEntry {
                chain: chain.clone(),
                at_us: told.time.as_microsecond(),
                kind: Kind::Alert,
                subject: patient.to_owned(),
                author: "balance".to_owned(),
                corrects: None,
                once: Some(told.mark()),
                body: serde_json::to_string(&told).unwrap_or_default(),
            })?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;
    use crate::testing;

    #[test]
    fn two_doubted_entries_of_one_clock_hour_are_two_alerts_and_each_is_told_once() {
        let ward = testing::ward(&["A1"]);
        let hour = testing::weighed_since_hours("A1", "p-1", &ward);
        for minutes in [5, 40] {
            testing::chart("p-1", hour + SignedDuration::from_mins(minutes), 6_000.0, &ward);
        }
        for _ in 0..2 {
            ward.raise("p-1", Timestamp::now()).unwrap();
        }
        let told = testing::alerts("p-1", &ward);
        let doubted: Vec<_> = told.iter().filter(|body| body["kind"] == "implausible-entry").collect();
        assert_eq!(doubted.len(), 2, "{told:?}");
        assert_ne!(doubted[0]["entry"], doubted[1]["entry"]);
    }

    #[test]
    fn an_alert_that_wanders_over_an_hours_end_is_one_and_two_of_an_hour_are_two() {
        let ward = testing::ward(&["A1"]);
        testing::weighed_since_hours("A1", "p-1", &ward);
        let mut report = ward.balance("p-1", None, Timestamp::now()).unwrap().report.unwrap();
        let found = |time: &str| Alert {
            time: time.parse().unwrap(),
            kind: balance::AlertKind::UnexplainedLoss,
            text: "less than the chart explains".to_owned(),
            line: None,
        };
        report.alerts = vec![found("2031-03-01T10:58:00Z")];
        let first = new_ones(&report, Vec::new());
        assert_eq!(first.len(), 1);
        report.alerts = vec![found("2031-03-01T11:01:00Z")];
        assert_eq!(new_ones(&report, first.clone()), []);
        report.alerts = vec![found("2031-03-01T10:40:00Z"), found("2031-03-01T11:05:00Z")];
        assert_eq!(new_ones(&report, first.clone()).len(), 1, "one on record stands for one");
        report.alerts = vec![found("2031-03-01T12:01:00Z")];
        assert_eq!(new_ones(&report, first).len(), 1);
    }
}
