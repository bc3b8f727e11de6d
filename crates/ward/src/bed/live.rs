//! What can be said of a bed just now.

use formats::weights::State;
use link::watch::Tally;
use serde::Serialize;
use weigh::{EventKind, FaultKind, Lies};

/// A bed that gave no sample for so long counts as silent, µs.
pub const SILENT_US: i64 = 15_000_000;

/// A bed just now.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Live {
    /// Label of the bed.
    pub bed: String,
    /// Name of its deck.
    pub deck: String,
    /// Time of the last row, µs of UTC; `None` before the first.
    pub at_us: Option<i64>,
    /// Weight of the patient, kg.
    pub patient_kg: Option<f64>,
    /// Its standard uncertainty, kg.
    pub u_kg: Option<f64>,
    /// May it be believed?
    pub state: Option<State>,
    /// A change that nobody has explained, kg: the weight may be this much more.
    pub open_kg: f64,
    /// What that is made of, oldest first.
    pub questions: Vec<Question>,
    /// Whether somebody lies on the deck, as far as it knows.
    pub lies: Lies,
    /// What the deck bears in all, kg; `None` while not all of its load is seen.
    pub load_kg: Option<f64>,
    /// Tare as last taken, kg.
    pub tare_kg: Option<f64>,
    /// When it was taken, µs of UTC.
    pub tare_at_us: Option<i64>,
    /// A tare was asked for and waits for rest.
    pub awaits_tare: bool,
    /// What lies on the deck besides the patient, kg in all since the tare.
    pub items_kg: f64,
    /// The last event: when (µs of UTC), what, and its sentence.
    pub last_event: Option<(i64, EventKind, String)>,
    /// Channels that are at fault as of the last row: cell and how.
    pub faults: Vec<(String, FaultKind)>,
    /// The way from the deck.
    pub link: LinkLive,
}

impl Live {
    /// A bed of which nothing has come yet.
    #[must_use]
    pub fn before_all(bed: &str, deck: &str, lies: Lies) -> Self {
        Self {
            bed: bed.to_owned(),
            deck: deck.to_owned(),
            at_us: None,
            patient_kg: None,
            u_kg: None,
            state: None,
            open_kg: 0.0,
            questions: Vec::new(),
            lies,
            load_kg: None,
            tare_kg: None,
            tare_at_us: None,
            awaits_tare: false,
            items_kg: 0.0,
            last_event: None,
            faults: Vec::new(),
            link: LinkLive::default(),
        }
    }

    /// Whether no row came of late. One from after now is of a clock that was set back since, and says nothing of now either.
    #[must_use]
    pub fn is_silent(&self, now_us: i64) -> bool {
        self.at_us.is_none_or(|at_us| now_us.saturating_sub(at_us).saturating_abs() > SILENT_US)
    }
}

/// A change that nobody has explained, or something that was entered and never seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// Its number, by which it is answered.
    pub number: i64,
    /// When it came about, µs of UTC.
    pub at_us: i64,
    /// Its size, kg; negative for a loss.
    pub kg: f64,
    /// Standard uncertainty of the size, kg.
    pub u_kg: f64,
    /// Whether it was entered as coming or going, and the load did not change.
    pub entered: bool,
    /// The note that it was entered with; empty without one.
    pub note: String,
}

/// The way from a deck just now.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct LinkLive {
    /// The connection stands.
    pub up: bool,
    /// Samples taken.
    pub samples: u64,
    /// Samples known to be lost.
    pub lost: u64,
    /// Samples that came again.
    pub again: u64,
    /// Starts of the deck after the first.
    pub restarts: u64,
    /// Lines that were no samples, or of another deck.
    pub rubbish: u64,
    /// By how much the deck's clock is slow, parts per million.
    pub slow_ppm: Option<f64>,
}

impl LinkLive {
    /// With what a watch has counted.
    #[must_use]
    pub(super) fn counted(self, tally: Tally, slow_ppm: Option<f64>) -> Self {
        let Tally { samples, lost, again, restarts, .. } = tally;
        Self { samples, lost, again, restarts, slow_ppm, ..self }
    }
}
