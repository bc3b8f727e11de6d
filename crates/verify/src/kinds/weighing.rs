//! Loads over the range, up and down.

use super::{Instrument, about, rows_within_mpe};
use crate::changeover::{error_g, gives_zero_error};
use crate::report::{Row, TestReport};
use deck::oiml::r76;
use formats::tests::Test;

pub(super) fn judge(instrument: Instrument, tests: &[&Test]) -> TestReport {
    let mut rows = rows_within_mpe(instrument, tests);
    // A weighing test has one E0, at its start: zero readings on the way down are test loads like the others.
    if let Some(first) = tests.iter().find(|t| gives_zero_error(t, instrument.e_g(), instrument.is_fine)) {
        let zero_error = error_g(first, instrument.e_g());
        let again = |t: &&Test| {
            let error = error_g(t, instrument.e_g());
            Row::new(t, error, error - zero_error, instrument.mpe_g(t.load_kg))
        };
        rows = tests.iter().map(again).collect();
    }
    let mut before_kg = 0.0;
    for row in &mut rows {
        row.part = if row.load_kg < before_kg { "loads taken off" } else { "loads put on" };
        before_kg = row.load_kg;
    }
    let mut report = TestReport::new(
        "weighing",
        "error less the error at zero, where a changeover point or a fine indication gave that",
        rows,
    );
    report.gaps.extend(gaps(instrument, tests));
    report
}

fn gaps(instrument: Instrument, tests: &[&Test]) -> Vec<String> {
    let mut gaps = Vec::new();
    let deck = instrument.deck;
    let loads: Vec<f64> = tests.iter().map(|t| t.load_kg).filter(|kg| *kg > 0.0).collect();
    let mut distinct = loads.clone();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup_by(|a, b| (*a - *b).abs() <= 1e-4 * deck.e_g);
    if distinct.len() < 5 {
        gaps.push(format!(
            "{} different loads, at least 5 are asked for (10 for the initial intrinsic error)",
            distinct.len()
        ));
    }
    let mut wanted = vec![(deck.max_kg, "Max")];
    wanted.extend(instrument.min_kg().map(|kg| (kg, "Min")));
    wanted.extend(
        r76::mpe_steps_kg(deck.class, deck.e_g, deck.max_kg)
            .into_iter()
            .map(|kg| (kg, "a step of the permissible error")),
    );
    for (kg, name) in wanted {
        if !distinct.iter().any(|load| about(*load, kg)) {
            gaps.push(format!("no load near {kg:.3} kg, {name}"));
        }
    }
    let goes_down = loads.windows(2).any(|pair| pair[1] < pair[0]);
    if !goes_down {
        gaps.push("loads go up only, the test goes up and down".to_owned());
    }
    if !instrument.is_fine && tests.iter().all(|t| t.added_g.is_none()) {
        gaps.push(format!(
            "no changeover points: errors carry the rounding of the display, ± {:.0} g",
            instrument.e_g() / 2.0
        ));
    }
    gaps
}
