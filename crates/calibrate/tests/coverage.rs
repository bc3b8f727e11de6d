//! Do stated uncertainties hold? Intervals of ± 2 u over 200 simulated decks of 3–9 plates with 3–6 cells.

mod common;

use calibrate::{Options, calibrate};
use common::{Simulation, World};
use formats::calibration::FindingKind;

/// What 200 decks make of it.
struct Tally {
    /// Gains that were determined.
    n_gains: usize,
    /// Share of them within 2 u of the truth.
    covered: f64,
    /// Share of the cans within 2 u.
    cans_covered: f64,
    /// Cells left open.
    n_open: usize,
    /// Findings other than open cells.
    n_false: usize,
}

fn tally(world: World) -> Tally {
    let (mut inside, mut all, mut cans, mut n_cans, mut n_open, mut n_false) = (0, 0, 0, 0, 0, 0);
    for seed in 0..200 {
        let mut sim = Simulation::random(seed, world);
        let run = sim.run();
        let result = calibrate(&sim.deck, &run, &Options::new("2030-01-01T00:00:00Z")).unwrap();
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

fn assert_honest(world: World, n_open_expected: std::ops::RangeInclusive<usize>) {
    let t = tally(world);
    // 95.45 % of a normal law; the mean of some thousand correlated gains scatters by about half a per cent.
    assert!((0.93..=0.97).contains(&t.covered), "{} of {} gains covered, {world:?}", t.covered, t.n_gains);
    // 200 cans: 95.45 % ± 1.5 %, three standard deviations either way.
    assert!((0.90..=1.0).contains(&t.cans_covered), "{} of the cans covered, {world:?}", t.cans_covered);
    assert!(n_open_expected.contains(&t.n_open), "{} cells left open, {world:?}", t.n_open);
    assert!(t.n_false <= 2, "{} false findings in 200 clean runs, {world:?}", t.n_false);
}

#[test]
fn intervals_cover_with_noise_of_counts_places_masses_and_cells() {
    assert_honest(World::PLAIN, 0..=0);
}

#[test]
fn intervals_cover_where_places_are_exact() {
    assert_honest(World { position_mm: 0.0, relative: 0.0, ..World::PLAIN }, 0..=0);
}

#[test]
fn intervals_cover_where_the_mass_is_exact_too() {
    assert_honest(World { position_mm: 0.0, relative: 0.0, mass_g: 0.0, ..World::PLAIN }, 0..=0);
}

#[test]
fn intervals_cover_with_careless_places_and_poor_cells() {
    assert_honest(World { position_mm: 5.0, relative: 5e-4, ..World::PLAIN }, 0..=0);
}

#[test]
fn intervals_cover_where_noise_nearly_hides_the_self_stress() {
    assert_honest(World { self_stress: 0.001, noise_counts: 40.0, ..World::PLAIN }, 0..=10);
}

/// A rigid plate on six cells in two rows of three has one pattern of gains that no load can tell: (1, −2, 1) along the
/// one row against the other. Such cells must be reported, and all others must not.
#[test]
fn rigid_plates_leave_only_what_statics_cannot_tell() {
    let cells_of_six: usize = (0..200)
        .map(|seed| {
            let sim = Simulation::random(seed, World::PLAIN);
            sim.deck.plates.iter().map(|p| p.cells.len()).filter(|n| *n == 6).sum::<usize>()
        })
        .sum();
    assert_honest(World { self_stress: 0.0, ..World::PLAIN }, cells_of_six..=cells_of_six);
}
