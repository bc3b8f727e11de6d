//! A line by ranks of slopes, sound against outliers.
//!
//! Slopes of all pairs of points, those at −1 dropped, sorted; K of them lie below −1 and shift the median. Its interval
//! takes the slopes C = z √(n(n−1)(2n+5)/18) ranks away. Source: Passing & Bablok, Journal of Clinical Chemistry and
//! Clinical Biochemistry 21 (1983) 709–720 (from memory; definition as in the published examples of the tests).

use super::{AgreementError, check, check_coverage, count};
use crate::distribution::normal_quantile;

/// Pairs at most: their 50 million slopes take 0.4 GB.
const PAIRS_MAX: usize = 10_000;

/// The line and its intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassingBablok {
    /// Slope.
    pub slope: f64,
    /// Interval of the slope; an end that lies beyond all slopes is infinite.
    pub slope_ci: [f64; 2],
    /// Intercept: median of y − b x.
    pub intercept: f64,
    /// Interval of the intercept; without a bound on that side where the slope has none.
    pub intercept_ci: [f64; 2],
}

/// The line with intervals of that coverage.
///
/// # Errors
/// Fewer than 3 pairs or more than 10 000, values that are not finite, no two points that differ.
pub fn passing_bablok(reference: &[f64], method: &[f64], coverage: f64) -> Result<PassingBablok, AgreementError> {
    check(reference, method, 3)?;
    check_coverage(coverage)?;
    if reference.len() > PAIRS_MAX {
        return Err(AgreementError::TooMany { found: reference.len(), expected: PAIRS_MAX });
    }
    let mut slopes = slopes(reference, method);
    if slopes.is_empty() {
        return Err(AgreementError::NoSpread);
    }
    slopes.sort_by(f64::total_cmp);
    let shift = slopes.iter().filter(|s| **s < -1.0).count();
    let slope = shifted_median(&slopes, shift);
    if !slope.is_finite() {
        return Err(AgreementError::NoSpread);
    }
    let n = count(reference.len());
    let c = normal_quantile(f64::midpoint(1.0, coverage)) * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let number = count(slopes.len());
    let m1 = ((number - c) / 2.0).round();
    let m2 = number - m1 + 1.0;
    let slope_ci = [rank(&slopes, m1 + count(shift)), rank(&slopes, m2 + count(shift))];
    let intercept_at = |b: f64| {
        let mut rests: Vec<f64> = reference.iter().zip(method).map(|(x, y)| y - b * x).collect();
        rests.sort_by(f64::total_cmp);
        shifted_median(&rests, 0)
    };
    Ok(PassingBablok {
        slope,
        slope_ci,
        intercept: intercept_at(slope),
        intercept_ci: [
            if slope_ci[1].is_finite() { intercept_at(slope_ci[1]) } else { f64::NEG_INFINITY },
            if slope_ci[0].is_finite() { intercept_at(slope_ci[0]) } else { f64::INFINITY },
        ],
    })
}

/// Slopes of all pairs of different points; upright ones are infinite.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let mut all = Vec::with_capacity(x.len() * (x.len() - 1) / 2);
    for i in 0..x.len() {
        for j in i + 1..x.len() {
            let (dx, dy) = (x[j] - x[i], y[j] - y[i]);
            let same = dx.abs() <= 0.0 && dy.abs() <= 0.0;
            // An upright pair has the sign of its rise; a slope of −1 would count on both sides of the shift.
            let slope = if dx.abs() > 0.0 { dy / dx } else { f64::INFINITY.copysign(dy) };
            if !same && (slope + 1.0).abs() > 0.0 {
                all.push(slope);
            }
        }
    }
    all
}

/// Median of sorted values, `shift` ranks further up.
fn shifted_median(sorted: &[f64], shift: usize) -> f64 {
    let n = sorted.len();
    let at = |rank: usize| sorted[rank.min(n - 1)];
    if n % 2 == 1 { at((n - 1) / 2 + shift) } else { f64::midpoint(at(n / 2 - 1 + shift), at(n / 2 + shift)) }
}

/// The value of that rank, from 1; beyond the ends there is no bound.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked against the ends before the cast")]
fn rank(sorted: &[f64], rank: f64) -> f64 {
    if rank < 1.0 {
        f64::NEG_INFINITY
    } else if rank > count(sorted.len()) {
        f64::INFINITY
    } else {
        sorted[rank as usize - 1]
    }
}
