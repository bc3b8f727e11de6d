//! One load on each support.

use super::{Instrument, rows_within_mpe};
use crate::report::TestReport;
use deck::oiml::r76;
use formats::tests::Test;

/// A load this share from the prescribed one still counts as it.
const LOAD_TOLERANCE: f64 = 0.2;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let rows = rows_within_mpe(instrument, tests);
    let mut report = TestReport::new(
        "eccentricity",
        "error less the last error at zero, where a changeover point or a fine indication gave that",
        rows,
    );
    report.gaps.extend(gaps(instrument, tests));
    report
}

fn gaps(instrument: Instrument, tests: &[&Test]) -> Vec<String> {
    let deck = instrument.deck;
    let mut gaps = Vec::new();
    let loaded: Vec<&&Test> = tests.iter().filter(|t| t.load_kg > 0.0).collect();
    let bare: Vec<&str> = deck
        .plates
        .iter()
        .map(|p| p.name.as_str())
        .filter(|name| !loaded.iter().any(|t| t.plate.as_deref() == Some(name)))
        .collect();
    if !bare.is_empty() {
        gaps.push(format!("no load on plate {}", bare.join(", ")));
    }
    let n_supports = deck.cells().count();
    if loaded.len() < n_supports {
        gaps.push(format!("{} loadings for {n_supports} supports, each is asked for", loaded.len()));
    }
    let wanted = r76::eccentricity_load_kg(deck.max_kg, n_supports);
    let far = loaded.iter().filter(|t| (t.load_kg - wanted).abs() > LOAD_TOLERANCE * wanted).count();
    if far > 0 {
        gaps.push(if n_supports > 4 {
            format!("{far} loads are not near {wanted:.2} kg, 1/(n − 1) of Max for {n_supports} supports")
        } else {
            format!("{far} loads are not near {wanted:.2} kg, a third of Max for {n_supports} supports")
        });
    }
    gaps
}
