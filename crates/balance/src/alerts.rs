//! What asks for a look, in words, with the evidence beside it.

use formats::patient::PatientFile;

use crate::clinical::overload::{band_pct, weight_pct};
use crate::contradict::Slip;
use crate::core::{WEEP, body};
use crate::estimate::{Fit, Record, Z95, seconds};
use crate::options::Answered;
use crate::report::{Alert, AlertKind, AnsweredAlert, Row, Window};

/// A change of 1 % of the weight must stay tellable with 95 % from two looks: the standard deviation of one
/// is at most 1 %/(1.96 √2).
const LOOK_SHARE: f64 = 0.01 / (Z95 * std::f64::consts::SQRT_2);
/// A day without a weight is told, however sure the chart is: weights are checked daily (common practice, no source).
const UNCHECKED_H: f64 = 24.0;
/// The mass is off the plan when it lies this far from it after a day, mL/kg: 1 % overload.
const OFF_PLAN_ML_KG: f64 = 10.0;

/// All alerts of a record, in order of time.
pub(crate) fn alerts(file: &PatientFile, record: &Record, fit: &Fit, rows: &[Row], windows: &[Window]) -> Vec<Alert> {
    let mut out = unexplained(record, fit);
    out.extend(steps(record, fit));
    out.extend(contradicted(record, fit));
    out.extend(record.ledger.doubts.iter().map(|doubt| Alert {
        time: record.time(doubt.stamp_h),
        kind: AlertKind::ImplausibleEntry,
        text: format!("chart line {}: {}; {}", doubt.line, doubt.text, consequence(doubt.counted)),
        line: Some(doubt.line),
    }));
    out.extend(overload(file, rows));
    out.extend(not_checked(record, fit));
    out.extend(off_plan(file, record, fit, windows));
    out.sort_by_key(|alert| alert.time);
    out
}

/// An alert found again on a longer record may stand this far from where it stood, h: its answer still holds.
pub const SAME_ALERT_H: f64 = 1.0;

/// Parts the alerts into those still open and those answered; an answer that fits none is told in a note. An answer is one alert's: that of its time, or
/// else the nearest of its kind that has none.
pub(crate) fn part(
    alerts: Vec<Alert>,
    answers: &[Answered],
    notes: &mut Vec<String>,
) -> (Vec<Alert>, Vec<AnsweredAlert>) {
    let apart_s = |alert: &Alert, answer: &Answered| alert.time.duration_since(answer.time).as_secs_f64().abs();
    let mut given: Vec<Option<&Answered>> = vec![None; alerts.len()];
    let mut nearest = |answer, within_s: f64, may_replace: bool| {
        let fits = |(i, alert): (usize, &Alert)| {
            let apart_s = apart_s(alert, answer);
            let is_free = may_replace || given[i].is_none();
            (alert.kind.word() == answer.kind && apart_s <= within_s && is_free).then_some((
                i,
                apart_s,
                given[i].is_some(),
            ))
        };
        // Of two of one time, that which has no answer.
        let found = alerts.iter().enumerate().filter_map(fits);
        let at = found.min_by(|a, b| a.1.total_cmp(&b.1).then(a.2.cmp(&b.2))).map(|(i, ..)| i);
        if let Some(at) = at {
            given[at] = Some(answer);
        }
        at.is_some()
    };
    // Times are written to the second.
    let moved: Vec<&Answered> = answers.iter().filter(|answer| !nearest(answer, 1.0, true)).collect();
    for answer in moved {
        if !nearest(answer, 3600.0 * SAME_ALERT_H, false) {
            notes.push(format!("the answer to {} at {} fits no alert of this record", answer.kind, answer.time));
        }
    }
    let (mut open, mut answered) = (Vec::new(), Vec::new());
    for (alert, answer) in alerts.into_iter().zip(given) {
        match answer {
            Some(answer) => answered.push(AnsweredAlert { alert, answer: answer.answer.clone() }),
            None => open.push(alert),
        }
    }
    (open, answered)
}

fn consequence(counted: bool) -> &'static str {
    if counted { "it is counted, but the estimate does not rely on it" } else { "it counts in no total" }
}

fn unexplained(record: &Record, fit: &Fit) -> Vec<Alert> {
    fit.watched
        .episodes
        .iter()
        .flat_map(|episode| {
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
            let again = episode.doubled.iter().map(move |&(at_h, g)| Alert {
                time: record.time(at_h),
                kind,
                text: format!(
                    "{:.0} mL {word} by now than chart and expected loss explain, since about {onset}: it goes on",
                    g.abs()
                ),
                line: None,
            });
            std::iter::once(Alert { time: record.time(episode.found_h), kind, text, line: None })
                .chain(again)
                .collect::<Vec<_>>()
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
            Alert { time: record.time(after), kind: AlertKind::Step, text, line: None }
        })
        .collect()
}

fn contradicted(record: &Record, fit: &Fit) -> Vec<Alert> {
    fit.contradictions
        .iter()
        .map(|found| {
            let flow = &record.ledger.flows[found.flow];
            let entry = &record.ledger.entries[flow.entry_idx];
            let guess = match found.slip {
                Slip::Twice => "a like entry stands close by: written twice?",
                Slip::Unseen => "not given, or at another time?",
                Slip::WrongSide => "intake and output exchanged?",
                Slip::SlippedPoint => "ten times too large?",
                Slip::Litres => "litres written as millilitres?",
                Slip::Little => "not given, at another time, or ten times too large?",
            };
            let text = format!(
                "chart line {} says {:+.0} mL, the deck saw {:+.0} ± {:.0} g: {guess} It is counted, but the estimate \
                 does not rely on it",
                entry.line, flow.signed_ml, found.seen_g, found.u_g
            );
            Alert { time: record.time(flow.stamp_h), kind: AlertKind::ContradictedEntry, text, line: Some(entry.line) }
        })
        .collect()
}

