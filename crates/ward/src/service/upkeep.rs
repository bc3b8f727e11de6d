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
    let before_us = crate::clock::now_us() - i64::from(ward.keep_counts_days) * DAY_US;
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
