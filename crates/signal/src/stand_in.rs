//! A cell that fails: what the others of its plate, and the last load on it, still say.
//!
//! A stiff plate on cells shares every further load as a plane over its place, so what a failed cell would have gained since
//! the load was last known is the plane through what its neighbours gained, read at its place:
//! F_l = F_l⁰ + plane_l(F_i − F_i⁰). That takes four cells of one plate and more: three others for a plane.
//!
//! | symbol | name      | unit |
//! |--------|-----------|------|
//! | F⁰     | `known`   | kg, each cell's share when all were good |
//! | F_l    | `kg`      | kg, what stands in for the failed cell |
//! | u      | `u_kg`    | kg |
//!
//! A plate that bends shares otherwise: a load off the middle of a four-cell plate of sheet metal leaves the plane by some 13 % of
//! its weight (bilinear against rigid sharing), and one near the failed cell is borne by that alone and hardly seen by the others. Whoever moves on a bed moves on several
//! plates, so that much that moved elsewhere makes such a load likelier. So u² = (0.25 Σ |F_i − F_i⁰|)² over the neighbours + (0.05 Σ |F_i − F_i⁰|)² over the cells of
//! other plates: nothing for a load that stays, much for one that moves.
//!
//! Two others (or more on a line) span none. A load that moves on the plate changes the failed cell against their sum, one that comes onto it changes it
//! with them, and they cannot tell which: it stands in as it was, F_l = F_l⁰ with u² = (Σ |F_i − F_i⁰|)² + (0.02 Σ elsewhere)². What comes or goes on other plates is still
//! weighed, and a load that lies still, too; one that moves on this plate makes the doubt large.
//!
//! The four figures are those with which 1.96 u holds some 95 % of what stood in for each cell of twelve invented nights (seed 73, 20,000 moves of the load and 60,000 differences
//! of up to 30 moves); with 0.1 Σ over the neighbours alone, which was used before, it held 50 % on plates of four cells.
//!
//! A cell drifts when, on one plateau, it alone changes by more than a floor while its neighbours change by less than a quarter of that, and the
//! total by as much as it: a load that moves or runs away changes several.
//! Source: least squares of a plane; the figures are of this project (bending: a 0.9 m × 0.5 m plate of 6 mm sheet, 600 N off the middle; what stands in: the twin).

use crate::config::CellConfig;

/// Standard uncertainty of a plane's stand-in as parts of what moved on its plate, and elsewhere.
const PLANE_REL: [f64; 2] = [0.25, 0.05];
/// The same of a cell that stands in as it was.
const AS_IT_WAS_REL: [f64; 2] = [1.0, 0.02];
/// What cells beside a drifting one, and the rest of the total, may change by, as a part of the drift.
const ALONE: f64 = 0.25;

/// What stands in for a failed cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandIn {
    /// Its share, kg.
    pub kg: f64,
    /// Standard uncertainty, kg.
    pub u_kg: f64,
}

/// One neighbour: its place, and what it has gained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// Place on the bed, mm.
    pub at_mm: [f64; 2],
    /// Its share now less its share when all were good, kg.
    pub gain_kg: f64,
}

/// Stands in for a cell at `at_mm` that bore `known_kg`, while the cells of other plates changed by `elsewhere_kg` in all; `None` with fewer than two neighbours.
pub fn stand_in(
    at_mm: [f64; 2],
    known_kg: f64,
    neighbours: impl Iterator<Item = Neighbour> + Clone,
    elsewhere_kg: f64,
) -> Option<StandIn> {
    let n = neighbours.clone().fold(0.0, |n, _| n + 1.0);
    if n < 2.0 {
        return None;
    }
    let [x0, y0] = at_mm;
    let (mut x_mean, mut y_mean, mut gain_mean, mut moved) = (0.0, 0.0, 0.0, 0.0);
    for Neighbour { at_mm: [x, y], gain_kg } in neighbours.clone() {
        x_mean += (x - x0) / n;
        y_mean += (y - y0) / n;
        gain_mean += gain_kg / n;
        moved += gain_kg.abs();
    }
    let (mut xx, mut xy, mut yy, mut xf, mut yf) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for Neighbour { at_mm: [x, y], gain_kg } in neighbours {
        let (dx, dy, df) = (x - x0 - x_mean, y - y0 - y_mean, gain_kg - gain_mean);
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
        xf += dx * df;
        yf += dy * df;
    }
    let u_kg = |[on_plate, elsewhere]: [f64; 2]| libm::hypot(on_plate * moved, elsewhere * elsewhere_kg);
    let det = xx * yy - xy * xy;
    // Cells on one line, two above all, span no plane; a thousandth of a square's determinant is as good as a line.
    if det <= 1e-3 * xx * yy || !det.is_finite() {
        return Some(StandIn { kg: known_kg, u_kg: u_kg(AS_IT_WAS_REL) });
    }
    let slope_x = (yy * xf - xy * yf) / det;
    let slope_y = (xx * yf - xy * xf) / det;
    // The plane at the failed cell, which is the origin here.
    let gain = gain_mean - slope_x * x_mean - slope_y * y_mean;
    Some(StandIn { kg: known_kg + gain, u_kg: u_kg(PLANE_REL) })
}

