//! Lin's concordance correlation: how near the pairs lie to the line of equality.
//!
//! ρ_c = 2 s_xy / (s_x² + s_y² + (x̄ − ȳ)²), with moments over n. Source: Lin, Biometrics 45 (1989) 255–268; variance as
//! corrected in Biometrics 56 (2000) 324–325 (both from memory), interval by Fisher's z.

use super::{AgreementError, check, check_coverage, moments};
use crate::distribution::normal_quantile;

/// Lin's concordance and its parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Concordance {
    /// ρ_c, −1 to 1.
    pub value: f64,
    /// Interval by Fisher's z; `None` for a perfect concordance or fewer than 4 pairs.
    pub ci: Option<[f64; 2]>,
    /// Pearson's r: precision.
    pub pearson: f64,
    /// C_b: accuracy.
    pub accuracy: f64,
    /// Asymptotic standard error of ρ_c, n − 2 form; `None` below 3 pairs.
    pub se: Option<f64>,
}

/// Concordance of two methods at the given coverage of its interval.
///
/// # Errors
/// Fewer than 3 pairs, values that are not finite or do not spread.
pub fn concordance(reference: &[f64], method: &[f64], coverage: f64) -> Result<Concordance, AgreementError> {
    check(reference, method, 3)?;
    check_coverage(coverage)?;
    let m = moments(reference, method);
    if m.s_xx <= 0.0 || m.s_yy <= 0.0 {
        return Err(AgreementError::NoSpread);
    }
    let (vx, vy, vxy) = (m.s_xx / m.n, m.s_yy / m.n, m.s_xy / m.n);
    let shift = m.mean_x - m.mean_y;
    let rho = 2.0 * vxy / (vx + vy + shift * shift);
    let r = vxy / (vx * vy).sqrt();
    let u2 = shift * shift / (vx * vy).sqrt();
    let rest = 1.0 - rho * rho;
    // Lin (2000): variance of ρ_c. Without any correlation its leading term has no limit, and there is no error to state.
    let ratio = rho / r;
    let variance = ((1.0 - r * r) * ratio * ratio * rest + 2.0 * rho * rho * (1.0 - rho) * ratio * u2
        - 0.5 * rho * rho * ratio * ratio * u2 * u2)
        / (m.n - 2.0);
    let se = (variance >= 0.0).then(|| variance.sqrt());
    let ci = se.filter(|_| rest > 0.0 && m.n > 3.0).map(|se| {
        let z = rho.atanh();
        let half = normal_quantile(f64::midpoint(1.0, coverage)) * se / rest;
        [(z - half).tanh(), (z + half).tanh()]
    });
    Ok(Concordance { value: rho, ci, pearson: r, accuracy: if r.abs() > 0.0 { rho / r } else { 0.0 }, se })
}
