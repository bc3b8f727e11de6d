//! Solving a plate to a stated accuracy.
//!
//! The mesh is uniform. It starts with [`START`] elements over the shorter side (a few hundred unknowns), is compared with
//! one of half as many lines, and is halved until the change is below the accuracy asked for. Elements are longer along the
//! stiffer direction, by the fourth root of the ratio of stiffnesses, as the solution is smoother there.
//!
//! What bears is a matter of [`Bearing`]: springs that may pull (linear, no base), or springs that can only be pressed, over
//! a base or none.

use crate::load::LoadCase;
use crate::on_mesh::on_mesh;
use crate::plate::{Plate, PlateError, positive};
use crate::solution::{ErrorEstimate, Solution};

/// Elements over the shorter side to start with.
const START: usize = 10;
/// Elements along one side of the finest mesh.
const FINEST: usize = 256;
/// Points of contact beyond which a mesh is not halved again. A plate with so many lies flat on its base over an area; half the
/// mesh would have four times the points, and their dense system 64 times the work: minutes in place of seconds.
const TOUCHES_MOST: usize = 300;
/// Points a side at which two meshes are compared.
const COMPARED: usize = 13;
/// Error estimate over the change between two meshes. Richardson's third (order h²) times Roache's safety factor of 3 for two
/// meshes would be 1. But under a support the error is c h² R/D with c from 0.0020 at a node to 0.0058 in an element's middle, and
/// a halving may move a support from one to the other: the fall is uneven, and random plates then need up to 1.3. A single support
/// in the worst place would need 2.4.
const SAFETY: f64 = 2.0;

/// How near the discretized answer must come to the exact one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// Error of the deflection anywhere, as a share of the largest.
    pub deflection: f64,
    /// Error of a reaction, as a share of the load.
    pub reaction: f64,
}

impl Default for Accuracy {
    /// 1 % of the deflection, 0.5 % of the load.
    fn default() -> Self {
        Self { deflection: 0.01, reaction: 0.005 }
    }
}

/// How springs and base bear.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Bearing {
    /// Springs press and pull; there is no base. The answer is linear in the load.
    #[default]
    Bilateral,
    /// Springs can only be pressed: where one would pull, the plate lifts off.
    Pressed {
        /// Free gap from the unloaded plate's underside down to its rigid base, m; `None` for no base. Ribs hang into it.
        clearance_m: Option<f64>,
    },
}

/// Solves all load cases of a plate on springs that press and pull, to the default [`Accuracy`].
///
/// # Errors
/// When the plate or a load is not valid, or the plate is not held.
pub fn solve(plate: &Plate, cases: &[LoadCase]) -> Result<Vec<Solution>, PlateError> {
    solve_to(plate, cases, Bearing::Bilateral, Accuracy::default())
}

/// Solves all load cases to a stated accuracy. Where the finest mesh does not reach it, or the plate lies flat on its base and a
/// finer one would cost too much, the answer's estimate says so.
///
/// # Errors
/// When the plate or a load is not valid, the plate is not held, or a load tips it off springs that cannot pull.
pub fn solve_to(
    plate: &Plate,
    cases: &[LoadCase],
    bearing: Bearing,
    accuracy: Accuracy,
) -> Result<Vec<Solution>, PlateError> {
    check(plate, cases, bearing)?;
    let mut n_elements = usual_mesh(plate);
    let mut coarse = on_mesh(plate, cases, bearing, n_elements.map(|n| n.div_ceil(2)))?;
    loop {
        let mut fine = on_mesh(plate, cases, bearing, n_elements)?;
        let mut good = true;
        for (solution, before) in fine.iter_mut().zip(&coarse) {
            let estimate = change(solution, before);
            good &= estimate.deflection <= accuracy.deflection && estimate.reaction <= accuracy.reaction;
            solution.estimate = Some(estimate);
        }
        let lies_flat = fine.iter().any(|solution| solution.touches.len() > TOUCHES_MOST);
        if good || lies_flat || n_elements.iter().any(|n| 2 * n > FINEST) {
            return Ok(fine);
        }
        coarse = fine;
        n_elements = n_elements.map(|n| 2 * n);
    }
}

/// Solves all load cases on one mesh of `n_elements` along x and y, without an error estimate.
///
/// # Errors
/// When the plate or a load is not valid, the plate is not held, or a load tips it off springs that cannot pull.
pub fn solve_on(
    plate: &Plate,
    cases: &[LoadCase],
    bearing: Bearing,
    n_elements: [usize; 2],
) -> Result<Vec<Solution>, PlateError> {
    check(plate, cases, bearing)?;
    on_mesh(plate, cases, bearing, n_elements)
}

fn check(plate: &Plate, cases: &[LoadCase], bearing: Bearing) -> Result<(), PlateError> {
    plate.check()?;
    if let Bearing::Pressed { clearance_m: Some(clearance_m) } = bearing {
        positive("clearance, m", clearance_m)?;
        for (index, rib) in plate.ribs.iter().enumerate() {
            if rib.height_m >= clearance_m {
                return Err(PlateError::RibOnBase { index, height_m: rib.height_m, clearance_m });
            }
        }
    }
    cases.iter().enumerate().try_for_each(|(index, case)| case.check(index, plate.size_m))
}

/// Elements along x and y that [`solve_to`] starts with, which are enough for most plates.
#[must_use]
pub fn usual_mesh(plate: &Plate) -> [usize; 2] {
    // Length in units over which the solution varies alike in both directions.
    let ratio = (plate.bending.d11 / plate.bending.d22).powf(0.25);
    let [lx, ly] = [plate.size_m[0] / ratio.sqrt(), plate.size_m[1] * ratio.sqrt()];
    let h = lx.min(ly) / START as f64;
    // Even numbers, so that the coarser mesh has every second line.
    [lx, ly].map(|l| 2 * ((0.5 * l / h).round() as usize).clamp(2, FINEST / 2))
}

fn change(fine: &Solution, coarse: &Solution) -> ErrorEstimate {
    let differences = fine
        .sample_m(COMPARED, COMPARED)
        .into_iter()
        .flatten()
        .zip(coarse.sample_m(COMPARED, COMPARED).into_iter().flatten())
        .map(|(a, b)| (a - b).abs());
    let at_max = (fine.max.deflection_m - coarse.deflection_m(fine.max.at_m)).abs();
    let largest = fine.max.deflection_m.abs().max(fine.min.deflection_m.abs());
    let share = |difference: f64, of: f64| if of > 0.0 { difference / of } else { 0.0 };
    let reaction =
        fine.reactions_newton.iter().zip(&coarse.reactions_newton).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    ErrorEstimate {
        deflection: SAFETY * share(differences.fold(at_max, f64::max), largest),
        reaction: SAFETY * share(reaction, fine.load_newton.abs()),
    }
}
