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

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal};
use statrs::function::beta::ln_beta;

/// Distribution function Φ(z) of the standard normal.
pub fn normal_cdf(z: f64) -> f64 {
    // The erfc of `statrs` errs by 1e-10; this one by an ulp.
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
        Some(d) if (0.0..=1.0).contains(&p) => polish(d.inverse_cdf(p), p, &d, |x| d.ln_pdf(x)),
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
        Some(d) if (0.0..=1.0).contains(&p) => polish(d.inverse_cdf(p), p, &d, |x| f_ln_pdf(x, nu1, nu2)),
        _ => f64::NAN,
    }
}

fn chi2(nu: f64) -> Option<ChiSquared> {
    ChiSquared::new(nu).ok()
}

fn fisher(nu1: f64, nu2: f64) -> Option<FisherSnedecor> {
    FisherSnedecor::new(nu1, nu2).ok()
}

/// Logarithm of the density of F; the library's own overflows at some hundreds of degrees of freedom.
fn f_ln_pdf(x: f64, nu1: f64, nu2: f64) -> f64 {
    let ratio = nu1 * x / nu2;
    0.5 * nu1 * ratio.ln() - 0.5 * (nu1 + nu2) * ratio.ln_1p() - x.ln() - ln_beta(0.5 * nu1, 0.5 * nu2)
}

/// Newton's method for a quantile of a positive variable from the library's `start`, whose bisection stops at an absolute
/// error. Works on the logarithms of the smaller tail and of x, where both tails are nearly straight.
fn polish(start: f64, p: f64, law: &impl ContinuousCDF<f64, f64>, ln_pdf: impl Fn(f64) -> f64) -> f64 {
    if !(start > 0.0 && start.is_finite()) {
        return start;
    }
    let lower = p < 0.5;
    let target = if lower { p } else { 1.0 - p };
    let mut x = start;
    for _ in 0..60 {
        let tail = if lower { law.cdf(x) } else { law.sf(x) };
        let slope = x * ln_pdf(x).exp() / tail * if lower { 1.0 } else { -1.0 };
        let next = x * ((target / tail).ln() / slope).clamp(-2.0, 2.0).exp();
        if !next.is_finite() || next <= 0.0 {
            break;
        }
        let step = (next - x).abs();
        x = next;
        if step <= 4.0 * f64::EPSILON * x {
            break;
        }
    }
    x
}

/// The library functions take an argument that is not NaN.
fn nan_or(x: f64, value: impl Fn(f64) -> f64) -> f64 {
    if x.is_nan() { f64::NAN } else { value(x) }
}

#[cfg(test)]
mod tests;
