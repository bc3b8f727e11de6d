//! One load many times.

use super::{Instrument, about, same_load, zero_corrected};
use crate::report::{Row, TestReport};
use formats::deck::AccuracyClass;
use formats::tests::Test;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let e_g = instrument.e_g();
    let errors = zero_corrected(instrument, tests);
    let series = series(tests, e_g);
    let mut rows = Vec::with_capacity(tests.len());
    for (i, test) in tests.iter().enumerate() {
        let (error, corrected) = errors[i];
        let of_series = || (0..tests.len()).filter(|&j| series[j] == series[i]).map(|j| errors[j].1);
        let lowest = of_series().fold(f64::INFINITY, f64::min);
        let limit = instrument.mpe_g(test.load_kg);
        let mut row = Row::new(test, error, corrected - lowest, limit);
        // Whatever the spread, no single weighing may err by more (3.6).
        row.passed &= Row::new(test, error, corrected, limit).passed;
        rows.push(row);
    }
    let single: Vec<usize> = tests
        .iter()
        .zip(&errors)
        .filter(|(t, (error, judged))| !Row::new(t, *error, *judged, instrument.mpe_g(t.load_kg)).passed)
        .map(|(t, _)| t.line)
        .collect();
    let mut report = TestReport::new("repeatability", "difference from the lowest weighing of the same load", rows);
    if !single.is_empty() {
        let lines: Vec<String> = single.iter().map(ToString::to_string).collect();
        report.gaps.push(format!("the error itself is beyond its limit in line {}", lines.join(", ")));
    }
    report.gaps.extend(gaps(instrument, tests, &series));
    report
}

/// Number of each row's series: the index of the first row of the same load on the same plate.
fn series(tests: &[&Test], e_g: f64) -> Vec<usize> {
    tests
        .iter()
        .map(|test| {
            let same = |other: &&Test| same_load(other.load_kg, test.load_kg, e_g) && other.plate == test.plate;
            tests.iter().position(same).unwrap_or_default()
        })
        .collect()
}

fn gaps(instrument: Instrument, tests: &[&Test], series: &[usize]) -> Vec<String> {
    let wanted = match instrument.deck.class {
        AccuracyClass::I | AccuracyClass::II => 6,
        AccuracyClass::III | AccuracyClass::IIII => 3,
    };
    let mut gaps = Vec::new();
    for (first, test) in tests.iter().enumerate() {
        let n = series.iter().filter(|s| **s == first).count();
        if test.load_kg > 0.0 && (1..wanted).contains(&n) {
            gaps.push(format!("{n} weighings of {:.3} kg, at least {wanted} are asked for", test.load_kg));
        }
    }
    let near = 0.8 * instrument.deck.max_kg;
    if !tests.iter().any(|t| about(t.load_kg, near)) {
        gaps.push(format!("no series near {near:.1} kg, 0.8 of Max"));
    }
    gaps
}
