//! Solving a plate to a stated accuracy.
//!
//! The mesh is uniform. It starts with [`START`] elements over the shorter side (a few hundred unknowns), is compared with
//! one of half as many lines, and is halved until the change is below the accuracy asked for. Elements are longer along the
//! stiffer direction, by the fourth root of the ratio of stiffnesses, as the solution is smoother there.

use std::sync::Arc;

use crate::functional::Functional;
use crate::load::LoadCase;
use crate::mesh::Grid;
use crate::panel::{Panel, Topology};
use crate::plate::{Edges, Plate, PlateError};
use crate::solution::{Balance, ErrorEstimate, Solution, extreme};
use crate::supports::Supports;

/// Elements over the shorter side to start with.
const START: usize = 8;
/// Elements along one side of the finest mesh.
const FINEST: usize = 256;
/// Points a side at which two meshes are compared.
const COMPARED: usize = 9;

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

/// Solves all load cases of a plate to the default [`Accuracy`].
///
/// # Errors
/// When the plate or a load is not valid, or the plate is not held.
pub fn solve(plate: &Plate, cases: &[LoadCase]) -> Result<Vec<Solution>, PlateError> {
    solve_to(plate, cases, Accuracy::default())
}

/// Solves all load cases to a stated accuracy. Where the finest mesh does not reach it, the answer's estimate says so.
///
/// # Errors
/// When the plate or a load is not valid, or the plate is not held.
pub fn solve_to(plate: &Plate, cases: &[LoadCase], accuracy: Accuracy) -> Result<Vec<Solution>, PlateError> {
    let mut n_elements = start_mesh(plate);
    let mut coarse = solve_on(plate, cases, n_elements.map(|n| n.div_ceil(2)))?;
    loop {
        let mut fine = solve_on(plate, cases, n_elements)?;
        let mut good = true;
        for (solution, before) in fine.iter_mut().zip(&coarse) {
            let estimate = change(solution, before);
            good &= estimate.deflection <= accuracy.deflection && estimate.reaction <= accuracy.reaction;
            solution.estimate = Some(estimate);
        }
        if good || n_elements.iter().any(|n| 2 * n > FINEST) {
            return Ok(fine);
        }
        coarse = fine;
        n_elements = n_elements.map(|n| 2 * n);
    }
}

fn start_mesh(plate: &Plate) -> [usize; 2] {
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
        deflection: share(differences.fold(at_max, f64::max), largest),
        reaction: share(reaction, fine.load_newton.abs()),
    }
}

/// Solves all load cases on one mesh of `n_elements` along x and y, without an error estimate.
///
/// # Errors
/// When the plate or a load is not valid, or the plate is not held.
pub fn solve_on(plate: &Plate, cases: &[LoadCase], n_elements: [usize; 2]) -> Result<Vec<Solution>, PlateError> {
    plate.check()?;
    for (index, case) in cases.iter().enumerate() {
        case.check(index, plate.size_m)?;
    }
    let topology = Arc::new(Topology::new(plate, n_elements)?);
    let panel = Panel::new(topology, plate)?;
    let grid = Arc::new(panel.grid().clone());
    let readings: Vec<_> = plate.springs.iter().map(|s| Functional::spring(&grid, s)).collect();
    let mut vectors: Vec<Vec<f64>> = readings
        .iter()
        .map(|reading| {
            let mut unit = vec![0.0; 4 * grid.n_nodes()];
            reading.add_to(1.0, &mut unit);
            unit
        })
        .collect();
    vectors.extend(cases.iter().map(|case| panel.load_vector(case)));
    // Springs and cases are one block: a right-hand side alone costs several times as much.
    let mut fields = panel.deflections(&vectors);
    let case_fields = fields.split_off(readings.len());
    let supports = Supports::new(&panel, &plate.springs, readings, fields);
    let bearing = vec![true; plate.springs.len()];
    cases
        .iter()
        .zip(vectors.split_off(plate.springs.len()))
        .zip(&case_fields)
        .map(|((case, load), field)| {
            let answer = supports.answer(&panel, &bearing, &load, field)?;
            let dof = supports.deflection(&panel, &answer, field);
            let law = supports.law_residual_newton(&answer, &bearing, &dof);
            let mut pressed = load;
            for (reading, reaction) in supports.readings().iter().zip(&answer.reactions_newton) {
                reading.add_to(-reaction, &mut pressed);
            }
            let mut solution = describe(plate, &panel, &grid, case, answer.reactions_newton, dof);
            balance(plate, &panel, case, &pressed, &mut solution);
            solution.balance.spring_law_newton = law;
            Ok(solution)
        })
        .collect()
}

/// Reads everything off a solved field.
fn describe(
    plate: &Plate,
    panel: &Panel,
    grid: &Arc<Grid>,
    case: &LoadCase,
    reactions_newton: Vec<f64>,
    dof: Vec<f64>,
) -> Solution {
    let slope = |at_m| [Functional::at(grid, at_m, 1, 0).of(&dof), Functional::at(grid, at_m, 0, 1).of(&dof)];
    Solution {
        grid: Arc::clone(grid),
        bending: *panel.bending(),
        reactions_newton,
        spring_slopes: plate.springs.iter().map(|s| slope(s.at_m)).collect(),
        edge_reaction_newton: 0.0,
        foundation_reaction_newton: 0.0,
        load_newton: case.force_newton(plate.size_m),
        max: extreme(grid, &dof, 1.0),
        min: extreme(grid, &dof, -1.0),
        balance: Balance::default(),
        estimate: None,
        dof,
    }
}

/// Adds up reactions and loads and their moments about the plate's middle. `pressed` is the load vector less the springs'.
fn balance(plate: &Plate, panel: &Panel, case: &LoadCase, pressed: &[f64], solution: &mut Solution) {
    let middle = [0.5 * plate.size_m[0], 0.5 * plate.size_m[1]];
    let mut sums = [0.0; 3];
    let mut add = |force: f64, at_m: [f64; 2]| {
        sums[0] += force;
        sums[1] += force * (at_m[0] - middle[0]);
        sums[2] += force * (at_m[1] - middle[1]);
    };
    for (spring, reaction) in plate.springs.iter().zip(&solution.reactions_newton) {
        add(*reaction, spring.bears_at_m(plate.size_m));
    }
    for load in &case.loads {
        add(-load.force_newton(plate.size_m), load.centre_m(plate.size_m));
    }
    if plate.foundation_pa_per_m > 0.0 || plate.edges != Edges::default() {
        let [foundation, edges] = panel.other_reactions(pressed, &solution.dof);
        solution.foundation_reaction_newton = foundation[0];
        solution.edge_reaction_newton = edges[0];
        for (sum, part) in sums.iter_mut().zip(foundation.iter().zip(edges)) {
            *sum += part.0 + part.1;
        }
    }
    solution.balance = Balance {
        force_newton: sums[0],
        moment_x_newton_m: sums[1],
        moment_y_newton_m: sums[2],
        spring_law_newton: 0.0,
    };
}
