//! Drift over the checks of a body, and by when to calibrate again.
//!
//! A straight line of the values over time by least squares, and Student's t of its slope. With a deck: the term ends on the
//! first day on which the line, with twice its standard uncertainty, reaches a third of the permissible error of initial
//! verification at the body's load, a year after the last check at the latest, and at once where a chart has a signal. The
//! third and the year are those of a calibration's own term (`compare`): common practice, no source; where the law sets a
//! term, that term holds.

use super::CheckChart;
use crate::compare::{LONGEST_DAYS, SHARE_OF_MPE};
use deck::oiml::r76;
use formats::calibration::Due;
use formats::checks::Check;
use formats::deck::Deck;
use jiff::SignedDuration;
use serde::Serialize;
use stats::distribution::t_two_sided_p;
use stats::regression::{Fit, Variance, fit_rows};

/// Chance below which a drift counts as one.
const SIGNIFICANT: f64 = 0.01;
const SECONDS_OF_DAY: f64 = 86_400.0;
/// Days of the month that a pace is stated for.
const MONTH: f64 = 30.0;

/// Drift over all checks of a body.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Change in 30 days, g.
    pub per_30_days_g: f64,
    /// Its standard uncertainty, g.
    pub u_per_30_days_g: f64,
    /// Chance of such a slope if nothing drifts.
    pub p: f64,
    /// Whether it is more than chance explains.
    pub is_significant: bool,
}

fn days(own: &[&Check]) -> Vec<f64> {
    own.iter().map(|c| (c.time.as_second() - own[0].time.as_second()) as f64 / SECONDS_OF_DAY).collect()
}

fn line(own: &[&Check], chart: &CheckChart) -> Option<Fit> {
    let rows: Vec<[f64; 2]> = days(own).into_iter().map(|d| [1.0, d]).collect();
    let values: Vec<f64> = chart.points.iter().map(|p| p.value_g).collect();
    fit_rows(&rows, &values, None).ok().filter(|fit| fit.rank() == 2 && fit.degrees_of_freedom() > 0)
}

/// The drift; `None` where all checks are of one moment.
pub(super) fn trend(own: &[&Check], chart: &CheckChart) -> Option<Trend> {
    let fit = line(own, chart)?;
    let slope = fit.coefficient(1)?;
    let u = *fit.standard_errors(Variance::FromResiduals).ok()?.get(1)?;
    // Values that lie on a line to the last digit have no scatter to judge by.
    let p = if u > 0.0 { t_two_sided_p(slope / u, fit.degrees_of_freedom() as f64) } else { f64::from(slope == 0.0) };
    Some(Trend { per_30_days_g: MONTH * slope, u_per_30_days_g: MONTH * u, p, is_significant: p < SIGNIFICANT })
}

/// By when to calibrate again, and why; `None` where the time cannot be told.
pub(super) fn due(deck: &Deck, own: &[&Check], chart: &CheckChart) -> Option<Due> {
    let last = own.last()?;
    let after = |days: f64| {
        let on = last.time.checked_add(SignedDuration::from_secs((days * SECONDS_OF_DAY) as i64)).ok()?;
        Some(on.to_string().chars().take(10).collect::<String>())
    };
    if let Some(signal) = chart.signals.last() {
        let why = format!(
            "out of control on line {}: repeat the check, look for what happened, and calibrate if it stays",
            signal.line
        );
        return Some(Due { on: after(0.0)?, why });
    }
    let load_kg = chart.mass_kg.unwrap_or(chart.from_kg).max(0.0);
    let limit_g = SHARE_OF_MPE * r76::mpe_g(deck.class, deck.e_g, load_kg, false);
    let limit = format!("a third of the permissible error at {load_kg:.1} kg, {limit_g:.0} g");
    let no_drift = || format!("one year after the last check at most; the checks would not reach {limit} before");
    let Some(fit) = line(own, chart) else {
        return Some(Due { on: after(LONGEST_DAYS)?, why: "one year, for the checks span no time".into() });
    };
    let span = days(own).last().copied()?;
    let reaches = |ahead: f64| {
        let end = fit.estimate(&[1.0, span + ahead], Variance::FromResiduals).ok().flatten();
        end.is_none_or(|e| e.value.abs() + 2.0 * e.u >= limit_g)
    };
    let mut ahead = 0.0;
    while ahead < LONGEST_DAYS && !reaches(ahead) {
        ahead += 1.0;
    }
    let why = if ahead >= LONGEST_DAYS {
        no_drift()
    } else {
        let drift = chart.trend.map_or_else(String::new, |t| {
            format!(" ({:+.1} ± {:.1} g in 30 days)", t.per_30_days_g, t.u_per_30_days_g)
        });
        format!("the line through the checks{drift} with twice its uncertainty then reaches {limit}")
    };
    Some(Due { on: after(ahead)?, why })
}
