//! Bias that grows with the size of the measurand: the difference over the mean of both methods.
//!
//! d = a + b (x + y)/2 by least squares; an exact slope of 0 is a bias that is the same everywhere. The residual standard
//! deviation gives limits of agreement about that line. Source: Bland & Altman, Statistical Methods in Medical Research
//! 8 (1999) 135–160, section 3.2. Over the reference alone the slope would lean down even without any such bias.

use super::{AgreementError, Interval, Moments, around, check, check_coverage, differences, means, moments};
use crate::distribution::{t_quantile, t_two_sided_p};

/// The straight line of the difference over the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProportionalBias {
    /// Slope b, free of unit.
    pub slope: f64,
    /// Confidence interval of the slope, Student's t with n − 2.
    pub slope_ci: Interval,
    /// Two-sided p-value of a slope of 0.
    pub slope_p: f64,
    /// Intercept a, in the unit of both methods.
    pub intercept: f64,
    /// Standard deviation of the differences about the line (n − 2).
    pub residual_sd: f64,
}

/// Regression of the difference (method − reference) on the mean, with a slope interval of that coverage.
///
/// # Errors
/// Fewer than 3 pairs, values that are not finite, means without spread, a coverage outside 0 to 1.
pub fn proportional_bias(reference: &[f64], method: &[f64], coverage: f64) -> Result<ProportionalBias, AgreementError> {
    check(reference, method, 3)?;
    check_coverage(coverage)?;
    let m = moments(&means(reference, method), &differences(reference, method));
    line(&m, coverage).ok_or(AgreementError::NoSpread)
}

/// The line from the moments of mean (x) and difference (y); `None` where the means do not spread.
pub(super) fn line(m: &Moments, coverage: f64) -> Option<ProportionalBias> {
    if m.s_xx <= 0.0 {
        return None;
    }
    let nu = m.n - 2.0;
    let slope = m.s_xy / m.s_xx;
    let residual_ss = (m.s_yy - slope * m.s_xy).max(0.0);
    let se = (residual_ss / nu / m.s_xx).sqrt();
    // On an exact line, one that lies level is no evidence of a slope and any other is certain of it.
    let slope_p = match (se > 0.0, slope.abs() > 0.0) {
        (true, _) => t_two_sided_p(slope / se, nu),
        (false, true) => 0.0,
        (false, false) => 1.0,
    };
    Some(ProportionalBias {
        slope,
        slope_ci: around(slope, t_quantile(f64::midpoint(1.0, coverage), nu) * se),
        slope_p,
        intercept: m.mean_y - slope * m.mean_x,
        residual_sd: (residual_ss / nu).sqrt(),
    })
}
