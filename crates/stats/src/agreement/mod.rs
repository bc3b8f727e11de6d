//! Agreement of two methods that measured the same subjects.
//!
//! | symbol | name | meaning |
//! |---|---|---|
//! | xᵢ | `reference` | the reference method on subject i |
//! | yᵢ | `method` | the method under test |
//! | dᵢ = yᵢ − xᵢ | difference | in the unit of both |
//!
//! [`bland_altman`] gives bias and limits of agreement, [`concordance`] one number for both precision and bias,
//! [`proportional_bias`] a bias that grows with size, [`deming`], [`weighted_deming`] and [`passing_bablok`] a line with errors in both methods,
//! [`repeated`] and [`repeated_varying`] what repeats on a subject say.
//! Not here: verdicts; what agreement is good enough is the field's to say.

mod bland_altman;
mod concordance;
mod deming;
mod passing_bablok;
mod proportional;
mod repeated;
mod weighted_deming;

pub use bland_altman::{BlandAltman, bland_altman, pairs_for_limit_width, share_within};
pub use concordance::{Concordance, concordance};
pub use deming::{Deming, deming};
pub use passing_bablok::{PassingBablok, passing_bablok};
pub use proportional::{ProportionalBias, proportional_bias};
pub use repeated::{Repeated, RepeatedVarying, repeated, repeated_varying};
pub use weighted_deming::weighted_deming;

/// Lower and upper end.
pub type Interval = [f64; 2];

/// Why two methods cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AgreementError {
    /// The methods are not on the same subjects.
    #[error("found {reference} values of the reference and {method} of the method, expected as many")]
    Unequal {
        /// Values of the reference.
        reference: usize,
        /// Values of the method.
        method: usize,
    },
    /// Too little to estimate from.
    #[error("found {found} pairs (or subjects with repeats), expected at least {expected}")]
    TooFew {
        /// Pairs (with repeats: subjects) given.
        found: usize,
        /// Pairs (with repeats: subjects) needed.
        expected: usize,
    },
    /// More than every two of them can be compared.
    #[error("found {found} pairs, expected at most {expected}: every two of them are compared")]
    TooMany {
        /// Pairs given.
        found: usize,
        /// Pairs that can be compared.
        expected: usize,
    },
    /// A value is NaN or infinite.
    #[error("pair {index} is not finite")]
    NotFinite {
        /// Its place, from 0.
        index: usize,
    },
    /// A subject that one of the methods did not measure.
    #[error("subject {index} has no value of one of the methods")]
    EmptySubject {
        /// Its place, from 0.
        index: usize,
    },
    /// A subject with a value that is NaN or infinite.
    #[error("a value of subject {index} is not finite")]
    SubjectNotFinite {
        /// Its place, from 0.
        index: usize,
    },
    /// The reference (or both methods) shows no spread: no line, no concordance.
    #[error("all values of one method are equal: no line can be drawn through them")]
    NoSpread,
    /// A parameter is out of its range.
    #[error("{what} is {found}, expected {expected}")]
    Parameter {
        /// Which.
        what: &'static str,
        /// What it was.
        found: f64,
        /// What it may be.
        expected: &'static str,
    },
}

/// Checks that there are at least `n` finite pairs.
fn check(reference: &[f64], method: &[f64], n: usize) -> Result<(), AgreementError> {
    if reference.len() != method.len() {
        return Err(AgreementError::Unequal { reference: reference.len(), method: method.len() });
    }
    if reference.len() < n {
        return Err(AgreementError::TooFew { found: reference.len(), expected: n });
    }
    match reference.iter().zip(method).position(|(x, y)| !x.is_finite() || !y.is_finite()) {
        Some(index) => Err(AgreementError::NotFinite { index }),
        None => Ok(()),
    }
}

fn check_coverage(coverage: f64) -> Result<(), AgreementError> {
    if coverage > 0.0 && coverage < 1.0 {
        return Ok(());
    }
    Err(AgreementError::Parameter { what: "coverage", found: coverage, expected: "above 0 and below 1" })
}

/// Method − reference.
fn differences(reference: &[f64], method: &[f64]) -> Vec<f64> {
    reference.iter().zip(method).map(|(x, y)| y - x).collect()
}

fn means(reference: &[f64], method: &[f64]) -> Vec<f64> {
    reference.iter().zip(method).map(|(x, y)| f64::midpoint(*x, *y)).collect()
}

fn around(centre: f64, half: f64) -> Interval {
    [centre - half, centre + half]
}

/// Sums of squares and products about the means.
struct Moments {
    n: f64,
    mean_x: f64,
    mean_y: f64,
    s_xx: f64,
    s_yy: f64,
    s_xy: f64,
}

impl Moments {
    /// The moments with one of the pairs left out: its squares about the mean of all count n/(n − 1) times.
    fn without(&self, x: f64, y: f64) -> Self {
        let rest = self.n - 1.0;
        let (dx, dy, share) = (x - self.mean_x, y - self.mean_y, self.n / rest);
        Self {
            n: rest,
            mean_x: self.mean_x - dx / rest,
            mean_y: self.mean_y - dy / rest,
            // Rounding may leave a hair where the pair left out held all of the spread.
            s_xx: spread_left(self.s_xx, share * dx * dx),
            s_yy: spread_left(self.s_yy, share * dy * dy),
            s_xy: spread_left(self.s_xy, share * dx * dy),
        }
    }
}

/// What is left of a sum when a part of it goes; 0 where that is nothing but rounding.
fn spread_left(sum: f64, part: f64) -> f64 {
    let left = sum - part;
    if left.abs() > 1e-13 * sum.abs() { left } else { 0.0 }
}

#[expect(clippy::cast_precision_loss, reason = "numbers of pairs are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

fn moments(x: &[f64], y: &[f64]) -> Moments {
    let n = count(x.len());
    let mean_x = x.iter().sum::<f64>() / n;
    let mean_y = y.iter().sum::<f64>() / n;
    let (mut s_xx, mut s_yy, mut s_xy) = (0.0, 0.0, 0.0);
    for (a, b) in x.iter().zip(y) {
        let (dx, dy) = (a - mean_x, b - mean_y);
        s_xx += dx * dx;
        s_yy += dy * dy;
        s_xy += dx * dy;
    }
    Moments { n, mean_x, mean_y, s_xx, s_yy, s_xy }
}
