//! Maximum likelihood of variances, with standard errors.

use crate::optimize::{hessian, minimize};
use nalgebra::DMatrix;

/// Step in ln variance of the numerical second derivatives: truncation (about h²/12 of a fourth derivative near 1) and
/// rounding (1e-13 of the likelihood over h²) are then both near 1e-6 of a curvature near 1.
const HESSIAN_STEP: f64 = 3e-3;

/// Result of [`fit_variances`].
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceFit {
    /// The variances at the largest likelihood found.
    pub variances: Vec<f64>,
    /// Standard errors of the variances; `None` for one whose likelihood is flat or rises towards 0: its estimate is
    /// then an upper figure, and 0 would do as well.
    pub standard_errors: Vec<Option<f64>>,
    /// Standard errors of the logarithms of the variances, from the inverse of the observed information.
    pub ln_standard_errors: Vec<Option<f64>>,
    /// ln of the likelihood there.
    pub log_likelihood: f64,
    /// Whether the search ended at a point where no step improves.
    pub converged: bool,
    /// Evaluations of the likelihood.
    pub evaluations: usize,
}

/// Maximizes `log_likelihood` over positive variances, from `start`, searching in their logarithms.
///
/// A likelihood that is not finite counts as very small. A start that is not positive is taken as the smallest positive
/// number near it.
pub fn fit_variances(start: &[f64], mut log_likelihood: impl FnMut(&[f64]) -> f64) -> VarianceFit {
    let ln_start: Vec<f64> = start.iter().map(|v| v.max(1e-300).ln()).collect();
    let mut objective = |ln: &[f64]| {
        let variances: Vec<f64> = ln.iter().map(|l| l.exp()).collect();
        let value = log_likelihood(&variances);
        if value.is_finite() { -value } else { f64::MAX }
    };
    let found = minimize(&mut objective, &ln_start);
    let information = hessian(&mut objective, &found.x, HESSIAN_STEP);
    let ln_standard_errors = standard_errors(&information);
    let variances: Vec<f64> = found.x.iter().map(|l| l.exp()).collect();
    VarianceFit {
        standard_errors: variances.iter().zip(&ln_standard_errors).map(|(v, se)| se.map(|se| v * se)).collect(),
        variances,
        ln_standard_errors,
        log_likelihood: -found.value,
        converged: found.converged,
        evaluations: found.evaluations,
    }
}

/// Square roots of the diagonal of the inverse, over the parameters that the likelihood bends at.
fn standard_errors(information: &DMatrix<f64>) -> Vec<Option<f64>> {
    // A curvature below this in ln v means a standard error above a factor e^30: the data say nothing.
    const FLAT: f64 = 1e-3;
    let bent: Vec<usize> = (0..information.nrows()).filter(|&i| information[(i, i)] > FLAT).collect();
    let mut errors = vec![None; information.nrows()];
    let part = DMatrix::from_fn(bent.len(), bent.len(), |i, j| information[(bent[i], bent[j])]);
    if let Some(factor) = part.cholesky() {
        let inverse = factor.inverse();
        for (k, &i) in bent.iter().enumerate() {
            errors[i] = Some(inverse[(k, k)].sqrt());
        }
    }
    errors
}
