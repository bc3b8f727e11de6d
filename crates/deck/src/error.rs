//! What can be wrong with a deck when it is turned into physics.

/// Why a deck cannot be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DeckError {
    /// A plate, load or cell names something that is not there.
    #[error("{owner} names {kind} `{name}`, which the deck does not have")]
    Unknown {
        /// What names it.
        owner: String,
        /// What kind of thing is named.
        kind: &'static str,
        /// The name.
        name: String,
    },
    /// A load case puts nothing on the deck.
    #[error("load case `{case}` has no load, expected `even_kg`, `patches` or `patient`")]
    EmptyCase {
        /// The case.
        case: String,
    },
    /// A section stands so steep that a vertical reaction means nothing.
    #[error("load case `{case}`: section `{section}` at {angle_deg}°, expected less than 90°")]
    TooSteep {
        /// The case.
        case: String,
        /// The section.
        section: String,
        /// Its angle, °.
        angle_deg: f64,
    },
    /// The patient cannot be laid on the bed.
    #[error("load case `{case}`: {source}")]
    Patient {
        /// The case.
        case: String,
        /// Why.
        #[source]
        source: body::BodyError,
    },
    /// The layers or the solver refuse the plate.
    #[error("plate `{plate}`: {source}")]
    Plate {
        /// The plate.
        plate: String,
        /// Why.
        #[source]
        source: plates::PlateError,
    },
}
