//! Least squares of a calibration's size: 24 zeros and 24 gains from 400 rows, with covariance, leverages and condition.

use bedplate_stats::regression::{Variance, fit};
use divan::Bencher;
use nalgebra::DMatrix;

fn main() {
    divan::main();
}

/// Rows × columns of numbers without structure, the same each time.
fn problem(n_rows: usize, n_cols: usize) -> (DMatrix<f64>, Vec<f64>) {
    let mut state = 12345u64;
    let mut next = move || {
        // Park & Miller's minimal generator: a bench needs no more.
        state = state * 16807 % 2_147_483_647;
        state as f64 / 2_147_483_647.0 - 0.5
    };
    let design = DMatrix::from_fn(n_rows, n_cols, |_, _| next());
    let y = (0..n_rows).map(|_| next()).collect();
    (design, y)
}

#[divan::bench]
fn fit_400_rows_48_unknowns(bencher: Bencher) {
    let (design, y) = problem(400, 48);
    bencher.bench_local(|| fit(&design, &y, None));
}

#[divan::bench]
fn fit_with_covariance_and_condition(bencher: Bencher) {
    let (design, y) = problem(400, 48);
    bencher.bench_local(|| {
        let found = fit(&design, &y, None).ok()?;
        Some((found.covariance(Variance::FromResiduals).ok()?, found.condition_number()))
    });
}
