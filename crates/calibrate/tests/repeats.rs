//! The lack-of-fit test: silent without repeats, fair with them, and sharp where a cell is not straight.

mod common;

use calibrate::{Options, calibrate};
use common::{Simulation, World};
use formats::run::Run;

/// A run in which every row on a plate is read three times.
fn repeated_run(sim: &mut Simulation) -> Run {
    let mut run = sim.run();
    for _ in 0..2 {
        for p in 0..sim.deck.plates.len() {
            for at in [(0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.8, 0.8), (0.2, 0.8), (0.5, 0.2), (0.5, 0.8)] {
                sim.known(&mut run, p, at);
            }
        }
    }
    run
}

fn p_value(sim: &Simulation, run: &Run) -> Option<f64> {
    calibrate(&sim.deck, run, &Options::new("2030-01-01T00:00:00Z")).unwrap().lack_of_fit_p
}

#[test]
fn without_repeats_there_is_no_test() {
    let mut sim = Simulation::random(1, World::PLAIN);
    let run = sim.run();
    assert_eq!(p_value(&sim, &run), None);
}

#[test]
fn sound_decks_seldom_lack_fit() {
    let low = (0..100)
        .filter(|&seed| {
            let mut sim = Simulation::random(seed, World::PLAIN);
            let run = repeated_run(&mut sim);
            p_value(&sim, &run).unwrap() < 0.05
        })
        .count();
    // 5 expected; a binomial law of 100 and 0.05 goes beyond 12 once in 700.
    assert!(low <= 12, "{low} of 100 below 0.05");
}

/// 0.5 % of rated output at mid-range in every cell: every plate bends alike, so that no single cell is singled out.
#[test]
fn decks_of_curved_cells_lack_fit() {
    let low = (0..20)
        .filter(|&seed| {
            let mut sim = Simulation::random(seed, World::PLAIN);
            let mut run = repeated_run(&mut sim);
            for row in &mut run.rows {
                for (c, count) in row.counts.iter_mut().enumerate() {
                    let moved = *count - sim.truth.zero[c];
                    *count += 4.0 * 0.005 * moved * moved * sim.truth.gain[c] / 50.0;
                }
            }
            for kind in &mut sim.deck.cell_types {
                // A data sheet that allows it, so that no cell's curvature is taken in.
                kind.nonlinearity_pct = 5.0;
            }
            p_value(&sim, &run).unwrap() < 0.01
        })
        .count();
    assert!(low >= 18, "{low} of 20 below 0.01");
}
