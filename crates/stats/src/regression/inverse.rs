//! Inverse prediction: which x gave the observation y, and between what limits.
//!
//! The limits are where the prediction band of the curve, p(x) ± t s √(1/w + h(x)), crosses the observed y
//! (NIST/SEMATECH e-Handbook 4.5.2.1 and 4.6.1; Fieller's interval for a straight line).

use super::{FitError, Polynomial, Variance};
use crate::distribution::t_quantile;
use crate::root;

/// The x that belongs to an observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InversePrediction {
    /// Where the curve passes through the observation.
    pub x: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

/// Why no x could be given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum InverseError {
    /// The curve does not take the value within the range searched.
    #[error("the curve does not reach {y} between {low} and {high}")]
    OutOfRange {
        /// The observation.
        y: f64,
        /// Lower end of the range.
        low: f64,
        /// Upper end of the range.
        high: f64,
    },
    /// The curve turns within the range: more than one x would do.
    #[error("the curve turns near x = {x}, the inverse is not unique")]
    NotMonotone {
        /// Where it turns, roughly.
        x: f64,
    },
    /// The confidence is not between 0 and 1.
    #[error("confidence {found}, expected between 0 and 1")]
    Confidence {
        /// What was given.
        found: f64,
    },
    /// The fit has no residual scale.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// The x of a single new observation `y` of weight 1 and its interval at `confidence` (0.95, say).
///
/// The range of the fitted x is searched, widened by a tenth on either side; an interval is cut at its ends.
///
/// # Errors
/// See [`InverseError`].
pub fn inverse_prediction(curve: &Polynomial, y: f64, confidence: f64) -> Result<InversePrediction, InverseError> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(InverseError::Confidence { found: confidence });
    }
    let nu = curve.fit().degrees_of_freedom() as f64;
    let s2 = curve.fit().residual_ss() / nu;
    curve.estimate(curve.x_range().0, Variance::FromResiduals)?;
    let t = t_quantile(0.5 + 0.5 * confidence, nu);
    let (first, last) = curve.x_range();
    let margin = 0.1 * (last - first);
    let (low, high) = (first - margin, last + margin);
    let rising = monotone(curve, low, high)?;
    if (curve.value(low) - y) * (curve.value(high) - y) > 0.0 || !y.is_finite() {
        return Err(InverseError::OutOfRange { y, low, high });
    }
    let tolerance = 1e-14 * low.abs().max(high.abs());
    let x = root::find(|x| curve.value(x) - y, low, high, tolerance);
    let half = |x: f64| {
        let u = curve.estimate(x, Variance::FromResiduals).map_or(f64::NAN, |e| e.u);
        t * (s2 + u * u).sqrt()
    };
    let crossing = |sign: f64, a: f64, b: f64| root::find(|x| curve.value(x) + sign * half(x) - y, a, b, tolerance);
    // On a rising curve the upper band comes to y first.
    let below = crossing(if rising { 1.0 } else { -1.0 }, low, x);
    let above = crossing(if rising { -1.0 } else { 1.0 }, x, high);
    Ok(InversePrediction { x, low: below, high: above })
}

/// Whether the curve rises; an error where it turns on the way.
fn monotone(curve: &Polynomial, low: f64, high: f64) -> Result<bool, InverseError> {
    const STEPS: usize = 200;
    let at = |i: usize| low + (high - low) * i as f64 / STEPS as f64;
    let rising = curve.value(high) > curve.value(low);
    let turns = (0..STEPS).find(|&i| (curve.value(at(i + 1)) > curve.value(at(i))) != rising);
    turns.map_or(Ok(rising), |i| Err(InverseError::NotMonotone { x: at(i) }))
}
