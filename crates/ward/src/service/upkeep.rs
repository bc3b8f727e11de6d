//! What the ward does by itself: reduces old counts, raises alerts.

use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use store::readings;

use super::{Bed, Ward};
use crate::records::RecordError;

/// How often alerts are looked for.
const ALERTS_EVERY: Duration = Duration::from_secs(600);
/// How often old counts are looked for.
const REDUCE_EVERY: Duration = Duration::from_secs(3600);
const DAY_US: i64 = 24 * 3_600 * 1_000_000;

/// What is done at each bed.
type Work = fn(&Ward, &Bed) -> Result<(), RecordError>;

/// Works until the ward is closed.
pub async fn upkeep(ward: Arc<Ward>) {
    let (mut alerts, mut reduce) = (tokio::time::interval(ALERTS_EVERY), tokio::time::interval(REDUCE_EVERY));
    loop {
        let (what, work): (_, Work) = tokio::select! {
            _ = alerts.tick() => ("alerts", raise),
            _ = reduce.tick() => ("old counts", reduce_counts),
        };
        each_bed(&ward, what, work).await;
    }
}

/// Does a work at every bed by itself: a bed or a patient whose record cannot be read, or that makes the work panic, holds up no other.
async fn each_bed(ward: &Arc<Ward>, what: &'static str, work: Work) {
    for bed in ward.beds() {
        let (of, at) = (Arc::clone(ward), Arc::clone(bed));
        let why: Option<String> = match tokio::task::spawn_blocking(move || work(&of, &at)).await {
            Ok(Ok(())) => None,
            Ok(Err(error)) => Some(error.to_string()),
            Err(error) => Some(error.to_string()),
        };
        if let Some(why) = why {
            let patient = bed.stay().map(|stay| stay.patient);
            tracing::error!(why, what, bed = bed.setup.bed, patient, "upkeep of a bed");
        }
    }
}

fn reduce_counts(ward: &Ward, bed: &Bed) -> Result<(), RecordError> {
    reduce_at(ward, bed, crate::clock::now_us())
}

/// What a bed brought longer ago than counts are kept becomes minutes. Its age is that beside the bed's newest weight where the clock says
/// more: a machine that starts a year ahead, before its clock is set, must not take yesterday's counts for old ones.
fn reduce_at(ward: &Ward, bed: &Bed, now_us: i64) -> Result<(), RecordError> {
    let newest_us = ward.memory.look(|tx| readings::newest_us(tx, &bed.setup.bed))?.unwrap_or(now_us);
    let before_us = now_us.min(newest_us) - i64::from(ward.keep_counts_days) * DAY_US;
    // Hour by hour, so that what beds bring meanwhile is kept between two of them.
    loop {
        let reduced = ward.memory.write(|tx| readings::reduce(tx, &bed.setup.bed, before_us))?;
        if reduced == readings::Reduced::default() {
            return Ok(());
        }
        tracing::debug!(bed = bed.setup.bed, ?reduced, "old counts reduced");
    }
}

/// Puts what the balance of who lies in a bed asks to look at on record.
fn raise(ward: &Ward, bed: &Bed) -> Result<(), RecordError> {
    bed.stay().map_or(Ok(()), |stay| ward.raise(&stay.patient, Timestamp::now()))
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;
    use crate::testing;

    #[tokio::test]
    async fn a_patient_whose_record_cannot_be_balanced_holds_up_nobodys_alerts() {
        let ward = testing::ward(&["A1", "A2", "A3"]);
        for (bed, patient) in [("A1", "p-1"), ("A2", "p-2"), ("A3", "p-3")] {
            let hour = testing::weighed_since_hours(bed, patient, &ward);
            testing::chart(patient, hour + SignedDuration::from_mins(5), 6_000.0, &ward);
        }
        testing::spoil_chart("p-2", &ward);
        assert!(ward.balance("p-2", None, Timestamp::now()).is_err(), "the scene proves nothing");
        each_bed(&ward, "alerts", raise).await;
        for (patient, many) in [("p-1", 1), ("p-2", 0), ("p-3", 1)] {
            let doubted = testing::alerts(patient, &ward);
            let doubted = doubted.iter().filter(|body| body["kind"] == "implausible-entry").count();
            assert_eq!(doubted, many, "{patient}");
        }
    }

    #[test]
    fn a_clock_that_stands_ahead_makes_no_counts_old() {
        let ward = testing::ward(&["A1"]);
        let bed = ward.bed("A1").unwrap();
        let now_us = crate::clock::now_us();
        let reading = |at_us| readings::Reading {
            bed: "A1".to_owned(),
            at_us,
            kg: Some(70.0),
            u_kg: Some(0.02),
            state: "settled".to_owned(),
        };
        // Counts are kept for one day here.
        let kept = [reading(now_us - 3 * DAY_US), reading(now_us - DAY_US / 2), reading(now_us)];
        ward.memory.write(|tx| readings::keep(tx, &kept)).unwrap();
        let left = || ward.memory.look(|tx| readings::readings(tx, "A1", 0, i64::MAX)).unwrap().len();
        reduce_at(&ward, bed, now_us + 365 * DAY_US).unwrap();
        assert_eq!(left(), 2, "only what is old beside the newest weight went");
        reduce_at(&ward, bed, now_us).unwrap();
        assert_eq!(left(), 2);
    }

    #[tokio::test]
    async fn a_bed_at_which_the_work_panics_holds_up_no_other() {
        let ward = testing::ward(&["A1", "A2"]);
        each_bed(&ward, "a test", |ward, bed| {
            assert_ne!(bed.setup.bed, "A1", "on purpose");
            testing::weighed_since_hours("A2", "p-2", ward);
            Ok(())
        })
        .await;
        assert!(ward.bed("A2").unwrap().stay().is_some());
    }
}
