//! A trial of fluid-balance engines: many invented patients with known truth, each charted as people chart and weighed as a
//! deck weighs, and what an engine says of them held against the truth.
//!
//! The twin does not know the engine. A caller takes each [`Case`], asks its engine, puts the answer into [`Said`] and adds
//! the [`Card`] that [`score`] gives to a [`Tally`]; of a case with a hidden loss it asks again without it
//! ([`draw_without_loss`]).
//!
//! | figure | definition |
//! |--------|------------|
//! | coverage | share of 95 % intervals that hold the truth: mass and uncharted fluid at [`ASKED_H`], mass a day after the record's end |
//! | uncharted fluid | what went or came without an entry that stands for it: evaporation, breathed gas, hidden losses, forgotten entries |
//! | found | an alert of unexplained fluid within [`FOUND_WITHIN_H`] of the onset of a hidden loss |
//! | told anyway | the same of the same patient, with the same draws, who loses nothing: what of the found would have been told of all the same |
//! | delay | from the onset to that alert |
//! | false alert | one that names unexplained fluid or a wrong entry where, over no stretch of the [`LOOK_BACK_H`] before it, as much as [`TRUE_ML_KG`] was truly missing from the chart beyond the patient's steady loss |
//! | day's balance | change of mass over the record's last 24 h, root mean square of the error |
//! | chart alone | intake less output as charted; as a forecast: first weight, all that was charted, the plan |
//! | weight alone | last weight less the one 24 h before; as a forecast: the last weight stays |
//! | last-day persistence | as a forecast: the last weight, and what it changed in the last day once more |

mod card;
mod case;

pub use card::{Card, Figures, Limit, Report, Tally, score};
pub use case::{Case, Episode, draw, draw_without_loss};

/// Length of a record, h.
pub const HOURS: usize = 48;
/// The forecast that is asked, h beyond the record.
pub const AHEAD_H: usize = 24;
/// Hours of the record at which intervals are held against the truth.
pub const ASKED_H: [usize; 3] = [24, 36, 48];
/// A hidden loss counts as found within this time of its onset, h: it runs for 12.
pub const FOUND_WITHIN_H: f64 = 18.0;
/// An alert tells of at most this long, h.
pub const LOOK_BACK_H: usize = 24;
/// What must truly be missing for an alert to be true, mL/kg.
pub const TRUE_ML_KG: f64 = 1.5;

/// What an engine says of one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourSaid {
    /// Hour of the record.
    pub hour: usize,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Its standard uncertainty, kg.
    pub u_kg: f64,
    /// Fluid that the chart does not explain since the record's start, mL, gain positive.
    pub unexplained_ml: f64,
    /// Its standard uncertainty, mL.
    pub u_unexplained_ml: f64,
}

/// What an engine says of one case.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Said {
    /// Whole hours.
    pub hours: Vec<HourSaid>,
    /// Mass a day after the record's end, kg: value, ends of the 95 % interval.
    pub ahead_kg: Option<[f64; 3]>,
    /// Change over the last 24 h, mL: charted, fused.
    pub day_ml: Option<[f64; 2]>,
    /// What was told of unexplained fluid or of wrong entries.
    pub alerts: Vec<Told>,
}

/// An alert of an engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Hour of the record.
    pub at_h: f64,
    /// Whether it says that fluid was lost; only that finds a hidden loss.
    pub is_loss: bool,
}
