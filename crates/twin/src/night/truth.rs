//! What is true of a night, to be written beside its recording.

use formats::actions::ActionKind;
use serde::Serialize;

use crate::fluid::charting::Slip;
use crate::scenario::Fault;

/// The truth of a night.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NightTruth {
    /// Number that all draws follow from.
    pub seed: u64,
    /// Name of the scenario.
    pub scenario: String,
    /// Mattress and linen at the time of the tare, kg.
    pub tare_kg: f64,
    /// Patient when first laid down, kg.
    pub first_patient_kg: f64,
    /// Patient at the end, kg.
    pub last_patient_kg: f64,
    /// Fluid lying in pads at the end, kg: the deck feels it too.
    pub last_pad_kg: f64,
    /// What evaporates and leaves as gas, mean, g/h.
    pub insensible_g_h: f64,
    /// Losses that nobody charted, mL in all.
    #[serde(rename = "hidden_mL")]
    pub hidden_ml: f64,
    /// What happened.
    pub events: Vec<TrueEvent>,
    /// Times in which the load was not at rest or not what it was told to be, s.
    pub disturbed: Vec<Disturbance>,
    /// Load that passed the cells by, found while the night is lived through.
    pub shunts: Vec<TrueShunt>,
    /// What failed.
    pub faults: Vec<Fault>,
    /// What is wrong with the chart.
    pub slips: Vec<Slip>,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueEvent {
    /// From, s.
    pub t_s: f64,
    /// To, s.
    pub until_s: f64,
    /// What.
    pub kind: TrueKind,
    /// Change of the load, kg; of a contact its largest.
    pub kg: f64,
    /// Middle in bed coordinates, mm, where there is one.
    pub at_mm: Option<[f64; 2]>,
    /// Whether an action told the deck.
    pub told: bool,
    /// In words.
    pub text: String,
}

/// Load that passed the cells of a plate by: it touched its base, or what jammed the gap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueShunt {
    /// Plate.
    pub plate: String,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// The most that passed, kg.
    pub largest_kg: f64,
}

/// What happened, by the words of the weighing stage where it has one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TrueKind {
    /// Something was laid down to stay.
    Added,
    /// Something was taken away.
    Removed,
    /// The patient came.
    PatientOn,
    /// The patient left.
    PatientOff,
    /// The patient was turned.
    Turned,
    /// Hands or a visitor, for a while.
    Contact,
    /// Load passed the cells by.
    Shunt,
    /// A section or the bed was tilted.
    Tilted,
    /// A round of care under hold.
    Care,
    /// The patient moved by himself.
    Restless,
    /// The whole bed was moved.
    BedMoved,
}

/// A time in which no weight is to be believed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Disturbance {
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// Why.
    pub why: TrueKind,
}

/// The state of things at one sample.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Moment {
    /// Time, s.
    pub t_s: f64,
    /// Patient, kg; also while away from the bed.
    pub patient_kg: f64,
    /// Part of the patient that lies on the deck, 0 to 1.
    pub aboard: f64,
    /// Fluid in pads on the deck, kg.
    pub pad_kg: f64,
    /// Fluid that went with changed pads, under hold, since the patient last came, kg.
    pub gone_with_pads_kg: f64,
    /// Fluid that lay in pads when the patient last came, kg: he was weighed beside it.
    pub pad_before_kg: f64,
    /// Things on the deck besides mattress and first linen, kg.
    pub items_kg: f64,
    /// Of these, those that no action told of, kg.
    pub untold_kg: f64,
    /// Mattress and first linen, kg.
    pub tare_kg: f64,
    /// Load that passes the cells by, kg.
    pub shunted_kg: f64,
}

impl Moment {
    /// What a perfect deck with a perfect ledger shows as the patient, kg.
    ///
    /// Fluid in a pad has left the patient but not the deck, and a pad is changed under hold, during which nothing changes
    /// the patient's weight: a deck cannot tell such a loss from the patient, and the chart has to say it. A patient who
    /// leaves and comes again is weighed anew.
    #[must_use]
    pub fn shown_kg(&self) -> f64 {
        self.patient_kg + self.pad_kg - self.pad_before_kg + self.gone_with_pads_kg
    }
}

/// An action before it has its place in the file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Told {
    pub(crate) t_s: f64,
    pub(crate) kind: ActionKind,
    pub(crate) kg: Option<f64>,
    pub(crate) note: String,
}
