//! The touch check before anything is put on: a hand presses over each cell in turn, and each press should be answered by
//! the cell that the deck file has there.
//!
//! `press` finds the presses in a recording that begins at rest; `course` lays them along the order of the cells, for a
//! press over a dead cell may leave no trace; `judge` says which channel answers at which place, and with what sign.
//! Counts become kilograms by the data sheets: good to tens of per cent, which is enough to tell an answer from none.
//!
//! Limits: who presses in another order than the deck's makes sound cells look exchanged, so that the sentences name the
//! places that answered. Noise, slope and uncertainty are the calibration's.

mod course;
mod judge;
mod press;

use formats::calibration::Finding;
use formats::deck::Deck;
use formats::recording::Sample;
use serde::Serialize;

/// Where to press.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TouchPlace {
    /// The cell that should answer.
    pub cell: String,
    /// Its plate.
    pub plate: String,
    /// From the plate's corner, mm.
    pub x_mm: f64,
    /// From the plate's corner, mm.
    pub y_mm: f64,
}

/// What answered when a place was pressed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Touched {
    /// The place.
    pub place: TouchPlace,
    /// Start and end of the press, s; `None` where none was seen.
    pub seconds: Option<[f64; 2]>,
    /// The cell that moved most.
    pub answered: Option<String>,
    /// By how many counts.
    pub moved_counts: f64,
    /// By how much, kg by the data sheet.
    pub moved_kg: f64,
    /// Of all that moved, %.
    pub share_pct: f64,
}

/// The result.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TouchReport {
    /// Name of the deck.
    pub deck: String,
    /// One a cell, in the order of the deck.
    pub places: Vec<Touched>,
    /// What is wrong, in plain sentences.
    pub findings: Vec<Finding>,
}

/// Why a recording is no touch check.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TouchError {
    /// Too short to begin at rest.
    #[error("the recording has {n_samples} samples in {seconds:.1} s, expected a touch check of {rest_s} s or more")]
    TooShort {
        /// Samples.
        n_samples: usize,
        /// Length, s.
        seconds: f64,
        /// Fewest seconds.
        rest_s: f64,
    },
    /// Another number of presses.
    #[error(
        "the recording shows {found} presses, expected {expected}: one over each cell in the order of the list, with the \
         hand off between them, after {rest_s} s at rest"
    )]
    OtherPresses {
        /// Presses seen.
        found: usize,
        /// Cells.
        expected: usize,
        /// Seconds at rest at the start.
        rest_s: f64,
    },
    /// The deck cannot be computed.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
}

/// Half a hand: the place stays so far from the plate's edge, mm.
const HALF_HAND_MM: f64 = 40.0;

/// Where to press, in the order of the deck.
#[must_use]
pub fn touch_places(deck: &Deck) -> Vec<TouchPlace> {
    deck.cells()
        .map(|(p, cell)| {
            let plate = &deck.plates[p];
            let [x_mm, y_mm] = [0, 1].map(|i| {
                let margin = HALF_HAND_MM.min(plate.size_mm[i] / 2.0);
                cell.at_mm[i].clamp(margin, plate.size_mm[i] - margin)
            });
            TouchPlace { cell: cell.name.clone(), plate: plate.name.clone(), x_mm, y_mm }
        })
        .collect()
}

/// Judges a recording of a touch check.
///
/// # Errors
/// A recording that is too short or shows quite another number of presses, a deck that cannot be computed.
pub fn touch(deck: &Deck, samples: &[Sample]) -> Result<TouchReport, TouchError> {
    let traces = press::Traces::new(deck, samples)?;
    let presses = traces.presses();
    let plate_of: Vec<usize> =
        deck.plates.iter().enumerate().flat_map(|(p, plate)| std::iter::repeat_n(p, plate.cells.len())).collect();
    let of_place = course::lay_along(&presses, &plate_of).ok_or(TouchError::OtherPresses {
        found: presses.len(),
        expected: plate_of.len(),
        rest_s: press::REST_S,
    })?;
    let places = touch_places(deck);
    let findings = judge::findings(&places, &presses, &of_place, &traces);
    let touched =
        |(place, press): (TouchPlace, &Option<usize>)| judge::touched(place, press.map(|m| &presses[m]), deck, &traces);
    Ok(TouchReport {
        deck: deck.name.clone(),
        places: places.into_iter().zip(&of_place).map(touched).collect(),
        findings,
    })
}
