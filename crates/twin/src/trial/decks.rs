//! Invented decks of three to nine plates for trials, all of the example's stack, cells and converter.

use formats::deck::{Cell, Deck, Plate, Section};

use crate::demo;
use crate::error::TwinError;

/// Numbers of plates that [`deck_of`] knows.
pub const PLATES: [usize; 7] = [3, 4, 5, 6, 7, 8, 9];

/// Gap from a section's hinge and from the bed's edge to a plate, and between plates, mm.
const GAP_MM: f64 = 12.0;
/// Inset of cells from the plate's edges, mm.
const INSET_MM: f64 = 60.0;
/// Width of the bed, mm.
const WIDTH_MM: f64 = 880.0;

/// How a section is covered: plates along and across, and the cells of each.
struct Cover {
    name: &'static str,
    length_mm: f64,
    along: usize,
    across: usize,
    cells: Pattern,
}

/// Where a plate's cells stand.
#[derive(Clone, Copy)]
enum Pattern {
    /// Two at the head end, one in the middle of the foot end.
    Three,
    /// In the corners.
    Four,
    /// In the corners and the middle of the long sides.
    Six,
}

fn covers(plates: usize) -> Option<Vec<Cover>> {
    use Pattern::{Four, Six, Three};
    let cover = |name, length_mm, along, across, cells| Cover { name, length_mm, along, across, cells };
    let three_sections = |back: (usize, Pattern), seat: (usize, Pattern), legs: (usize, Pattern)| {
        vec![
            cover("back", 790.0, 1, back.0, back.1),
            cover("seat", 450.0, 1, seat.0, seat.1),
            cover("legs", 760.0, 1, legs.0, legs.1),
        ]
    };
    let four_sections = |back: (usize, usize, Pattern), seat: (usize, Pattern), rest: (usize, Pattern)| {
        vec![
            cover("back", 790.0, back.0, back.1, back.2),
            cover("seat", 250.0, 1, seat.0, seat.1),
            cover("thighs", 360.0, 1, rest.0, rest.1),
            cover("feet", 600.0, 1, rest.0, rest.1),
        ]
    };
    match plates {
        3 => Some(three_sections((1, Six), (1, Four), (1, Six))),
        4 => Some(four_sections((1, 1, Six), (1, Four), (1, Four))),
        5 => Some(three_sections((2, Four), (1, Four), (2, Three))),
        6 => Some(three_sections((2, Four), (2, Three), (2, Three))),
        7 => Some(four_sections((1, 2, Four), (1, Four), (2, Three))),
        8 => Some(four_sections((1, 2, Four), (2, Three), (2, Three))),
        9 => Some(four_sections((2, 2, Three), (1, Four), (2, Three))),
        _ => None,
    }
}

/// The deck with so many plates.
///
/// # Errors
/// A number that is not in [`PLATES`].
pub fn deck_of(plates: usize) -> Result<Deck, TwinError> {
    let unknown = TwinError::Range { what: "number of plates".into(), found: plates as f64, expected: "3 to 9".into() };
    let covers = covers(plates).ok_or(unknown)?;
    let mut deck = formats::deck::read("deck.toml", demo::DECK_TOML)
        .map_err(|e| TwinError::Scenario { file: "deck.toml".into(), message: e.to_string() })?;
    let sheet = deck.plates[0].clone();
    deck.name = format!("an invented deck of {plates} plates");
    deck.sections = covers
        .iter()
        .map(|c| Section { name: c.name.into(), length_mm: c.length_mm, angle_deg: [-15.0, 70.0] })
        .collect();
    deck.plates.clear();
    deck.load_cases.clear();
    deck.explore = None;
    let mut head_mm = 0.0;
    for cover in &covers {
        for across in 0..cover.across {
            for along in 0..cover.along {
                deck.plates.push(plate(&sheet, cover, head_mm, [along, across]));
            }
        }
        head_mm += cover.length_mm;
    }
    Ok(deck)
}

fn plate(sheet: &Plate, cover: &Cover, head_mm: f64, place: [usize; 2]) -> Plate {
    let pitch = |length: f64, n: usize| (length - GAP_MM) / n as f64;
    let pitch_mm = [pitch(cover.length_mm, cover.along), pitch(WIDTH_MM, cover.across)];
    let size_mm = pitch_mm.map(|p| p - GAP_MM);
    let name = format!("{} {}{}", cover.name, ["right", "left"][place[1] % 2], ["", " lower"][place[0] % 2]);
    let name = if cover.across == 1 { cover.name.to_owned() } else { name };
    let [x, y] = size_mm.map(|side| [INSET_MM, side - INSET_MM]);
    let middle = size_mm.map(|s| s / 2.0);
    let places: Vec<[f64; 2]> = match cover.cells {
        Pattern::Three => vec![[x[0], y[0]], [x[0], y[1]], [x[1], middle[1]]],
        Pattern::Four => vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]],
        Pattern::Six => {
            vec![[x[0], y[0]], [middle[0], y[0]], [x[1], y[0]], [x[1], y[1]], [middle[0], y[1]], [x[0], y[1]]]
        }
    };
    let cells = places.into_iter().enumerate();
    Plate {
        origin_mm: [head_mm + GAP_MM + place[0] as f64 * pitch_mm[0], GAP_MM + place[1] as f64 * pitch_mm[1]],
        size_mm,
        section: cover.name.into(),
        cells: cells
            .map(|(i, at_mm)| Cell { name: format!("{name} {}", i + 1), at_mm, ..sheet.cells[0].clone() })
            .collect(),
        name,
        ..sheet.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_deck_is_one_that_a_file_could_hold() {
        for n in PLATES {
            let deck = deck_of(n).unwrap();
            assert_eq!(deck.plates.len(), n);
            let text = formats::deck::write(&deck);
            let read = formats::deck::read("deck.toml", &text).unwrap_or_else(|e| panic!("{n} plates: {e}"));
            assert_eq!(read.cells().count(), deck.cells().count());
            let mut names: Vec<&str> = deck.cells().map(|(_, c)| c.name.as_str()).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), deck.cells().count());
        }
        assert!(deck_of(2).is_err());
    }
}
