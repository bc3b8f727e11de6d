//! Reading the plates of a deck, and what their geometry forbids.

use std::collections::HashMap;

use super::read::{AXES, BONDS, LENGTH_MM, PLACE_MM, unique};
use super::{Axis, Bond, Cell, CellType, Layer, Material, Plate, Rib, Section};
use crate::limits::{Limits, quoted};
use crate::toml_reader::Table;

/// Lengths are compared with this play, so that 0.1 + 0.2 lies within 0.3; no saw cuts as finely.
pub(super) const ROUNDING_MM: f64 = 1e-6;
/// Cells whose root-mean-square distance from one straight line is smaller than this count as in line: that is
/// how well cells are placed at best, and a plate on them tips at a touch.
const IN_LINE_MM: f64 = 1.0;

const CLEARANCE_MM: Limits =
    Limits::POSITIVE.because("with no clearance the top lies on its base, which carries the load past the cells");

/// Columns of the other files, which no cell may be named as.
const RESERVED: [&str; 9] = ["step", "plate", "x_mm", "y_mm", "mass_kg", "u_mass_g", "load", "temperature_C", "t_s"];

pub(super) fn read_plates(
    root: &Table<'_>,
    sections: &[Section],
    materials: &[Material],
    cell_types: &[CellType],
) -> Vec<Plate> {
    let names = Names { sections, materials, cell_types };
    let (mut plate_lines, mut cell_lines) = (HashMap::new(), HashMap::new());
    let mut plates: Vec<Plate> = Vec::new();
    for table in root.some_tables("plate", "plate") {
        unique(&mut plate_lines, &table, "plate");
        let plate = read_plate(&table, &names, &mut cell_lines);
        if let Some(under) = plates.iter().find(|other| overlap(&plate, other)) {
            let expected =
                format!("a place of its own: it would lie on plate {}, and neither could move", quoted(&under.name));
            table.problem("origin_mm", span_words(&plate), expected);
        }
        table.finish();
        plates.push(plate);
    }
    plates
}

/// What the names in a plate may stand for.
struct Names<'a> {
    sections: &'a [Section],
    materials: &'a [Material],
    cell_types: &'a [CellType],
}

impl<'a> Names<'a> {
    fn materials(&self) -> impl Iterator<Item = &'a str> + Clone {
        self.materials.iter().map(|m| m.name.as_str())
    }
}

fn read_plate(t: &Table<'_>, names: &Names<'_>, cell_lines: &mut HashMap<String, usize>) -> Plate {
    let section = t.name_of("section", names.sections.iter().map(|s| s.name.as_str()));
    let size_mm = t.pair("size_mm", LENGTH_MM);
    let clearance_mm = t.number("clearance_mm", CLEARANCE_MM);
    let plate = Plate {
        name: t.text("name"),
        section,
        origin_mm: t.pair("origin_mm", PLACE_MM),
        size_mm,
        clearance_mm,
        base_kg: t.number_opt("base_kg", Limits::NOT_NEGATIVE),
        bond: t.word("bond", BONDS).unwrap_or(Bond::Glued),
        layers: t.some_tables("layers", "layer").into_iter().map(|l| read_layer(l, names)).collect(),
        ribs: t.tables("ribs").into_iter().map(|r| read_rib(r, names, size_mm, clearance_mm)).collect(),
        cells: t.some_tables("cells", "cell").into_iter().map(|c| read_cell(c, names, size_mm, cell_lines)).collect(),
    };
    check_support(t, &plate.cells);
    check_section(t, &plate, names.sections);
    plate
}

fn read_layer(t: Table<'_>, names: &Names<'_>) -> Layer {
    let layer = Layer {
        material: t.name_of("material", names.materials()),
        thickness_mm: t.number("thickness_mm", Limits::POSITIVE),
    };
    t.finish();
    layer
}

fn read_rib(t: Table<'_>, names: &Names<'_>, size_mm: [f64; 2], clearance_mm: f64) -> Rib {
    let along = t.word("along", AXES);
    let rib = Rib {
        along: along.unwrap_or(Axis::X),
        at_mm: t.number("at_mm", Limits::ANY),
        width_mm: t.number("width_mm", Limits::POSITIVE),
        height_mm: t.number("height_mm", Limits::POSITIVE),
        material: t.name_of("material", names.materials()),
    };
    // A rib is placed across its direction.
    let (across, size) = if rib.along == Axis::X { ("y", size_mm[1]) } else { ("x", size_mm[0]) };
    let (low, high) = (rib.at_mm - rib.width_mm / 2.0, rib.at_mm + rib.width_mm / 2.0);
    if along.is_some() && (low < -ROUNDING_MM || high > size + ROUNDING_MM) {
        let expected = format!("a rib below the plate, which reaches from 0 to {size} mm along {across}");
        t.problem("at_mm", format!("a rib from {low} to {high} mm along {across}"), expected);
    }
    if rib.height_mm >= clearance_mm && clearance_mm > 0.0 {
        let expected =
            format!("less than the clearance of {clearance_mm} mm: a rib hangs into it and would stand on the base");
        t.problem("height_mm", rib.height_mm.to_string(), expected);
    }
    t.finish();
    rib
}

