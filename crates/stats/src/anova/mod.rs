//! Analysis of variance of a balanced crossed design with two factors, and what a study of a measuring system makes of it.
//!
//! y_ijk = μ + αᵢ + βⱼ + (αβ)ᵢⱼ + ε_ijk, with i of a levels, j of b levels and k of r replicates in every cell.
//!
//! | symbol | name | meaning | unit |
//! |---|---|---|---|
//! | i | `first` | level of the first factor (in a study: the part) | – |
//! | j | `second` | level of the second factor (the appraiser) | – |
//! | y | `value` | the reading | y |
//! | SS | `ss` | sum of squares | y² |
//! | MS | `ms` | SS over its degrees of freedom | y² |
//!
//! Rows may come in any order; levels are numbers that only need to tell one from another. Without replicates the
//! interaction cannot be told from the error, and the table has one row for both.
//! Source: Montgomery, Design and Analysis of Experiments, ch. 5 and 13 (from memory); AIAG, Measurement Systems Analysis,
//! 4th ed., ch. III. Not here: missing cells, nested designs (each appraiser with parts of their own).

mod gauge;

pub use gauge::{Gauge, GaugeOptions, Share, gauge};

use crate::distribution::f_sf;
use std::collections::BTreeMap;

/// Why an analysis of variance could not be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AnovaError {
    /// The columns are not equally long.
    #[error("{what} has {found} rows, expected {expected} as there are values")]
    Length {
        /// Which column.
        what: &'static str,
        /// Rows found.
        found: usize,
        /// Rows expected.
        expected: usize,
    },
    /// A value is NaN or infinite.
    #[error("value {index} is not finite")]
    NotFinite {
        /// Its row, from 0.
        index: usize,
    },
    /// A factor that does not vary.
    #[error("the {what} factor has {found} levels, expected at least 2")]
    TooFewLevels {
        /// Which factor.
        what: &'static str,
        /// Levels found.
        found: usize,
    },
    /// A combination of levels that was measured more or less often than the others.
    #[error("level {first} with level {second} has {found} values, expected {expected} as everywhere")]
    Unbalanced {
        /// Level of the first factor.
        first: usize,
        /// Level of the second factor.
        second: usize,
        /// Values found.
        found: usize,
        /// Values of the first combination.
        expected: usize,
    },
    /// All values are equal: there is no variance to analyse.
    #[error("all values are equal")]
    NoSpread,
}

/// One source of variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Degrees of freedom.
    pub df: f64,
    /// Sum of squares.
    pub ss: f64,
    /// Mean square.
    pub ms: f64,
}

impl Source {
    fn new(ss: f64, df: f64) -> Self {
        Self { df, ss, ms: ss / df }
    }

    /// Variance ratio against `other` and the probability of a greater one by chance. Against no variance at all the ratio
    /// is infinite, and of nothing to nothing NaN.
    pub fn against(&self, other: &Self) -> VarianceRatio {
        let f = self.ms / other.ms;
        let p = if f == f64::INFINITY { 0.0 } else { f_sf(f, self.df, other.df) };
        VarianceRatio { f, p }
    }

    /// Both sources taken as one.
    fn pooled(&self, other: &Self) -> Self {
        Self::new(self.ss + other.ss, self.df + other.df)
    }
}

/// A ratio of mean squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VarianceRatio {
    /// The ratio F.
    pub f: f64,
    /// Probability of a greater F if the source adds nothing.
    pub p: f64,
}

/// The table of a balanced crossed design.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoWay {
    /// Levels of the first factor.
    pub n_first: usize,
    /// Levels of the second factor.
    pub n_second: usize,
    /// Values of each combination.
    pub replicates: usize,
    /// Mean of all values.
    pub mean: f64,
    /// First factor.
    pub first: Source,
    /// Second factor.
    pub second: Source,
    /// Interaction; `None` without replicates.
    pub interaction: Option<Source>,
    /// Error; without replicates it holds the interaction.
    pub error: Source,
}

/// Analyses the `value`s by the levels of both factors, row by row.
///
/// # Errors
/// Columns of different length, values that are not finite or all equal, a factor with one level, combinations that were
/// not measured equally often.
pub fn two_way(first: &[usize], second: &[usize], value: &[f64]) -> Result<TwoWay, AnovaError> {
    let cells = cells(first, second, value)?;
    let mean = cells.values().flatten().sum::<f64>() / count(value.len());
    let firsts = levels(cells.keys().map(|k| k.0));
    let seconds = levels(cells.keys().map(|k| k.1));
    for (what, found) in [("first", firsts.len()), ("second", seconds.len())] {
        if found < 2 {
            return Err(AnovaError::TooFewLevels { what, found });
        }
    }
    let replicates = balanced(&cells, &firsts, &seconds)?;
    let (a, b, r) = (count(firsts.len()), count(seconds.len()), count(replicates));

    // Everything is taken about the grand mean first: sums of squares of deviations lose no digits to the mean.
    let cell_means: BTreeMap<(usize, usize), f64> =
        cells.iter().map(|(k, v)| (*k, v.iter().map(|y| y - mean).sum::<f64>() / r)).collect();
    let first_means = margin(&cell_means, |k| k.0, b);
    let second_means = margin(&cell_means, |k| k.1, a);
    let ss = |means: &BTreeMap<usize, f64>| means.values().map(|m| m * m).sum::<f64>();
    let first_source = Source::new(b * r * ss(&first_means), a - 1.0);
    let second_source = Source::new(a * r * ss(&second_means), b - 1.0);
    let interaction_ss: f64 =
        cell_means.iter().map(|(k, m)| (m - first_means[&k.0] - second_means[&k.1]).powi(2)).sum::<f64>() * r;
    let within_ss: f64 = cells.iter().flat_map(|(k, v)| v.iter().map(|y| (y - mean - cell_means[k]).powi(2))).sum();
    if first_source.ss + second_source.ss + interaction_ss + within_ss <= 0.0 {
        return Err(AnovaError::NoSpread);
    }
    let interaction = Source::new(interaction_ss, (a - 1.0) * (b - 1.0));
    let replicated = replicates > 1;
    Ok(TwoWay {
        n_first: firsts.len(),
        n_second: seconds.len(),
        replicates,
        mean,
        first: first_source,
        second: second_source,
        interaction: replicated.then_some(interaction),
        error: if replicated { Source::new(within_ss, a * b * (r - 1.0)) } else { interaction },
    })
}

