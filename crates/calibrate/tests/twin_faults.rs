//! Faults on the twin's bench, with all that its cells do: bow, hysteresis, creep, seats, temperature. The example `twin_decks`
//! is the same study over many runs.

use calibrate::{Options, calibrate};
use formats::calibration::FindingKind;
use formats::deck::Deck;
use twin::{BenchFault, BenchOptions, bench_run};

fn kinds(deck: &Deck, seed: u64, faults: Vec<BenchFault>) -> Vec<FindingKind> {
    let made = bench_run(deck, seed, &BenchOptions { faults, ..BenchOptions::default() }).unwrap();
    let found = calibrate(deck, &made.run, &Options::new("2031-01-01T00:00:00Z")).unwrap().findings;
    found.into_iter().map(|f| f.kind).collect()
}

/// A bow of 2 % of rated is forty times the data sheet. Where a load lifts the bent cell's corner, its line below no load is not
/// the parabola of its loads; such a row belongs all the same.
#[test]
fn a_bent_cell_is_named_and_no_row_is_blamed_for_it() {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    for (seed, cell) in deck.cells().map(|(_, c)| c.name.clone()).enumerate().step_by(3) {
        let found = kinds(&deck, seed as u64, vec![BenchFault::Nonlinear { cell: cell.clone(), pct: 2.0 }]);
        assert_eq!(found, [FindingKind::Nonlinear], "cell {cell}, seed {seed}");
    }
}

#[test]
fn each_other_fault_is_found_alone() {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
    let [a, b] = ["B1", "B2"].map(str::to_owned);
    let swapped = [FindingKind::Swapped; 2];
    for (fault, expected) in [
        (None, &[][..]),
        (Some(BenchFault::Reversed { cell: a.clone() }), &[FindingKind::Reversed][..]),
        (Some(BenchFault::Dead { cell: a.clone() }), &[FindingKind::Dead][..]),
        (Some(BenchFault::Swapped { cell: a.clone(), with: b }), &swapped[..]),
        (Some(BenchFault::Noisy { cell: a, times: 30.0 }), &[FindingKind::Noisy][..]),
        (Some(BenchFault::Outlier { reading: 7, kg: 0.3 }), &[FindingKind::Outlier][..]),
    ] {
        assert_eq!(kinds(&deck, 3, fault.clone().into_iter().collect()), expected, "{fault:?}");
    }
}
