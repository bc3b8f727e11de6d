//! `weights.csv`: weights over time.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Wall time, where the start is known.
    pub time: Option<Timestamp>,
    /// Time since the start, s.
    pub t_s: f64,
    /// Weight of the patient, kg; `None` where empty or at fault.
    pub patient_kg: Option<f64>,
    /// Standard uncertainty, kg.
    pub u_kg: Option<f64>,
    /// May it be believed?
    pub state: State,
}

/// State of a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// At rest, to be believed within its uncertainty.
    Settled,
    /// The load moves.
    Moving,
    /// Care is being given: the last settled weight.
    Held,
    /// No patient on the deck.
    Empty,
    /// Beyond the deck's range.
    Overload,
    /// The deck cannot weigh.
    Fault,
}
