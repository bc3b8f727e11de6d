//! One plate: outline, places of cells with their coordinates, ribs, layers, dimensions from its own corner.

use formats::deck::{Axis, Bond, Deck, Plate, Rib};

use super::edge::Edge;
use super::{Drawing, Layer, NOTES, length};

/// Height of letters, mm, at full size.
const LETTER_MM: f64 = 10.0;

/// The drawing of a plate.
#[must_use]
pub fn plate(deck: &Deck, plate: &Plate) -> Drawing {
    let [lx, ly] = plate.size_mm;
    let mut drawing = Drawing { title: format!("{}: plate {}", deck.name, plate.name), ..Drawing::default() };
    drawing.rectangle(Layer::Outline, [0.0, 0.0], plate.size_mm);
    let (mut xs, mut ys) = (vec![0.0, lx], vec![0.0, ly]);
    for rib in &plate.ribs {
        draw_rib(&mut drawing, rib, plate.size_mm);
        if rib.along == Axis::X { &mut ys } else { &mut xs }.push(rib.at_mm);
    }
    for cell in &plate.cells {
        let [x, y] = cell.at_mm;
        drawing.cell(cell.at_mm);
        let label = format!("{} ({}, {})", cell.name, length(x), length(y));
        // Inside the plate: above a cell of the lower half, below one of the upper.
        let above = if y < ly / 2.0 { 14.0 } else { -14.0 - LETTER_MM };
        drawing.middle_text([x, y + above], LETTER_MM, label);
        xs.push(x);
        ys.push(y);
    }
    drawing.running(Edge::Bottom, 0.0, &xs, LETTER_MM);
    drawing.running(Edge::Left, 0.0, &ys, LETTER_MM);
    drawing.middle_text([lx / 2.0, ly + 14.0], LETTER_MM, "towards the patient's left");
    drawing.middle_text([lx / 2.0, ly / 2.0], LETTER_MM, "head end <   > foot end");
    drawing.lines([lx + 40.0, ly], LETTER_MM, &words(deck, plate));
    drawing
}

fn draw_rib(drawing: &mut Drawing, rib: &Rib, [lx, ly]: [f64; 2]) {
    let low = rib.at_mm - rib.width_mm / 2.0;
    let label = format!("rib {} x {} {}", length(rib.width_mm), length(rib.height_mm), rib.material);
    let (corner, size, at) = match rib.along {
        Axis::X => ([0.0, low], [lx, rib.width_mm], [lx / 2.0, low + rib.width_mm + 4.0]),
        Axis::Y => ([low, 0.0], [rib.width_mm, ly], [low + rib.width_mm / 2.0, ly * 0.6]),
    };
    drawing.rectangle(Layer::Rib, corner, size);
    drawing.middle_text(at, LETTER_MM, label);
}

/// The block of words beside the plate.
fn words(deck: &Deck, plate: &Plate) -> Vec<String> {
    let [x, y] = plate.origin_mm;
    let bond = match plate.bond {
        Bond::Glued => "glued over the whole face",
        Bond::Loose => "loose on one another",
    };
    let thick: f64 = plate.layers.iter().map(|l| l.thickness_mm).sum();
    let mut lines = vec![
        deck.name.clone(),
        format!("plate {}, section {}", plate.name, plate.section),
        format!("{} x {} mm, {} mm thick", length(plate.size_mm[0]), length(plate.size_mm[1]), length(thick)),
        format!("corner 0, 0 at {}, {} of the bed", length(x), length(y)),
        format!("free gap below {} mm", length(plate.clearance_mm)),
        String::new(),
        if plate.layers.len() > 1 { format!("Layers from the top, {bond}:") } else { "Layer:".to_owned() },
    ];
    lines.extend(plate.layers.iter().map(|l| format!("  {}  {} mm", l.material, length(l.thickness_mm))));
    if !plate.ribs.is_empty() {
        lines.push("Ribs below (width x height):".to_owned());
    }
    lines.extend(plate.ribs.iter().map(|r| {
        let axis = if r.along == Axis::X { "x, centre y" } else { "y, centre x" };
        let (width, height) = (length(r.width_mm), length(r.height_mm));
        format!("  along {axis} = {}: {width} x {height} {}", length(r.at_mm), r.material)
    }));
    lines.push("Cells (x, y from the corner):".to_owned());
    lines.extend(
        plate
            .cells
            .iter()
            .map(|c| format!("  {}  {}, {}  {}", c.name, length(c.at_mm[0]), length(c.at_mm[1]), c.cell_type)),
    );
    lines.push(String::new());
    lines.extend(NOTES.iter().flat_map(|note| note.split_inclusive(". ")).map(|part| part.trim().to_owned()));
    lines
}
