//! The deflection field of `check --field`: a row a point of a grid over each plate, for each load case. Only written.

use crate::csv_writer::Rows;

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row<'a> {
    /// Load case.
    pub load_case: &'a str,
    /// Plate.
    pub plate: &'a str,
    /// Place from the plate's own corner, mm.
    pub at_mm: [f64; 2],
    /// Place in bed coordinates, the bed lying flat, mm.
    pub in_bed_mm: [f64; 2],
    /// Deflection down from the unloaded plate, mm.
    pub deflection_mm: f64,
    /// Gap left above the base, below a rib where there is one, mm.
    pub clearance_left_mm: f64,
}

const HEAD: [&str; 8] =
    ["load_case", "plate", "x_mm", "y_mm", "bed_x_mm", "bed_y_mm", "deflection_mm", "clearance_left_mm"];

/// The whole file. Lengths to a nanometre, finer than any mesh.
pub fn write<'a>(rows: impl Iterator<Item = Row<'a>>) -> String {
    let mut csv = Rows::new();
    csv.row(HEAD);
    for row in rows {
        csv.field(row.load_case);
        csv.field(row.plate);
        let [[x, y], [bed_x, bed_y]] = [row.at_mm, row.in_bed_mm];
        for mm in [x, y, bed_x, bed_y, row.deflection_mm, row.clearance_left_mm] {
            csv.number((mm * 1e6).round() / 1e6);
        }
        csv.end_row();
    }
    csv.finish()
}
