//! What the ward does by itself: reduces old counts, raises alerts.

use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use store::entry::{Kind, NewEntry};
use store::readings;

use super::Ward;
use crate::records::{self, RecordError};

/// How often alerts are looked for.
const ALERTS_EVERY: Duration = Duration::from_secs(600);
/// How often old counts are looked for.
const REDUCE_EVERY: Duration = Duration::from_secs(3600);
const DAY_US: i64 = 24 * 3_600 * 1_000_000;

/// Works until the ward is closed.
pub async fn upkeep(ward: Arc<Ward>) {
    let (mut alerts, mut reduce) = (tokio::time::interval(ALERTS_EVERY), tokio::time::interval(REDUCE_EVERY));
    loop {
        let work: fn(&Ward) -> Result<(), RecordError> = tokio::select! {
            _ = alerts.tick() => raise_all,
            _ = reduce.tick() => reduce_all,
        };
        let ward = Arc::clone(&ward);
        let done = tokio::task::spawn_blocking(move || work(&ward)).await;
        match done {
            Ok(Err(error)) => tracing::error!(%error, "upkeep"),
            Err(error) => tracing::error!(%error, "upkeep"),
            Ok(Ok(())) => {}
        }
    }
}

fn reduce_all(ward: &Ward) -> Result<(), RecordError> {
    let before_us = crate::clock::now_us() - i64::from(ward.keep_counts_days) * DAY_US;
    for bed in ward.beds() {
        // Hour by hour, so that what beds bring meanwhile is kept between two of them.
        loop {
            let reduced = ward.memory.write(|tx| readings::reduce(tx, &bed.setup.bed, before_us))?;
            if reduced == readings::Reduced::default() {
                break;
            }
            tracing::debug!(bed = bed.setup.bed, ?reduced, "old counts reduced");
        }
    }
    Ok(())
}

/// Puts alerts of the balances on record, each once.
fn raise_all(ward: &Ward) -> Result<(), RecordError> {
    for bed in ward.beds() {
        let Some(stay) = bed.stay() else { continue };
        let balanced = ward.balance(&stay.patient, None, Timestamp::now())?;
        // Too little for a balance is no alert.
        let Ok(report) = balanced.report else { continue };
        for alert in report.alerts {
            let kind = alert.kind.word();
            let body = serde_json::json!({ "kind": kind, "time": alert.time, "text": alert.text }).to_string();
            ward.keep(NewEntry {
                chain: records::patient_chain(&stay.patient),
                at_us: alert.time.as_microsecond(),
                kind: Kind::Alert,
                subject: stay.patient.clone(),
                author: "balance".to_owned(),
                corrects: None,
                // The hour is enough: the estimate of the onset moves by minutes from look to look.
                once: Some(format!("alert {kind} {}", alert.time.as_second() / 3600)),
                body,
            })?;
        }
    }
    Ok(())
}
