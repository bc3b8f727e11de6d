//! What would make a run say more: the one further reading that lowers the uncertainty of the gains most.
//!
//! With C the covariance and A the whitened equations of a reading not yet taken, C' = C − C Aᵀ (1 + A C Aᵀ)⁻¹ A C (Golub
//! & Van Loan, 4th ed., 2.1.4, from memory). Tried are the run's heaviest known body over each cell, in the middle of each plate
//! and between neighbours; the best lowers Σ (u_c/k_c)² most (A-optimality; Atkinson, Donev & Tobias, Optimum Experimental
//! Designs, 2007, ch. 10, from memory). Reactions are those of a rigid plate on equal springs.

use crate::equations::RowEquations;
use crate::fit::{Setup, Solution, jacobian_of};
use crate::problem::{Body, LoadedRow};
use crate::screen::rigid_shares;
use nalgebra::{DMatrix, Matrix3};

/// A condition number from here on is worth a sentence: unknowns lean on each other by 0.98 and more.
const ILL_CONDITIONED: f64 = 10.0;
/// A reading that lowers the least certain gain's uncertainty by less than this share is not worth the lift.
const WORTH_A_LIFT: f64 = 0.02;
/// A row that fits itself to more than this is tested by nobody else.
const UNTESTED: f64 = 0.9;

/// Plain sentences; empty where nothing is worth doing.
pub(crate) fn advice(setup: &Setup, solution: &Solution, determined: &[bool]) -> Vec<String> {
    let mut said = Vec::new();
    said.extend(further_reading(setup, solution, determined));
    said.extend(untested_rows(setup, solution));
    said
}

/// A reading that might be taken.
struct Candidate {
    row: LoadedRow,
    words: String,
}

fn further_reading(setup: &Setup, solution: &Solution, determined: &[bool]) -> Option<String> {
    let (body, kg) = heaviest_known(setup)?;
    let before = relative_u(setup, solution, &solution.covariance);
    let known = |u: &[f64]| u.iter().zip(determined).filter(|(_, d)| **d).map(|(u, _)| u * u).sum::<f64>();
    let mut best: Option<(f64, Candidate, Vec<f64>)> = None;
    for candidate in candidates(setup, body) {
        let Some(covariance) = after(setup, solution, &candidate.row, kg) else { continue };
        let u = relative_u(setup, solution, &covariance);
        let score = known(&u);
        if best.as_ref().is_none_or(|(least, ..)| score < *least) {
            best = Some((score, candidate, u));
        }
    }
    let (_, candidate, u) = best?;
    // The cell that gains most by it, among those that the run determines.
    let worst = (0..before.len())
        .filter(|&c| determined[c])
        .max_by(|&a, &b| (before[a] - u[a]).total_cmp(&(before[b] - u[b])))?;
    if before[worst] - u[worst] < WORTH_A_LIFT * before[worst] {
        return None;
    }
    let condition = crate::detail::condition_number(&solution.covariance);
    let lean = if condition > ILL_CONDITIONED { ", whose share the run tells poorly from its fellows'," } else { "" };
    Some(format!(
        "One more reading would help most with {kg} kg {}: it would lower the uncertainty of the gain of {}{lean} from {:.4} to \
         {:.4} %.",
        candidate.words,
        setup.problem.cells[worst].name,
        100.0 * before[worst],
        100.0 * u[worst]
    ))
}

fn heaviest_known(setup: &Setup) -> Option<(usize, f64)> {
    let known = setup.problem.bodies.iter().enumerate().filter_map(|(i, b)| match b {
        Body::Known { mass_kg, .. } => Some((i, *mass_kg)),
        Body::Unknown { .. } => None,
    });
    known.max_by(|a, b| a.1.total_cmp(&b.1))
}

fn relative_u(setup: &Setup, solution: &Solution, covariance: &DMatrix<f64>) -> Vec<f64> {
    (0..setup.layout.n_cells)
        .map(|c| covariance[(setup.layout.gain(c), setup.layout.gain(c))].sqrt() / solution.state.gain[c].abs())
        .collect()
}

fn candidates(setup: &Setup, body: usize) -> Vec<Candidate> {
    let mut found = Vec::new();
    for (p, plate) in setup.problem.plates.iter().enumerate() {
        let mut push = |at_m: [f64; 2], place: String| {
            let words = format!("{place} of plate {}", plate.name);
            found.push(Candidate { row: LoadedRow { row: 0, plate: p, at_m, body }, words });
        };
        push([0.0, 0.0], "in the middle".into());
        let cells: Vec<_> = plate.channels.iter().map(|&c| &setup.problem.cells[c]).collect();
        for (i, cell) in cells.iter().enumerate() {
            push(cell.at_m, format!("over cell {}", cell.name));
            for other in &cells[i + 1..] {
                let middle = [0, 1].map(|axis| f64::midpoint(cell.at_m[axis], other.at_m[axis]));
                push(middle, format!("midway between cells {} and {}", cell.name, other.name));
            }
        }
    }
    found
}

/// Covariance after one more row.
fn after(setup: &Setup, solution: &Solution, row: &LoadedRow, kg: f64) -> Option<DMatrix<f64>> {
    let problem = setup.problem;
    let plate = &problem.plates[row.plate];
    let shares = rigid_shares(problem, plate, row.at_m)?;
    // A gain near 0 is one of a dead cell: its counts stay where they are.
    let counts: Vec<f64> = plate
        .channels
        .iter()
        .zip(&shares)
        .map(|(&c, share)| {
            let gain = solution.state.gain[c];
            let zero = solution.state.zero[c] + solution.state.zero_per_c[c] * problem.warmer_c[row.row];
            zero + if solution.noise.open[c] { 0.0 } else { kg * share / gain }
        })
        .collect();
    let equations = RowEquations::new(problem, &solution.state, &solution.noise, row, &counts);
    let (columns, a) = jacobian_of(setup, row, &equations);
    let c = &solution.covariance;
    // C Aᵀ, of the columns touched alone.
    let ca = DMatrix::from_fn(c.nrows(), 3, |i, e| {
        columns.iter().enumerate().map(|(k, &j)| c[(i, j)] * a[(e, k)]).sum::<f64>()
    });
    let aca = Matrix3::from_fn(|e, f| columns.iter().enumerate().map(|(k, &j)| a[(e, k)] * ca[(j, f)]).sum::<f64>());
    let inverse = (Matrix3::identity() + aca).try_inverse()?;
    let gained = &ca * DMatrix::from_column_slice(3, 3, inverse.as_slice()) * ca.transpose();
    Some(c - gained)
}

fn untested_rows(setup: &Setup, solution: &Solution) -> Option<String> {
    let rows: Vec<String> = (0..setup.used.len())
        .filter(|&i| setup.used[i] && 1.0 - crate::lack_of_fit::load_freedom(solution, i) > UNTESTED)
        .map(|i| setup.problem.run.rows[setup.problem.rows[i].row].line.to_string())
        .collect();
    match rows.len() {
        0 => None,
        1 => Some(format!(
            "The reading of line {} is tested by no other: repeat it, or an error in it stays unseen.",
            rows[0]
        )),
        n => {
            let shown = rows.iter().take(6).cloned().collect::<Vec<_>>().join(", ");
            let more = if n > 6 { format!(" and {} more", n - 6) } else { String::new() };
            Some(format!(
                "The readings of lines {shown}{more} are tested by few others (leverage above {UNTESTED}): repeat them, or an error \
                 in one stays unseen."
            ))
        }
    }
}
