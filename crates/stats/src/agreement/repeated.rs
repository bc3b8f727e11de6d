//! What repeats on each subject say of agreement.
//!
//! [`repeated`]: the true value keeps still between repeats of one subject, so that repeats of either method need not
//! pair up. The variance of single differences is that of the differences of subject means plus (1 − 1/m) of each
//! method's within-subject variance, with the harmonic mean m of the numbers of repeats.
//! [`repeated_varying`]: the true value may change between the pairs of one subject, and only each pair's difference
//! counts. One-way analysis of variance of the differences: total = (MSB − MSW)/λ + MSW, λ = (N − Σm²/N)/(k − 1).
//!
//! | symbol | name | meaning |
//! |---|---|---|
//! | k | `subjects` | subjects |
//! | m | | pairs (or repeats) of one subject |
//! | N | `pairs` | pairs of all subjects |
//! | MSB, MSW | | mean squares between and within subjects |
//!
//! Source: Bland & Altman, Statistical Methods in Medical Research 8 (1999) 135–160, section 5, and Journal of
//! Biopharmaceutical Statistics 17 (2007) 571–582. Intervals of the limits by the method of variance estimates recovery
//! (Zou, Statistical Methods in Medical Research 22 (2013) 630–642, from memory), with Student's t for the bias.

use super::{AgreementError, Interval, around, check_coverage, count};
use crate::distribution::{chi2_quantile, normal_quantile, t_quantile};

/// Agreement of single measurements where the true value of a subject keeps still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repeated {
    /// Subjects.
    pub subjects: usize,
    /// Mean of the differences of subject means.
    pub bias: f64,
    /// Interval of the bias.
    pub bias_ci: Interval,
    /// Standard deviation of the differences of single measurements.
    pub sd: f64,
    /// Limits of agreement of single measurements.
    pub limits: Interval,
    /// Intervals of the lower and the upper limit.
    pub limits_ci: [Interval; 2],
    /// Within-subject standard deviation of the reference.
    pub within_reference: f64,
    /// Within-subject standard deviation of the method.
    pub within_method: f64,
    /// Repeatability coefficient of the method: the share `coverage` of two repeats differs by less.
    pub repeatability_method: f64,
    /// Repeatability coefficient of the reference.
    pub repeatability_reference: f64,
}

/// Agreement of single pairs where the true value of a subject may change from pair to pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RepeatedVarying {
    /// Subjects.
    pub subjects: usize,
    /// Pairs of all subjects.
    pub pairs: usize,
    /// Mean difference of all pairs.
    pub bias: f64,
    /// Interval of the bias, with k − 1 degrees of freedom.
    pub bias_ci: Interval,
    /// Standard deviation of the differences within a subject.
    pub within_sd: f64,
    /// Standard deviation of the subjects' own biases; 0 where the pairs show none.
    pub between_sd: f64,
    /// Standard deviation of a single difference on any subject.
    pub sd: f64,
    /// Limits of agreement.
    pub limits: Interval,
    /// Intervals of the lower and the upper limit.
    pub limits_ci: [Interval; 2],
}

/// Agreement from the repeats of each subject: for each, the values of the reference and of the method.
///
/// # Errors
/// Fewer than 3 subjects, a subject without a value of both, no subject with two values of a method, values that are not
/// finite, a coverage outside 0 to 1.
pub fn repeated<A: AsRef<[f64]>, B: AsRef<[f64]>>(
    subjects: &[(A, B)],
    coverage: f64,
) -> Result<Repeated, AgreementError> {
    check_subjects(subjects, coverage)?;
    let x = within(subjects.iter().map(|s| s.0.as_ref()))?;
    let y = within(subjects.iter().map(|s| s.1.as_ref()))?;
    let n = count(subjects.len());
    let d: Vec<f64> = subjects.iter().map(|(x, y)| mean(y.as_ref()) - mean(x.as_ref())).collect();
    let bias = mean(&d);
    let between = sum_of_squares(&d) / (n - 1.0);
    let terms = [
        Term { variance: between, nu: n - 1.0 },
        Term { variance: (1.0 - 1.0 / x.harmonic_mean) * x.variance, nu: x.nu },
        Term { variance: (1.0 - 1.0 / y.harmonic_mean) * y.variance, nu: y.nu },
    ];
    let sd = terms.iter().map(|t| t.variance).sum::<f64>().sqrt();
    let z = normal_quantile(f64::midpoint(1.0, coverage));
    let bias_half = t_quantile(f64::midpoint(1.0, coverage), n - 1.0) * (between / n).sqrt();
    let coefficient = |variance: f64| z * (2.0 * variance).sqrt();
    Ok(Repeated {
        subjects: subjects.len(),
        bias,
        bias_ci: around(bias, bias_half),
        sd,
        limits: around(bias, z * sd),
        limits_ci: limits_ci(bias, bias_half, &terms, coverage),
        within_reference: x.variance.sqrt(),
        within_method: y.variance.sqrt(),
        repeatability_method: coefficient(y.variance),
        repeatability_reference: coefficient(x.variance),
    })
}