/// The cell that alone has changed since `known`, by at least `floor_kg`. What stands in for a failed cell follows its neighbours and is left out.
pub fn drifting<'a>(
    cells: impl Iterator<Item = &'a CellConfig> + Clone,
    known_kg: &[f64],
    now_kg: &[f64],
    failed: &[bool],
    floor_kg: f64,
) -> Option<usize> {
    let given = known_kg.iter().zip(now_kg).zip(failed.iter().chain(core::iter::repeat(&false)));
    let changes = given.map(|((known, now), failed)| if *failed { 0.0 } else { now - known });
    let (most_idx, most) = changes
        .clone()
        .enumerate()
        .fold((0, 0.0_f64), |(at, most), (i, change)| if change.abs() > most.abs() { (i, change) } else { (at, most) });
    let total: f64 = changes.clone().sum();
    let plate = cells.clone().nth(most_idx)?.plate;
    let alone = cells
        .zip(changes)
        .enumerate()
        .filter(|(i, (cell, _))| *i != most_idx && cell.plate == plate)
        .all(|(_, (_, change))| change.abs() <= ALONE * most.abs());
    (most.abs() >= floor_kg && alone && (total - most).abs() <= ALONE * most.abs()).then_some(most_idx)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CORNERS: [[f64; 2]; 4] = [[50.0, 50.0], [850.0, 50.0], [50.0, 450.0], [850.0, 450.0]];

    fn gains(shares: [f64; 4]) -> impl Iterator<Item = Neighbour> + Clone {
        CORNERS.into_iter().zip(shares).skip(1).map(|(at_mm, gain_kg)| Neighbour { at_mm, gain_kg })
    }

    /// Rigid plate on equal springs, 600 N at (250, 200): 262.5, 112.5, 187.5, 37.5. Source: closed form Σk(z+αx+βy)(1,x,y).
    #[test]
    fn a_rigid_plate_is_foretold_exactly() {
        let found = stand_in(CORNERS[0], 0.0, gains([f64::NAN, 112.5, 187.5, 37.5]), 0.0).unwrap();
        assert!((found.kg - 262.5).abs() < 1e-9, "{found:?}");
    }

    /// The same plate of 6 mm sheet: 281.6756, 93.3244, 168.3244, 56.6756 by finite elements.
    #[test]
    fn a_bending_plate_is_foretold_within_its_uncertainty() {
        let found = stand_in(CORNERS[0], 0.0, gains([f64::NAN, 93.3244, 168.3244, 56.6756]), 0.0).unwrap();
        let error = (found.kg - 281.6756).abs();
        assert!(error > 0.5 * found.u_kg && error < found.u_kg, "{error} against {}", found.u_kg);
    }

    /// Whoever moves about on the rest of the bed may have put a hand right above the failed cell.
    #[test]
    fn what_moves_elsewhere_makes_a_stand_in_less_sure() {
        let found = |elsewhere_kg| stand_in(CORNERS[0], 0.0, gains([f64::NAN, 0.3, 0.4, 0.5]), elsewhere_kg).unwrap();
        assert!((found(0.0).u_kg - 0.25 * 1.2).abs() < 1e-12 && (found(8.0).u_kg - 0.5).abs() < 1e-12);
        assert!((found(0.0).kg - found(8.0).kg).abs() < 1e-12);
    }

    #[test]
    fn a_load_that_stays_costs_nothing() {
        let found = stand_in(CORNERS[0], 7.3, gains([0.0; 4]), 0.0).unwrap();
        assert_eq!(found, StandIn { kg: 7.3, u_kg: 0.0 });
    }

    /// Statics of a plate on three cells, by moments: W at the middle, then moved so that the failed cell gains 2 kg and the others lose 1 kg each, then
    /// 3 kg laid over the middle, which each cell shares.
    #[test]
    fn two_neighbours_or_three_on_a_line_keep_what_was_known_and_doubt_what_moved() {
        for (true_gain_kg, others_kg) in [(2.0, [-1.0, -1.0]), (1.0, [1.0, 1.0])] {
            let pair = CORNERS.into_iter().skip(1).zip(others_kg).map(|(at_mm, gain_kg)| Neighbour { at_mm, gain_kg });
            let found = stand_in(CORNERS[0], 7.3, pair, 0.0).unwrap();
            assert_eq!(found, StandIn { kg: 7.3, u_kg: 2.0 });
            assert!((7.3 + true_gain_kg - found.kg).abs() <= found.u_kg + 1e-12);
        }
        let line = (1..4).map(|i| Neighbour { at_mm: [f64::from(i) * 100.0, 50.0], gain_kg: 1.0 });
        assert_eq!(stand_in(CORNERS[0], 1.0, line, 0.0), Some(StandIn { kg: 1.0, u_kg: 3.0 }));
        assert_eq!(stand_in(CORNERS[0], 1.0, gains([0.0; 4]).take(1), 0.0), None);
    }

    #[test]
    fn only_a_cell_that_changes_alone_drifts() {
        let cells = CORNERS.map(|at_mm| CellConfig::straight(0, at_mm, 0.0, 1.0, 50.0));
        let found = |change: [f64; 4]| drifting(cells.iter(), &[5.0; 4], &change.map(|c| 5.0 + c), &[], 0.1);
        assert_eq!(found([0.0, -0.2, 0.01, -0.01]), Some(1));
        assert_eq!(found([0.0, -0.05, 0.0, 0.0]), None, "below the floor");
        assert_eq!(found([0.1, -0.2, 0.05, 0.05]), None, "a load that moves");
        assert_eq!(found([-0.05, -0.1, -0.06, -0.04]), None, "a load that runs away");
    }
}
