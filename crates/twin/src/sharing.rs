//! How a plate shares a load among its cells, as a table that is solved once and then read millions of times.
//!
//! By Maxwell's reciprocity the reaction of a cell's spring to a unit force at a point is the spring's stiffness times the
//! deflection at that point under a unit force at the cell:
//!
//! R_c(x) = k_c · w(x; unit force at x_c),   Σ_c R_c(x) = 1.
//!
//! So one solution a cell gives the whole field, on springs that may pull. Where a cell would have to pull, the plate lifts
//! ([`Sharing::lift`]): a force X at the cell's place takes its reaction to zero, X = R_c / (1 − S_cc), S_cj the share of
//! cell j in a unit force at cell c; this is exact for the same plate with that spring taken away.
//!
//! | symbol | name       | shape                 | unit |
//! |--------|------------|-----------------------|------|
//! | R      | `table`    | points × cells        | –    |
//! | S      | `at_cells` | cells × cells         | –    |
//! | w      | `table`, `at_cells` beside R and S | … × contact points | mm/N |
//!
//! The same table holds the deflection w that a unit force makes at the points where the plate may touch its base
//! (the module `contact`): by reciprocity that at the force under a unit force at such a point.
//!
//! Signs: forces down and reactions up positive. Between points of the table: bilinear, which keeps the sum and both
//! moments.

use deck::model::model;
use formats::deck::{Axis, Deck, Plate};
use plates::{Accuracy, Bearing, Load, LoadCase, solve_to};

use crate::contact::{self, POINTS, POINTS_A_SIDE};
use crate::error::TwinError;

/// Distance of the table's points, mm.
const SPACING_MM: f64 = 25.0;
/// A cell's reaction may be this much below zero before it counts as lifted, N: a gram's worth of round-off.
const LIFT_NEWTON: f64 = 1e-2;

/// Shares of one plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Sharing {
    size_mm: [f64; 2],
    n: [usize; 2],
    n_cells: usize,
    /// Point by point (x fastest): cell by cell, then contact point by contact point.
    table: Vec<f64>,
    /// Row c: the same for a unit force at cell c.
    at_cells: Vec<f64>,
    /// Row i: the same for a unit force at contact point i.
    at_points: Vec<f64>,
    /// Deflections of contact points under unit forces at contact points, mm/N.
    compliance: Vec<f64>,
    /// Free gap at each contact point, mm; less under a rib.
    gaps_mm: Vec<f64>,
}

/// Accuracy of the deflections at contact points: they decide when a plate touches, and the gap itself is not known better.
const CONTACT: Accuracy = Accuracy { deflection: 0.02, reaction: 0.02 };

impl Sharing {
    /// Solves a plate of a deck.
    ///
    /// # Errors
    /// A plate that the deck or the solver refuses.
    pub fn of(deck: &Deck, plate: &Plate) -> Result<Self, TwinError> {
        let solver_plate = model(deck, plate)?.plate;
        let size_m = solver_plate.size_m;
        let cases: Vec<LoadCase> =
            solver_plate.springs.iter().map(|s| LoadCase { loads: vec![unit_force(s, size_m)] }).collect();
        let solutions = solve_to(&solver_plate, &cases, Bearing::Bilateral, Accuracy::default())
            .map_err(|source| TwinError::Plate { plate: plate.name.clone(), source })?;
        let points_m = contact_points_m(size_m);
        let point_cases: Vec<LoadCase> =
            points_m.iter().map(|&at_m| LoadCase { loads: vec![Load::Point { at_m, force_newton: 1.0 }] }).collect();
        let pushed = solve_to(&solver_plate, &point_cases, Bearing::Bilateral, CONTACT)
            .map_err(|source| TwinError::Plate { plate: plate.name.clone(), source })?;
        let n = plate.size_mm.map(|side| (side / SPACING_MM).ceil() as usize + 1);
        let stiffness: Vec<f64> = solver_plate.springs.iter().map(|s| s.stiffness_n_per_m).collect();
        let at = |at_m: [f64; 2]| -> Vec<f64> {
            let raw: Vec<f64> = solutions.iter().zip(&stiffness).map(|(s, k)| k * s.deflection_m(at_m)).collect();
            // The solver's discretization leaves the sum a little beside 1; a scale must not gain or lose weight by it.
            let sum: f64 = raw.iter().sum();
            let shares = raw.into_iter().map(|r| r / sum);
            shares.chain(pushed.iter().map(|s| 1000.0 * s.deflection_m(at_m))).collect()
        };
        let mut table = Vec::with_capacity(n[0] * n[1] * (stiffness.len() + POINTS));
        for iy in 0..n[1] {
            for ix in 0..n[0] {
                table.extend(at([along(size_m[0], ix, n[0]), along(size_m[1], iy, n[1])]));
            }
        }
        let at_cells = solver_plate.springs.iter().flat_map(|s| at(s.at_m)).collect();
        let at_points: Vec<f64> = points_m.iter().flat_map(|p| at(*p)).collect();
        let compliance = symmetric(&at_points, stiffness.len());
        Ok(Self {
            size_mm: plate.size_mm,
            n,
            n_cells: stiffness.len(),
            table,
            at_cells,
            at_points,
            compliance,
            gaps_mm: gaps_mm(plate),
        })
    }

