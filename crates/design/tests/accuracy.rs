//! `check` of random decks against much refined solutions of the same plates.

mod random_decks;

const SEED: u64 = 90;
/// A study of 40 decks, soft cores among them, which prints the worst errors: `cargo run --release -p bedplate-design --example random_decks`.
const DECKS: usize = 12;

#[test]
fn random_decks_come_within_the_promised_accuracy() {
    let found = random_decks::study(SEED, DECKS, false, |_, _| ());
    // 1 % of the largest deflection anywhere and 0.5 % of the load in a reaction are what `check` promises.
    assert!(found.faults.is_empty(), "seed {SEED}:\n{}", found.faults.join("\n"));
    // What `check` prints beside the deflection covers what the mesh leaves open.
    assert!(found.over_estimate < 1.0, "seed {SEED}: an error is {} times its estimate", found.over_estimate);
    // The decks hold what makes it hard: plates that lift off a cell, and plates whose first mesh is too coarse.
    assert!(found.n_lifts > 0 && found.n_refined > 0, "seed {SEED}: {found}");
}
