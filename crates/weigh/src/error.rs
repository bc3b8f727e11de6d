//! Why a recording cannot be weighed.

use signal::ConfigError;

/// Deck, calibration and recording do not make a weigher.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WeighError {
    /// The calibration was made for another deck.
    #[error("the calibration is of deck \"{found}\", expected \"{expected}\"")]
    OtherDeck {
        /// The calibration's deck.
        found: String,
        /// The deck.
        expected: String,
    },
    /// The calibration lacks a cell of the deck.
    #[error("the calibration has no cell \"{cell}\", which the deck has")]
    NoCell {
        /// The cell's name.
        cell: String,
    },
    /// The calibration leaves a cell open.
    #[error("the calibration does not determine cell \"{cell}\", expected its zero and gain: calibrate it first")]
    Undetermined {
        /// The cell's name.
        cell: String,
    },
    /// The recording's channels are not the deck's cells.
    #[error("the recording has {found} channels, the deck {expected} cells")]
    Channels {
        /// Channels of the recording.
        found: usize,
        /// Cells of the deck.
        expected: usize,
    },
    /// The deck names what it does not define.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
    /// The signal path cannot take the deck.
    #[error("the signal path cannot take this deck: {0}")]
    Path(ConfigError),
    /// An option is out of range.
    #[error("{what} is {found}, expected {expected}")]
    Option {
        /// The option.
        what: &'static str,
        /// Its value.
        found: f64,
        /// What it may be.
        expected: &'static str,
    },
}
