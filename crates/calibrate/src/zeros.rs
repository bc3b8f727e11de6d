//! What each cell reads without load.
//!
//! Every row without load, and every row with its load on another plate, is a zero reading of a cell. Their mean is an
//! observation of the cell's zero, their scatter its noise.

use crate::problem::Problem;
use stats::robust::median;

/// Degrees of freedom that the fellows' noise adds to a cell's own estimate: a cell with few zero readings leans on them.
const BORROWED_FREEDOM: f64 = 4.0;

/// Zero readings of one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Zero {
    /// Mean, counts.
    pub(crate) mean: f64,
    /// How many readings.
    pub(crate) n: usize,
    /// Scatter of a single reading, counts; 0 where there is but one.
    pub(crate) scatter: f64,
    /// Noise of a single reading after leaning on the fellows, counts; above 0.
    pub(crate) noise: f64,
}

/// Zero readings of all cells, leaving out the rows marked in `left_out`.
pub(crate) fn zeros(problem: &Problem, left_out: &[bool]) -> Vec<Zero> {
    let mut zeros: Vec<Zero> = (0..problem.n_cells()).map(|c| own_zero(problem, left_out, c)).collect();
    let scatters: Vec<f64> = zeros.iter().filter(|z| z.n > 1 && z.scatter > 0.0).map(|z| z.scatter).collect();
    // A median of the fellows, so that one noisy cell does not lift the others.
    let common = median(&scatters).unwrap_or(problem.converter_sd);
    for zero in &mut zeros {
        let freedom = zero.n.saturating_sub(1) as f64;
        let square =
            (freedom * zero.scatter.powi(2) + BORROWED_FREEDOM * common.powi(2)) / (freedom + BORROWED_FREEDOM);
        // 1/12: a count is a whole number at best.
        zero.noise = (square + 1.0 / 12.0).sqrt();
    }
    zeros
}

fn own_zero(problem: &Problem, left_out: &[bool], channel: usize) -> Zero {
    let readings = readings(problem, left_out, channel);
    let n = readings.len();
    let mean = readings.iter().sum::<f64>() / n.max(1) as f64;
    let square: f64 = readings.iter().map(|r| (r - mean).powi(2)).sum();
    let scatter = if n > 1 { (square / (n as f64 - 1.0)).sqrt() } else { 0.0 };
    Zero { mean, n, scatter, noise: scatter }
}

/// The zero readings of a channel.
pub(crate) fn readings(problem: &Problem, left_out: &[bool], channel: usize) -> Vec<f64> {
    let plate = problem.cells[channel].plate;
    (0..problem.run.rows.len())
        .filter(|&row| !left_out[row] && problem.loaded_plate[row] != Some(plate))
        .map(|row| problem.count(row, channel))
        .collect()
}
