//! What fails.

use serde::{Deserialize, Serialize};

use crate::error::TwinError;

/// Something that fails.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Fault {
    /// A channel repeats its last count.
    Stuck {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h; absent: for good.
        to_h: Option<f64>,
    },
    /// Samples of a channel are lost.
    Lost {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Share of samples lost; absent: all.
        share: Option<f64>,
    },
    /// A channel stands at the end of its range.
    Saturated {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
    },
    /// A cell's zero runs away.
    Drifting {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Speed, kg an hour.
        kg_h: f64,
    },
    /// A bad contact.
    Noisy {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Times the usual noise.
        times: f64,
    },
    /// Single wild counts.
    Spikes {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Spikes an hour.
        per_h: f64,
    },
    /// Something jams the gap under a plate: part of its load passes the cells by. Stated is either what is left of the gap,
    /// and the plate's bending says how much passes, or the share that passes.
    Jam {
        /// Plate.
        plate: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Free gap that is left, mm from the unloaded plate; at the nearest of the points, a quarter of each side apart, at
        /// which a plate is watched.
        gap_mm: Option<f64>,
        /// Share of the plate's load.
        share: Option<f64>,
        /// Where, mm on the plate.
        at_mm: [f64; 2],
    },
    /// A cable or tube lies between a plate and what does not move with it, and takes part of the load.
    Cable {
        /// Plate.
        plate: String,
        /// From, h: it takes nothing as the plate then stands.
        from_h: f64,
        /// To, h; absent: for good.
        to_h: Option<f64>,
        /// Where it crosses, mm on the plate.
        at_mm: [f64; 2],
        /// How stiff it is upright, N/mm: by this it pushes back as the plate goes down there.
        #[serde(rename = "stiffness_N_mm")]
        stiffness_newton_mm: f64,
        /// The most that friction holds, N, this way or that.
        #[serde(rename = "friction_N")]
        friction_newton: f64,
        /// How far from the joint of its section it is fixed, mm: as the section goes up, it is drawn by so much times the sine of the angle.
        #[serde(default)]
        reach_mm: f64,
    },
    /// No samples at all.
    PowerCut {
        /// From, h.
        from_h: f64,
        /// How long, s.
        for_s: f64,
    },
}

impl Fault {
    /// Refuses a jam that says two things or nothing.
    pub(super) fn check(&self) -> Result<(), TwinError> {
        match self {
            Self::Jam { gap_mm: Some(_), share: Some(_), .. } | Self::Jam { gap_mm: None, share: None, .. } => {
                Err(TwinError::Range {
                    what: "number of keys of a jam out of gap_mm and share".into(),
                    found: if matches!(self, Self::Jam { gap_mm: Some(_), .. }) { 2.0 } else { 0.0 },
                    expected: "1: what is left of the gap, or the share of the load that passes".into(),
                })
            }
            _ => Ok(()),
        }
    }
}
