//! Student's t, with an expansion where the library's incomplete beta function loses digits.
//!
//! From a few hundred degrees of freedom on, that function loses digits with ν (3e-9 of a tail at ν = 10⁴), so there the
//! normal deviate z of the same tail is expanded in 1/(48 a²), with a = ν − 1/2 and y = a ln(1 + t²/ν) (Hill, Algorithm
//! 395, Communications of the ACM 13 (1970) 617–619), and the quantile is its inverse.

use super::{normal_cdf, normal_quantile};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::ln_gamma;

/// Above this the expansion is the better of the two: against 40 digits it is off by 2e-14 of a tail of 1e-6, and by less
/// nearer the centre and at larger ν.
const NU_LARGE: f64 = 300.0;

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
    // P(|T| > t) = I_x(ν/2, 1/2), x = ν/(ν + t²), and I_x(a, b) = 1 − I_{1−x}(b, a) (Abramowitz & Stegun 26.7.1 with
    // 26.5.27, 26.5.2); of the two the one whose argument keeps its digits.
    let square = t * t;
    if square < 1.0 {
        1.0 - checked_beta_reg(0.5, 0.5 * nu, square / (nu + square)).unwrap_or(f64::NAN)
    } else {
        checked_beta_reg(0.5 * nu, 0.5, nu / (nu + square)).unwrap_or(f64::NAN)
    }
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
        return from_normal_equivalent(normal_quantile(p), nu);
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

/// The normal deviate with the same tail area as `t` ≥ 0 at large `nu` (Hill 1970).
fn normal_equivalent(t: f64, nu: f64) -> f64 {
    if nu.is_infinite() {
        return t;
    }
    let a = nu - 0.5;
    let b = 48.0 * a * a;
    let y = a * (t * t / nu).ln_1p();
    let tail = (((-0.4 * y - 3.3) * y - 24.0) * y - 85.5) / (0.8 * y * y + 100.0 + b);
    ((tail + y + 3.0) / b + 1.0) * y.sqrt()
}

/// The t at large `nu` whose normal deviate is `z`: [`normal_equivalent`] undone by Newton's method with the slope of its
/// leading part √y, which is right to 1/ν, so that each step gains at least two digits.
fn from_normal_equivalent(z: f64, nu: f64) -> f64 {
    if z == 0.0 || z.is_infinite() {
        return z;
    }
    let aim = z.abs();
    let a = nu - 0.5;
    let mut t = (nu * (aim * aim / a).exp_m1()).sqrt();
    for _ in 0..12 {
        let slope = a * t / (nu + t * t) / (a * (t * t / nu).ln_1p()).sqrt();
        let step = (normal_equivalent(t, nu) - aim) / slope;
        t -= step;
        if step.abs() <= 2.0 * f64::EPSILON * t {
            break;
        }
    }
    t.copysign(z)
}
