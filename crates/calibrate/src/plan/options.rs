//! What a plan must keep to, and why there may be none.

use crate::options::Options;

/// What a plan must keep to.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanOptions {
    /// Placements; `None`: as few as bring every cell within `u_pct`.
    pub lifts: Option<usize>,
    /// Relative standard uncertainty of a gain that is good enough, %.
    pub u_pct: f64,
    /// Heaviest piece that one person lifts, kg.
    pub lift_kg: f64,
    /// Heaviest load on one plate, kg; `None`: what its cells and its clearance bear.
    pub plate_kg: Option<f64>,
    /// Standard uncertainty of a load's place along each axis, mm.
    pub u_position_mm: f64,
    /// Side of the square that a body stands on, mm.
    pub foot_mm: f64,
}

impl PlanOptions {
    /// Most placements: a day's work many times over.
    pub const MOST_LIFTS: usize = 200;

    pub(crate) fn check(&self) -> Result<(), PlanError> {
        let bad = |name, found, expected| Err(PlanError::BadOption { name, found, expected });
        let is_positive = |x: f64| x.is_finite() && x > 0.0;
        match self {
            Self { lifts: Some(n), .. } if *n == 0 || *n > Self::MOST_LIFTS => bad("lifts", *n as f64, "1 to 200"),
            Self { u_pct: u, .. } if !(is_positive(*u) && *u <= 5.0) => bad("u-pct", *u, "a number above 0, up to 5"),
            Self { lift_kg: kg, .. } if !is_positive(*kg) => bad("lift-kg", *kg, "a number above 0"),
            Self { plate_kg: Some(kg), .. } if !is_positive(*kg) => bad("plate-kg", *kg, "a number above 0"),
            Self { u_position_mm: u, .. } if !(u.is_finite() && *u >= 0.0) => bad("place-mm", *u, "0 or more"),
            Self { foot_mm: foot, .. } if !is_positive(*foot) => bad("foot-mm", *foot, "a number above 0"),
            _ => Ok(()),
        }
    }
}

impl Default for PlanOptions {
    /// 25 kg for one person: common practice, no source; local rules for lifting come first. 0.3 % of a cell that bears a
    /// third of 80 kg is 80 g, less than a usual interval; a foot of 150 mm is that of a can or a block.
    fn default() -> Self {
        Self {
            lifts: None,
            u_pct: 0.3,
            lift_kg: 25.0,
            plate_kg: None,
            u_position_mm: Options::DEFAULT_U_POSITION_MM,
            foot_mm: 150.0,
        }
    }
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// Nothing fixes the scale.
    #[error("no body of known mass that one person may lift ({lift_kg} kg), expected at least one: it fixes the scale")]
    NoKnownMass {
        /// The limit, kg.
        lift_kg: f64,
    },
    /// A plate has no place for any body.
    #[error(
        "no body may stand on plate \"{plate}\": the lightest weighs {lightest_kg} kg, expected one that the plate bears \
         ({why})"
    )]
    NoPlace {
        /// The plate.
        plate: String,
        /// Lightest body, kg.
        lightest_kg: f64,
        /// What refuses it.
        why: &'static str,
    },
    /// No plate bears any body of known mass.
    #[error("no plate bears a body of known mass: each is too heavy; expected at least one: it fixes the scale")]
    NoPlaceForKnown,
    /// The deck cannot be solved.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
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
}
