//! Times a least-squares fit of 48 unknowns (24 gains, 24 zeros) with all that comes with it: coefficients, residuals,
//! leverages, covariance, condition number, which unknowns are determined.
//!
//! Two problems: `dense`, 400 rows that touch all unknowns; `deck`, 400 loaded rows of a deck of 6 plates of 4 cells, each row the
//! three equations of statics of its plate, which touch the 8 unknowns of that plate.
//!
//! Prints one JSON document; `crates/calibrate/benches/peers/fit_peer.py` sets it beside NumPy. The numbers are made up by a
//! generator that the script runs too.
//!
//! Usage   cargo run --release -p bedplate-stats --example fit_of_24 -- [REPEATS]

#![expect(clippy::print_stdout, reason = "the result is read by the script that runs this")]

use std::hint::black_box;
use std::time::Instant;

use bedplate_stats::regression::{Block, Fit, FitError, Variance, fit, fit_blocks};
use nalgebra::DMatrix;

const ROWS: usize = 400;
const UNKNOWNS: usize = 48;
const PLATES: usize = 6;
/// Equations of a loaded row: force and two moments.
const EQUATIONS: usize = 3;

/// Park and Miller's minimal generator, −0.5 to 0.5: the same numbers in any language.
struct Minimal(u64);

impl Minimal {
    fn next(&mut self) -> f64 {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0 - 0.5
    }

    /// Column by column, then the right side.
    fn problem(&mut self, rows: usize, columns: usize) -> (DMatrix<f64>, Vec<f64>) {
        let design = DMatrix::from_iterator(rows, columns, (0..rows * columns).map(|_| self.next()));
        (design, (0..rows).map(|_| self.next()).collect())
    }
}

/// What both sides must agree on, and the seconds of each run alone, so that the best is one that nothing else disturbed.
fn timed(repeats: usize, run: impl Fn() -> Result<(Fit, f64, f64, f64), FitError>) -> Result<String, FitError> {
    let mut seconds = Vec::new();
    let mut told = String::new();
    for _ in 0..100 * repeats {
        let started = Instant::now();
        let (found, variance, leverage_squares, residual_squares) = run()?;
        let trace = variance * found.covariance(Variance::Known)?.trace();
        let condition = found.condition_number();
        seconds.push(started.elapsed().as_secs_f64());
        // Debug prints floats with all their digits, and lists as JSON writes them.
        told = format!(
            "\"coefficients\": {:?}, \"covariance_trace\": {trace:?}, \"leverage_squares\": {leverage_squares:?}, \
             \"residual_squares\": {residual_squares:?}, \"condition\": {condition:?}",
            found.coefficients()
        );
    }
    Ok(format!("{{\"seconds\": {seconds:?}, {told}}}"))
}

fn squares(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
}

fn main() -> Result<(), FitError> {
    let repeats = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(5);
    let (design, y) = Minimal(12_345).problem(ROWS, UNKNOWNS);
    let dense = timed(repeats, || {
        let found = fit(black_box(&design), black_box(&y), None)?;
        let variance = found.residual_sd().unwrap_or(f64::NAN).powi(2);
        let (leverages, residuals) = (squares(found.leverages()), squares(found.residuals()));
        Ok((found, variance, leverages, residuals))
    })?;

    let mut chance = Minimal(12_345);
    let unknowns = UNKNOWNS / PLATES;
    let of_plate = |plate: usize| {
        // 400 rows on 6 plates: 67 on each of the first four, 66 on the others.
        let rows = EQUATIONS * (ROWS / PLATES + usize::from(plate < ROWS % PLATES));
        let (design, y) = chance.problem(rows, unknowns);
        Block { columns: (plate * unknowns..(plate + 1) * unknowns).collect(), design, y }
    };
    let blocks: Vec<Block> = (0..PLATES).map(of_plate).collect();
    let deck = timed(repeats, || {
        let found = fit_blocks(UNKNOWNS, black_box(&blocks))?;
        let variance = found.residual_sd().unwrap_or(f64::NAN).powi(2);
        Ok((found.condensed, variance, squares(&found.leverages), squares(&found.residuals)))
    })?;
    println!("{{\"dense\": {dense}, \"deck\": {deck}}}");
    Ok(())
}
