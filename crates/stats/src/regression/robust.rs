//! Robust refit: bounded influence of a row, by iteratively reweighted least squares.
//!
//! Minimizes Σ ρ(√w r / σ) with Huber's ρ (k = 1.345) or Tukey's bisquare (c = 4.685), both 95 % efficient on normal
//! errors; σ from the median absolute deviation, 1.4826 · med |r| over the rows, corrected by √(n/(n − rank)).
//! Bisquare starts from Huber's solution and keeps its σ, since its own problem has many minima.
//! Source: Huber & Ronchetti, Robust Statistics, 2nd ed., ch. 7; from memory.

use super::{Fit, FitError, fit};
use crate::robust::{MAD_TO_SD, median};
use nalgebra::DMatrix;

/// Which rows count how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RobustLoss {
    /// Weight 1 up to `k` standard deviations, falling as 1/|r| beyond.
    Huber {
        /// Where the weight begins to fall, 1.345 as a rule.
        k: f64,
    },
    /// Weight (1 − (r/c)²)², none beyond `c` standard deviations.
    Bisquare {
        /// Where the weight reaches 0, 4.685 as a rule.
        c: f64,
    },
}

impl RobustLoss {
    /// Huber's loss at 95 % efficiency.
    pub const HUBER: Self = Self::Huber { k: 1.345 };
    /// Tukey's bisquare at 95 % efficiency.
    pub const BISQUARE: Self = Self::Bisquare { c: 4.685 };

    /// Weight of a residual of `r` standard deviations.
    pub fn weight(self, r: f64) -> f64 {
        match self {
            Self::Huber { k } => (k / r.abs()).min(1.0),
            Self::Bisquare { c } => (1.0 - (r / c).powi(2)).max(0.0).powi(2),
        }
    }
}

/// Result of [`fit_robust`].
#[derive(Debug, Clone)]
pub struct RobustFit {
    /// The least-squares fit with the final weights (given weight × robust weight).
    pub fit: Fit,
    /// Robust standard deviation of a row of weight 1.
    pub scale: f64,
    /// Robust weight of each row, 0 to 1.
    pub robust_weights: Vec<f64>,
    /// Whether the weights had settled when the iteration ended.
    pub converged: bool,
}

/// Fits `y` on `design` so that single bad rows do little harm.
///
/// # Errors
/// As [`fit`], and [`FitError::NoFreedom`] where the residuals give no scale.
pub fn fit_robust(
    design: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
    loss: RobustLoss,
) -> Result<RobustFit, FitError> {
    let start = fit(design, y, weights)?;
    if start.degrees_of_freedom() == 0 {
        return Err(FitError::NoFreedom { n_rows: y.len(), rank: start.rank() });
    }
    let huber = iterate(design, y, weights, RobustLoss::HUBER, start, None)?;
    match loss {
        RobustLoss::Huber { .. } if loss == RobustLoss::HUBER => Ok(huber),
        RobustLoss::Huber { .. } => iterate(design, y, weights, loss, huber.fit, None),
        RobustLoss::Bisquare { .. } => iterate(design, y, weights, loss, huber.fit, Some(huber.scale)),
    }
}

fn iterate(
    design: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
    loss: RobustLoss,
    mut current: Fit,
    fixed_scale: Option<f64>,
) -> Result<RobustFit, FitError> {
    const STEPS_MAX: usize = 100;
    // A change of weight by 1e-8 moves a coefficient by far less than any figure shown.
    const SETTLED: f64 = 1e-8;
    let given = |i: usize| weights.map_or(1.0, |w| w[i]);
    let mut robust_weights = vec![1.0; y.len()];
    let mut scale = fixed_scale.unwrap_or(0.0);
    let mut converged = false;
    for _ in 0..STEPS_MAX {
        let scaled: Vec<f64> = current.residuals().iter().enumerate().map(|(i, r)| given(i).sqrt() * r).collect();
        if fixed_scale.is_none() {
            scale = residual_scale(&scaled, current.rank());
        }
        if scale <= 0.0 {
            // More than half of the rows are met exactly: there is no scale to judge the others by but "exact or not".
            break;
        }
        let next: Vec<f64> = scaled.iter().map(|r| loss.weight(r / scale)).collect();
        let change = next.iter().zip(&robust_weights).fold(0.0, |m: f64, (a, b)| m.max((a - b).abs()));
        robust_weights = next;
        let total: Vec<f64> = robust_weights.iter().enumerate().map(|(i, w)| w * given(i)).collect();
        current = fit(design, y, Some(&total))?;
        if change < SETTLED {
            converged = true;
            break;
        }
    }
    Ok(RobustFit { fit: current, scale, robust_weights, converged })
}

/// 1.4826 · median |r|, corrected for the coefficients spent.
fn residual_scale(residuals: &[f64], rank: usize) -> f64 {
    let sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let n = residuals.len() as f64;
    let freedom = (n - rank as f64).max(1.0);
    MAD_TO_SD * median(&sizes).unwrap_or(0.0) * (n / freedom).sqrt()
}
