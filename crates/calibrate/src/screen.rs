//! What can be seen before any fit: cells that do not answer.
//!
//! A rigid plate on equal springs gives each cell a share of every load that follows from the places alone. A real plate
//! shares otherwise, but no plate leaves a cell unmoved that should bear a good part of the loads: one whose counts stay
//! within a small part of what its fellows' counts make us expect is dead.

use crate::problem::{Body, LoadedRow, PlateSite, Problem};
use crate::zeros::Zero;
use nalgebra::{Matrix3, Vector3};
use stats::robust::median;

/// A cell answers with less than this share of what is expected: dead. Flexible plates shift loads between cells by
/// tens of per cent, not by this much.
const DEAD_SHARE: f64 = 0.05;
/// Only a cell that should bear at least this share (root mean square over the rows) can be called dead.
const LEAST_EXPECTED_SHARE: f64 = 0.05;

/// A cell that does not answer.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dead {
    pub(crate) channel: usize,
    /// Root mean square of its counts from zero over the rows with load on its plate.
    pub(crate) moved_counts: f64,
    /// What its fellows' answers make us expect, counts.
    pub(crate) expected_counts: f64,
    pub(crate) n_rows: usize,
}

/// Shares of a load at `at_m` on the plate's cells: rigid plate, equal springs.
///
/// R_c = (1/n) + the first moments through the pseudo-inverse of the cells' second moments. `None` where the cells lie
/// on one line.
pub(crate) fn rigid_shares(problem: &Problem, plate: &PlateSite, at_m: [f64; 2]) -> Option<Vec<f64>> {
    let arms: Vec<Vector3<f64>> =
        plate.channels.iter().map(|&c| Vector3::new(1.0, problem.cells[c].at_m[0], problem.cells[c].at_m[1])).collect();
    let moments: Matrix3<f64> = arms.iter().map(|g| g * g.transpose()).sum();
    let inverse = moments.try_inverse()?;
    let pull = inverse * Vector3::new(1.0, at_m[0], at_m[1]);
    Some(arms.iter().map(|g| g.dot(&pull)).collect())
}

/// The cells that do not answer.
pub(crate) fn dead_cells(problem: &Problem, zeros: &[Zero]) -> Vec<Dead> {
    let mut dead = Vec::new();
    for (p, plate) in problem.plates.iter().enumerate() {
        let rows: Vec<&LoadedRow> = problem.rows.iter().filter(|r| r.plate == p).collect();
        let Some(expected) = expected_shares(problem, plate, &rows) else { continue };
        let moved: Vec<f64> = plate
            .channels
            .iter()
            .map(|&c| root_mean_square(rows.iter().map(|r| problem.count(r.row, c) - zeros[c].mean)))
            .collect();
        // Counts for a unit share, by the fellows.
        let answers: Vec<f64> =
            moved.iter().zip(&expected).filter(|(_, e)| **e > LEAST_EXPECTED_SHARE).map(|(m, e)| m / e).collect();
        // The upper half's median, so that two dead cells of four do not pass for the rule.
        let typical = upper_median(&answers);
        for ((&channel, &moved_counts), &share) in plate.channels.iter().zip(&moved).zip(&expected) {
            let expected_counts = typical * share;
            if share > LEAST_EXPECTED_SHARE && moved_counts < DEAD_SHARE * expected_counts {
                dead.push(Dead { channel, moved_counts, expected_counts, n_rows: rows.len() });
            }
        }
    }
    dead
}

/// Root mean square over the rows of each cell's share of the load, weighted by the known masses.
fn expected_shares(problem: &Problem, plate: &PlateSite, rows: &[&LoadedRow]) -> Option<Vec<f64>> {
    if rows.is_empty() {
        return None;
    }
    let known: Vec<f64> = rows.iter().filter_map(|r| known_mass(problem, r)).collect();
    let usual = median(&known).filter(|m| *m > 0.0).unwrap_or(1.0);
    let mut squares = vec![0.0; plate.channels.len()];
    for row in rows {
        let mass = known_mass(problem, row).map_or(1.0, |m| m / usual);
        for (square, share) in squares.iter_mut().zip(rigid_shares(problem, plate, row.at_m)?) {
            *square += (mass * share).powi(2);
        }
    }
    Some(squares.into_iter().map(|s| (s / rows.len() as f64).sqrt()).collect())
}

fn known_mass(problem: &Problem, row: &LoadedRow) -> Option<f64> {
    match problem.bodies[row.body] {
        Body::Known { mass_kg, .. } => Some(mass_kg),
        Body::Unknown { .. } => None,
    }
}

fn upper_median(values: &[f64]) -> f64 {
    let middle = median(values).unwrap_or(0.0);
    let upper: Vec<f64> = values.iter().copied().filter(|v| *v >= middle).collect();
    median(&upper).unwrap_or(0.0)
}

fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (n, square) = values.fold((0.0, 0.0), |(n, s), v: f64| (n + 1.0, s + v * v));
    if n > 0.0 { (square / n).sqrt() } else { 0.0 }
}
