//! Which unknowns a fit has and where they stand, what it starts from, and how noise levels begin.

use crate::equations::{Noise, State};
use crate::options::Options;
use crate::problem::{Body, Problem};
use crate::zeros::Zero;
use stats::robust::median;

/// Scatter in proportion to load that a fit starts with; a data sheet's usual repeatability (0.03 %).
const START_RELATIVE: f64 = 3e-4;

/// Columns of the unknowns: gains, zeros, free masses, curvatures.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub(crate) n_cells: usize,
    /// Column of each body's mass; `None`: exactly known.
    mass: Vec<Option<usize>>,
    /// Column of each cell's curvature; `None`: a straight cell.
    curvature: Vec<Option<usize>>,
    pub(crate) n_columns: usize,
}

impl Layout {
    pub(crate) fn new(problem: &Problem, curved: &[usize]) -> Self {
        let n_cells = problem.n_cells();
        let mut next = 2 * n_cells;
        let mut take = |free: bool| {
            free.then(|| {
                next += 1;
                next - 1
            })
        };
        let mass =
            problem.bodies.iter().map(|b| take(!matches!(b, Body::Known { u_kg, .. } if *u_kg == 0.0))).collect();
        let curvature = (0..n_cells).map(|c| take(curved.contains(&c))).collect();
        Self { n_cells, mass, curvature, n_columns: next }
    }

    pub(crate) fn gain(&self, cell: usize) -> usize {
        cell
    }

    pub(crate) fn zero(&self, cell: usize) -> usize {
        self.n_cells + cell
    }

    pub(crate) fn mass(&self, body: usize) -> Option<usize> {
        self.mass[body]
    }

    pub(crate) fn curvature(&self, cell: usize) -> Option<usize> {
        self.curvature[cell]
    }

    /// Moves the state by a step in all unknowns.
    pub(crate) fn step(&self, state: &mut State, step: &[f64]) {
        for c in 0..self.n_cells {
            state.gain[c] += step[self.gain(c)];
            state.zero[c] += step[self.zero(c)];
            if let Some(j) = self.curvature[c] {
                state.curvature[c] += step[j];
            }
        }
        for (mass, column) in state.mass.iter_mut().zip(&self.mass) {
            if let Some(j) = column {
                *mass += step[*j];
            }
        }
    }
}

/// A state near enough for the equations to be linear: one gain for all cells of a plate, so that the counts of its
/// cells together weigh the known bodies; unknown bodies by the same gains.
pub(crate) fn start(problem: &Problem, zeros: &[Zero]) -> State {
    let shown = |row: &crate::problem::LoadedRow| -> f64 {
        let channels = &problem.plates[row.plate].channels;
        channels.iter().map(|&c| (problem.count(row.row, c) - zeros[c].mean).abs()).sum()
    };
    let scale = |plate: Option<usize>| -> Option<f64> {
        let ratios: Vec<f64> = problem
            .rows
            .iter()
            .filter(|r| plate.is_none_or(|p| r.plate == p))
            .filter_map(|r| match problem.bodies[r.body] {
                Body::Known { mass_kg, .. } => Some(mass_kg / shown(r)),
                Body::Unknown { .. } => None,
            })
            .filter(|s| s.is_finite())
            .collect();
        median(&ratios)
    };
    let common = scale(None);
    let of_plate: Vec<Option<f64>> = (0..problem.plates.len()).map(|p| scale(Some(p)).or(common)).collect();
    let gain: Vec<f64> = problem.cells.iter().map(|c| of_plate[c.plate].unwrap_or(c.nominal_gain)).collect();
    let mass = problem.bodies.iter().enumerate().map(|(b, body)| match body {
        Body::Known { mass_kg, .. } => *mass_kg,
        Body::Unknown { .. } => {
            let guesses: Vec<f64> = problem
                .rows
                .iter()
                .filter(|r| r.body == b)
                .map(|r| shown(r) * gain[problem.plates[r.plate].channels[0]])
                .collect();
            median(&guesses).unwrap_or(0.0)
        }
    });
    State {
        mass: mass.collect(),
        zero: zeros.iter().map(|z| z.mean).collect(),
        curvature: vec![0.0; problem.n_cells()],
        gain,
    }
}

/// Noise levels to begin with; `open` marks the cells that do not answer.
pub(crate) fn start_noise(zeros: &[Zero], options: &Options, open: &[bool]) -> Noise {
    Noise {
        count_sd: zeros.iter().map(|z| z.noise).collect(),
        relative: START_RELATIVE,
        position_m: options.u_position_mm.unwrap_or(Options::DEFAULT_U_POSITION_MM) * 1e-3,
        open: open.to_vec(),
    }
}
