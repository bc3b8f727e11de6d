//! What a caller may set, each with its default and reason.

use formats::patient::Plan;
use jiff::Timestamp;
use serde::Serialize;

/// Settings of [`crate::balance`].
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Wall time of `t_s` = 0, for weights that carry no time of their own.
    pub start: Option<Timestamp>,
    /// Present time: entries after it are flagged. `None`: the time of the last record stands for it.
    pub now: Option<Timestamp>,
    /// Weights are averaged over blocks of this length, s; see [`crate::thin`].
    pub block_s: f64,
    /// Correlation time of a deck's fast errors (breathing, filter), s: readings closer than this count as one.
    pub correlation_s: f64,
    /// Correlation time of errors that stay until the patient lies otherwise, h. Two hours is the usual
    /// turning interval (Krishnagopalan 2002: half of the time more than 2 h apart).
    pub posture_h: f64,
    /// Random-walk drift of the deck since its zero, g per √h; `None`: read from the growth of `u_kg`.
    pub drift_g_sqrt_h: Option<f64>,
    /// Mass of one mL by kind of fluid. `None`: 1 g/mL throughout, and how far fluids lie from it stays open.
    pub densities: Option<Densities>,
    /// False alerts of unexplained loss or gain for which the thresholds are set, per patient-day.
    pub false_alerts_per_day: f64,
    /// How far ahead to forecast, h.
    pub forecast_h: u32,
    /// Plans to be compared with the patient file's own, by name.
    pub alternatives: Vec<(String, Plan)>,
    /// Windows for net balances that end with the record, h.
    pub windows_h: Vec<f64>,
    /// Windows for net balances that lie anywhere in the record.
    pub spans: Vec<Span>,
    /// Entries that take the place of earlier ones. Nothing is overwritten: both stand in the chart.
    pub corrections: Vec<Correction>,
    /// What was said to alerts: these are not raised again.
    pub answered: Vec<Answered>,
    /// Removals of pads or linen that are known, with what they took off the deck.
    pub removals: Vec<Removal>,
    /// Items that came onto the deck and left it, as `weigh` saw them, in order of time; see [`crate::balance`].
    pub items: Vec<ItemEvent>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            start: None,
            now: None,
            block_s: 600.0,
            correlation_s: 60.0,
            posture_h: 2.0,
            drift_g_sqrt_h: None,
            densities: None,
            false_alerts_per_day: 0.1,
            forecast_h: 48,
            alternatives: Vec::new(),
            windows_h: vec![6.0, 12.0, 24.0, 48.0],
            corrections: Vec::new(),
            answered: Vec::new(),
            removals: Vec::new(),
            spans: Vec::new(),
            items: Vec::new(),
        }
    }
}

/// One chart entry takes the place of another; by a volume of 0 it strikes it out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Correction {
    /// Line of the entry that counts.
    pub line: usize,
    /// Line of the entry that no longer does.
    pub corrects: usize,
}

/// An answer to an alert.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// Time of the alert.
    pub time: Timestamp,
    /// Its kind, as [`crate::AlertKind`] is printed.
    pub kind: String,
    /// What was said.
    pub answer: String,
}

/// Fluid that lay on the deck and was taken off with a pad or linen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Removal {
    /// When.
    pub time: Timestamp,
    /// Fluid that went, g; `None`: all that lay there.
    pub fluid_g: Option<f64>,
}

/// An item that came onto the deck or left it, with a mass that the patient's weight does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemEvent {
    /// When.
    pub time: Timestamp,
    /// Its mass, kg; negative where it left.
    pub kg: f64,
    /// Standard uncertainty of that, kg.
    pub u_kg: f64,
    /// What it is called: what left is looked for among what came by this name.
    pub name: String,
}

/// A window of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Its start.
    pub from: Timestamp,
    /// Its end.
    pub to: Timestamp,
}

/// Mass of one mL, g, by kind of fluid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Densities {
    /// Infusions.
    pub iv_g_ml: f64,
    /// Blood and its products.
    pub blood_g_ml: f64,
    /// Urine.
    pub urine_g_ml: f64,
    /// Tube feeds.
    pub enteral_g_ml: f64,
    /// Everything else.
    pub other_g_ml: f64,
}

impl Default for Densities {
    /// 1 g/mL, the contract's rule where no density is given.
    fn default() -> Self {
        Self { iv_g_ml: 1.0, blood_g_ml: 1.0, urine_g_ml: 1.0, enteral_g_ml: 1.0, other_g_ml: 1.0 }
    }
}

impl Densities {
    /// Published values: blood 1.0506 at 37 °C (Trudnowski & Rico, Clin Chem 1974;20:615), urine 1.0175
    /// (middle of the specific gravities 1.005–1.030), 0.9 % saline 1.005 and tube feeds 1.05 (from memory).
    pub fn published() -> Self {
        Self { iv_g_ml: 1.005, blood_g_ml: 1.0506, urine_g_ml: 1.0175, enteral_g_ml: 1.05, other_g_ml: 1.0 }
    }
}
