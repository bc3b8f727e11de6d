//! What counts as a resolvable change of weight: the one criterion of every stage that states one.
//!
//! Detected with 95 % probability while 5 % of unchanged pairs are taken for changed, both one-sided and Gaussian:
//! (1.645 + 1.645) standard uncertainties of the difference.

/// Standard normal quantile at 95 %.
const Z_95: f64 = 1.644_853_627;
/// Smallest resolvable change over the standard uncertainty of a difference of two weights.
pub const PER_U: f64 = 2.0 * Z_95;
/// The criterion in words.
pub const CRITERION: &str =
    "detected with 95 % probability, 5 % false alarms (3.29 standard uncertainties of the difference)";
