//! Control charts of single readings: is the process still what it was?
//!
//! | symbol | name | meaning |
//! |---|---|---|
//! | yᵢ | `values` | readings in order of time |
//! | MR | `mean_moving_range` | mean of the differences of neighbours, without sign |
//! | λ | `weight` | weight of the newest reading in a moving average, above 0 to 1 |
//! | L | `reach` | half width of the limits in standard deviations, 3 by custom |
//! | zᵢ | `average` | λ yᵢ + (1 − λ) zᵢ₋₁, z₀ the target |
//!
//! [`individuals`] is Shewhart's chart: limits at ȳ ± L·MR/d₂, where d₂ = 2/√π is the expected range of two normal
//! readings over their standard deviation (the tables print 1.128). It sees large shifts at once. [`moving_average`] is the
//! exponentially weighted one: it sees small shifts sooner. Its limits are exact from the first reading on, target ±
//! L σ √(λ/(2 − λ) (1 − (1 − λ)^{2i})), and settle at the root without the last factor.
//! Source: NIST/SEMATECH e-Handbook 6.3.2.2 and 6.3.2.4; Montgomery, Introduction to Statistical Quality Control, ch. 6
//! and 9 (both from memory). Readings must not be correlated: drift within them widens the limits or sets off alarms.

/// Expected range of two readings of a normal process over its standard deviation, 2/√π.
pub const RANGE_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// Upper limit of a moving range over its mean at three standard deviations, 1 + 3 d₃/d₂ with d₃² = 2 − 4/π: the tables'
/// D₄ = 3.267.
fn range_limit(reach: f64) -> f64 {
    1.0 + reach * (2.0 - RANGE_OF_TWO * RANGE_OF_TWO).sqrt() / RANGE_OF_TWO
}

/// Why no chart could be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ChartError {
    /// Too little to know the spread from.
    #[error("found {found} readings, expected at least 2")]
    TooFew {
        /// Readings given.
        found: usize,
    },
    /// A reading is NaN or infinite.
    #[error("reading {index} is not finite")]
    NotFinite {
        /// Its place, from 0.
        index: usize,
    },
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

/// Centre and limits of a chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lower control limit.
    pub lower: f64,
    /// Centre line.
    pub centre: f64,
    /// Upper control limit.
    pub upper: f64,
}

impl Limits {
    /// Whether a value lies on or within the limits.
    pub fn holds(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }
}

/// Chart of single readings with their moving range.
#[derive(Debug, Clone, PartialEq)]
pub struct Individuals {
    /// Limits of the readings.
    pub limits: Limits,
    /// Mean moving range.
    pub mean_moving_range: f64,
    /// Standard deviation of the process, MR/d₂.
    pub sd: f64,
    /// Limits of the moving range; the lower one is 0.
    pub range_limits: Limits,
    /// Places of readings outside the limits, from 0.
    pub outside: Vec<usize>,
    /// Places of readings whose difference from the one before is outside its limits.
    pub range_outside: Vec<usize>,
}

/// One point of a chart of moving averages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AveragePoint {
    /// Moving average.
    pub average: f64,
    /// Limits at this reading.
    pub limits: Limits,
}

impl AveragePoint {
    /// Whether the average lies within its limits.
    pub fn in_control(&self) -> bool {
        self.limits.holds(self.average)
    }
}

/// A process as it is known to be: what moving averages are held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Process {
    /// Mean, or the target.
    pub target: f64,
    /// Standard deviation of a reading.
    pub sd: f64,
}

/// Settings of a chart of moving averages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AverageOptions {
    /// Weight λ of the newest reading; 1 gives Shewhart's chart.
    pub weight: f64,
    /// Half width L of the limits in standard deviations.
    pub reach: f64,
}

impl Default for AverageOptions {
    /// λ = 0.2 and L = 3: between the customary 0.05 and 0.3 (common practice, no source).
    fn default() -> Self {
        Self { weight: 0.2, reach: 3.0 }
    }
}

