//! Temperature terms on the twin's bench: found where cells have them and the room swings, kept nowhere else.

use calibrate::{Options, calibrate};
use formats::calibration::{Calibration, FitDetail, TermDetail};
use formats::deck::Deck;
use twin::bench::run::bench_run_of;
use twin::cell::CellSpread;
use twin::{BenchOptions, BenchRun, BuiltDeck};

/// Share by which counts for a kilogram rise for a degree.
const SPAN: f64 = 3e-4;

fn deck() -> Deck {
    formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap()
}

/// Straight, steady cells in a room that swings by ± `swing_c`; `warm`: zeros and gains go with temperature.
fn run(deck: &Deck, seed: u64, swing_c: f64, warm: bool) -> BenchRun {
    let spread = CellSpread::ideal();
    let mut built = BuiltDeck::build(deck, &spread, seed).unwrap();
    if warm {
        for (i, cell) in built.cells.iter_mut().enumerate() {
            cell.span_per_k = SPAN;
            // ± 0.5 to 2 g for a degree.
            cell.zero_newton_per_k = [0.005, -0.01, 0.02, -0.015][i % 4];
        }
    }
    let options = BenchOptions { spread, swing_c, ..BenchOptions::default() };
    bench_run_of(deck, &built, seed, &options).unwrap()
}

fn fitted(deck: &Deck, run: &BenchRun) -> Calibration {
    calibrate(deck, &run.run, &Options::new("2031-01-01T00:00:00Z")).unwrap()
}

fn detail(result: &Calibration) -> &FitDetail {
    result.detail.as_ref().unwrap()
}

fn term<'a>(result: &'a Calibration, name: &str) -> &'a TermDetail {
    detail(result).terms.iter().find(|t| t.term == name).unwrap()
}

#[test]
fn terms_that_cells_have_are_found_within_their_uncertainty() {
    let deck = deck();
    let (mut n, mut covered) = (0, 0);
    for seed in 1..=5 {
        let made = run(&deck, seed, 6.0, true);
        let result = fitted(&deck, &made);
        assert!(result.findings.is_empty(), "seed {seed}: {:?}", result.findings);
        let found = detail(&result);
        let mean_c = found.temperature_c.unwrap();
        assert!(term(&result, "temperature on zero").kept && term(&result, "temperature on span").kept);
        let (span, u_span) = (found.span_per_c.unwrap(), found.u_span_per_c.unwrap());
        assert!((span - SPAN).abs() < 4.0 * u_span && u_span < 0.1 * SPAN, "seed {seed}: {span} ± {u_span}");
        for ((line, more), truth) in result.cells.iter().zip(&found.cells).zip(&made.truth.cells) {
            let (zero, u_zero) = (more.zero_counts_per_c.unwrap(), more.u_zero_counts_per_c.unwrap());
            let off = (zero - truth.zero_counts_per_c).abs();
            // 90 of them: 4.5 u is passed by chance once in 1600 such tests.
            assert!(off < 4.5 * u_zero, "{}: {zero} ± {u_zero}, true {}", line.name, truth.zero_counts_per_c);
            // The truth is stated at 21 °C, the calibration at the mean of the run.
            let warmer = mean_c - 21.0;
            let k_true = truth.kg_per_count * (1.0 + SPAN * (21.0 - 20.0)) / (1.0 + SPAN * (mean_c - 20.0));
            let (k, u) = (line.kg_per_count.unwrap(), line.u_kg_per_count.unwrap());
            let z_true = truth.zero_counts + truth.zero_counts_per_c * warmer;
            let (z, u_z) = (line.zero_counts.unwrap(), line.u_zero_counts.unwrap());
            assert!((z - z_true).abs() < 4.5 * u_z, "{}: zero {z} ± {u_z}, true {z_true}", line.name);
            n += 1;
            covered += usize::from((k - k_true).abs() < 2.0 * u);
        }
    }
    // 90 gains, of which one mass is common to each 18: as perhaps 40 free ones, 95 ± 3.4 %; three times that.
    assert!(covered as f64 > 0.85 * f64::from(n), "{covered} of {n} gains within 2 u");
}

/// What the terms are for: without temperatures the same readings scatter by what temperature does, some 6 °C times 0.03 % of 20 kg.
#[test]
fn without_temperatures_the_same_run_scatters_more() {
    let deck = deck();
    let made = run(&deck, 1, 6.0, true);
    let with = fitted(&deck, &made);
    let mut blind = made.clone();
    blind.run.rows.iter_mut().for_each(|r| r.temperature_c = None);
    let without = fitted(&deck, &blind);
    assert!(without.residual_sd_g > 5.0 * with.residual_sd_g, "{} {}", without.residual_sd_g, with.residual_sd_g);
    assert!(term(&without, "temperature on zero").text.contains("does not say its temperature"));
    assert!(detail(&without).temperature_c.is_none() && detail(&without).span_per_c.is_none());
}

/// Chance 1e-3 over the zeros and 1e-3 for the span: 12 sound runs keep one in 42 such tests.
#[test]
fn cells_that_do_not_go_with_temperature_keep_no_term() {
    let deck = deck();
    for seed in 1..=12 {
        let result = fitted(&deck, &run(&deck, seed, 6.0, false));
        let kept: Vec<&str> = detail(&result).terms.iter().filter(|t| t.kept).map(|t| t.term.as_str()).collect();
        assert!(kept.is_empty(), "seed {seed}: {kept:?}");
        assert!(term(&result, "temperature on zero").p.is_some() && term(&result, "temperature on span").p.is_some());
        assert!(detail(&result).cells.iter().all(|c| c.zero_counts_per_c.is_none()));
    }
}

#[test]
fn a_steady_room_tells_nothing_of_temperature() {
    let deck = deck();
    let result = fitted(&deck, &run(&deck, 1, 0.15, true));
    for name in ["temperature on zero", "temperature on span"] {
        let term = term(&result, name);
        assert!(!term.kept && term.p.is_none() && term.text.contains("which tells nothing"), "{}", term.text);
    }
}

/// The file is read back as it was written.
#[test]
fn the_terms_are_in_the_file() {
    let deck = deck();
    let result = fitted(&deck, &run(&deck, 2, 6.0, true));
    let text = formats::calibration::write(&result);
    assert_eq!(formats::calibration::read("calibration.json", &text).unwrap(), result);
}
