//! Lack of fit: do the residuals hold more than the scatter between replicates?
//!
//! SS_pe = Σ_g Σ_{i∈g} w (y − ȳ_g)², SS_lof = Σ w r² − SS_pe; F = (SS_lof/ν_lof)/(SS_pe/ν_pe), with ν_pe = n − groups,
//! ν_lof = groups − rank. Source: NIST/SEMATECH e-Handbook 4.4.4.6 and its load cell case 4.6.1.

use super::{Fit, FitError};
use crate::distribution::f_sf;
use nalgebra::DMatrix;
use std::collections::HashMap;

/// Result of [`lack_of_fit`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LackOfFit {
    /// Sum of squares between the groups' means and the fit.
    pub lack_ss: f64,
    /// Its degrees of freedom.
    pub lack_df: usize,
    /// Sum of squares within the groups.
    pub pure_ss: f64,
    /// Its degrees of freedom.
    pub pure_df: usize,
    /// Ratio of the mean squares.
    pub f: f64,
    /// Probability of a greater F if the model were right.
    pub p: f64,
}

/// Tests the fit against the scatter of replicates: rows of one group (equal number in `groups`) have the same design row.
/// `None` where there are no replicates, or no more groups than coefficients.
///
/// # Errors
/// [`FitError::Length`] where `groups` is not as long as the fit has rows.
pub fn lack_of_fit(fit: &Fit, groups: &[usize]) -> Result<Option<LackOfFit>, FitError> {
    let residuals = fit.residuals();
    if groups.len() != residuals.len() {
        return Err(FitError::Length { what: "the groups", found: groups.len(), expected: residuals.len() });
    }
    // Rows of a group share one fitted value, so the residuals scatter as the observations do, with fewer digits lost.
    // (Sums run in the order of the rows: the answer must not depend on a hash.)
    let mut place = HashMap::new();
    let mut sums: Vec<(f64, f64)> = Vec::new();
    let mut n_rows = 0;
    for (i, group) in groups.iter().enumerate().filter(|(i, _)| fit.weight(*i) > 0.0) {
        let at = *place.entry(*group).or_insert_with(|| {
            sums.push((0.0, 0.0));
            sums.len() - 1
        });
        sums[at].0 += fit.weight(i) * residuals[i];
        sums[at].1 += fit.weight(i);
        n_rows += 1;
    }
    let pure_df = n_rows - sums.len();
    let lack_df = sums.len().saturating_sub(fit.rank());
    if pure_df == 0 || lack_df == 0 {
        return Ok(None);
    }
    let lack_ss = sums.iter().map(|(wr, w)| wr * wr / w).sum::<f64>();
    let pure_ss = groups
        .iter()
        .enumerate()
        .filter(|(i, _)| fit.weight(*i) > 0.0)
        .map(|(i, group)| {
            let (wr, w) = sums[place[group]];
            fit.weight(i) * (residuals[i] - wr / w).powi(2)
        })
        .sum::<f64>();
    let f = lack_ss / lack_df as f64 / (pure_ss / pure_df as f64);
    Ok(Some(LackOfFit { lack_ss, lack_df, pure_ss, pure_df, f, p: f_sf(f, lack_df as f64, pure_df as f64) }))
}

/// Numbers the rows of `design` so that equal rows (to the bit) get equal numbers, in order of appearance.
pub fn replicate_groups(design: &DMatrix<f64>) -> Vec<usize> {
    let mut seen = HashMap::new();
    design
        .row_iter()
        .map(|row| {
            // Adding zero makes −0 and +0 one value.
            let key: Vec<u64> = row.iter().map(|x| (x + 0.0).to_bits()).collect();
            let next = seen.len();
            *seen.entry(key).or_insert(next)
        })
        .collect()
}