/// Agreement from the pairs of each subject, in which the k-th value of the reference belongs to the k-th of the method.
///
/// # Errors
/// As [`repeated`], and a subject whose values do not pair up.
pub fn repeated_varying<A: AsRef<[f64]>, B: AsRef<[f64]>>(
    subjects: &[(A, B)],
    coverage: f64,
) -> Result<RepeatedVarying, AgreementError> {
    check_subjects(subjects, coverage)?;
    let mut differences = Vec::with_capacity(subjects.len());
    for (x, y) in subjects {
        let (x, y) = (x.as_ref(), y.as_ref());
        if x.len() != y.len() {
            return Err(AgreementError::Unequal { reference: x.len(), method: y.len() });
        }
        differences.push(super::differences(x, y));
    }
    let w = within(differences.iter().map(Vec::as_slice))?;
    let k = count(subjects.len());
    let total = count(differences.iter().map(Vec::len).sum());
    let squares = differences.iter().map(|d| count(d.len()) * count(d.len())).sum::<f64>();
    let bias = differences.iter().flatten().sum::<f64>() / total;
    let ms_between = differences
        .iter()
        .map(|d| {
            let off = mean(d) - bias;
            count(d.len()) * off * off
        })
        .sum::<f64>()
        / (k - 1.0);
    let lambda = (total - squares / total) / (k - 1.0);
    let between = (ms_between - w.variance) / lambda;
    // Subjects closer together than their own scatter allows: no spread of their own, and the scatter is all there is.
    let terms = if between > 0.0 {
        vec![
            Term { variance: ms_between / lambda, nu: k - 1.0 },
            Term { variance: (1.0 - 1.0 / lambda) * w.variance, nu: w.nu },
        ]
    } else {
        vec![Term { variance: w.variance, nu: w.nu }]
    };
    let between = between.max(0.0);
    let sd = (between + w.variance).sqrt();
    let z = normal_quantile(f64::midpoint(1.0, coverage));
    let bias_se = (between * squares / (total * total) + w.variance / total).sqrt();
    let bias_half = t_quantile(f64::midpoint(1.0, coverage), k - 1.0) * bias_se;
    Ok(RepeatedVarying {
        subjects: subjects.len(),
        pairs: differences.iter().map(Vec::len).sum(),
        bias,
        bias_ci: around(bias, bias_half),
        within_sd: w.variance.sqrt(),
        between_sd: between.sqrt(),
        sd,
        limits: around(bias, z * sd),
        limits_ci: limits_ci(bias, bias_half, &terms, coverage),
    })
}

fn check_subjects<A: AsRef<[f64]>, B: AsRef<[f64]>>(subjects: &[(A, B)], coverage: f64) -> Result<(), AgreementError> {
    check_coverage(coverage)?;
    if subjects.len() < 3 {
        return Err(AgreementError::TooFew { found: subjects.len(), expected: 3 });
    }
    for (index, (x, y)) in subjects.iter().enumerate() {
        let (x, y) = (x.as_ref(), y.as_ref());
        if x.is_empty() || y.is_empty() {
            return Err(AgreementError::EmptySubject { index });
        }
        if !x.iter().chain(y).all(|v| v.is_finite()) {
            return Err(AgreementError::SubjectNotFinite { index });
        }
    }
    Ok(())
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / count(values.len())
}