    /// Number of cells.
    #[must_use]
    pub fn n_cells(&self) -> usize {
        self.n_cells
    }

    /// Adds `force` at a place of the plate (mm from its corner; one outside is taken to the edge) to the cells, and the
    /// deflection that it makes to the contact points where these are asked for.
    pub fn add(&self, at_mm: [f64; 2], force: f64, cells: &mut [f64], points: &mut [f64]) {
        let [(ix, fx), (iy, fy)] = [0, 1].map(|axis| {
            let x = (at_mm[axis] / self.size_mm[axis]).clamp(0.0, 1.0) * (self.n[axis] - 1) as f64;
            let i = (x as usize).min(self.n[axis] - 2);
            (i, x - i as f64)
        });
        let corners =
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)];
        for (dx, dy, weight) in corners {
            let width = self.n_cells + POINTS;
            let place = ((iy + dy) * self.n[0] + ix + dx) * width;
            let (shares, deflections) = self.table[place..place + width].split_at(self.n_cells);
            add(cells, shares, force * weight);
            add(points, deflections, force * weight);
        }
    }

    /// Whether a plate that bears `force_newton` in all could touch its base, wherever that lies.
    #[must_use]
    pub(crate) fn could_touch(&self, force_newton: f64, least_gap_mm: f64) -> bool {
        // The largest deflection of a plate on springs under a unit force is that under the force itself.
        let softest = (0..POINTS).map(|i| self.compliance[i * POINTS + i]).fold(0.0, f64::max);
        force_newton * softest > least_gap_mm
    }

    /// Free gap at each contact point, mm.
    #[must_use]
    pub(crate) fn gaps_mm(&self) -> &[f64] {
        &self.gaps_mm
    }

    /// The contact point nearest to a place of the plate, mm from its corner.
    #[must_use]
    pub(crate) fn nearest_point(&self, at_mm: [f64; 2]) -> usize {
        let [ix, iy] = [0, 1].map(|axis| nearest(at_mm[axis], self.size_mm[axis]));
        iy * POINTS_A_SIDE + ix
    }

    /// Number of contact points, a grid over the plate, x fastest.
    #[must_use]
    pub fn n_points(&self) -> usize {
        POINTS
    }

    /// Lets the base push back where the plate would go through it, and takes that off the cells: N in all.
    /// `push_newton` holds what it pushed a sample before, a force a contact point, and then what it pushes now.
    pub fn touch(&self, cells: &mut [f64], deflection_mm: &[f64], gap_mm: &[f64], push_newton: &mut [f64]) -> f64 {
        contact::push(&self.compliance, deflection_mm, gap_mm, push_newton);
        let width = self.n_cells + POINTS;
        for (row, push) in self.at_points.chunks(width).zip(push_newton.iter()).filter(|(_, push)| **push > 0.0) {
            add(cells, &row[..self.n_cells], -push);
        }
        push_newton.iter().sum()
    }

    /// Lets go of cells that would pull. `forces` are reactions to the load, `dead` those to the plate's own weight, which
    /// holds a cell down until it is used up.
    /// `points`, where given, are the deflections at the contact points, which follow.
    pub fn lift(&self, forces: &mut [f64], dead: &[f64], points: &mut [f64]) {
        if forces.iter().zip(dead).all(|(f, d)| f + d >= -LIFT_NEWTON) {
            return;
        }
        let n = self.n_cells;
        let mut lifted = vec![false; n];
        // Three cells must stay; each round lets go of the one that pulls most.
        for _ in 3..n {
            let pulling = |c: &usize| !lifted[*c] && forces[*c] + dead[*c] < -LIFT_NEWTON;
            let Some(worst) =
                (0..n).filter(pulling).min_by(|a, b| (forces[*a] + dead[*a]).total_cmp(&(forces[*b] + dead[*b])))
            else {
                return;
            };
            lifted[worst] = true;
            self.release(forces, dead, &lifted, points);
        }
    }

    /// Sets the reactions of all lifted cells to zero together: forces X at their places with (1 − S) X = R, row by row.
    fn release(&self, forces: &mut [f64], dead: &[f64], lifted: &[bool], points: &mut [f64]) {
        let n = self.n_cells;
        let width = n + POINTS;
        // Gauss-Seidel on the few lifted cells. S_cc < 1 and the rest is small: it falls by more than half a round.
        for _ in 0..60 {
            let mut largest = 0.0f64;
            for c in (0..n).filter(|&c| lifted[c]) {
                let row = &self.at_cells[c * width..(c + 1) * width];
                let x = (forces[c] + dead[c]) / (1.0 - row[c]);
                largest = largest.max(x.abs());
                add(forces, &row[..n], x);
                add(points, &row[n..], x);
                forces[c] -= x;
            }
            if largest < 1e-9 {
                return;
            }
        }
    }
}

