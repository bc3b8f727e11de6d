//! Distribution functions and quantiles: normal, Student t, F, χ² and the non-central t.
//!
//! | symbol | name    | meaning                                   | range        |
//! |--------|---------|-------------------------------------------|--------------|
//! | p      | `p`     | probability                               | 0 to 1       |
//! | ν      | `nu`    | degrees of freedom, not only whole ones   | > 0, may be ∞ |
//! | δ      | `delta` | non-centrality                            | real         |
//!
//! The functions behave as C's mathematical functions do: an argument outside its range gives NaN, and a quantile
//! at p = 0 or 1 gives the end of the support. The bulk comes from `statrs`; what is ours is named where it stands.
//! `*_sf` is the survival function 1 − cdf, computed without the cancellation, for p-values.

mod noncentral_t;
mod student;

pub use noncentral_t::{noncentral_t_cdf, noncentral_t_quantile};
pub use student::{t_cdf, t_quantile, t_sf, t_two_sided_p};

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal};

/// Distribution function Φ(z) of the standard normal.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// Density φ(z) of the standard normal.
pub fn normal_pdf(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Quantile of the standard normal.
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    // One Newton step takes the library's 1e-11 to the last digits; in the far tails the density is too small to help.
    let z = Normal::standard().inverse_cdf(p);
    if !z.is_finite() || z.abs() > 30.0 {
        return z;
    }
    let error = if z > 0.0 { (1.0 - p) - normal_cdf(-z) } else { normal_cdf(z) - p };
    z - error / normal_pdf(z)
}

/// Distribution function of χ² with `nu` degrees of freedom.
pub fn chi2_cdf(x: f64, nu: f64) -> f64 {
    chi2(nu).map_or(f64::NAN, |d| nan_or(x, |x| d.cdf(x)))
}

/// Survival function of χ² with `nu` degrees of freedom.
pub fn chi2_sf(x: f64, nu: f64) -> f64 {
    chi2(nu).map_or(f64::NAN, |d| nan_or(x, |x| d.sf(x)))
}

/// Quantile of χ² with `nu` degrees of freedom.
pub fn chi2_quantile(p: f64, nu: f64) -> f64 {
    match chi2(nu) {
        Some(d) if (0.0..=1.0).contains(&p) => d.inverse_cdf(p),
        _ => f64::NAN,
    }
}

/// Distribution function of F with `nu1` (numerator) and `nu2` (denominator) degrees of freedom.
pub fn f_cdf(x: f64, nu1: f64, nu2: f64) -> f64 {
    fisher(nu1, nu2).map_or(f64::NAN, |d| nan_or(x, |x| d.cdf(x)))
}

/// Survival function of F with `nu1` and `nu2` degrees of freedom: the p-value of a variance ratio.
pub fn f_sf(x: f64, nu1: f64, nu2: f64) -> f64 {
    fisher(nu1, nu2).map_or(f64::NAN, |d| nan_or(x, |x| d.sf(x)))
}

/// Quantile of F with `nu1` and `nu2` degrees of freedom.
pub fn f_quantile(p: f64, nu1: f64, nu2: f64) -> f64 {
    match fisher(nu1, nu2) {
        Some(d) if (0.0..=1.0).contains(&p) => d.inverse_cdf(p),
        _ => f64::NAN,
    }
}

fn chi2(nu: f64) -> Option<ChiSquared> {
    ChiSquared::new(nu).ok()
}

fn fisher(nu1: f64, nu2: f64) -> Option<FisherSnedecor> {
    FisherSnedecor::new(nu1, nu2).ok()
}

/// The library functions take an argument that is not NaN.
fn nan_or(x: f64, value: impl Fn(f64) -> f64) -> f64 {
    if x.is_nan() { f64::NAN } else { value(x) }
}

#[cfg(test)]
mod tests;
