//! The range in which a formula was derived, and the refusal outside it.

use thiserror::Error;

/// Why a formula gives no value.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum DoseError {
    /// A quantity lies outside the range in which the formula holds.
    #[error("{formula}: {quantity} is {}, expected {} to {}", short(*found), short(*low), short(*high))]
    OutOfRange {
        /// Name of the formula.
        formula: &'static str,
        /// Which quantity, with its unit.
        quantity: &'static str,
        /// Value found.
        found: f64,
        /// Least value.
        low: f64,
        /// Largest value.
        high: f64,
    },
    /// The patient file lacks what the formula needs.
    #[error("{formula}: {quantity} is not given")]
    Missing {
        /// Name of the formula.
        formula: &'static str,
        /// Key of the patient file.
        quantity: &'static str,
    },
}

/// To four decimals: enough to be told by, whatever it was computed from.
fn short(number: f64) -> f64 {
    (number * 1e4).round() / 1e4
}

impl DoseError {
    /// The same refusal, told of another formula that rests on the one refused.
    pub(crate) fn of_formula(self, name: &'static str) -> Self {
        match self {
            Self::OutOfRange { quantity, found, low, high, .. } => {
                Self::OutOfRange { formula: name, quantity, found, low, high }
            }
            Self::Missing { quantity, .. } => Self::Missing { formula: name, quantity },
        }
    }
}

/// Checks the inputs of one formula, by name.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Within {
    formula: &'static str,
}

impl Within {
    /// Checks for the formula of this name.
    pub(crate) fn new(formula: &'static str) -> Self {
        Self { formula }
    }

    /// `found` must lie in `low..=high`; NaN does not.
    pub(crate) fn of(self, quantity: &'static str, found: f64, low: f64, high: f64) -> Result<Self, DoseError> {
        if (low..=high).contains(&found) {
            Ok(self)
        } else {
            Err(DoseError::OutOfRange { formula: self.formula, quantity, found, low, high })
        }
    }
}
