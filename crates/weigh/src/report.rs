//! What is told at the end: counts of rows, the last weight, events and faults.

use formats::weights::State;
use serde::{Deserialize, Serialize};

/// Something that happened on the deck.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When it was seen, s.
    pub t_s: f64,
    /// What it was.
    pub kind: EventKind,
    /// Its size, kg; negative for a loss. `None` where it has none.
    pub kg: Option<f64>,
    /// Standard uncertainty of the size, kg.
    pub u_kg: Option<f64>,
    /// Where on the bed, mm from the head end.
    pub x_mm: Option<f64>,
    /// Where on the bed, mm from the patient's right edge.
    pub y_mm: Option<f64>,
    /// A sentence for a person.
    pub text: String,
}

/// Kind of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// A change that no action explains: a question.
    Step,
    /// Something other than the patient came onto the deck.
    Added,
    /// Something other than the patient left it.
    Removed,
    /// The patient came.
    PatientOn,
    /// The patient left.
    PatientOff,
    /// The patient lies otherwise, the sum stayed.
    Turned,
    /// Someone or something leaned on the bed, and let go.
    Contact,
    /// Load passed by the cells.
    Shunt,
    /// The whole bed was moved. (Not in the contract's list of kinds: an addition.)
    BedMoved,
}

/// A channel that failed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fault {
    /// When it was seen, s.
    pub t_s: f64,
    /// Name of the cell.
    pub cell: String,
    /// How it failed.
    pub kind: FaultKind,
}

/// How a channel fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// One count for ever.
    Stuck,
    /// No samples.
    Lost,
    /// At the end of the converter's range.
    Saturated,
    /// Its zero wanders.
    Drifting,
    /// More than its rated load.
    Overload,
}

/// The last row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Last {
    /// Time, s.
    pub t_s: f64,
    /// Weight of the patient, kg.
    pub patient_kg: Option<f64>,
    /// Standard uncertainty, kg.
    pub u_kg: Option<f64>,
    /// Its state.
    pub state: State,
}

/// An item on the deck besides the patient.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NamedItem {
    /// The note it was entered with; empty without one.
    pub name: String,
    /// Its mass, kg; negative for what lay there at the tare and left.
    pub kg: f64,
    /// Standard uncertainty of its mass, kg.
    pub u_kg: f64,
}

/// Whether somebody lies on the deck, as far as it knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lies {
    /// Nobody.
    Nobody,
    /// Somebody seems to: came without a word, or is said to leave and was still seen.
    Somebody,
    /// The patient, or it is said that he comes: no tare is taken.
    Patient,
}

/// A change that no action explains yet: what the patient weighs depends on the answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// When it came about, s.
    pub t_s: f64,
    /// Its size, kg; negative for a loss.
    pub kg: f64,
    /// Standard uncertainty of the size, kg.
    pub u_kg: f64,
    /// Where on the bed, mm from the head end.
    pub x_mm: Option<f64>,
    /// Where on the bed, mm from the patient's right edge.
    pub y_mm: Option<f64>,
    /// The patient's weight if it was not the patient's, kg (the other questions, too, being none of the patient's).
    pub patient_kg: Option<f64>,
    /// The patient's weight if it was the patient's own, kg; of what was entered and not seen, if it did not come about.
    pub patient_kg_if_own: Option<f64>,
    /// Whether it was entered as coming or going, and the load did not change.
    pub entered: bool,
    /// The note that it was entered with; empty without one.
    pub note: String,
}

/// Standard uncertainty of a weight by its parts, kg, at the last row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UncertaintyParts {
    /// Gains and straightness of single cells.
    pub gain: f64,
    /// Scale common to all cells: reference mass, gravity.
    pub scale: f64,
    /// Lean of the reaction on a raised section, as far as it is open.
    pub lean: f64,
    /// Creep since the tare.
    pub creep: f64,
    /// Zero since the tare: time and warmth; span: warmth.
    pub drift: f64,
    /// Scatter of the two plateaus.
    pub noise: f64,
    /// What stands in for failed cells.
    pub stand_in: f64,
    /// Things that came and went.
    pub items: f64,
    /// Open questions.
    pub open: f64,
}

impl UncertaintyParts {
    pub(crate) fn of(doubt: &signal::Doubt) -> Self {
        let signal::Doubt { parts, items_kg, open_kg } = *doubt;
        Self {
            gain: parts.gain_kg,
            scale: parts.scale_kg,
            lean: parts.lean_kg.hypot(parts.angle_kg),
            creep: parts.creep_kg,
            drift: parts.drift_kg,
            noise: parts.noise_kg,
            stand_in: parts.stand_in_kg,
            items: items_kg,
            open: open_kg,
        }
    }
}

/// The report of a recording.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WeighReport {
    /// Rows in state `settled`.
    pub settled: usize,
    /// All rows.
    pub rows: usize,
    /// The last row; `None` for a recording without samples.
    pub last: Option<Last>,
    /// The uncertainty at the last row by its parts; `None` without a tare.
    pub u_parts_kg: Option<UncertaintyParts>,
    /// Tare as last taken, kg; `None` where none was taken.
    pub tare_kg: Option<f64>,
    /// Net mass of the items that came and went since the tare, kg.
    pub items_kg: f64,
    /// Those items by their notes; what came and went leaves no line.
    pub items: Vec<NamedItem>,
    /// Changes that no action explains yet, kg in all: `last.patient_kg` is the weight if none of them was the patient's own,
    /// `last.patient_kg + open_kg` if all were.
    pub open_kg: f64,
    /// Those changes one by one, each with both possible weights.
    pub open: Vec<Question>,
    /// What happened.
    pub events: Vec<Event>,
    /// What failed.
    pub faults: Vec<Fault>,
    /// Times of actions that no sample reached, s: nothing was done for them.
    pub actions_left_s: Vec<f64>,
}
