//! How many stated intervals of ± 2 u hold the truth over simulated decks.

use crate::common::{Simulation, World};
use calibrate::{Options, calibrate};
use formats::calibration::FindingKind;

/// What some decks make of it.
pub(crate) struct Tally {
    /// Gains that were determined.
    pub(crate) n_gains: usize,
    /// Share of them within 2 u of the truth.
    pub(crate) covered: f64,
    /// Share of the cans within 2 u.
    pub(crate) cans_covered: f64,
    /// Cells left open.
    pub(crate) n_open: usize,
    /// Findings other than open cells.
    pub(crate) n_false: usize,
}

/// The worlds that decks are simulated in, each with its name.
pub(crate) const WORLDS: [(&str, World); 6] = [
    ("noise, places to 2 mm, masses, scatter 0.01 %", World::PLAIN),
    ("places and cells exact", EXACT_PLACES),
    ("the mass exact too", World { mass_g: 0.0, ..EXACT_PLACES }),
    ("places to 5 mm, scatter 0.05 %", World { position_mm: 5.0, relative: 5e-4, ..World::PLAIN }),
    ("noise nearly hides the self-stress", World { self_stress: 0.001, noise_counts: 40.0, ..World::PLAIN }),
    ("rigid plates", World { self_stress: 0.0, ..World::PLAIN }),
];

const EXACT_PLACES: World = World { position_mm: 0.0, relative: 0.0, ..World::PLAIN };

/// Fits the runs of seeds 0 to `n_runs`, each on a deck of its own.
pub(crate) fn tally(world: World, n_runs: u64) -> Tally {
    let (mut inside, mut all, mut cans, mut n_cans, mut n_open, mut n_false) = (0, 0, 0, 0, 0, 0);
    for seed in 0..n_runs {
        let mut sim = Simulation::random(seed, world);
        let run = sim.run();
        let result =
            calibrate(&sim.deck, &run, &Options::new("2030-01-01T00:00:00Z")).expect("a run that can be fitted");
        n_false += result.findings.iter().filter(|f| f.kind != FindingKind::NotDetermined).count();
        for (cell, truth) in result.cells.iter().zip(&sim.truth.gain) {
            let (Some(k), Some(u)) = (cell.kg_per_count, cell.u_kg_per_count) else {
                n_open += 1;
                continue;
            };
            inside += usize::from((k - truth).abs() < 2.0 * u);
            all += 1;
        }
        if let Some(can) = result.loads.first() {
            n_cans += 1;
            cans += usize::from((can.kg - sim.truth.can_kg).abs() < 2.0 * can.u_kg);
        }
    }
    Tally {
        n_gains: all,
        covered: inside as f64 / all as f64,
        cans_covered: cans as f64 / f64::from(n_cans),
        n_open,
        n_false,
    }
}
