//! What asks for a look, in words, with the evidence beside it.

use crate::estimate::{Fit, Record, seconds};
use crate::report::{Alert, AlertKind};

/// All alerts of a record, in order of time.
pub(crate) fn alerts(record: &Record, fit: &Fit) -> Vec<Alert> {
    let mut out = unexplained(record, fit);
    out.extend(steps(record, fit));
    out.extend(record.ledger.doubts.iter().map(|doubt| Alert {
        time: record.time(doubt.stamp_h),
        kind: AlertKind::ImplausibleEntry,
        text: format!("chart line {}: {}; it is counted, but the estimate does not rely on it", doubt.line, doubt.text),
    }));
    out.sort_by_key(|alert| alert.time);
    out
}

fn unexplained(record: &Record, fit: &Fit) -> Vec<Alert> {
    fit.watched
        .episodes
        .iter()
        .map(|episode| {
            let (kind, word) = if episode.total_g < 0.0 {
                (AlertKind::UnexplainedLoss, "less")
            } else {
                (AlertKind::UnexplainedGain, "more")
            };
            let rate = fit.watched.rate_g_h;
            let onset = seconds(record.time(episode.onset_h));
            let mut text = format!(
                "{:.0} ± {:.0} mL {word} than chart and expected loss of {rate:.0} mL/h explain, since about {onset} \
                 ({:.1} standard deviations)",
                episode.first_g.abs(),
                episode.first_u_g,
                episode.z
            );
            if episode.last_h > episode.found_h {
                let until = seconds(record.time(episode.last_h));
                text += &format!("; {:.0} mL by {until}", episode.total_g.abs());
            }
            Alert { time: record.time(episode.found_h), kind, text }
        })
        .collect()
}

fn steps(record: &Record, fit: &Fit) -> Vec<Alert> {
    let readings = &record.readings.readings;
    fit.screened
        .steps
        .iter()
        .filter(|step| step.size_g.abs() >= fit.limits.volume_g)
        .map(|step| {
            let after = readings[step.reading].t_h;
            let before = step.reading.checked_sub(1).map_or(after, |k| readings[k].t_h);
            let verb = if step.size_g < 0.0 { "fell" } else { "rose" };
            let text = format!(
                "weight {verb} by {:.0} ± {:.0} g at once between {} and {}, and stayed: fluid that is not charted, or \
                 something on or off the deck that was not registered",
                step.size_g.abs(),
                step.u_g,
                seconds(record.time(before)),
                seconds(record.time(after))
            );
            Alert { time: record.time(after), kind: AlertKind::Step, text }
        })
        .collect()
}
