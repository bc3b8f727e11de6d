//! Stability over averaging time: the Allan family of deviations, which tells noise that averages out from drift.
//!
//! | symbol | name | meaning | unit |
//! |---|---|---|---|
//! | y | frequency | readings at equal steps | y |
//! | x | phase | running sum of y times the step, one value more than y | y·s |
//! | τ₀ | `step_s` | step between readings | s |
//! | m | `factor` | readings averaged | – |
//! | τ = m τ₀ | `tau_s` | averaging time | s |
//! | N | | values of phase | – |
//!
//! The names are those of clocks, but y may be any signal: σ(τ) is the standard deviation that two neighbouring averages
//! over τ would show (over √2). White noise falls as τ^−½, a drift rises as τ.
//! Source: NIST SP 1065, Riley, Handbook of Frequency Stability Analysis (2008), ch. 5 (from memory); tested
//! against its tables of results. Needs readings without gaps.
//! Not here: Hadamard, total and Thêo statistics, bias corrections, noise identification.

use crate::distribution::chi2_quantile;

/// Why a deviation could not be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AllanError {
    /// A value is NaN or infinite.
    #[error("value {index} is not finite")]
    NotFinite {
        /// Its place, from 0.
        index: usize,
    },
    /// The step is not a time.
    #[error("the step is {found} s, expected above 0")]
    Step {
        /// What was given.
        found: f64,
    },
    /// The record is too short for this averaging.
    #[error("averaging {factor} readings needs {expected} values of phase, found {found}")]
    TooShort {
        /// Readings averaged.
        factor: usize,
        /// Values of phase found: one more than readings.
        found: usize,
        /// Values of phase needed.
        expected: usize,
    },
    /// An averaging factor of 0.
    #[error("the averaging factor is 0, expected at least 1")]
    NoAveraging,
    /// A confidence interval that cannot be stated.
    #[error("{what} is {found}, expected {expected}")]
    Parameter {
        /// Which figure.
        what: &'static str,
        /// What it was.
        found: f64,
        /// What it may be.
        expected: &'static str,
    },
}

/// A record of equally spaced readings, kept as phase.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    phase: Vec<f64>,
    step_s: f64,
}

/// A deviation at one averaging time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Averaging time, s.
    pub tau_s: f64,
    /// The deviation, in the unit of the readings (time deviation: of the phase).
    pub value: f64,
    /// Differences it is averaged from; they overlap and are not independent.
    pub terms: usize,
}

impl Deviation {
    /// Confidence interval with the given equivalent degrees of freedom, √(edf/χ²) times the value at both tails.
    ///
    /// # Errors
    /// Degrees of freedom that are not positive, a coverage outside 0 to 1.
    pub fn interval(&self, edf: f64, coverage: f64) -> Result<[f64; 2], AllanError> {
        if !(edf > 0.0 && edf.is_finite()) {
            return Err(AllanError::Parameter {
                what: "equivalent degrees of freedom",
                found: edf,
                expected: "above 0",
            });
        }
        if !(coverage > 0.0 && coverage < 1.0) {
            return Err(AllanError::Parameter { what: "coverage", found: coverage, expected: "above 0 and below 1" });
        }
        let upper_tail = f64::midpoint(1.0, coverage);
        Ok([upper_tail, 1.0 - upper_tail].map(|p| self.value * (edf / chi2_quantile(p, edf)).sqrt()))
    }
}

impl Record {
    /// A record of readings y, `step_s` apart.
    ///
    /// # Errors
    /// Values that are not finite, a step that is not positive.
    pub fn from_frequency(readings: &[f64], step_s: f64) -> Result<Self, AllanError> {
        check(readings, step_s)?;
        // The mean goes first: no deviation sees it, and the sums keep their digits.
        let mean = readings.iter().sum::<f64>() / count(readings.len().max(1));
        let mut sum = 0.0;
        let phase = std::iter::once(0.0)
            .chain(readings.iter().map(|y| {
                sum += (y - mean) * step_s;
                sum
            }))
            .collect();
        Ok(Self { phase, step_s })
    }

