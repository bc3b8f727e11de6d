//! Do stated uncertainties hold? Intervals of ± 2 u over 200 simulated decks of 3–9 plates with 3–6 cells.

mod common;
#[path = "common/coverage.rs"]
mod coverage;

use common::{Simulation, World};
use coverage::{WORLDS, tally};

fn assert_honest(index: usize, n_open_expected: std::ops::RangeInclusive<usize>) {
    let (world, simulated) = WORLDS[index];
    let t = tally(simulated, 200);
    // 95.45 % of a normal law; the mean of some thousand correlated gains scatters by about half a per cent.
    assert!((0.93..=0.97).contains(&t.covered), "{} of {} gains covered, {world}", t.covered, t.n_gains);
    // 200 cans: 95.45 % ± 1.5 %, three standard deviations either way.
    assert!((0.90..=1.0).contains(&t.cans_covered), "{} of the cans covered, {world}", t.cans_covered);
    assert!(n_open_expected.contains(&t.n_open), "{} cells left open, {world}", t.n_open);
    assert!(t.n_false <= 2, "{} false findings in 200 clean runs, {world}", t.n_false);
}

#[test]
fn intervals_cover_with_noise_of_counts_places_masses_and_cells() {
    assert_honest(0, 0..=0);
}

#[test]
fn intervals_cover_where_places_are_exact() {
    assert_honest(1, 0..=0);
}

#[test]
fn intervals_cover_where_the_mass_is_exact_too() {
    assert_honest(2, 0..=0);
}

#[test]
fn intervals_cover_with_careless_places_and_poor_cells() {
    assert_honest(3, 0..=0);
}

#[test]
fn intervals_cover_where_noise_nearly_hides_the_self_stress() {
    assert_honest(4, 0..=10);
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
    assert_honest(5, cells_of_six..=cells_of_six);
}
