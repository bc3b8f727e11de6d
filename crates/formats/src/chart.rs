//! `chart.csv`: fluids in and out, as charted.

use jiff::Timestamp;

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Line of the file, from 1.
    pub line: usize,
    /// When.
    pub time: Timestamp,
    /// In or out.
    pub direction: Direction,
    /// By which way.
    pub route: Route,
    /// Volume, mL.
    pub volume_ml: f64,
    /// Whether an output has left the deck; `false`: it stays in pads or linen until those go.
    pub leaves_deck: bool,
    /// A note.
    pub note: String,
}

/// In or out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Into the patient.
    Intake,
    /// Out of the patient.
    Output,
}

/// By which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Route {
    /// Into a vein.
    Iv,
    /// By mouth.
    Oral,
    /// By a feeding tube.
    Enteral,
    /// Blood and its products.
    Blood,
    /// Urine.
    Urine,
    /// Drains.
    Drain,
    /// Stool.
    Stool,
    /// From the stomach.
    Gastric,
    /// Removed by a machine.
    Ultrafiltrate,
    /// Any other.
    Other,
}
