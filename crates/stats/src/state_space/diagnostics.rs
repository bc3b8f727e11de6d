//! Are the standardized innovations independent, normal and of one variance, as a right model makes them?
//!
//! Source: Durbin & Koopman (2012), 2.12 and 7.5: Q(k) = n(n+2) Σ c_j²/(n−j) (Ljung & Box), N = n (S²/6 + (K−3)²/24)
//! (Bowman & Shenton, Jarque & Bera) with moments of divisor n, H(h) = Σ last h squares / Σ first h squares.

use crate::distribution::{chi2_sf, f_cdf, f_sf};
use crate::moments::mean;

/// A test statistic with its degrees of freedom and p-value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Portmanteau {
    /// The statistic.
    pub statistic: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Probability of a more extreme value if the model is right.
    pub p: f64,
}

/// Skewness and kurtosis, and the test that they are those of a normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// S, 0 for a normal distribution.
    pub skewness: f64,
    /// K, 3 for a normal distribution.
    pub kurtosis: f64,
    /// The statistic, χ² with two degrees of freedom.
    pub test: Portmanteau,
}

/// Serial correlation up to `lags`, with `n_fitted` parameters estimated from the same data taken off the degrees of
/// freedom. `None` where there are not more values than lags, not more lags than parameters, or no variation.
pub fn ljung_box(values: &[f64], lags: usize, n_fitted: usize) -> Option<Portmanteau> {
    let n = values.len();
    if lags == 0 || lags <= n_fitted || n <= lags {
        return None;
    }
    let centre = mean(values)?;
    let product = |lag: usize| values.iter().zip(&values[lag..]).map(|(a, b)| (a - centre) * (b - centre)).sum::<f64>();
    let variance = product(0);
    if variance <= 0.0 {
        return None;
    }
    let sum: f64 = (1..=lags).map(|lag| (product(lag) / variance).powi(2) / (n - lag) as f64).sum();
    let statistic = n as f64 * (n as f64 + 2.0) * sum;
    let degrees_of_freedom = (lags - n_fitted) as f64;
    Some(Portmanteau { statistic, degrees_of_freedom, p: chi2_sf(statistic, degrees_of_freedom) })
}

/// Skewness and kurtosis against those of a normal distribution. `None` without variation.
pub fn jarque_bera(values: &[f64]) -> Option<Shape> {
    let n = values.len() as f64;
    let centre = mean(values)?;
    let moment = |power: i32| values.iter().map(|v| (v - centre).powi(power)).sum::<f64>() / n;
    let variance = moment(2);
    if variance <= 0.0 {
        return None;
    }
    let skewness = moment(3) / variance.powf(1.5);
    let kurtosis = moment(4) / (variance * variance);
    let statistic = n * (skewness * skewness / 6.0 + (kurtosis - 3.0).powi(2) / 24.0);
    Some(Shape {
        skewness,
        kurtosis,
        test: Portmanteau { statistic, degrees_of_freedom: 2.0, p: chi2_sf(statistic, 2.0) },
    })
}

/// H(`h`): the last `h` squares against the first, two-sided by F with h and h degrees of freedom. `None` where the two
/// overlap or the first are all zero.
pub fn heteroscedasticity(values: &[f64], h: usize) -> Option<Portmanteau> {
    if h == 0 || 2 * h > values.len() {
        return None;
    }
    let squares = |part: &[f64]| part.iter().map(|v| v * v).sum::<f64>();
    let first = squares(&values[..h]);
    if first <= 0.0 {
        return None;
    }
    let statistic = squares(&values[values.len() - h..]) / first;
    let df = h as f64;
    let p = (2.0 * f_cdf(statistic, df, df).min(f_sf(statistic, df, df))).min(1.0);
    Some(Portmanteau { statistic, degrees_of_freedom: df, p })
}
