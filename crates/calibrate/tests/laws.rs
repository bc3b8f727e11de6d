//! Laws that hold for any run: what the order of rows, the unit of mass or the choice of origin must not change.

mod common;

use calibrate::{Options, calibrate};
use common::{Simulation, World};
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::run::{Load, Run};
use proptest::prelude::*;

fn fit(deck: &Deck, run: &Run) -> Calibration {
    calibrate(deck, run, &Options::new("2030-01-01T00:00:00Z")).unwrap()
}

/// Largest difference of the gains in units of their uncertainty, `scale` being the expected ratio.
fn worst(a: &Calibration, b: &Calibration, scale: f64) -> f64 {
    let pairs = a.cells.iter().zip(&b.cells);
    pairs
        .map(|(a, b)| {
            let (ka, kb, u) = (a.kg_per_count.unwrap(), b.kg_per_count.unwrap(), a.u_kg_per_count.unwrap());
            let u_ratio = b.u_kg_per_count.unwrap() / (u * scale);
            ((kb / scale - ka) / u).abs().max((u_ratio - 1.0).abs())
        })
        .fold(0.0, f64::max)
}

/// The fit stops where no unknown moves by more than 1e-4 u and no noise level by more than 1e-3, so two ways to one
/// solution may differ by some 1e-3 u and no more.
const SAME: f64 = 5e-3;

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, rng_seed: prop::test_runner::RngSeed::Fixed(1), ..ProptestConfig::default() })]

    #[test]
    fn order_of_rows_is_nothing(seed in 0u64..1000, turn in 1usize..40) {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let run = sim.run();
        let mut other = run.clone();
        let n = other.rows.len();
        other.rows.rotate_left(turn % n);
        prop_assert!(worst(&fit(&sim.deck, &run), &fit(&sim.deck, &other), 1.0) < SAME);
    }

    #[test]
    fn twice_the_mass_is_twice_the_gain(seed in 0u64..1000) {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let run = sim.run();
        let mut other = run.clone();
        for row in &mut other.rows {
            if let Load::Known { mass_kg, u_mass_g, .. } = &mut row.load {
                *mass_kg *= 2.0;
                *u_mass_g *= 2.0;
            }
        }
        prop_assert!(worst(&fit(&sim.deck, &run), &fit(&sim.deck, &other), 2.0) < SAME);
    }

    #[test]
    fn a_constant_on_a_channel_moves_its_zero_alone(seed in 0u64..1000, shift in -1e6f64..1e6) {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let run = sim.run();
        let mut other = run.clone();
        other.rows.iter_mut().for_each(|r| r.counts[1] += shift);
        let (a, b) = (fit(&sim.deck, &run), fit(&sim.deck, &other));
        prop_assert!(worst(&a, &b, 1.0) < SAME);
        let moved = b.cells[1].zero_counts.unwrap() - a.cells[1].zero_counts.unwrap();
        prop_assert!((moved - shift).abs() < SAME * a.cells[1].u_zero_counts.unwrap());
    }

    /// Moments about another point are combinations of the same three equations, so the origin is nothing: a plate
    /// mirrored in place with its cells and loads gives the same gains.
    #[test]
    fn mirroring_a_plate_changes_nothing(seed in 0u64..1000) {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let run = sim.run();
        let mut deck = sim.deck.clone();
        let mut other = run.clone();
        for plate in &mut deck.plates {
            for cell in &mut plate.cells {
                cell.at_mm[0] = plate.size_mm[0] - cell.at_mm[0];
            }
            for row in &mut other.rows {
                if let Load::Known { at, .. } | Load::Unknown { at, .. } = &mut row.load
                    && at.plate == plate.name
                {
                    at.x_mm = plate.size_mm[0] - at.x_mm;
                }
            }
        }
        prop_assert!(worst(&fit(&sim.deck, &run), &fit(&deck, &other), 1.0) < SAME);
    }
}
