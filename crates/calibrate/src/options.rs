//! What the caller may set, and why a run cannot be fitted at all.

use formats::calibration::Calibration;

/// Settings of a calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// When the calibration was made, RFC 3339; written into the result.
    pub made_at: String,
    /// Standard uncertainty of the place of a load along each axis, mm. `None`: estimated from the moment equations of
    /// the run where these leave [`Options::MIN_POSITION_FREEDOM`] degrees of freedom, else
    /// [`Options::DEFAULT_U_POSITION_MM`].
    pub u_position_mm: Option<f64>,
    /// A gain whose relative standard uncertainty is larger is reported as not determined.
    pub max_relative_u: f64,
    /// An earlier calibration to compare with, and to build on where cells were replaced.
    pub earlier: Option<Earlier>,
}

/// An earlier calibration of the same deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Earlier {
    /// The calibration.
    pub calibration: Calibration,
    /// Cells replaced since then. Empty: the run is fitted by itself and only compared; else the gains of all other cells
    /// enter it with their covariance.
    pub replaced: Vec<String>,
}

impl Options {
    /// Standard uncertainty of the place of a load put down by hand on a mark, mm. An engineering choice (no source).
    pub const DEFAULT_U_POSITION_MM: f64 = 2.0;
    /// Fewest degrees of freedom of the moment equations from which the place's uncertainty is estimated: with 8 the
    /// estimate itself is known to 25 %.
    pub const MIN_POSITION_FREEDOM: f64 = 8.0;
    /// Usual limit of the relative standard uncertainty of a gain: at 5 % a cell that carries a third of a patient is
    /// already unknown to kilograms, so a larger one is no calibration.
    pub const DEFAULT_MAX_RELATIVE_U: f64 = 0.05;

    /// The usual settings.
    #[must_use]
    pub fn new(made_at: impl Into<String>) -> Self {
        Self {
            made_at: made_at.into(),
            u_position_mm: None,
            max_relative_u: Self::DEFAULT_MAX_RELATIVE_U,
            earlier: None,
        }
    }
}

/// Why a run cannot be fitted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CalibrateError {
    /// The deck names a cell type that it does not have.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
    /// The run's cells are not the deck's.
    #[error("the run names {found} cells ({first}), expected the {expected} cells of the deck in its order")]
    OtherCells {
        /// Cells of the run.
        found: usize,
        /// Cells of the deck.
        expected: usize,
        /// The first that differs.
        first: String,
    },
    /// A row's plate is not in the deck.
    #[error("line {line}: plate \"{plate}\" is not in the deck")]
    UnknownPlate {
        /// Line of the run file.
        line: usize,
        /// Plate named there.
        plate: String,
    },
    /// A number of a row is not finite, or a mass or its uncertainty is negative.
    #[error("line {line}: {what} is {found}, expected a finite number{}", if *.negative { " of 0 or more" } else { "" })]
    BadNumber {
        /// Line of the run file.
        line: usize,
        /// Which quantity.
        what: &'static str,
        /// Value found.
        found: f64,
        /// Whether negative values are refused.
        negative: bool,
    },
    /// No row without load.
    #[error("the run holds no zero reading, expected at least one row with mass_kg 0 and no plate")]
    NoZeroReading,
    /// No row with a known mass.
    #[error("no row bears a body of known mass, expected at least one: nothing else fixes the scale")]
    NoKnownMass,
    /// An option is out of range.
    #[error("option {name} is {found}, expected {expected}")]
    BadOption {
        /// Name.
        name: &'static str,
        /// Value found.
        found: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// The steps towards the solution did not end.
    #[error(
        "the fit did not settle: after {steps} steps an unknown still moves by {largest:.2} of its uncertainty, expected \
         less than 0.1; the run contradicts itself, look for wrong places or masses"
    )]
    NotSettled {
        /// Steps taken.
        steps: usize,
        /// Last step in units of the uncertainty.
        largest: f64,
    },
    /// A cell named as replaced is not in the deck.
    #[error("the replaced cell \"{cell}\" is not in the deck")]
    UnknownCell {
        /// Its name.
        cell: String,
    },
    /// The earlier calibration does not say how uncertain its gains are.
    #[error("the earlier calibration's gains have no sound covariance, expected one to build a partial calibration on")]
    NoCovariance,
    /// Nothing on a certificate would rest on a reading.
    #[error(
        "no known mass stands on a plate whose cells are all determined, expected at least one: there is no error to state"
    )]
    NothingToCertify,
    /// The equations could not be solved.
    #[error("the equations of the run could not be solved: {0}")]
    Fit(#[from] stats::regression::FitError),
}
