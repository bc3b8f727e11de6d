//! Cells far noisier than their fellows.
//!
//! Noise is what changes from one reading to the next. The plain scatter of zero readings would also hold drift and what
//! a cell keeps of its loads for a while, which no loose connector makes.

use crate::zeros::Zero;
use stats::distribution::f_sf;
use stats::robust::median;

/// "Far noisier": so many times the fellows' median. Cells of one type and converter differ by tens of per cent.
const FAR: f64 = 3.0;
/// Chance that any cell of a clean run is called noisy.
const FALSE_ALARM: f64 = 1e-3;
/// Degrees of freedom of a noise from the median of n − 1 overlapping steps, as a share of n − 1: the median has 0.37 of
/// the efficiency of a standard deviation, and neighbouring steps share a reading (0.67).
const JITTER_FREEDOM: f64 = 0.25;

/// A noisy cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Noisy {
    pub(crate) channel: usize,
    /// Noise of its zero readings, counts.
    pub(crate) noise: f64,
    /// Median noise of all cells, counts.
    pub(crate) fellows: f64,
    pub(crate) n: usize,
}

/// The noisy cells among all.
pub(crate) fn noisy_cells(zeros: &[Zero]) -> Vec<Noisy> {
    let known: Vec<(usize, f64, usize)> =
        zeros.iter().enumerate().filter_map(|(c, z)| z.jitter.map(|j| (c, j, z.n))).collect();
    let noises: Vec<f64> = known.iter().map(|k| k.1).collect();
    let Some(fellows) = median(&noises).filter(|s| *s > 0.0) else { return Vec::new() };
    let freedom = |n: usize| JITTER_FREEDOM * (n as f64 - 1.0);
    let fellows_df: f64 = known.iter().map(|k| freedom(k.2)).sum();
    known
        .into_iter()
        .filter(|(_, noise, _)| *noise > FAR * fellows)
        .filter(|(_, noise, n)| {
            f_sf((noise / fellows).powi(2), freedom(*n), fellows_df) * (zeros.len() as f64) < FALSE_ALARM
        })
        .map(|(channel, noise, n)| Noisy { channel, noise, fellows, n })
        .collect()
}
