//! Warm and cold: errors over the range, and zero from one temperature to the next.

use super::{Instrument, zero_corrected};
use crate::changeover::error_g;
use crate::error::VerifyError;
use crate::report::{Row, TestReport};
use crate::verdict::class_word;
use deck::oiml::r76;
use formats::tests::Test;

/// Readings within this are at one temperature, °C.
const SAME_TEMPERATURE_C: f64 = 0.5;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> Result<TestReport, VerifyError> {
    let e_g = instrument.e_g();
    let mut timed: Vec<(f64, &Test)> = Vec::new();
    for test in tests {
        let missing = VerifyError::Missing { line: test.line, test: "temperature", what: "temperature_C" };
        timed.push((test.temperature_c.ok_or(missing)?, test));
    }
    let mut rows = Vec::new();
    for (test, (error, corrected)) in tests.iter().zip(zero_corrected(instrument, tests)) {
        if test.load_kg > 0.0 {
            rows.push(Row::new(test, error, corrected, instrument.mpe_g(test.load_kg)).of("loaded: error"));
        }
    }
    let mut zeros: Vec<(f64, &Test)> = timed.iter().copied().filter(|(_, t)| t.load_kg == 0.0).collect();
    zeros.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Readings that lie closer together are of one temperature, and it is the first of them that the next is held against: many small steps make a large one.
    let mut colder = zeros.first().copied();
    for &(at_c, test) in &zeros {
        let Some((from_c, from)) = colder else { break };
        let change_c = at_c - from_c;
        if change_c >= SAME_TEMPERATURE_C {
            let error = error_g(test, e_g);
            let limit = r76::temperature_zero_limit_g(instrument.deck.class, e_g, change_c);
            let change_g = error - error_g(from, e_g);
            rows.push(Row::new(test, error, change_g, limit).of("no load: change since the next colder"));
            colder = Some((at_c, test));
        }
    }
    let judged = "error under load; without load the change of the indication since the next lower temperature";
    let mut report = TestReport::new("temperature", judged, rows);
    let [low, high] = instrument.deck.ambient_c;
    let coldest = timed.iter().map(|t| t.0).fold(f64::INFINITY, f64::min);
    let warmest = timed.iter().map(|t| t.0).fold(f64::NEG_INFINITY, f64::max);
    if coldest > low + SAME_TEMPERATURE_C || warmest < high - SAME_TEMPERATURE_C {
        report
            .gaps
            .push(format!("tested from {coldest:.1} to {warmest:.1} °C, the deck is for {low:.1} to {high:.1} °C"));
    }
    let (span_c, least_c) = (high - low, r76::temperature_span_c(instrument.deck.class));
    // A span of decimal figures may fall short by their rounding alone.
    if span_c < least_c - 1e-9 {
        let class = class_word(instrument.deck.class);
        // With the digits that were judged: 29.96 is not 30.
        let span_c = (span_c * 1e6).round() / 1e6;
        report.gaps.push(format!(
            "the deck is for {span_c} °C from cold to warm, class {class} asks for at least {least_c:.0} °C (3.9.2.2, memory)"
        ));
    }
    if zeros.len() < 2 {
        report.gaps.push("no two zero readings at different temperatures".to_owned());
    }
    Ok(report)
}
