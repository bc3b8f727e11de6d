//! Student's t, with an expansion where the library's quantile loses digits.
//!
//! For ν > 10⁴ the incomplete beta function behind the quantile loses digits (3e-4 at ν = 10⁶), so the quantile is
//! expanded about the normal one z (Cornish–Fisher, Abramowitz & Stegun 26.7.5):
//! t = z + (z³+z)/(4ν) + (5z⁵+16z³+3z)/(96ν²) + …, and the distribution function by its inverse series
//! z = t − (t³+t)/(4ν) + (13t⁵+8t³+3t)/(96ν²) − …

use super::{normal_cdf, normal_quantile};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::ln_gamma;

/// Above this the expansion is the better of the two (5e-12 here, better beyond).
const NU_LARGE: f64 = 1e4;

/// Distribution function of Student's t with `nu` degrees of freedom.
pub fn t_cdf(t: f64, nu: f64) -> f64 {
    t_sf(-t, nu)
}

/// Survival function P(T > `t`) of Student's t with `nu` degrees of freedom.
pub fn t_sf(t: f64, nu: f64) -> f64 {
    let tail = 0.5 * t_two_sided_p(t, nu);
    if t > 0.0 { tail } else { 1.0 - tail }
}

/// P(|T| > |`t`|): the two-sided p-value of Student's t with `nu` degrees of freedom.
pub fn t_two_sided_p(t: f64, nu: f64) -> f64 {
    if t.is_nan() || nu.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if nu > NU_LARGE {
        return 2.0 * normal_cdf(-normal_equivalent(t.abs(), nu));
    }
    if t.is_infinite() {
        return 0.0;
    }
    // P(|T| > t) = I_x(ν/2, 1/2), x = ν/(ν + t²) (Abramowitz & Stegun 26.7.1 with 26.5.27).
    checked_beta_reg(0.5 * nu, 0.5, nu / (nu + t * t)).unwrap_or(f64::NAN)
}

/// Quantile of Student's t with `nu` degrees of freedom; `nu` = ∞ gives the normal quantile.
pub fn t_quantile(p: f64, nu: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || nu.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if nu.is_infinite() {
        return normal_quantile(p);
    }
    if nu > NU_LARGE {
        let z = normal_quantile(p);
        if z.is_infinite() {
            return z;
        }
        let z2 = z * z;
        return z + z * (z2 + 1.0) / (4.0 * nu) + z * ((5.0 * z2 + 16.0) * z2 + 3.0) / (96.0 * nu * nu);
    }
    let tail = p.min(1.0 - p);
    let t = if tail > 0.0 { polish(-library_quantile(tail, nu), tail, nu) } else { f64::INFINITY };
    if p < 0.5 { -t } else { t }
}

fn library_quantile(p: f64, nu: f64) -> f64 {
    StudentsT::new(0.0, 1.0, nu).map_or(f64::NAN, |d| d.inverse_cdf(p))
}

/// Newton's method on the tail from the library's `t` ≥ 0: its inverse beta function stops at 1e-11 and, for ν below
/// 1, far from the root in the tails. The logarithm of the tail over ln t is concave and nearly straight there.
fn polish(start: f64, tail: f64, nu: f64) -> f64 {
    let mut t = start;
    for _ in 0..60 {
        let found = 0.5 * t_two_sided_p(t, nu);
        let density = t_pdf(t, nu);
        let next = if t > 1.0 {
            t * ((found / tail).ln() * found / (t * density)).exp()
        } else {
            t + (found - tail) / density
        };
        if !next.is_finite() || next < 0.0 {
            break;
        }
        let step = (next - t).abs();
        t = next;
        if step <= 4.0 * f64::EPSILON * t {
            break;
        }
    }
    t
}

/// Density of Student's t.
fn t_pdf(t: f64, nu: f64) -> f64 {
    let ln_norm = ln_gamma(0.5 * nu + 0.5) - ln_gamma(0.5 * nu) - 0.5 * (nu * std::f64::consts::PI).ln();
    (ln_norm - 0.5 * (nu + 1.0) * (t * t / nu).ln_1p()).exp()
}

/// The normal deviate with the same tail area as `t` ≥ 0 at large `nu`.
fn normal_equivalent(t: f64, nu: f64) -> f64 {
    // Where t²/ν is not small the power series fails and its leading part ln(1 + t²/ν) takes over
    // (Wallace 1959, from memory); that far out p is below 1e-100 and only its size matters.
    let t2 = t * t;
    if t2 > 0.05 * nu {
        let shrink = (8.0 * nu + 1.0) / (8.0 * nu + 3.0);
        return shrink * (nu * (t2 / nu).ln_1p()).sqrt();
    }
    if nu.is_infinite() {
        return t;
    }
    let cubic = t * (t2 + 1.0) / (4.0 * nu);
    let quintic = t * ((13.0 * t2 + 8.0) * t2 + 3.0) / (96.0 * nu * nu);
    let septic = t * (((35.0 * t2 + 19.0) * t2 + 1.0) * t2 - 15.0) / (384.0 * nu * nu * nu);
    t - cubic + quintic - septic
}
