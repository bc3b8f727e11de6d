//! Which unknowns a fit has and where they stand, what it starts from, and how noise levels begin.

use crate::equations::{Noise, State};
use crate::options::Options;
use crate::problem::{Body, LoadedRow, Problem};
use crate::trial::{Trial, common_gain};
use crate::zeros::Zero;
use stats::regression::RobustLoss;
use stats::robust::median;

/// Scatter in proportion to load that a fit starts with; a data sheet's usual repeatability (0.03 %).
pub(crate) const START_RELATIVE: f64 = 3e-4;

/// Terms beyond straight lines that a fit holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Terms {
    /// Cells with a curvature.
    pub(crate) curved: Vec<usize>,
    /// Cells whose zero goes with temperature.
    pub(crate) warm_zeros: Vec<usize>,
    /// Whether all gains go with temperature, by one common share.
    pub(crate) warm_span: bool,
}

/// Columns of the unknowns: gains, zeros, free masses, curvatures, temperature terms.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub(crate) n_cells: usize,
    /// Column of each body's mass; `None`: exactly known.
    mass: Vec<Option<usize>>,
    /// Column of each cell's curvature; `None`: a straight cell.
    curvature: Vec<Option<usize>>,
    /// Column of each cell's zero over temperature; `None`: the run does not support it.
    zero_per_c: Vec<Option<usize>>,
    /// Column of the common share of the gains over temperature.
    span_per_c: Option<usize>,
    pub(crate) n_columns: usize,
}

impl Layout {
    pub(crate) fn new(problem: &Problem, terms: &Terms) -> Self {
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
        let curvature = (0..n_cells).map(|c| take(terms.curved.contains(&c))).collect();
        let zero_per_c = (0..n_cells).map(|c| take(terms.warm_zeros.contains(&c))).collect();
        let span_per_c = take(terms.warm_span);
        Self { n_cells, mass, curvature, zero_per_c, span_per_c, n_columns: next }
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

    pub(crate) fn zero_per_c(&self, cell: usize) -> Option<usize> {
        self.zero_per_c[cell]
    }

    pub(crate) fn span_per_c(&self) -> Option<usize> {
        self.span_per_c
    }

    /// Moves the state by a step in all unknowns.
    pub(crate) fn step(&self, state: &mut State, step: &[f64]) {
        for c in 0..self.n_cells {
            state.gain[c] += step[self.gain(c)];
            state.zero[c] += step[self.zero(c)];
            if let Some(j) = self.curvature[c] {
                state.curvature[c] += step[j];
            }
            if let Some(j) = self.zero_per_c[c] {
                state.zero_per_c[c] += step[j];
            }
        }
        if let Some(j) = self.span_per_c {
            state.span_per_c += step[j];
        }
        for (mass, column) in state.mass.iter_mut().zip(&self.mass) {
            if let Some(j) = column {
                *mass += step[*j];
            }
        }
    }
}

/// A state near enough for the equations to be linear: gains by a robust fit of each plate alone, or, where a plate has
/// too few rows for one or an `open` cell, the gain common to its cells, or else to all.
pub(crate) fn start(problem: &Problem, zeros: &[Zero], open: &[bool]) -> State {
    let at_mean = |z: &Zero| z.mean - z.per_c.map_or(0.0, |w| w.slope * w.mean_c);
    let zero: Vec<f64> = zeros.iter().map(at_mean).collect();
    let common: Vec<Option<f64>> = (0..problem.plates.len()).map(|p| common_gain(problem, &zero, p)).collect();
    let overall = median(&common.iter().copied().flatten().collect::<Vec<f64>>());
    let mut gain = vec![0.0; problem.n_cells()];
    for (p, plate) in problem.plates.iter().enumerate() {
        // A plate whose sum lacks a cell's load cannot be fitted by itself.
        let is_whole = !plate.channels.iter().any(|&c| open[c]);
        let trial = is_whole.then(|| Trial::new(problem, &zero, p, RobustLoss::BISQUARE)).flatten();
        for (i, &c) in plate.channels.iter().enumerate() {
            let shared = common[p].or(overall).unwrap_or(problem.cells[c].nominal_gain);
            gain[c] = trial.as_ref().map_or(shared, |t| t.gain[i]);
        }
    }
    let mass = problem.bodies.iter().enumerate().map(|(b, body)| match body {
        Body::Known { mass_kg, .. } => *mass_kg,
        Body::Unknown { .. } => {
            let shown = |r: &LoadedRow| {
                let channels = problem.plates[r.plate].channels.iter();
                channels.map(|&c| gain[c] * (problem.count(r.row, c) - zero[c])).sum()
            };
            median(&problem.rows.iter().filter(|r| r.body == b).map(shown).collect::<Vec<f64>>()).unwrap_or(0.0)
        }
    });
    let n = problem.n_cells();
    State {
        mass: mass.collect(),
        curvature: vec![0.0; n],
        zero_per_c: zeros.iter().map(|z| z.per_c.map_or(0.0, |w| w.slope)).collect(),
        span_per_c: 0.0,
        zero,
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
