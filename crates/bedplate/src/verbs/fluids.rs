//! `twin fluids`: many invented patients, charted and weighed, and what `balance` says of them against the truth.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;

use balance::{Alert, AlertKind, BalanceError, BalanceReport, Densities, Options, Removal};
use twin::fluid::trial::{AHEAD_H, Card, Case, HourSaid, Said, Tally, Told, draw, draw_without_loss, score};

use crate::cli::FluidsArgs;
use crate::failure::Failure;
use crate::output::{self, Outcome};
use crate::progress;
use crate::stop::Stop;

pub(crate) fn run(args: &FluidsArgs) -> Result<Outcome, Failure> {
    let n = args.patients.get();
    let threads = args.threads.count();
    let (next, cards) = (AtomicU64::new(0), Mutex::new(Vec::new()));
    let failure = Mutex::new(None);
    let (bar, stop) = (progress::bar(n, "living with the patients"), Stop::on_ctrl_c());
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while !stop.asked() {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= n {
                        return;
                    }
                    // A thread that panicked has told so; what the others hold is whole.
                    match card(args.seed, number) {
                        Ok(card) => cards.lock().unwrap_or_else(PoisonError::into_inner).push((number, card)),
                        Err(e) => *failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(e),
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    if let Some(failure) = failure.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(failure);
    }
    let mut cards = cards.into_inner().unwrap_or_else(PoisonError::into_inner);
    // Sums do not depend on which thread was first.
    cards.sort_by_key(|(number, _)| *number);
    let mut tally = Tally::default();
    cards.iter().for_each(|(_, card)| tally.add(card));
    let report = tally.report(args.seed);
    output::report(args.json, &report, report::text::fluids)?;
    Ok(Outcome::of(report.limits.iter().all(|limit| limit.met != Some(false))))
}

fn card(seed: u64, number: u64) -> Result<Card, Failure> {
    let asked = |case: &Case| ask(case).map_err(|e| Failure::Stage(format!("patient {number} of seed {seed}: {e}")));
    let case = draw(seed, number);
    let without = case.episode.map(|_| asked(&draw_without_loss(seed, number))).transpose()?;
    Ok(score(&case, &asked(&case)?, without.as_ref()))
}

fn ask(case: &Case) -> Result<Said, BalanceError> {
    let removals = case.pads_off.iter().map(|&time| Removal { time, fluid_g: None }).collect();
    let options = Options { removals, densities: Some(Densities::published()), ..Options::default() };
    Ok(said(case, &balance::balance(&case.patient, &case.weights, &case.chart, &options)?))
}

/// The stage's report in the words of the trial.
fn said(case: &Case, report: &BalanceReport) -> Said {
    let hour = |time: jiff::Timestamp| time.duration_since(case.start).as_secs_f64() / 3600.0;
    let near = |h: f64, wanted: usize| (h - wanted as f64).abs() < 0.5;
    let of_chart = |kind| {
        matches!(
            kind,
            AlertKind::UnexplainedLoss | AlertKind::UnexplainedGain | AlertKind::Step | AlertKind::ContradictedEntry
        )
    };
    let told = |alert: &Alert| Told { at_h: hour(alert.time), is_loss: alert.kind == AlertKind::UnexplainedLoss };
    let ahead = report.forecast.iter().find(|row| near(row.ahead_h, AHEAD_H));
    Said {
        hours: report
            .rows
            .iter()
            .map(|row| HourSaid {
                hour: hour(row.time).round() as usize,
                mass_kg: row.mass_kg,
                u_kg: row.u_kg,
                unexplained_ml: row.unexplained_ml,
                u_unexplained_ml: row.u_unexplained_ml,
            })
            .collect(),
        ahead_kg: ahead.map(|row| [row.mass_kg, row.low_kg, row.high_kg]),
        day_ml: report.windows.iter().find(|w| near(w.hours, 24)).map(|w| [w.charted_ml, w.fused_ml]),
        alerts: report.alerts.iter().filter(|alert| of_chart(alert.kind)).map(told).collect(),
    }
}
