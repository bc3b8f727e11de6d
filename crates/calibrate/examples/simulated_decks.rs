//! How honest are the stated uncertainties, and how sure the findings, on simulated decks of 3–9 plates with 3–6 cells, each run on a
//! deck of its own? The tests `coverage` and `injected` hold the same studies to their limits.
//!
//! Prints, for each world, the share of gains and of unknown masses within twice their stated uncertainty; then, for each
//! fault, the runs in which it was found under its right name and cell, and those in which anything else was.
//!
//! Usage   cargo run --release -p bedplate-calibrate --example simulated_decks -- [RUNS]

#![expect(clippy::print_stdout, reason = "the study is there to be read")]
#![expect(clippy::expect_used, reason = "a simulated run that cannot be fitted ends the study")]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/coverage.rs"]
mod coverage;
#[path = "../tests/common/faults.rs"]
mod faults;

fn main() {
    let runs: u64 = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(200);
    println!("| world | gains | within 2 u, % | unknown mass within 2 u, % | open | findings |");
    println!("|---|---|---|---|---|---|");
    for (name, world) in coverage::WORLDS {
        let t = coverage::tally(world, runs);
        let (gains, masses) = (100.0 * t.covered, 100.0 * t.cans_covered);
        println!("| {name} | {} | {gains:.1} | {masses:.1} | {} | {} |", t.n_gains, t.n_open, t.n_false);
    }
    println!("\n| fault | found in | anything else in |\n|---|---|---|");
    for fault in std::iter::once(&faults::SOUND).chain(&faults::FAULTS) {
        let t = fault.tally(runs);
        println!("| {} | {} of {runs} | {} of {runs} |", fault.name, runs as usize - t.missed.len(), t.besides.len());
    }
}
