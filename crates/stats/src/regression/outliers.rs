//! Which rows do not belong: externally studentized residuals with Bonferroni's correction, safe against masking.
//!
//! tᵢ = rᵢ √wᵢ / (s₍ᵢ₎ √(1 − hᵢ)) has Student's t with ν − 1 degrees of freedom, where s₍ᵢ₎ leaves row i out
//! (Belsley, Kuh & Welsch 1980, from memory). Looking at the largest of n rows, p = min(1, n · 2 P(T > |tᵢ|)).
//! Several bad rows can hide each other. So the rows that a robust fit distrusts are set aside all at once, and then
//! taken back one by one, the most consistent first, as long as its test against the rows kept is not significant.

use super::robust::{RobustLoss, fit_robust};
use super::{Fit, FitError, Variance, fit};
use crate::distribution::t_two_sided_p;
use nalgebra::DMatrix;

/// A row beyond so many robust standard deviations is set aside for the test. Below the significance limit of any
/// usual size, so that the test and not this number decides.
const SUSPECT_SCALES: f64 = 2.5;

/// A row that does not fit the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Its row, from 0.
    pub row: usize,
    /// Observed less predicted from the other rows, in the unit of y.
    pub deviation: f64,
    /// The deviation over its standard uncertainty.
    pub t: f64,
    /// Probability of so large a deviation anywhere among the rows, by chance (Bonferroni).
    pub p: f64,
}

/// Result of [`find_outliers`].
#[derive(Debug, Clone)]
pub struct OutlierSearch {
    /// Rows that do not belong, largest |t| first.
    pub outliers: Vec<Outlier>,
    /// The fit without them: their weights are 0.
    pub fit: Fit,
}

/// Externally studentized residuals. Infinite for a row off an otherwise exact fit; NaN for a row that no other supports
/// (leverage 1), a row without weight, or fewer than two degrees of freedom.
pub fn externally_studentized(fit: &Fit) -> Vec<f64> {
    let nu = fit.degrees_of_freedom() as f64;
    let rows = fit.residuals().iter().zip(fit.leverages()).enumerate();
    rows.map(|(i, (r, h))| {
        let free = 1.0 - h;
        if nu < 2.0 || free < 1e-10 || fit.weight(i) <= 0.0 {
            return f64::NAN;
        }
        let square = fit.weight(i) * r * r / free;
        let without = ((fit.residual_ss() - square) / (nu - 1.0)).max(0.0);
        (square / without).sqrt().copysign(*r)
    })
    .collect()
}

/// Finds the rows that differ from the model at significance `alpha` (0.01, say: one clean data set in a hundred shows one).
///
/// # Errors
/// As [`fit`], and [`FitError::NoFreedom`] where there are not enough rows to judge any.
pub fn find_outliers(
    design: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
    alpha: f64,
) -> Result<OutlierSearch, FitError> {
    let robust = fit_robust(design, y, weights, RobustLoss::BISQUARE)?;
    let given = |i: usize| weights.map_or(1.0, |w| w[i]);
    let distance = |i: usize| given(i).sqrt() * robust.fit.residuals()[i].abs();
    let mut aside: Vec<usize> =
        (0..y.len()).filter(|&i| given(i) > 0.0 && distance(i) > SUSPECT_SCALES * robust.scale).collect();
    let full_rank = fit(design, y, weights)?.rank();
    let n_rows = (0..y.len()).filter(|&i| given(i) > 0.0).count();
    loop {
        let kept = without(design, y, weights, &aside)?;
        let tested: Vec<Outlier> = aside.iter().map(|&row| test(&kept, design, y, given(row), row, n_rows)).collect();
        // Rows that alone determine a coefficient cannot be judged by the others: they come back first.
        let back = if kept.rank() < full_rank {
            tested.iter().find(|o| o.t.is_nan()).or(tested.first())
        } else {
            let mildest = tested.iter().min_by(|a, b| a.t.abs().total_cmp(&b.t.abs()));
            mildest.filter(|o| o.t.is_nan() || o.p > alpha)
        };
        match back.map(|o| o.row) {
            Some(row) => aside.retain(|&r| r != row),
            None => {
                let mut outliers = tested;
                outliers.sort_by(|a, b| b.t.abs().total_cmp(&a.t.abs()));
                return Ok(OutlierSearch { outliers, fit: kept });
            }
        }
    }
}

fn without(design: &DMatrix<f64>, y: &[f64], weights: Option<&[f64]>, aside: &[usize]) -> Result<Fit, FitError> {
    if aside.is_empty() {
        return fit(design, y, weights);
    }
    let mut kept = weights.map_or_else(|| vec![1.0; y.len()], <[f64]>::to_vec);
    aside.iter().for_each(|&row| kept[row] = 0.0);
    fit(design, y, Some(&kept))
}

/// A row set aside, predicted from the rows kept. For a single row this is its externally studentized residual.
fn test(kept: &Fit, design: &DMatrix<f64>, y: &[f64], weight: f64, row: usize, n_rows: usize) -> Outlier {
    let nu = kept.degrees_of_freedom();
    let combination: Vec<f64> = design.row(row).iter().copied().collect();
    let unknown = Outlier { row, deviation: f64::NAN, t: f64::NAN, p: 1.0 };
    let (Some(s), Ok(Some(mean))) = (kept.residual_sd(), kept.estimate(&combination, Variance::FromResiduals)) else {
        return unknown;
    };
    let deviation = y[row] - mean.value;
    let u = (s * s / weight + mean.u * mean.u).sqrt();
    let t = deviation / u;
    let p = (n_rows as f64 * t_two_sided_p(t, nu as f64)).min(1.0);
    Outlier { row, deviation, t, p }
}
