//! A straight line with errors in both methods.
//!
//! y = a + b x with the variance of the method's error λ times that of the reference's:
//! b = (s_yy − λ s_xx + √((s_yy − λ s_xx)² + 4 λ s_xy²)) / (2 s_xy).
//! Source: Deming, Statistical Adjustment of Data (1943), as in Linnet, Clinical Chemistry 39 (1993) 424–432 (from
//! memory). Standard errors by the jackknife.

use super::{AgreementError, Moments, around, check, check_coverage, count, moments};
use crate::distribution::t_quantile;

/// A line with errors in both methods.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deming {
    /// Slope.
    pub slope: f64,
    /// Intercept.
    pub intercept: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
    /// Standard error of the intercept.
    pub intercept_se: f64,
    /// Interval of the slope.
    pub slope_ci: [f64; 2],
    /// Interval of the intercept.
    pub intercept_ci: [f64; 2],
}

/// The line at variance ratio `ratio` (method over reference), with intervals of that coverage.
///
/// # Errors
/// Fewer than 4 pairs, values that are not finite or not correlated, a ratio that is not positive.
pub fn deming(reference: &[f64], method: &[f64], ratio: f64, coverage: f64) -> Result<Deming, AgreementError> {
    check(reference, method, 4)?;
    check_coverage(coverage)?;
    if !(ratio > 0.0 && ratio.is_finite()) {
        return Err(AgreementError::Parameter { what: "variance ratio", found: ratio, expected: "above 0" });
    }
    let all = moments(reference, method);
    let (slope, intercept) = line(&all, ratio)?;
    let n = reference.len();
    let mut slopes = Vec::with_capacity(n);
    let mut intercepts = Vec::with_capacity(n);
    for (&x, &y) in reference.iter().zip(method) {
        let (b, a) = line(&all.without(x, y), ratio)?;
        slopes.push(b);
        intercepts.push(a);
    }
    let (slope_se, intercept_se) = (jackknife_se(&slopes), jackknife_se(&intercepts));
    let t = t_quantile(f64::midpoint(1.0, coverage), count(n) - 2.0);
    Ok(Deming {
        slope,
        intercept,
        slope_se,
        intercept_se,
        slope_ci: around(slope, t * slope_se),
        intercept_ci: around(intercept, t * intercept_se),
    })
}

/// Slope and intercept.
fn line(m: &Moments, ratio: f64) -> Result<(f64, f64), AgreementError> {
    let excess = m.s_yy - ratio * m.s_xx;
    let root = (excess * excess + 4.0 * ratio * m.s_xy * m.s_xy).sqrt();
    // The two forms are equal; each loses no digits where the other does.
    let slope = if excess >= 0.0 { (excess + root) / (2.0 * m.s_xy) } else { 2.0 * ratio * m.s_xy / (root - excess) };
    if !slope.is_finite() || m.s_xy.abs() <= 0.0 {
        return Err(AgreementError::NoSpread);
    }
    Ok((slope, m.mean_y - slope * m.mean_x))
}

/// Standard error from the values with each pair left out once.
pub(super) fn jackknife_se(values: &[f64]) -> f64 {
    let n = count(values.len());
    let mean = values.iter().sum::<f64>() / n;
    ((n - 1.0) / n * values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>()).sqrt()
}
