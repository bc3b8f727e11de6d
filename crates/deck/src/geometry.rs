//! Where things lie: sections, plates and cells in bed coordinates.
//!
//! x runs from the head end to the foot along the mattress, y from the patient's right to left, the bed lying flat; mm.

use body::Bed;
use formats::deck::{Cell, Deck, Plate};

use crate::error::DeckError;
use crate::units::MM;

/// Start and end of each section along x, mm.
pub fn section_spans_mm(deck: &Deck) -> Vec<[f64; 2]> {
    let mut start = 0.0;
    deck.sections
        .iter()
        .map(|section| {
            let span = [start, start + section.length_mm];
            start = span[1];
            span
        })
        .collect()
}

/// Index of the section that a plate lies on.
///
/// # Errors
/// The deck has no section of that name.
pub fn section_of(deck: &Deck, plate: &Plate) -> Result<usize, DeckError> {
    deck.sections.iter().position(|s| s.name == plate.section).ok_or_else(|| DeckError::Unknown {
        owner: format!("plate `{}`", plate.name),
        kind: "section",
        name: plate.section.clone(),
    })
}

/// Area of a plate, m².
pub fn area_m2(plate: &Plate) -> f64 {
    plate.size_mm[0] * plate.size_mm[1] * MM * MM
}

/// Area of all plates, m².
pub fn deck_area_m2(deck: &Deck) -> f64 {
    deck.plates.iter().map(area_m2).sum()
}

/// Place of a cell in bed coordinates, mm.
pub fn cell_in_bed_mm(plate: &Plate, cell: &Cell) -> [f64; 2] {
    [plate.origin_mm[0] + cell.at_mm[0], plate.origin_mm[1] + cell.at_mm[1]]
}

/// Middle of a plate in bed coordinates, mm.
pub fn middle_in_bed_mm(plate: &Plate) -> [f64; 2] {
    [plate.origin_mm[0] + plate.size_mm[0] / 2.0, plate.origin_mm[1] + plate.size_mm[1] / 2.0]
}

/// Width of the bed that carries, mm: the plates lie in the middle, so the margin on the far side is that of the near one.
pub fn bed_width_mm(deck: &Deck) -> f64 {
    let near = deck.plates.iter().map(|p| p.origin_mm[1]).fold(f64::INFINITY, f64::min).max(0.0);
    let far = deck.plates.iter().map(|p| p.origin_mm[1] + p.size_mm[1]).fold(0.0, f64::max);
    if near.is_finite() { near + far } else { far }
}

/// The bed as a body lies on it.
pub fn bed(deck: &Deck) -> Bed {
    Bed {
        section_lengths_m: deck.sections.iter().map(|s| s.length_mm * MM).collect(),
        width_m: bed_width_mm(deck) * MM,
    }
}