    /// Averaging factors 1, 2, 4, … for which [`Record::overlapping`] has at least `terms` differences.
    pub fn octaves(&self, terms: usize) -> Vec<usize> {
        std::iter::successors(Some(1_usize), |m| m.checked_mul(2))
            .take_while(|m| m.saturating_mul(2).saturating_add(terms.max(1)) <= self.phase.len())
            .collect()
    }

    /// Allan deviation of `factor` averaged readings: neighbouring averages that do not overlap.
    ///
    /// # Errors
    /// A record shorter than two averages, a factor of 0.
    pub fn allan(&self, factor: usize) -> Result<Deviation, AllanError> {
        self.root_mean_square(factor, 2, factor, 2.0)
    }

    /// Overlapping Allan deviation: every difference of neighbouring averages.
    ///
    /// # Errors
    /// As [`Record::allan`].
    pub fn overlapping(&self, factor: usize) -> Result<Deviation, AllanError> {
        self.root_mean_square(factor, 2, 1, 2.0)
    }

    /// Modified Allan deviation: phase averaged over the factor too, which tells white from flicker noise of phase.
    ///
    /// # Errors
    /// A record shorter than three averages less one reading, a factor of 0.
    pub fn modified(&self, factor: usize) -> Result<Deviation, AllanError> {
        let tau_s = self.tau_s(factor, factor.saturating_mul(3))?;
        let x = &self.phase;
        let second = |i: usize| x[i + 2 * factor] - 2.0 * x[i + factor] + x[i];
        let mut window: f64 = (0..factor).map(second).sum();
        let terms = x.len() + 1 - 3 * factor;
        let mut sum = window * window;
        for i in 1..terms {
            window += second(i + factor - 1) - second(i - 1);
            sum += window * window;
        }
        let scale = count(factor) * tau_s;
        Ok(Deviation { tau_s, value: (sum / (2.0 * count(terms))).sqrt() / scale, terms })
    }

    /// Time deviation τ/√3 times the modified Allan deviation, in the unit of the phase.
    ///
    /// # Errors
    /// As [`Record::modified`].
    pub fn time(&self, factor: usize) -> Result<Deviation, AllanError> {
        let m = self.modified(factor)?;
        Ok(Deviation { value: m.value * m.tau_s / 3f64.sqrt(), ..m })
    }

    /// Equivalent degrees of freedom of the overlapping Allan variance if the readings are white noise.
    ///
    /// For normal readings twice the squared expectation over the variance of the estimate, M²/(M + 2 Σₖ (M − k) ρₖ²) with
    /// M differences whose correlation at lag k is 1 − 3k/(2m) up to k = m and k/(2m) − 1 from there to 2m (from the
    /// definition). Drift or flicker leaves fewer.
    ///
    /// # Errors
    /// As [`Record::allan`].
    pub fn white_edf(&self, factor: usize) -> Result<f64, AllanError> {
        self.tau_s(factor, factor.saturating_mul(2).saturating_add(1))?;
        let terms = self.phase.len() - 2 * factor;
        let (m, n) = (count(factor), count(terms));
        let correlated: f64 = (1..(2 * factor).min(terms))
            .map(|lag| {
                let k = count(lag);
                let rho = if lag <= factor { 1.0 - 1.5 * k / m } else { 0.5 * k / m - 1.0 };
                (n - k) * rho * rho
            })
            .sum();
        Ok(n * n / (n + 2.0 * correlated))
    }

    /// Root mean square of the differences of phase of that order (2 or 3), every `stride` values, over `divisor` τ².
    fn root_mean_square(
        &self,
        factor: usize,
        order: usize,
        stride: usize,
        divisor: f64,
    ) -> Result<Deviation, AllanError> {
        let span = factor.saturating_mul(order);
        let tau_s = self.tau_s(factor, span.saturating_add(1))?;
        let x = &self.phase;
        let (mut sum, mut terms) = (0.0, 0);
        for i in (0..x.len() - span).step_by(stride) {
            let [a, b, c] = [x[i], x[i + factor], x[i + 2 * factor]];
            let difference = if order == 2 { (c - b) - (b - a) } else { (x[i + 3 * factor] - a) - 3.0 * (c - b) };
            sum += difference * difference;
            terms += 1;
        }
        Ok(Deviation { tau_s, value: (sum / (divisor * count(terms))).sqrt() / tau_s, terms })
    }

