//! Times a least-squares fit of 48 unknowns from 400 rows with all that comes with it: coefficients, residuals, leverages,
//! covariance, condition number, which unknowns are determined.
//!
//! Prints one JSON document; `crates/calibrate/benches/peers/fit_peer.py` sets it beside NumPy. The numbers are made up by a
//! generator that the script runs too.
//!
//! Usage   cargo run --release -p bedplate-stats --example fit_of_24 -- [REPEATS]

#![expect(clippy::print_stdout, reason = "the result is read by the script that runs this")]

use std::time::Instant;

use bedplate_stats::regression::{FitError, Variance, fit};
use nalgebra::DMatrix;

const ROWS: usize = 400;
const UNKNOWNS: usize = 48;

/// Park and Miller's minimal generator, −0.5 to 0.5: the same numbers in any language.
struct Minimal(u64);

impl Minimal {
    fn next(&mut self) -> f64 {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0 - 0.5
    }
}

fn main() -> Result<(), FitError> {
    let repeats = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(5);
    let mut chance = Minimal(12_345);
    // Column by column, then the observations.
    let design = DMatrix::from_iterator(ROWS, UNKNOWNS, (0..ROWS * UNKNOWNS).map(|_| chance.next()));
    let y: Vec<f64> = (0..ROWS).map(|_| chance.next()).collect();
    let mut seconds = Vec::new();
    let mut outputs = (0.0, 0.0, 0.0);
    let mut coefficients = Vec::new();
    for _ in 0..repeats {
        // Each alone, so that the best is one that nothing else on the machine disturbed.
        for _ in 0..100 {
            let started = Instant::now();
            let found = fit(std::hint::black_box(&design), std::hint::black_box(&y), None)?;
            let covariance = found.covariance(Variance::FromResiduals)?;
            let condition = found.condition_number();
            seconds.push(started.elapsed().as_secs_f64());
            outputs = (covariance.trace(), found.leverages().iter().map(|h| h * h).sum(), condition);
            coefficients = found.coefficients().to_vec();
        }
    }
    // Debug prints floats with all their digits, and lists as JSON writes them.
    println!(
        "{{\"seconds\": {seconds:?}, \"coefficients\": {coefficients:?}, \"covariance_trace\": {:?}, \
         \"leverage_squares\": {:?}, \"condition\": {:?}}}",
        outputs.0, outputs.1, outputs.2
    );
    Ok(())
}