fn read_cell(t: Table<'_>, names: &Names<'_>, size_mm: [f64; 2], cell_lines: &mut HashMap<String, usize>) -> Cell {
    unique(cell_lines, &t, "cell");
    let cell = Cell {
        name: t.text("name"),
        cell_type: t.name_of("type", names.cell_types.iter().map(|c| c.name.as_str())),
        at_mm: t.pair("at_mm", Limits::ANY),
    };
    let outside = |i: usize| cell.at_mm[i] < 0.0 || cell.at_mm[i] > size_mm[i];
    if outside(0) || outside(1) {
        let ([x, y], [length, width]) = (cell.at_mm, size_mm);
        let expected = format!("a place on its plate, 0 to {length} along x and 0 to {width} along y");
        t.problem("at_mm", format!("[{x}, {y}]"), expected);
    }
    if RESERVED.contains(&cell.name.as_str()) || cell.name.starts_with("tilt_") {
        t.problem("name", quoted(&cell.name), "a name that is not a column of the run or the recording already");
    }
    t.finish();
    cell
}

/// A plate needs three cells that are not in one line.
fn check_support(t: &Table<'_>, cells: &[Cell]) {
    let n_cells = cells.len();
    if n_cells == 0 {
        return;
    }
    if n_cells < 3 {
        let found = format!("{n_cells} cell{}", if n_cells == 1 { "" } else { "s" });
        t.problem("cells", found, "at least 3 cells: on fewer the plate tips");
        return;
    }
    for (i, cell) in cells.iter().enumerate() {
        let near = |other: &&Cell| (0..2).all(|k| (cell.at_mm[k] - other.at_mm[k]).abs() < IN_LINE_MM);
        if let Some(other) = cells[..i].iter().find(near) {
            let found = format!("cells {} and {} at one place", quoted(&other.name), quoted(&cell.name));
            t.problem("cells", found, "each cell at a place of its own");
            return;
        }
    }
    if distance_from_line_mm(cells) < IN_LINE_MM {
        t.problem("cells", "all cells in one line", "cells that are not in one line: on a line the plate tips");
    }
}

/// Root-mean-square distance of the cells from the straight line nearest to them, mm.
///
/// The smaller eigenvalue of their covariance; NaN where a place could not be read.
fn distance_from_line_mm(cells: &[Cell]) -> f64 {
    let n = cells.len() as f64;
    let mean = |k: usize| cells.iter().map(|c| c.at_mm[k]).sum::<f64>() / n;
    let (mx, my) = (mean(0), mean(1));
    let moment =
        |f: &dyn Fn(f64, f64) -> f64| cells.iter().map(|c| f(c.at_mm[0] - mx, c.at_mm[1] - my)).sum::<f64>() / n;
    let (sxx, syy, sxy) = (moment(&|x, _| x * x), moment(&|_, y| y * y), moment(&|x, y| x * y));
    let larger = (sxx + syy) / 2.0 + ((sxx - syy) / 2.0).hypot(sxy);
    // The product of both is the determinant; this form loses no digits where one is far smaller.
    ((sxx * syy - sxy * sxy) / larger).max(0.0).sqrt()
}

/// Warns of a plate that reaches over a hinge.
fn check_section(t: &Table<'_>, plate: &Plate, sections: &[Section]) {
    let Some(i) = sections.iter().position(|s| s.name == plate.section) else { return };
    let start: f64 = sections[..i].iter().map(|s| s.length_mm).sum();
    let end = start + sections[i].length_mm;
    let (low, high) = (plate.origin_mm[0], plate.origin_mm[0] + plate.size_mm[0]);
    if low < start - ROUNDING_MM || high > end + ROUNDING_MM {
        let expected = format!(
            "a plate within its section {}, from {start} to {end} mm: over a hinge it jams or bears on the next section",
            quoted(&plate.section)
        );
        t.warning("size_mm", format!("a plate from {low} to {high} mm along the bed"), expected);
    }
}

fn overlap(a: &Plate, b: &Plate) -> bool {
    (0..2).all(|k| {
        a.origin_mm[k] + ROUNDING_MM < b.origin_mm[k] + b.size_mm[k]
            && b.origin_mm[k] + ROUNDING_MM < a.origin_mm[k] + a.size_mm[k]
    })
}

fn span_words(plate: &Plate) -> String {
    let ([x, y], [length, width]) = (plate.origin_mm, plate.size_mm);
    format!("a plate from {x} to {} mm along x and from {y} to {} mm along y", x + length, y + width)
}

#[cfg(test)]
mod unit {
    use super::*;

    fn cells(places: &[[f64; 2]]) -> Vec<Cell> {
        let cell = |at_mm: &[f64; 2]| Cell { name: String::new(), cell_type: String::new(), at_mm: *at_mm };
        places.iter().map(cell).collect()
    }

    #[test]
    fn distance_from_a_line_is_zero_on_it_and_known_on_a_square() {
        assert!(distance_from_line_mm(&cells(&[[0.0, 0.0], [100.0, 50.0], [400.0, 200.0]])) < 1e-5);
        // On a square of side 2 a every line through the middle is a apart in the mean square.
        let square = cells(&[[0.0, 0.0], [200.0, 0.0], [200.0, 200.0], [0.0, 200.0]]);
        assert!((distance_from_line_mm(&square) - 100.0).abs() < 1e-9);
    }
}