    /// The averaging time, if the record has the values of phase needed.
    fn tau_s(&self, factor: usize, expected: usize) -> Result<f64, AllanError> {
        if factor == 0 {
            return Err(AllanError::NoAveraging);
        }
        if self.phase.len() < expected {
            return Err(AllanError::TooShort { factor, found: self.phase.len(), expected });
        }
        Ok(count(factor) * self.step_s)
    }
}

fn check(values: &[f64], step_s: f64) -> Result<(), AllanError> {
    if !(step_s > 0.0 && step_s.is_finite()) {
        return Err(AllanError::Step { found: step_s });
    }
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(AllanError::NotFinite { index }),
        None => Ok(()),
    }
}

#[expect(clippy::cast_precision_loss, reason = "lengths of records are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_too_short_is_said() {
        let r = Record::from_frequency(&[1.0, 2.0, 4.0], 0.1).unwrap();
        assert_eq!(r.allan(2), Err(AllanError::TooShort { factor: 2, found: 4, expected: 5 }));
        assert_eq!(r.modified(2), Err(AllanError::TooShort { factor: 2, found: 4, expected: 6 }));
        assert_eq!(r.overlapping(0), Err(AllanError::NoAveraging));
        assert!(r.allan(usize::MAX).is_err() && r.modified(usize::MAX).is_err());
        assert!(matches!(Record::from_frequency(&[1.0], 0.0), Err(AllanError::Step { .. })));
        assert!(matches!(Record::from_frequency(&[1.0, f64::NAN], 1.0), Err(AllanError::NotFinite { index: 1 })));
        assert!(Record::from_frequency(&[], 1.0).unwrap().allan(1).is_err());
    }

    #[test]
    fn octaves_leave_the_terms_asked_for() {
        let r = Record::from_frequency(&[0.0; 100], 1.0).unwrap();
        assert_eq!(r.octaves(1), [1, 2, 4, 8, 16, 32]);
        assert_eq!(r.octaves(50), [1, 2, 4, 8, 16]);
        assert_eq!(r.octaves(1000), [0_usize; 0]);
    }

    /// A straight drift d per second of y: second differences of phase are d τ².
    #[test]
    fn drift_enters_allan() {
        let y: Vec<f64> = (0..50).map(|i| 3.0 + 0.2 * f64::from(i)).collect();
        let r = Record::from_frequency(&y, 0.5).unwrap();
        for m in [1, 3, 8] {
            let tau = 0.5 * f64::from(m);
            let m = m as usize;
            // The drift is 0.4 per second; σ = d τ/√2.
            for d in [r.allan(m).unwrap(), r.overlapping(m).unwrap(), r.modified(m).unwrap()] {
                assert!((d.value - 0.4 * tau / 2f64.sqrt()).abs() < 1e-12, "{d:?}");
            }
        }
    }

    /// At m = 1 white readings have differences with correlation −1/2 at lag 1: edf = M²/(M + (M − 1)/2).
    #[test]
    fn degrees_of_freedom_of_white_readings() {
        let r = Record::from_frequency(&[0.0; 11], 1.0).unwrap();
        assert!((r.white_edf(1).unwrap() - 100.0 / 14.5).abs() < 1e-12);
        // One difference alone has one degree.
        assert!((r.white_edf(5).unwrap() - 4.0 / (2.0 + 2.0 * 0.49)).abs() < 1e-12);
        let d = Deviation { tau_s: 1.0, value: 2.0, terms: 1 };
        let [low, high] = d.interval(10.0, 0.95).unwrap();
        // χ²(10) from the tables: 20.483 and 3.247.
        assert!((low - 2.0 * (10.0f64 / 20.483).sqrt()).abs() < 1e-4);
        assert!((high - 2.0 * (10.0f64 / 3.247).sqrt()).abs() < 3e-4);
        assert!(d.interval(0.0, 0.95).is_err() && d.interval(3.0, 1.0).is_err());
    }
}
