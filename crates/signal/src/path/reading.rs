//! What goes into the path and what comes out of it.

use crate::channel::Channel;
use crate::doubt::{Parts, Plateau};
use crate::plateau::Level;
use crate::watch::Motion;

/// What arrives at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample<const C: usize, const S: usize> {
    /// Time since any fixed instant, s.
    pub t_s: f64,
    /// Counts of each channel; `None` for a lost sample.
    pub counts: [Option<f64>; C],
    /// Temperature, where it is measured, °C.
    pub temperature_c: Option<f64>,
    /// Angle of each section to the horizontal, degrees; `None` where no angle came, which keeps the last (flat at first).
    pub tilt_deg: [Option<f64>; S],
}

/// A new plateau, and how it differs from the one before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change<const C: usize, const S: usize> {
    /// The plateau before, at the time it was left; `None` for the first.
    pub before: Option<Plateau<C, S>>,
    /// The plateau found.
    pub after: Plateau<C, S>,
    /// After less before, kg; 0 for the first.
    pub delta_kg: f64,
    /// Uncertainty of the difference, by its parts.
    pub parts: Parts,
    /// Where the load that makes the difference would lie, mm; meaningful for a difference well above its uncertainty.
    pub place_mm: Option<[f64; 2]>,
    /// Shift of the centre of load, mm; `None` where too little lies on the deck.
    pub shift_mm: Option<f64>,
    /// Mean excursion of the total from the level before, over the time between the two, kg.
    pub excursion_kg: f64,
    /// Whether a section stands otherwise than before (by more than the stillness limit of angles).
    pub articulated: bool,
    /// How far the angles of all sections swung together beyond where they stood before and after, degrees: what accelerates or slopes is the whole bed. 0 for a bed
    /// of one section, whose angle alone cannot tell.
    pub swung_deg: f64,
    /// Whether a channel failed or came back in between: the two are not of the same cells.
    pub rewired: bool,
    /// How fast the cell wandered that was named as drifting on the plateau before, kg/s; `None` where none was.
    pub wander_kg_s: Option<f64>,
}

/// What is known after a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading<const C: usize, const P: usize, const S: usize> {
    /// Time of the sample, s.
    pub t_s: f64,
    /// Whether every channel gave a force, or was stood in for; where not, the numbers below are of the last good sample.
    pub whole: bool,
    /// Standard uncertainty of what stands in for failed cells, kg; 0 where none failed.
    pub stand_in_u_kg: f64,
    /// Total of this sample, spikes removed, kg.
    pub total_kg: f64,
    /// Total after the low-pass, kg.
    pub filtered_kg: f64,
    /// Centre of load after the low-pass, mm.
    pub centre_mm: Option<[f64; 2]>,
    /// Load of each plate after the low-pass, kg.
    pub plate_kg: [f64; P],
    /// Whether the load is at rest.
    pub motion: Motion,
    /// Level of the plateau, while at rest.
    pub level: Level,
    /// A plateau found with this sample.
    pub change: Option<Change<C, S>>,
    /// State of each channel.
    pub channels: [Channel; C],
    /// Whether a cell bears more than its rated load.
    pub overloaded: [bool; C],
}

/// What a path must know again after a power cut: beside its filters, which fill anew within seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Memory<const C: usize, const S: usize> {
    /// The plateau that was left last, or that still lasts: the next one is compared with it.
    pub last: Option<Plateau<C, S>>,
    /// What each cell bore when all were good, kg, for the day one fails.
    pub known_kg: Option<[f64; C]>,
    /// Cells whose zero wanders.
    pub drifts: [bool; C],
}

impl<const C: usize, const S: usize> Memory<C, S> {
    /// Of a path that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None, known_kg: None, drifts: [false; C] }
    }
}

impl<const C: usize, const S: usize> Default for Memory<C, S> {
    fn default() -> Self {
        Self::new()
    }
}
