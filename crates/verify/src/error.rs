//! Why tests cannot be judged.

/// Why tests cannot be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum VerifyError {
    /// No row at all.
    #[error("the test file holds no row, expected at least one")]
    NoTests,
    /// The calibration belongs to another deck.
    #[error("the calibration is of deck \"{found}\", expected \"{expected}\"")]
    OtherDeck {
        /// Deck named by the calibration.
        found: String,
        /// Deck of the deck file.
        expected: String,
    },
    /// A row's plate is not in the deck.
    #[error("line {line}: plate \"{plate}\" is not in the deck")]
    UnknownPlate {
        /// Line of the test file.
        line: usize,
        /// Plate named there.
        plate: String,
    },
    /// A number makes no sense.
    #[error("line {line}: {what} is {found}, expected {expected}")]
    BadNumber {
        /// Line of the test file.
        line: usize,
        /// Which column.
        what: &'static str,
        /// Value found.
        found: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// A column that the test cannot do without is empty.
    #[error("line {line}: test {test} needs {what}, found it empty")]
    Missing {
        /// Line of the test file.
        line: usize,
        /// Which test.
        test: &'static str,
        /// Which column.
        what: &'static str,
    },
}
