//! Cells far noisier than their fellows.

use crate::zeros::Zero;
use stats::distribution::f_sf;
use stats::robust::median;

/// "Far noisier": so many times the fellows' median scatter. Cells of one type and converter differ by tens of per cent.
const FAR: f64 = 3.0;
/// Chance that any cell of a clean run is called noisy.
const FALSE_ALARM: f64 = 1e-3;

/// A noisy cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Noisy {
    pub(crate) channel: usize,
    /// Scatter of its zero readings, counts.
    pub(crate) scatter: f64,
    /// Median scatter of all cells, counts.
    pub(crate) fellows: f64,
    pub(crate) n: usize,
}

/// The noisy cells among all.
pub(crate) fn noisy_cells(zeros: &[Zero]) -> Vec<Noisy> {
    let scatters: Vec<f64> = zeros.iter().filter(|z| z.n > 1).map(|z| z.scatter).collect();
    let Some(fellows) = median(&scatters).filter(|s| *s > 0.0) else { return Vec::new() };
    let fellows_df: f64 = zeros.iter().map(|z| z.n.saturating_sub(1) as f64).sum();
    zeros
        .iter()
        .enumerate()
        .filter(|(_, z)| z.n > 1 && z.scatter > FAR * fellows)
        .filter(|(_, z)| {
            let ratio = (z.scatter / fellows).powi(2);
            f_sf(ratio, z.n as f64 - 1.0, fellows_df) * (zeros.len() as f64) < FALSE_ALARM
        })
        .map(|(channel, z)| Noisy { channel, scatter: z.scatter, fellows, n: z.n })
        .collect()
}
