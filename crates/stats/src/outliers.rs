//! Grubbs' test for one outlier in a sample that is otherwise normal.
//!
//! G = max |yᵢ − ȳ|/s with the standard deviation s over n − 1. Above the critical value
//! (n − 1)/√n · √(t²/(n − 2 + t²)), with t the upper α/(2n) quantile of Student's t with n − 2 degrees of freedom
//! (one-sided: α/n), the value that gave G is an outlier at level α.
//! Source: Grubbs, Technometrics 11 (1969) 1–21; NIST/SEMATECH e-Handbook 1.3.5.17 (from memory).
//! Finds one outlier; two that stand together hide each other (see [`crate::robust`]). Residuals of a fit have a search of
//! their own in [`crate::regression`]. An outlier is a question to the measurement, not a licence to drop it.

use crate::distribution::{t_quantile, t_sf};

/// On which side an outlier is looked for, settled before the data are seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Only above the others.
    Upper,
    /// Only below the others.
    Lower,
    /// On either side.
    Both,
}

/// Why the test could not be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutlierError {
    /// Two values are always equally far from their mean.
    #[error("found {found} values, expected at least 3")]
    TooFew {
        /// Values given.
        found: usize,
    },
    /// A value is NaN or infinite.
    #[error("value {index} is not finite")]
    NotFinite {
        /// Its place, from 0.
        index: usize,
    },
    /// All values are equal.
    #[error("all values are equal")]
    NoSpread,
    /// A level outside 0 to 1.
    #[error("the level is {found}, expected above 0 and below 1")]
    Level {
        /// What was given.
        found: f64,
    },
}

/// Outcome of Grubbs' test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Place of the value furthest out, from 0; the first of equals.
    pub index: usize,
    /// The value.
    pub value: f64,
    /// Its distance from the mean in standard deviations.
    pub g: f64,
    /// What `g` must exceed.
    pub critical: f64,
    /// Probability of a greater `g` in a normal sample, by the bound the critical value comes from: at most 1.
    pub p: f64,
    /// Whether the value is an outlier at the level asked for.
    pub outlier: bool,
}

/// Tests the value furthest out on that side at level `alpha` (0.05 for 5 %).
///
/// # Errors
/// Fewer than 3 values, values that are not finite or all equal, a level outside 0 to 1.
pub fn grubbs(values: &[f64], side: Side, alpha: f64) -> Result<Grubbs, OutlierError> {
    let critical = grubbs_critical(values.len(), side, alpha)?;
    if let Some(index) = values.iter().position(|v| !v.is_finite()) {
        return Err(OutlierError::NotFinite { index });
    }
    let n = count(values.len());
    let mean = values.iter().sum::<f64>() / n;
    let ss: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    // Equal values may differ from their mean by its rounding.
    if values.iter().all(|v| (v - values[0]).abs() <= 0.0) {
        return Err(OutlierError::NoSpread);
    }
    let distance = |v: f64| match side {
        Side::Upper => v - mean,
        Side::Lower => mean - v,
        Side::Both => (v - mean).abs(),
    };
    let mut index = 0;
    for (i, v) in values.iter().enumerate() {
        if distance(*v) > distance(values[index]) {
            index = i;
        }
    }
    let g = distance(values[index]) / (ss / (n - 1.0)).sqrt();
    Ok(Grubbs { index, value: values[index], g, critical, p: p_value(g, n, side), outlier: g > critical })
}

/// Critical value of G for `n` values.
///
/// # Errors
/// Fewer than 3 values, a level outside 0 to 1.
pub fn grubbs_critical(n: usize, side: Side, alpha: f64) -> Result<f64, OutlierError> {
    if n < 3 {
        return Err(OutlierError::TooFew { found: n });
    }
    if !(alpha > 0.0 && alpha < 1.0) {
        return Err(OutlierError::Level { found: alpha });
    }
    let n = count(n);
    let tail = alpha / (sides(side) * n);
    let t = t_quantile(tail, n - 2.0);
    Ok((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

/// The level at which G would be critical.
fn p_value(g: f64, n: f64, side: Side) -> f64 {
    // The critical value solved for t; G reaches (n − 1)/√n only where all others are equal.
    let left = (n - 1.0) * (n - 1.0) - n * g * g;
    if left <= 0.0 {
        return 0.0;
    }
    let t = g * ((n - 2.0) * n / left).sqrt();
    (sides(side) * n * t_sf(t, n - 2.0)).min(1.0)
}

fn sides(side: Side) -> f64 {
    if side == Side::Both { 2.0 } else { 1.0 }
}

#[expect(clippy::cast_precision_loss, reason = "numbers of values are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_tested_is_said() {
        assert_eq!(grubbs(&[1.0, 2.0], Side::Both, 0.05), Err(OutlierError::TooFew { found: 2 }));
        assert_eq!(grubbs(&[0.1; 7], Side::Both, 0.05), Err(OutlierError::NoSpread));
        assert_eq!(grubbs(&[1.0, 2.0, f64::INFINITY], Side::Both, 0.05), Err(OutlierError::NotFinite { index: 2 }));
        assert_eq!(grubbs(&[1.0, 2.0, 3.0], Side::Both, 0.0), Err(OutlierError::Level { found: 0.0 }));
    }

    #[test]
    fn the_side_decides_what_is_tested() {
        let values = [10.0, 10.1, 9.9, 10.05, 9.95, 7.0];
        assert_eq!(grubbs(&values, Side::Both, 0.05).unwrap().index, 5);
        let upper = grubbs(&values, Side::Upper, 0.05).unwrap();
        assert!(upper.index == 1 && !upper.outlier);
        // Far from all others, which are equal: as far out as a value can be.
        let lone = grubbs(&[2.0, 2.0, 2.0, 2.0, 9.0], Side::Both, 0.01).unwrap();
        assert!(lone.outlier && (lone.g - 4.0 / 5f64.sqrt()).abs() < 1e-12 && lone.p < 1e-9);
    }

    /// The p-value is the level at which the value turns critical.
    #[test]
    fn critical_at_its_own_p_value() {
        let values = [3.1, 2.9, 3.0, 3.2, 2.8, 3.05, 4.4];
        for side in [Side::Both, Side::Upper] {
            let p = grubbs(&values, side, 0.05).unwrap().p;
            let there = grubbs(&values, side, p).unwrap();
            assert!((there.g - there.critical).abs() < 1e-10, "{there:?}");
        }
    }
}
