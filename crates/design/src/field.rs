//! The deflection of every plate as data: points on a grid over each plate, for each load case.

use formats::deck::{Axis, Deck, Plate};

use crate::report::{CaseReport, CheckReport};

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point<'a> {
    /// Load case.
    pub case: &'a str,
    /// Plate.
    pub plate: &'a str,
    /// Place from the plate's own corner, mm.
    pub at_mm: [f64; 2],
    /// Place in bed coordinates, the bed lying flat, mm.
    pub in_bed_mm: [f64; 2],
    /// Deflection down from the unloaded plate, mm.
    pub deflection_mm: f64,
    /// Gap that is left above the base, below a rib where there is one, mm.
    pub clearance_left_mm: f64,
}

/// All points of the deck's own cases and then of the ward's, plate by plate.
pub fn points<'a>(deck: &'a Deck, report: &'a CheckReport) -> impl Iterator<Item = Point<'a>> {
    let reports = report.plates.iter().zip(&report.ward_loads);
    deck.plates.iter().zip(reports).flat_map(|(plate, (own, ward))| {
        let cases = own.cases.iter().chain(&ward.cases);
        cases.flat_map(move |case| of_case(plate, case))
    })
}

fn of_case<'a>(plate: &'a Plate, case: &'a CaseReport) -> impl Iterator<Item = Point<'a>> {
    let n_y = case.deflection_mm.len();
    case.deflection_mm.iter().enumerate().flat_map(move |(j, row)| {
        let n_x = row.len();
        row.iter().enumerate().map(move |(i, &deflection_mm)| {
            let at_mm = [on_side(plate.size_mm[0], i, n_x), on_side(plate.size_mm[1], j, n_y)];
            Point {
                case: &case.case,
                plate: &plate.name,
                at_mm,
                in_bed_mm: [0, 1].map(|k| plate.origin_mm[k] + at_mm[k]),
                deflection_mm,
                clearance_left_mm: plate.clearance_mm - rib_mm(plate, at_mm) - deflection_mm,
            }
        })
    })
}

fn on_side(length_mm: f64, i: usize, n: usize) -> f64 {
    length_mm * i as f64 / (n.max(2) - 1) as f64
}

/// Height of the highest rib that hangs below a point.
fn rib_mm(plate: &Plate, at_mm: [f64; 2]) -> f64 {
    let below = plate.ribs.iter().filter(|rib| {
        let across_mm = if rib.along == Axis::X { at_mm[1] } else { at_mm[0] };
        (across_mm - rib.at_mm).abs() <= 0.5 * rib.width_mm
    });
    below.map(|rib| rib.height_mm).fold(0.0, f64::max)
}
