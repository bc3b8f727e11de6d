//! A load left lying, and zero after it is taken off.

use super::{Instrument, about, same_load};
use crate::changeover::error_g;
use crate::error::VerifyError;
use crate::report::{Row, TestReport};
use deck::oiml::r76;
use formats::deck::AccuracyClass;
use formats::tests::Test;

/// A reading this near to a quarter of an hour under load stands for it, min.
const NEAR_QUARTER_MIN: f64 = 5.0;
/// A reading this much later than half an hour stands for it, min: whoever reads by hand is late, and what crept meanwhile counts.
const LATE_MIN: f64 = 5.0;

/// Change of the indication under load: within 0.5 e over the first 30 min and within 0.2 e from 15 to 30 min, or else
/// within the permissible error over 4 h. The reading nearest to 15 min and the first from 30 min on stand for those times.
pub(super) fn creep(instrument: Instrument, tests: &[&Test]) -> Result<TestReport, VerifyError> {
    let e_g = instrument.e_g();
    let mut timed: Vec<(f64, &Test)> = Vec::new();
    for test in tests {
        let missing = VerifyError::Missing { line: test.line, test: "creep", what: "minutes" };
        timed.push((test.minutes.ok_or(missing)?, test));
    }
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut rows = Vec::new();
    let mut gaps = Vec::new();
    while let Some((_, first)) = timed.first().copied() {
        let (series, rest): (Vec<_>, Vec<_>) =
            timed.into_iter().partition(|(_, t)| same_load(t.load_kg, first.load_kg, e_g) && t.plate == first.plate);
        timed = rest;
        judge_series(instrument, &series, &mut rows, &mut gaps);
    }
    let mut report = TestReport::new(
        "creep",
        "change of the indication since the load was put on (15 to 30 min: since 15 min)",
        rows,
    );
    if instrument.deck.class == AccuracyClass::I {
        gaps.push("the rule is for classes II to IIII".to_owned());
    }
    report.gaps.extend(gaps);
    Ok(report)
}

fn judge_series(instrument: Instrument, series: &[(f64, &Test)], rows: &mut Vec<Row>, gaps: &mut Vec<String>) {
    let e_g = instrument.e_g();
    let [half_hour_g, late_g] = r76::creep_limits_g(e_g);
    let (start_min, first) = series[0];
    let start_g = error_g(first, e_g);
    let lain = |minutes: f64| minutes - start_min;
    let last_min = series.last().map_or(0.0, |(m, _)| lain(*m));
    let half_hour = series.iter().map(|(m, _)| lain(*m)).find(|m| *m >= 30.0 - 1e-9);
    let until_min = half_hour.filter(|m| *m <= 30.0 + LATE_MIN + 1e-9).unwrap_or(30.0) + 1e-9;
    let off_quarter = |minutes: f64| (lain(minutes) - 15.0).abs();
    let quarter = series
        .iter()
        .filter(|(m, _)| off_quarter(*m) <= NEAR_QUARTER_MIN + 1e-9)
        .min_by(|a, b| off_quarter(a.0).total_cmp(&off_quarter(b.0)));
    let mut short = Vec::new();
    for (minutes, test) in series.iter().filter(|(m, _)| lain(*m) <= until_min) {
        let error = error_g(test, e_g);
        short.push(Row::new(test, error, error - start_g, half_hour_g).of("since the load was put on"));
        if let Some((_, at_quarter)) = quarter.filter(|(m, _)| minutes > m) {
            short.push(Row::new(test, error, error - error_g(at_quarter, e_g), late_g).of("since 15 min"));
        }
    }
    // The second way is open only where the load lay for 4 h.
    let long: Vec<Row> = series
        .iter()
        .map(|(_, t)| {
            Row::new(t, error_g(t, e_g), error_g(t, e_g) - start_g, instrument.mpe_g(t.load_kg)).of("over 4 h")
        })
        .collect();
    let needs_long = short.iter().any(|r| !r.passed) && last_min >= 240.0;
    match half_hour {
        None => gaps.push(format!("the load lay for {last_min:.0} min, 30 min are asked for")),
        Some(minutes) if minutes > until_min => {
            gaps.push(format!("no reading near 30 min: the first after it is of {minutes:.1} min"));
        }
        Some(_) => {}
    }
    if last_min >= 15.0 + NEAR_QUARTER_MIN && quarter.is_none() {
        gaps.push("no reading near 15 min".to_owned());
    }
    if !about(first.load_kg, instrument.deck.max_kg) {
        gaps.push(format!("{:.1} kg is not near Max", first.load_kg));
    }
    rows.extend(if needs_long { long } else { short });
}

/// Zero after half an hour under load, against zero before it (the first row), or against 0 where only one row stands.
pub(super) fn zero_return(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let e_g = instrument.e_g();
    let limit = r76::zero_return_limit_g(e_g);
    let unloaded: Vec<&&Test> = tests.iter().filter(|t| t.load_kg == 0.0).collect();
    let before_g = if unloaded.len() > 1 { error_g(unloaded[0], e_g) } else { 0.0 };
    let rows = unloaded.iter().map(|t| {
        let error = error_g(t, e_g);
        Row::new(t, error, error - before_g, limit)
    });
    let mut report = TestReport::new("zero_return", "zero after the load less zero before it", rows.collect());
    if let Some(minutes) = unloaded.last().and_then(|t| t.minutes).filter(|m| *m < 30.0 - 1e-9) {
        report.gaps.push(format!("the load lay for {minutes:.0} min, 30 min are asked for"));
    }
    if unloaded.len() < 2 {
        report.gaps.push("no zero before the load: the zero after it is held against 0".to_owned());
    }
    if !instrument.is_fine && unloaded.iter().any(|t| t.added_g.is_none()) {
        report.gaps.push(format!("a zero without a changeover point carries a rounding of ± {:.0} g", e_g / 2.0));
    }
    report
}