fn add(to: &mut [f64], per_newton: &[f64], force: f64) {
    for (sum, share) in to.iter_mut().zip(per_newton) {
        *sum += force * share;
    }
}

/// The grid of points at which a plate may touch its base, edges included.
/// The row of contact points nearest to a place along a side.
fn nearest(at_mm: f64, side_mm: f64) -> usize {
    let last = (POINTS_A_SIDE - 1) as f64;
    (at_mm / side_mm * last).round().clamp(0.0, last) as usize
}

/// Free gap at each contact point: a rib hangs into it along the row of points next to it.
fn gaps_mm(plate: &Plate) -> Vec<f64> {
    let mut gaps_mm = vec![plate.clearance_mm; POINTS];
    for rib in &plate.ribs {
        let across = if rib.along == Axis::X { 1 } else { 0 };
        let row = nearest(rib.at_mm, plate.size_mm[across]);
        for (i, gap_mm) in gaps_mm.iter_mut().enumerate() {
            if [i % POINTS_A_SIDE, i / POINTS_A_SIDE][across] == row {
                *gap_mm = gap_mm.min(plate.clearance_mm - rib.height_mm);
            }
        }
    }
    gaps_mm
}

fn contact_points_m(size_m: [f64; 2]) -> Vec<[f64; 2]> {
    let at = |axis: usize, i: usize| along(size_m[axis], i, POINTS_A_SIDE);
    (0..POINTS).map(|i| [at(0, i % POINTS_A_SIDE), at(1, i / POINTS_A_SIDE)]).collect()
}

/// The square of deflections out of the rows of contact points; discretization leaves it a little beside symmetry.
fn symmetric(at_points: &[f64], n_cells: usize) -> Vec<f64> {
    let value = |i: usize, j: usize| at_points[i * (n_cells + POINTS) + n_cells + j];
    (0..POINTS * POINTS).map(|k| f64::midpoint(value(k / POINTS, k % POINTS), value(k % POINTS, k / POINTS))).collect()
}

fn along(side_m: f64, i: usize, n: usize) -> f64 {
    side_m * i as f64 / (n - 1) as f64
}

/// A unit force as a spring bears: on a point, or evenly on its bearing.
fn unit_force(spring: &plates::Spring, plate_m: [f64; 2]) -> Load {
    if spring.bearing_m <= 0.0 {
        return Load::Point { at_m: spring.at_m, force_newton: 1.0 };
    }
    let half = spring.bearing_m / 2.0;
    let low = spring.at_m.map(|x| (x - half).max(0.0));
    let high = [0, 1].map(|i| (spring.at_m[i] + half).min(plate_m[i]));
    Load::patch_of(low, [high[0] - low[0], high[1] - low[1]], 1.0)
}