type Cells = BTreeMap<(usize, usize), Vec<f64>>;

/// The values of each combination that occurs.
fn cells(first: &[usize], second: &[usize], value: &[f64]) -> Result<Cells, AnovaError> {
    for (what, found) in [("the first factor", first.len()), ("the second factor", second.len())] {
        if found != value.len() {
            return Err(AnovaError::Length { what, found, expected: value.len() });
        }
    }
    if let Some(index) = value.iter().position(|v| !v.is_finite()) {
        return Err(AnovaError::NotFinite { index });
    }
    let mut cells = Cells::new();
    for ((i, j), y) in first.iter().zip(second).zip(value) {
        cells.entry((*i, *j)).or_default().push(*y);
    }
    // Rows may come in any order without changing the last digit of any sum.
    cells.values_mut().for_each(|v| v.sort_by(f64::total_cmp));
    Ok(cells)
}

fn levels(values: impl Iterator<Item = usize>) -> Vec<usize> {
    let mut levels: Vec<usize> = values.collect();
    levels.sort_unstable();
    levels.dedup();
    levels
}

/// The number of replicates, the same in every combination.
fn balanced(cells: &Cells, firsts: &[usize], seconds: &[usize]) -> Result<usize, AnovaError> {
    let expected = cells.values().next().map_or(0, Vec::len);
    for &first in firsts {
        for &second in seconds {
            let found = cells.get(&(first, second)).map_or(0, Vec::len);
            if found != expected {
                return Err(AnovaError::Unbalanced { first, second, found, expected });
            }
        }
    }
    Ok(expected)
}

/// Means over one factor.
fn margin(
    cells: &BTreeMap<(usize, usize), f64>,
    level: impl Fn(&(usize, usize)) -> usize,
    n: f64,
) -> BTreeMap<usize, f64> {
    let mut means = BTreeMap::new();
    for (key, mean) in cells {
        *means.entry(level(key)).or_insert(0.0) += mean / n;
    }
    means
}

#[expect(clippy::cast_precision_loss, reason = "numbers of readings are far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 2 × 2 table whose sums of squares are counted by hand: cell means 1, 3, 5, 11 about 5, effects ∓3 and ∓2,
    /// interaction ±1, replicates ±1 about their cell.
    #[test]
    fn sums_of_squares_of_a_table_by_hand() {
        let first = [1, 1, 1, 1, 2, 2, 2, 2];
        let second = [1, 1, 2, 2, 1, 1, 2, 2];
        let value = [0., 2., 2., 4., 4., 6., 10., 12.];
        let t = two_way(&first, &second, &value).unwrap();
        assert_eq!((t.first.ss, t.second.ss, t.interaction.unwrap().ss, t.error.ss), (72.0, 32.0, 8.0, 8.0));
        assert_eq!((t.first.df, t.second.df, t.interaction.unwrap().df, t.error.df), (1.0, 1.0, 1.0, 4.0));
        let once = two_way(&[1, 1, 2, 2], &[1, 2, 1, 2], &[1., 3., 5., 11.]).unwrap();
        assert_eq!((once.interaction, once.error.ss, once.error.df), (None, 4.0, 1.0));
    }

    #[test]
    fn what_cannot_be_analysed_is_said() {
        let error = two_way(&[1, 1, 2], &[1, 2, 1], &[1., 2., 3.]).unwrap_err();
        assert_eq!(error, AnovaError::Unbalanced { first: 2, second: 2, found: 0, expected: 1 });
        assert!(matches!(
            two_way(&[1, 1], &[1, 2], &[1., 2.]),
            Err(AnovaError::TooFewLevels { what: "first", found: 1 })
        ));
        assert!(matches!(two_way(&[1], &[1, 2], &[1., 2.]), Err(AnovaError::Length { found: 1, .. })));
        assert!(matches!(two_way(&[1, 2], &[1, 2], &[1., f64::NAN]), Err(AnovaError::NotFinite { index: 1 })));
        assert!(matches!(two_way(&[1, 1, 2, 2], &[1, 2, 1, 2], &[3.0; 4]), Err(AnovaError::NoSpread)));
        assert!(matches!(two_way(&[], &[], &[]), Err(AnovaError::TooFewLevels { found: 0, .. })));
    }
}
