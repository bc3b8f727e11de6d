//! What happens at stated times.

use serde::{Deserialize, Serialize};

use super::yes;

/// Something that happens at a stated time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Planned {
    /// Something is laid on the bed.
    Add {
        /// When, h.
        at_h: f64,
        /// What.
        name: String,
        /// Mass, kg.
        kg: f64,
        /// Middle, mm in bed coordinates.
        at_mm: [f64; 2],
        /// Size, mm.
        size_mm: [f64; 2],
        /// Taken off again, h.
        until_h: Option<f64>,
        /// Whether someone tells the deck.
        #[serde(default = "yes")]
        told: bool,
    },
    /// Someone leans on the bed.
    Lean {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
        /// Down, kg; negative: lifts.
        kg: f64,
        /// Where, mm in bed coordinates.
        at_mm: [f64; 2],
    },
    /// Someone sits on the bed.
    Sit {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
        /// Weight on the bed, kg.
        kg: f64,
        /// Where, mm in bed coordinates.
        at_mm: [f64; 2],
    },
    /// The patient is turned or moves.
    Turn {
        /// When, h.
        at_h: f64,
        /// Midline to the patient's left of the bed's middle, mm.
        across_mm: f64,
    },
    /// A round of care under hold.
    Care {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// The patient leaves the bed for a while.
    Journey {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// Restlessness.
    Restless {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// A seizure: fast rhythmic jerks.
    Seizure {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// Chest compressions.
    Compressions {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// The whole bed is rolled: over doorsteps and slopes, to another place or back.
    BedMoved {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
        /// Slope of the floor where it then stands, along the bed, °.
        #[serde(default)]
        slope_deg: f64,
    },
}
