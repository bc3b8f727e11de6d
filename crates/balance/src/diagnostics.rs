//! Whether the model fits: the standardized innovations should be white, normal, of variance one.
//!
//! Whiteness by Ljung & Box, Biometrika 1978;65:297: Q = n(n+2) Σ ρ_k²/(n−k) over ten lags, χ² of ten
//! degrees. Normality by Jarque & Bera, Int Stat Rev 1987;55:163: n/6 (S² + (K−3)²/4), χ² of two degrees.
//! The noise levels were estimated from the same weights, so the p-values are a little too kind.

use serde::Serialize;
use stats::distribution::chi2_sf;

use crate::core::Filtered;

const N_LAGS: usize = 10;

/// Diagnostics of the innovations.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Diagnostics {
    /// Innovations.
    pub n: usize,
    /// Mean, in standard deviations.
    pub mean: f64,
    /// Variance; 1 where the noise levels are right.
    pub variance: f64,
    /// Probability of correlations as large by chance.
    pub whiteness_p: Option<f64>,
    /// Probability of skewness and kurtosis as large by chance.
    pub normality_p: Option<f64>,
}

/// Diagnostics of a filter run; the first weight, whose prediction is diffuse, is left out.
pub(crate) fn diagnose(filtered: &[Filtered]) -> Diagnostics {
    let e: Vec<f64> =
        filtered.iter().filter_map(|state| state.update).skip(1).map(|update| update.v / update.f.sqrt()).collect();
    describe(&e)
}

fn describe(e: &[f64]) -> Diagnostics {
    let n = e.len() as f64;
    let mean = e.iter().sum::<f64>() / n.max(1.0);
    let moment = |power: i32| e.iter().map(|x| (x - mean).powi(power)).sum::<f64>() / n.max(1.0);
    let variance = moment(2);
    let enough = e.len() > 3 * N_LAGS && variance > 0.0;
    let whiteness_p = enough.then(|| {
        let correlation =
            |k: usize| e.iter().zip(&e[k..]).map(|(x, y)| (x - mean) * (y - mean)).sum::<f64>() / (n * variance);
        let sum: f64 = (1..=N_LAGS).map(|k| correlation(k).powi(2) / (n - k as f64)).sum();
        chi2_sf(n * (n + 2.0) * sum, N_LAGS as f64)
    });
    let normality_p = enough.then(|| {
        let skewness = moment(3) / variance.powf(1.5);
        let kurtosis = moment(4) / (variance * variance);
        chi2_sf(n / 6.0 * (skewness * skewness + 0.25 * (kurtosis - 3.0).powi(2)), 2.0)
    });
    Diagnostics { n: e.len(), mean, variance, whiteness_p, normality_p }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An invented series of period four: correlation −0.5 at lag 2 at once is not white.
    #[test]
    fn a_wave_is_not_white_and_a_scrambled_one_is() {
        let wave: Vec<f64> = (0..200).map(|k| [1.0, 0.3, -1.0, -0.3][k % 4]).collect();
        assert!(describe(&wave).whiteness_p.unwrap() < 1e-6);
        // Multiples of the golden ratio, scrambled by a large odd step: no short correlation.
        let scrambled: Vec<f64> =
            (0..200u64).map(|k| ((k * k * 7919 + k * 104_729) % 997) as f64 / 997.0 - 0.5).collect();
        assert!(describe(&scrambled).whiteness_p.unwrap() > 0.01);
    }

    /// Jarque-Bera by hand: 100 values of ±1 in equal parts have S = 0, K = 1: 100/6 · 4/4 = 16.67, and the
    /// χ² tail of two degrees is e^(−8.333) = 2.4e-4.
    #[test]
    fn two_valued_innovations_are_not_normal() {
        let e: Vec<f64> = (0..100).map(|k| if (k / 3) % 2 == 0 { 1.0 } else { -1.0 }).collect();
        let mean = e.iter().sum::<f64>() / 100.0;
        assert!(mean.abs() < 0.05);
        let p = describe(&e).normality_p.unwrap();
        assert!((p.ln() + 8.333).abs() < 0.1, "{p}");
    }

    #[test]
    fn few_innovations_are_not_judged() {
        assert_eq!(describe(&[0.1; 12]).whiteness_p, None);
    }
}
