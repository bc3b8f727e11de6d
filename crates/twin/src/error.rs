//! Why the twin cannot run.

/// Something that the deck or the scenario does not allow.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TwinError {
    /// The deck cannot be computed.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
    /// A plate cannot be solved.
    #[error("plate `{plate}`: {source}")]
    Plate {
        /// The plate.
        plate: String,
        /// Why.
        #[source]
        source: plates::PlateError,
    },
    /// The patient cannot be laid on the bed.
    #[error("patient: {0}")]
    Patient(#[from] body::BodyError),
    /// A name that the deck does not have.
    #[error("{owner} names {kind} `{name}`, which the deck does not have")]
    Unknown {
        /// What names it.
        owner: String,
        /// What kind of thing is named.
        kind: &'static str,
        /// The name.
        name: String,
    },
    /// A number out of its range.
    #[error("{what} is {found:?}, expected {expected}")]
    Range {
        /// Which number.
        what: String,
        /// What was found.
        found: f64,
        /// What was expected.
        expected: String,
    },
    /// The scenario file cannot be read.
    #[error("{file}: {message}")]
    Scenario {
        /// File name as given.
        file: String,
        /// What is wrong, with line and key.
        message: String,
    },
}

/// Refuses a number that is NaN or outside `low` to `high`.
pub(crate) fn in_range(what: &str, found: f64, low: f64, high: f64, expected: &str) -> Result<(), TwinError> {
    if (low..=high).contains(&found) {
        Ok(())
    } else {
        Err(TwinError::Range { what: what.to_owned(), found, expected: expected.to_owned() })
    }
}
