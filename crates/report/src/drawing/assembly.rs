//! All plates on the bed, in bed coordinates, with the sections and the places of all cells.

use formats::deck::Deck;

use super::edge::Edge;
use super::{Drawing, Layer, NOTES, length};

/// Height of letters, mm, at full size.
const LETTER_MM: f64 = 18.0;

/// The drawing of the whole deck.
#[must_use]
pub fn assembly(deck: &Deck) -> Drawing {
    let mut drawing = Drawing { title: format!("{}: assembly", deck.name), ..Drawing::default() };
    let high = deck.plates.iter().map(|p| p.origin_mm[1] + p.size_mm[1]).fold(0.0, f64::max);
    let mut start = 0.0;
    for section in &deck.sections {
        drawing.rectangle(Layer::Section, [start, 0.0], [section.length_mm, high]);
        let words = format!("{} ({} to {})", section.name, length(start), length(start + section.length_mm));
        drawing.middle_text([start + section.length_mm / 2.0, high + 0.8 * LETTER_MM], LETTER_MM, words);
        start += section.length_mm;
    }
    let (mut xs, mut ys) = (vec![0.0, start], vec![0.0]);
    for plate in &deck.plates {
        let ([x, y], [lx, ly]) = (plate.origin_mm, plate.size_mm);
        drawing.rectangle(Layer::Outline, plate.origin_mm, plate.size_mm);
        drawing.middle_text([x + lx / 2.0, y + ly / 2.0 + 0.4 * LETTER_MM], LETTER_MM, plate.name.clone());
        let size = format!("{} x {}", length(lx), length(ly));
        drawing.middle_text([x + lx / 2.0, y + ly / 2.0 - 1.2 * LETTER_MM], LETTER_MM, size);
        xs.extend([x, x + lx]);
        ys.extend([y, y + ly]);
        for cell in &plate.cells {
            let at = [x + cell.at_mm[0], y + cell.at_mm[1]];
            drawing.cell(at);
            drawing.middle_text([at[0], at[1] + 12.0], 0.8 * LETTER_MM, cell.name.clone());
        }
    }
    let low = deck.plates.iter().map(|p| p.origin_mm[1]).fold(0.0, f64::min);
    let left = deck.plates.iter().map(|p| p.origin_mm[0]).fold(0.0, f64::min);
    drawing.running(Edge::Bottom, low, &xs, LETTER_MM);
    drawing.running(Edge::Left, left, &ys, LETTER_MM);
    let mut lines = vec![
        format!("{}: assembly in bed coordinates", deck.name),
        "x from the head end to the foot, y from the patient's right to left, bed lying flat".to_owned(),
    ];
    lines.extend(NOTES.map(ToOwned::to_owned));
    drawing.lines([left, low - 150.0], LETTER_MM, &lines);
    drawing
}
