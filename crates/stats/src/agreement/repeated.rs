//! What repeats on each subject say of agreement: limits for single measurements where the true value keeps still between
//! repeats of one subject.
//!
//! Source: Bland & Altman, Statistical Methods in Medical Research 8 (1999) 135–160, section 5.1: the variance of single
//! differences is that of the differences of subject means plus (1 − 1/m) of each method's within-subject variance, with
//! the harmonic mean m of the numbers of repeats.

use super::{AgreementError, count};
use crate::distribution::normal_quantile;

/// Agreement of single measurements from repeated ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeated {
    /// Subjects.
    pub subjects: usize,
    /// Mean of the differences of subject means.
    pub bias: f64,
    /// Standard deviation of the differences of single measurements.
    pub sd: f64,
    /// Limits of agreement of single measurements.
    pub limits: [f64; 2],
    /// Within-subject standard deviation of the reference.
    pub within_reference: f64,
    /// Within-subject standard deviation of the method.
    pub within_method: f64,
    /// Repeatability coefficient of the method: 95 % of two repeats differ by less.
    pub repeatability_method: f64,
    /// Repeatability coefficient of the reference.
    pub repeatability_reference: f64,
}

/// Agreement from the repeats of each subject: for each, the values of the reference and of the method.
///
/// # Errors
/// Fewer than 3 subjects, a subject without a value of both, no subject with two values of a method, values that are not
/// finite.
pub fn repeated(subjects: &[(Vec<f64>, Vec<f64>)], coverage: f64) -> Result<Repeated, AgreementError> {
    if subjects.len() < 3 {
        return Err(AgreementError::TooFew { found: subjects.len(), expected: 3 });
    }
    if let Some(index) =
        subjects.iter().position(|(x, y)| x.is_empty() || y.is_empty() || !x.iter().chain(y).all(|v| v.is_finite()))
    {
        return Err(AgreementError::NotFinite { index });
    }
    let (within_x, m_x) = within(subjects.iter().map(|s| &s.0))?;
    let (within_y, m_y) = within(subjects.iter().map(|s| &s.1))?;
    let n = count(subjects.len());
    let d: Vec<f64> = subjects.iter().map(|(x, y)| mean(y) - mean(x)).collect();
    let bias = mean(&d);
    let between = d.iter().map(|v| (v - bias) * (v - bias)).sum::<f64>() / (n - 1.0);
    let sd = (between + (1.0 - 1.0 / m_x) * within_x + (1.0 - 1.0 / m_y) * within_y).sqrt();
    let z = normal_quantile(f64::midpoint(1.0, coverage));
    let coefficient = |variance: f64| z * (2.0 * variance).sqrt();
    Ok(Repeated {
        subjects: subjects.len(),
        bias,
        sd,
        limits: [bias - z * sd, bias + z * sd],
        within_reference: within_x.sqrt(),
        within_method: within_y.sqrt(),
        repeatability_method: coefficient(within_y),
        repeatability_reference: coefficient(within_x),
    })
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / count(values.len())
}

/// Pooled within-subject variance and the harmonic mean of the numbers of repeats.
fn within<'a>(groups: impl Iterator<Item = &'a Vec<f64>>) -> Result<(f64, f64), AgreementError> {
    let (mut ss, mut df, mut subjects, mut inverse) = (0.0, 0.0, 0.0, 0.0);
    for group in groups {
        let centre = mean(group);
        ss += group.iter().map(|v| (v - centre) * (v - centre)).sum::<f64>();
        df += count(group.len()) - 1.0;
        inverse += 1.0 / count(group.len());
        subjects += 1.0;
    }
    if df < 1.0 {
        return Err(AgreementError::Parameter {
            what: "repeats of a subject",
            found: 1.0,
            expected: "2 or more on some subject",
        });
    }
    Ok((ss / df, subjects / inverse))
}