/// Each band once, at the first row that reaches it.
fn overload(file: &PatientFile, rows: &[Row]) -> Vec<Alert> {
    let Some(admission_kg) = file.patient.admission_kg else { return Vec::new() };
    let mut out = Vec::new();
    let mut reached = 0.0;
    for row in rows {
        let percent = weight_pct(row.mass_kg, admission_kg);
        let Some(band) = band_pct(percent).filter(|band| *band > reached) else { continue };
        reached = band;
        out.push(Alert {
            time: row.time,
            kind: AlertKind::Overload,
            text: format!(
                "overload of {percent:.1} ± {:.1} % of the admission weight {admission_kg:.1} kg has reached {band:.0} %",
                100.0 * row.u_kg / admission_kg
            ),
            line: None,
        });
    }
    out
}

/// Once a gap: no weight for a day, or for so long that a change of 1 % of the weight would no longer be told.
fn not_checked(record: &Record, fit: &Fit) -> Vec<Alert> {
    let limit_g = 1000.0 * LOOK_SHARE * record.weight_kg;
    let mut out = Vec::new();
    let mut last_weight_h: Option<f64> = None;
    let mut told = false;
    for (node, state) in fit.built.grid.nodes.iter().zip(&fit.filtered) {
        let g = body();
        let u_g = g.dot(&(state.p * g)).max(0.0).sqrt();
        if let Some(since_h) = last_weight_h.filter(|_| !told).map(|last_h| node.t_h - last_h)
            && (since_h >= UNCHECKED_H || since_h > 1.0 && u_g > limit_g)
        {
            told = true;
            let than = if u_g > limit_g { "more" } else { "by the chart, still less" };
            out.push(Alert {
                time: record.time(node.t_h),
                kind: AlertKind::WeightNotChecked,
                text: format!(
                    "no settled weight for {since_h:.0} h: the mass is known to ± {u_g:.0} g (standard uncertainty), \
                     {than} than the {limit_g:.0} g that tell 1 % of the weight"
                ),
                line: None,
            });
        }
        if node.observation.is_some() {
            last_weight_h = Some(node.t_h);
            told = false;
        }
    }
    out
}

/// The last day against the plan's rates and the patient's own loss.
fn off_plan(file: &PatientFile, record: &Record, fit: &Fit, windows: &[Window]) -> Option<Alert> {
    let plan = file.plan?;
    let day = windows.iter().find(|window| record.is_last_day(window))?;
    let lost = fit.watched.rate_g_h + fit.end.a[WEEP];
    let net = plan.intake_ml_h - plan.output_ml_h - plan.ultrafiltration_ml_h - lost;
    let apart_ml = day.fused_ml - net * day.hours;
    let limit_ml =
        (OFF_PLAN_ML_KG * record.weight_kg).max(Z95 * day.u_fused_ml.hypot(day.hours * fit.watched.rate_u_g_h));
    (apart_ml.abs() > limit_ml).then(|| Alert {
        time: record.time(record.span.end_h),
        kind: AlertKind::OffPlan,
        text: format!(
            "the last {:.0} h brought {:+.0} mL, the plan's rates less {:.0} mL/h of insensible loss would bring {:+.0}: \
             {apart_ml:+.0} off it",
            day.hours,
            day.fused_ml,
            lost,
            net * day.hours
        ),
        line: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_is_one_alerts() {
        let at = |minute: i64| jiff::Timestamp::UNIX_EPOCH + jiff::SignedDuration::from_mins(minute);
        let alert = |minute, line| Alert {
            time: at(minute),
            kind: AlertKind::ImplausibleEntry,
            text: String::new(),
            line: Some(line),
        };
        let answer =
            |minute, words: &str| Answered { time: at(minute), kind: "implausible-entry".into(), answer: words.into() };
        let alerts = || vec![alert(5, 1), alert(40, 2), alert(300, 3)];
        let part_of = |alerts: Vec<Alert>, answers: &[Answered]| {
            let mut notes = Vec::new();
            let (open, answered) = part(alerts, answers, &mut notes);
            let answered: Vec<(usize, String)> =
                answered.into_iter().map(|a| (a.alert.line.unwrap(), a.answer)).collect();
            (open.iter().filter_map(|a| a.line).collect::<Vec<_>>(), answered, notes.len())
        };
        let parted = |answers: &[Answered]| part_of(alerts(), answers);
        assert_eq!(parted(&[answer(5, "it was 90")]), (vec![2, 3], vec![(1, "it was 90".into())], 0));
        // The alert has moved a little on the longer record; another answer of its hour stays with the other one.
        let moved = parted(&[answer(40, "two bags"), answer(12, "it was 90")]);
        assert_eq!(moved, (vec![3], vec![(1, "it was 90".into()), (2, "two bags".into())], 0));
        // Said twice, the later word holds; what fits nothing is told.
        let again = parted(&[answer(5, "first"), answer(5, "second"), answer(200, "of nothing")]);
        assert_eq!(again, (vec![2, 3], vec![(1, "second".into())], 1));
        // Two doubted entries that were charted for one minute: each has its answer.
        let both = part_of(vec![alert(5, 1), alert(5, 2)], &[answer(5, "it was 90"), answer(5, "two bags")]);
        assert_eq!(both, (vec![], vec![(1, "it was 90".into()), (2, "two bags".into())], 0));
    }
}