/// Shewhart's chart of single readings with limits at `reach` standard deviations (3 by custom).
///
/// # Errors
/// Fewer than 2 readings, readings that are not finite, a reach that is not positive.
pub fn individuals(values: &[f64], reach: f64) -> Result<Individuals, ChartError> {
    check(values)?;
    positive("reach", reach)?;
    if values.len() < 2 {
        return Err(ChartError::TooFew { found: values.len() });
    }
    let ranges: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let mean = values.iter().sum::<f64>() / count(values.len());
    let mean_moving_range = ranges.iter().sum::<f64>() / count(ranges.len());
    let sd = mean_moving_range / RANGE_OF_TWO;
    let limits = Limits { lower: mean - reach * sd, centre: mean, upper: mean + reach * sd };
    let range_limits = Limits { lower: 0.0, centre: mean_moving_range, upper: range_limit(reach) * mean_moving_range };
    let outside = |values: &[f64], limits: &Limits, first: usize| {
        values.iter().enumerate().filter(|(_, v)| !limits.holds(**v)).map(|(i, _)| i + first).collect()
    };
    Ok(Individuals {
        outside: outside(values, &limits, 0),
        range_outside: outside(&ranges, &range_limits, 1),
        limits,
        mean_moving_range,
        sd,
        range_limits,
    })
}

/// Exponentially weighted moving averages of readings of a known process, each with its exact limits.
///
/// # Errors
/// Readings that are not finite, a standard deviation or reach that is not positive, a weight outside 0 to 1.
pub fn moving_average(
    values: &[f64],
    process: Process,
    options: AverageOptions,
) -> Result<Vec<AveragePoint>, ChartError> {
    check(values)?;
    let Process { target, sd } = process;
    let AverageOptions { weight, reach } = options;
    positive("standard deviation", sd)?;
    positive("reach", reach)?;
    if !(weight > 0.0 && weight <= 1.0) {
        return Err(ChartError::Parameter { what: "weight", found: weight, expected: "above 0 and at most 1" });
    }
    if !target.is_finite() {
        return Err(ChartError::Parameter { what: "target", found: target, expected: "finite" });
    }
    let settled = reach * sd * (weight / (2.0 - weight)).sqrt();
    let forget = (1.0 - weight) * (1.0 - weight);
    let (mut average, mut forgotten) = (target, 1.0);
    Ok(values
        .iter()
        .map(|y| {
            average += weight * (y - average);
            forgotten *= forget;
            let half = settled * (1.0 - forgotten).sqrt();
            AveragePoint { average, limits: Limits { lower: target - half, centre: target, upper: target + half } }
        })
        .collect())
}

fn check(values: &[f64]) -> Result<(), ChartError> {
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(ChartError::NotFinite { index }),
        None => Ok(()),
    }
}

fn positive(what: &'static str, found: f64) -> Result<(), ChartError> {
    if found > 0.0 && found.is_finite() {
        return Ok(());
    }
    Err(ChartError::Parameter { what, found, expected: "above 0" })
}

#[expect(clippy::cast_precision_loss, reason = "numbers of readings are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: tables of control chart factors, n = 2: d₂ = 1.128, D₄ = 3.267 (Montgomery, from memory).
    #[test]
    fn factors_are_those_of_the_tables() {
        assert!((RANGE_OF_TWO - 1.128).abs() < 5e-4);
        assert!((range_limit(3.0) - 3.267).abs() < 5e-4);
    }

    #[test]
    fn what_cannot_be_drawn_is_said() {
        assert_eq!(individuals(&[1.0], 3.0), Err(ChartError::TooFew { found: 1 }));
        assert_eq!(individuals(&[1.0, f64::NAN], 3.0), Err(ChartError::NotFinite { index: 1 }));
        assert!(matches!(individuals(&[1.0, 2.0], 0.0), Err(ChartError::Parameter { what: "reach", .. })));
        let process = Process { target: 0.0, sd: 1.0 };
        let weight = |weight| moving_average(&[1.0], process, AverageOptions { weight, reach: 3.0 });
        assert!(weight(0.0).is_err() && weight(1.1).is_err() && weight(1.0).is_ok());
    }

    /// A jump of ten standard deviations in a record that alternates: the reading and its range both stand out.
    #[test]
    fn a_jump_stands_out_in_both_charts() {
        let mut values: Vec<f64> = (0..40).map(|i| f64::from(i % 2)).collect();
        values[25] = 12.0;
        let chart = individuals(&values, 3.0).unwrap();
        assert_eq!((chart.outside, chart.range_outside), (vec![25], vec![25, 26]));
    }

    /// With weight 1 the average is the reading and the limits are Shewhart's.
    #[test]
    fn full_weight_is_the_plain_chart() {
        let process = Process { target: 5.0, sd: 2.0 };
        let points = moving_average(&[4.0, 12.0], process, AverageOptions { weight: 1.0, reach: 3.0 }).unwrap();
        assert!((points[1].average - 12.0).abs() < 1e-14);
        assert_eq!(points[0].limits, Limits { lower: -1.0, centre: 5.0, upper: 11.0 });
        assert!(points[0].in_control() && !points[1].in_control());
    }
}
