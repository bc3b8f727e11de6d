//! A straight line with errors in both methods that differ from pair to pair.
//!
//! Least Σ (yᵢ − a − b xᵢ)² / (u_yᵢ² + b² u_xᵢ²) over a and b: the likeliest line where errors are independent and normal
//! with known standard deviations up to a common factor. Solved by York's iteration of the slope.
//!
//! Source: Ripley & Thompson, Analyst 112 (1987) 377–383 (as in the R package deming); York, Canadian Journal of Physics
//! 44 (1966) 1079–1086 (from memory). Standard errors by the jackknife, which needs no scale of the errors.
//! With equal deviations it is [`super::deming`] at the ratio of their squares.

use super::deming::{Deming, jackknife_se};
use super::{AgreementError, around, check, check_coverage, count};
use crate::distribution::t_quantile;

/// Most pairs: each is left out once, and the line drawn anew.
pub(super) const MOST_PAIRS: usize = 2000;
/// Change of the slope at which it is found, relative.
const FOUND: f64 = 1e-14;
/// Most steps; the iteration gains a digit or more a step where the pairs determine a line.
const MOST_STEPS: usize = 500;

/// One pair as the line needs it.
#[derive(Debug, Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    var_x: f64,
    var_y: f64,
}

/// The line where each pair has its own standard deviations of error, `u_reference` and `u_method`, known up to a common
/// factor; with intervals of that coverage.
///
/// # Errors
/// Fewer than 4 pairs or more than 2000, values that are not finite or not correlated, deviations that are not
/// positive.
pub fn weighted_deming(
    reference: &[f64],
    method: &[f64],
    u_reference: &[f64],
    u_method: &[f64],
    coverage: f64,
) -> Result<Deming, AgreementError> {
    check(reference, method, 4)?;
    check_coverage(coverage)?;
    let n = reference.len();
    if n > MOST_PAIRS {
        return Err(AgreementError::TooMany { found: n, expected: MOST_PAIRS });
    }
    for u in [u_reference, u_method] {
        if u.len() != n {
            return Err(AgreementError::Unequal { reference: n, method: u.len() });
        }
        if let Some(found) = u.iter().copied().find(|u| !(*u > 0.0 && u.is_finite())) {
            return Err(AgreementError::Parameter { what: "standard deviation", found, expected: "above 0" });
        }
    }
    let mut points: Vec<Point> = (0..n)
        .map(|i| Point {
            x: reference[i],
            y: method[i],
            var_x: u_reference[i] * u_reference[i],
            var_y: u_method[i] * u_method[i],
        })
        .collect();
    let (slope, intercept) = line(&points)?;
    let mut slopes = Vec::with_capacity(n);
    let mut intercepts = Vec::with_capacity(n);
    for i in 0..n {
        // The order of pairs does not matter: the one left out changes places with the last.
        let left_out = points.swap_remove(i);
        let (b, a) = line(&points)?;
        slopes.push(b);
        intercepts.push(a);
        points.push(left_out);
        points.swap(i, n - 1);
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
fn line(points: &[Point]) -> Result<(f64, f64), AgreementError> {
    let mut slope = start(points)?;
    for _ in 0..MOST_STEPS {
        let (next, intercept) = step(points, slope);
        if !next.is_finite() {
            return Err(AgreementError::NoSpread);
        }
        let found = (next - slope).abs() <= FOUND * next.abs();
        slope = next;
        if found {
            return Ok((slope, intercept));
        }
    }
    // Pairs that hardly determine a line make it wander.
    Err(AgreementError::NoSpread)
}

/// A slope to begin with: that of the least squares of the method on the reference.
fn start(points: &[Point]) -> Result<f64, AgreementError> {
    let n = count(points.len());
    let (mean_x, mean_y) = (points.iter().map(|p| p.x).sum::<f64>() / n, points.iter().map(|p| p.y).sum::<f64>() / n);
    let s_xy: f64 = points.iter().map(|p| (p.x - mean_x) * (p.y - mean_y)).sum();
    let s_xx: f64 = points.iter().map(|p| (p.x - mean_x) * (p.x - mean_x)).sum();
    let slope = s_xy / s_xx;
    if slope.is_finite() && slope.abs() > 0.0 { Ok(slope) } else { Err(AgreementError::NoSpread) }
}

/// The next slope, and the intercept at the present one.
fn step(points: &[Point], slope: f64) -> (f64, f64) {
    let weight = |p: &Point| 1.0 / (p.var_y + slope * slope * p.var_x);
    let (mut sum, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
    for p in points {
        let w = weight(p);
        sum += w;
        sum_x += w * p.x;
        sum_y += w * p.y;
    }
    let (mean_x, mean_y) = (sum_x / sum, sum_y / sum);
    let (mut up, mut along) = (0.0, 0.0);
    for p in points {
        let w = weight(p);
        let (u, v) = (p.x - mean_x, p.y - mean_y);
        // The pair's place on the line, from the mean: u and v by their precision.
        let beta = w * (u * p.var_y + slope * v * p.var_x);
        up += w * beta * v;
        along += w * beta * u;
    }
    (up / along, mean_y - slope * mean_x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agreement::deming;

    const X: [f64; 6] = [1.0, 2.0, 3.5, 5.0, 8.0, 13.0];
    const Y: [f64; 6] = [1.2, 1.9, 3.9, 4.7, 8.4, 12.6];

    /// Equal deviations are the closed form at the ratio of their squares.
    #[test]
    fn equal_deviations_give_the_closed_form() {
        for ratio in [0.25, 1.0, 4.0_f64] {
            let found = weighted_deming(&X, &Y, &[0.3; 6], &[0.3 * ratio.sqrt(); 6], 0.95).unwrap();
            let closed = deming(&X, &Y, ratio, 0.95).unwrap();
            for (a, b) in [
                (found.slope, closed.slope),
                (found.intercept, closed.intercept),
                (found.slope_se, closed.slope_se),
                (found.intercept_se, closed.intercept_se),
            ] {
                // The jackknife differences what nearly cancels.
                assert!((a - b).abs() <= 1e-11 * b.abs().max(1e-3), "{ratio}: {a} is not {b}");
            }
        }
    }

    /// Turned over, reference for method, the line is its mirror image; a common factor of the deviations changes nothing.
    #[test]
    fn the_line_knows_no_direction_and_no_scale() {
        let (u, v) = ([0.1, 0.2, 0.3, 0.4, 0.5, 0.6], [0.6, 0.5, 0.4, 0.3, 0.2, 0.1]);
        let found = weighted_deming(&X, &Y, &u, &v, 0.95).unwrap();
        let turned = weighted_deming(&Y, &X, &v, &u, 0.95).unwrap();
        assert!((turned.slope - 1.0 / found.slope).abs() < 1e-12);
        assert!((turned.intercept + found.intercept / found.slope).abs() < 1e-11);
        let tenfold = weighted_deming(&X, &Y, &u.map(|s| 10.0 * s), &v.map(|s| 10.0 * s), 0.95).unwrap();
        assert!((tenfold.slope_se - found.slope_se).abs() < 1e-11);
    }

    #[test]
    fn what_cannot_be_drawn_is_said() {
        assert_eq!(weighted_deming(&[1.0; 5], &[1.0; 5], &[1.0; 5], &[1.0; 5], 0.95), Err(AgreementError::NoSpread));
        let short = weighted_deming(&X, &Y, &[1.0; 5], &[1.0; 6], 0.95);
        assert!(matches!(short, Err(AgreementError::Unequal { .. })));
        for u in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let found = weighted_deming(&X, &Y, &[1.0; 6], &[1.0, 1.0, u, 1.0, 1.0, 1.0], 0.95);
            assert!(matches!(found, Err(AgreementError::Parameter { .. })), "{u}");
        }
        let many = vec![1.0; MOST_PAIRS + 1];
        assert!(matches!(weighted_deming(&many, &many, &many, &many, 0.95), Err(AgreementError::TooMany { .. })));
    }
}