fn sum_of_squares(values: &[f64]) -> f64 {
    let centre = mean(values);
    values.iter().map(|v| (v - centre) * (v - centre)).sum()
}

/// Pooled within-subject variance.
struct Within {
    variance: f64,
    nu: f64,
    /// Harmonic mean of the numbers of repeats.
    harmonic_mean: f64,
}

fn within<'a>(groups: impl Iterator<Item = &'a [f64]>) -> Result<Within, AgreementError> {
    let (mut ss, mut nu, mut subjects, mut inverse) = (0.0, 0.0, 0.0, 0.0);
    for group in groups {
        ss += sum_of_squares(group);
        nu += count(group.len()) - 1.0;
        inverse += 1.0 / count(group.len());
        subjects += 1.0;
    }
    if nu < 1.0 {
        return Err(AgreementError::Parameter {
            what: "repeats of a subject",
            found: 1.0,
            expected: "2 or more on some subject",
        });
    }
    Ok(Within { variance: ss / nu, nu, harmonic_mean: subjects / inverse })
}

/// A share of the variance of single differences, estimated with ν degrees of freedom.
struct Term {
    variance: f64,
    nu: f64,
}

/// Intervals of both limits: the one-sided errors of the bias and of √Σ variance, each from its own interval, added in
/// squares on the side they act on.
fn limits_ci(bias: f64, bias_half: f64, terms: &[Term], coverage: f64) -> [Interval; 2] {
    let upper_tail = f64::midpoint(1.0, coverage);
    let z = normal_quantile(upper_tail);
    let total: f64 = terms.iter().map(|t| t.variance).sum();
    let reach =
        |p: f64| terms.iter().map(|t| (t.variance * (1.0 - t.nu / chi2_quantile(p, t.nu))).powi(2)).sum::<f64>().sqrt();
    let low = (total - reach(upper_tail)).max(0.0).sqrt();
    let high = (total + reach(1.0 - upper_tail)).sqrt();
    let sd = total.sqrt();
    let inner = bias_half.hypot(z * (sd - low));
    let outer = bias_half.hypot(z * (high - sd));
    [[bias - z * sd - outer, bias - z * sd + inner], [bias + z * sd - inner, bias + z * sd + outer]]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: vignette of the R package SimplyAgree (Caldwell, Journal of Open Source Software 7 (2022) 4148) on 18
    /// pairs of its data: limits at 95 % agreement with 90 % intervals reach from −3.0117 to 3.8884. There both the
    /// limits' z (0.975) and the bias's (0.95, normal instead of t) differ from ours, so the sum is rebuilt here from
    /// one term; it is the recovery of the variance that is checked.
    #[test]
    fn recovery_of_variance_gives_the_published_ends() {
        let x = [
            7.83, 7.42, 7.89, 7.12, 6.16, 7.26, 6.71, 4.75, 5.24, 4.86, 4.78, 6.05, 5.42, 4.21, 3.61, 3.72, 3.87, 3.92,
        ];
        let y = [
            6.57, 5.62, 6.90, 6.57, 4.06, 4.29, 4.26, 4.71, 5.50, 5.08, 5.02, 6.01, 5.67, 4.14, 4.20, 4.61, 4.68, 5.04,
        ];
        let d = super::super::differences(&y, &x);
        let variance = sum_of_squares(&d) / 17.0;
        let (z_limit, z_interval) = (normal_quantile(0.975), normal_quantile(0.95));
        // With coverage 0.9 the helper takes 90 % limits; their reach scales with z, the bias's does not.
        let [_, [_, upper]] = limits_ci(0.0, 0.0, &[Term { variance, nu: 17.0 }], 0.9);
        let variance_reach = (upper / z_interval - variance.sqrt()) * z_limit;
        let reach = (z_interval * (variance / 18.0).sqrt()).hypot(variance_reach);
        let bias = mean(&d);
        assert!((bias + z_limit * variance.sqrt() + reach - 3.8884).abs() < 5e-5);
        assert!((bias - z_limit * variance.sqrt() - reach + 3.0117).abs() < 5e-5);
    }
}
