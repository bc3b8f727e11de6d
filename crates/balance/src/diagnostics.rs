//! Whether the model fits: the standardized innovations should be white, normal, of one variance.
//!
//! Ljung & Box over ten lags, Jarque & Bera, and the last third's squares against the first third's, as in
//! [`stats::state_space`]. The noise levels were estimated from the same weights, so the p-values are a little
//! too kind; of the four levels none is a serial correlation, so no lag is taken off for them.

use serde::Serialize;
use stats::state_space::{heteroscedasticity, jarque_bera, ljung_box};

use crate::core::Filtered;

const N_LAGS: usize = 10;
/// Fewer innovations are not judged.
const N_MIN: usize = 30;

/// Diagnostics of the innovations.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Diagnostics {
    /// Innovations.
    pub n: usize,
    /// Mean, in standard deviations.
    pub mean: f64,
    /// Mean square; 1 where the noise levels are right.
    pub variance: f64,
    /// Probability of correlations as large by chance; `None` under 30 innovations, here and below.
    pub whiteness_p: Option<f64>,
    /// Probability of skewness and kurtosis as large by chance.
    pub normality_p: Option<f64>,
    /// Probability of variances at start and end as unlike by chance.
    pub one_variance_p: Option<f64>,
}

/// Diagnostics of a filter run; the first weight, whose prediction is diffuse, is left out.
pub(crate) fn diagnose(filtered: &[Filtered]) -> Diagnostics {
    let e: Vec<f64> =
        filtered.iter().filter_map(|state| state.update).skip(1).map(|update| update.v / update.f.sqrt()).collect();
    let n = e.len().max(1) as f64;
    let judged = (e.len() >= N_MIN).then_some(e.as_slice());
    Diagnostics {
        n: e.len(),
        mean: e.iter().sum::<f64>() / n,
        variance: e.iter().map(|x| x * x).sum::<f64>() / n,
        whiteness_p: judged.and_then(|e| ljung_box(e, N_LAGS, 0)).map(|test| test.p),
        normality_p: judged.and_then(jarque_bera).map(|shape| shape.test.p),
        one_variance_p: judged.and_then(|e| heteroscedasticity(e, e.len() / 3)).map(|test| test.p),
    }
}
