//! Bias and limits of agreement.
//!
//! Source: Bland & Altman, Lancet 1986;i:307–310, and Statistical Methods in Medical Research 8 (1999) 135–160. Limits
//! stand at bias ± z·s with the exact normal z. Intervals of the limits come in two forms: the paper's √(3 s²/n) with
//! Student's t, and the exact one, by the noncentral t distribution of a tolerance limit (Carkeet, Optometry and Vision
//! Science 92 (2015) e71–e80, from memory).

use super::{
    AgreementError, Interval, around, check, check_coverage, count, differences, means, moments, proportional,
};
use crate::distribution::{noncentral_t_quantile, normal_quantile, t_quantile};

/// Bias, spread and limits of agreement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlandAltman {
    /// Pairs.
    pub n: usize,
    /// Mean difference, method − reference.
    pub bias: f64,
    /// Standard deviation of the differences (n − 1).
    pub sd: f64,
    /// Confidence interval of the bias.
    pub bias_ci: Interval,
    /// Limits of agreement.
    pub limits: Interval,
    /// Intervals of the lower and the upper limit, by √(3 s²/n).
    pub limits_ci: [Interval; 2],
    /// Intervals of the lower and the upper limit, exact.
    pub limits_ci_exact: [Interval; 2],
    /// Slope of the difference over the mean of both methods ([`super::proportional_bias`]); 0 where the means do not
    /// spread.
    pub proportional_slope: f64,
    /// Two-sided p-value of that slope; `None` where the means do not spread.
    pub proportional_p: Option<f64>,
}

/// Compares two methods at the given coverage (0.95 for 95 %).
///
/// # Errors
/// Fewer than 3 pairs, values that are not finite, a coverage outside 0 to 1.
pub fn bland_altman(reference: &[f64], method: &[f64], coverage: f64) -> Result<BlandAltman, AgreementError> {
    check(reference, method, 3)?;
    check_coverage(coverage)?;
    let m = moments(&means(reference, method), &differences(reference, method));
    let (bias, n) = (m.mean_y, m.n);
    let nu = n - 1.0;
    let sd = (m.s_yy / nu).sqrt();
    let upper_tail = f64::midpoint(1.0, coverage);
    let z = normal_quantile(upper_tail);
    let t = t_quantile(upper_tail, nu);
    let limits = around(bias, z * sd);
    let half = t * (3.0 * sd * sd / n).sqrt();
    // √n (limit − bias)/s of the upper limit follows a noncentral t with δ = z√n.
    let exact = |p: f64| noncentral_t_quantile(p, nu, z * n.sqrt()) * sd / n.sqrt();
    let (low, high) = (exact(1.0 - upper_tail), exact(upper_tail));
    let trend = proportional::line(&m, coverage);
    Ok(BlandAltman {
        n: reference.len(),
        bias,
        sd,
        bias_ci: around(bias, t * sd / n.sqrt()),
        limits,
        limits_ci: [around(limits[0], half), around(limits[1], half)],
        limits_ci_exact: [[bias - high, bias - low], [bias + low, bias + high]],
        proportional_slope: trend.map_or(0.0, |t| t.slope),
        proportional_p: trend.map(|t| t.slope_p),
    })
}

/// Share of pairs whose method lies within `percent` of the reference, from 0 to 1; pairs whose reference is 0 are within
/// only where they are equal.
pub fn share_within(reference: &[f64], method: &[f64], percent: f64) -> f64 {
    let within = reference.iter().zip(method).filter(|(x, y)| (*y - *x).abs() <= percent / 100.0 * x.abs());
    count(within.count()) / count(reference.len().max(1))
}

/// Pairs needed so that the interval of a limit of agreement is no wider than `width` at the given standard deviation of
/// differences and coverage, by the √(3 s²/n) form.
///
/// # Errors
/// A width or standard deviation that is not positive, a width that no 2⁵⁰ pairs would reach, a coverage outside 0 to 1.
pub fn pairs_for_limit_width(sd: f64, width: f64, coverage: f64) -> Result<usize, AgreementError> {
    for (what, found) in [("standard deviation", sd), ("width", width)] {
        if !(found > 0.0 && found.is_finite()) {
            return Err(AgreementError::Parameter { what, found, expected: "above 0" });
        }
    }
    check_coverage(coverage)?;
    let wide =
        |n: usize| 2.0 * t_quantile(f64::midpoint(1.0, coverage), count(n) - 1.0) * (3.0 * sd * sd / count(n)).sqrt();
    if wide(1 << 50) > width {
        return Err(AgreementError::Parameter { what: "width", found: width, expected: "wider against the deviation" });
    }
    // The width falls with n: double until it is narrow enough, then halve the step.
    let mut high = 3;
    while wide(high) > width {
        high *= 2;
    }
    let mut low = 2.max(high / 2);
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if wide(middle) > width { low = middle } else { high = middle }
    }
    Ok(high)
}
