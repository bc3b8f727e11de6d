//! The weighted least-squares problem of a run, solved.
//!
//! Unknown are every cell's gain and zero, the masses of the bodies that are not exactly known, and a curvature where
//! asked for. Observed are the three equations of statics of each loaded row, the zero readings, and the stated masses
//! with their uncertainties. The equations are bilinear, so steps of Gauss–Helmert are taken until none matters; between
//! them the noise levels are estimated anew ([`crate::variance`]). Each step is one call of [`stats::regression`], on
//! rows that every plate first condenses to a triangle (an exact reduction: Golub & Van Loan, 4th ed., 5.3.3, from memory).
//!
//! Uncertainty: with Q the covariance of the last step and N the part of its information that noise in the counts only
//! feigns, Cov = (1 − QN)⁻¹ Q (1 − NQ)⁻¹. (W. A. Fuller, Measurement Error Models, 1987, section 2.2–2.3, modified least
//! squares; from memory; tested by the coverage of its intervals.) A direction in which more than half of the
//! information is noise is not determined.

use crate::equations::{Noise, RowEquations, State};
use crate::model::Layout;
use crate::options::CalibrateError;
use crate::prior::Prior;
use crate::problem::{Body, LoadedRow, Problem};
use crate::variance::{Levels, Settings};
use crate::zeros::Zero;
use nalgebra::{DMatrix, DVector, Matrix3, Matrix3xX, SymmetricEigen, Vector3};
use stats::regression::{Fit, Variance, fit};
use stats::robust::median;

/// Most steps; a sound run takes under ten.
const MAX_STEPS: usize = 80;
/// Most steps with robust weights.
const MAX_ROBUST_STEPS: usize = 15;
/// A step below this share of the uncertainty of each unknown is the last.
const SMALL_STEP: f64 = 1e-4;
/// A step below this share, after the most steps, still leaves the stated uncertainties true.
const TOLERABLE_STEP: f64 = 0.1;
/// Degrees of freedom ν of the robust weights: heavy tails, and yet full weight to what is within √3 deviations.
const ROBUST_FREEDOM: f64 = 4.0;
/// Standard deviation of the pull of each gain towards its last value, in starting gains: keeps open directions in place
/// without leaning on what the run determines (a gain known to 5 % feels 0.25 % of its uncertainty).
const HOLD: f64 = 1.0;
/// A gain is held no tighter than this share of the usual one.
const LEAST_HOLD: f64 = 0.1;
/// Share of the information that may be noise.
const MAX_NOISE_SHARE: f64 = 0.5;
/// Largest uncertainty along a direction, in gains. Beyond it the equations are no longer near enough to linear, and no
/// cell in it could count as determined.
const MAX_REACH: f64 = 0.2;

/// What a fit works on.
#[derive(Debug, Clone)]
pub(crate) struct Setup<'a> {
    pub(crate) problem: &'a Problem<'a>,
    pub(crate) layout: Layout,
    pub(crate) zeros: &'a [Zero],
    /// Whether each loaded row takes part.
    pub(crate) used: Vec<bool>,
    pub(crate) settings: Settings,
    /// Whether rows far off count less the farther they are.
    pub(crate) robust: bool,
    /// Gains that an earlier calibration knows.
    pub(crate) prior: Option<&'a Prior>,
}

/// A loaded row after the fit.
#[derive(Debug, Clone)]
pub(crate) struct FittedRow {
    pub(crate) equations: RowEquations,
    /// Left sides less right sides: kg, kg m, kg m.
    pub(crate) residual: Vector3<f64>,
    /// The same, whitened.
    pub(crate) whitened: Vector3<f64>,
    /// Whitened Jacobian times covariance times its transpose: variance of the fitted equations in units of their noise.
    /// Of a row that takes part, how far it fits itself.
    pub(crate) leverage: Matrix3<f64>,
}

/// The solution.
#[derive(Debug, Clone)]
pub(crate) struct Solution {
    pub(crate) state: State,
    pub(crate) noise: Noise,
    /// In the order of the layout's columns.
    pub(crate) covariance: DMatrix<f64>,
    pub(crate) rows: Vec<FittedRow>,
    /// Weight of each row, 1 or less; 0 where it took no part.
    pub(crate) weights: Vec<f64>,
}

impl Solution {
    /// −2 ln of the likelihood of the rows under the heavy-tailed law behind the robust weights, but for a constant:
    /// Σ (ln |C| + (ν + 3) ln(1 + eᵀC⁻¹e/ν)). Less is better.
    pub(crate) fn misfit(&self) -> f64 {
        let of_row = |row: &FittedRow| {
            let log_det = -2.0 * row.equations.whitener.diagonal().map(f64::ln).sum();
            log_det + (ROBUST_FREEDOM + 3.0) * (row.whitened.norm_squared() / ROBUST_FREEDOM).ln_1p()
        };
        self.rows.iter().zip(&self.weights).filter(|(_, w)| **w > 0.0).map(|(row, _)| of_row(row)).sum()
    }
}

/// Solves from `state` and `noise` on.
pub(crate) fn solve(setup: &Setup, mut state: State, mut noise: Noise) -> Result<Solution, CalibrateError> {
    let hold = hold(&state);
    let mut adjusted = observed_counts(setup.problem);
    let mut weights: Vec<f64> = setup.used.iter().map(|u| f64::from(*u)).collect();
    let mut steps = 0;
    if setup.robust {
        for (weight, row) in weights.iter_mut().zip(all_equations(setup, &state, &noise, &adjusted)) {
            *weight *= robust_weight(&(row.whitener * row.misclosure));
        }
    }
    loop {
        let equations = all_equations(setup, &state, &noise, &adjusted);
        let regression = linear_step(setup, &state, &hold, &equations, &weights)?;
        let covariance = regression.covariance(Variance::Known)?;
        let information = Information::new(setup, &equations, &weights, covariance, &hold, steps > 0);
        let step = information.step(regression.coefficients());
        let largest = information.largest(&step);
        if !largest.is_finite() {
            return Err(CalibrateError::NotSettled { steps, largest });
        }
        setup.layout.step(&mut state, &step);
        steps += 1;
        let rows = fitted_rows(setup, all_equations(setup, &state, &noise, &adjusted), &information.covariance);
        let levels_moved = Levels::new(&rows, &weights).improve(&mut noise, &setup.settings, steps);
        for (row, (fitted, counts)) in setup.problem.rows.iter().zip(rows.iter().zip(&mut adjusted)) {
            let channels = &setup.problem.plates[row.plate].channels;
            fitted.equations.adjust(channels.iter().map(|&c| setup.problem.count(row.row, c)), counts);
        }
        // Robust weights are a means to find the rows that do not belong; they need not settle to the last digit.
        let is_done = if setup.robust {
            largest < TOLERABLE_STEP && !levels_moved || steps == MAX_ROBUST_STEPS
        } else {
            largest < SMALL_STEP && !levels_moved || steps == MAX_STEPS && largest < TOLERABLE_STEP
        };
        if is_done {
            return Ok(Solution { state, noise, covariance: information.honest_covariance(), rows, weights });
        }
        if setup.robust {
            for ((weight, row), used) in weights.iter_mut().zip(&rows).zip(&setup.used) {
                *weight = if *used { robust_weight(&row.whitened) } else { 0.0 };
            }
        }
        if steps == MAX_STEPS {
            return Err(CalibrateError::NotSettled { steps, largest });
        }
    }
}

/// How loosely each gain is held: by its own size, but not near 0 where a start found it there.
fn hold(state: &State) -> Vec<f64> {
    let sizes: Vec<f64> = state.gain.iter().map(|k| k.abs()).collect();
    let usual = median(&sizes).unwrap_or(1.0);
    sizes.iter().map(|k| HOLD * k.max(LEAST_HOLD * usual)).collect()
}

/// Weight of a row by the law of Student's t in its three equations: (ν + 3)/(ν + d²), at most 1.
fn robust_weight(whitened: &Vector3<f64>) -> f64 {
    ((ROBUST_FREEDOM + 3.0) / (ROBUST_FREEDOM + whitened.norm_squared())).min(1.0)
}

fn observed_counts(problem: &Problem) -> Vec<Vec<f64>> {
    let of_row = |row: &crate::problem::LoadedRow| {
        problem.plates[row.plate].channels.iter().map(|&c| problem.count(row.row, c)).collect()
    };
    problem.rows.iter().map(of_row).collect()
}

fn all_equations(setup: &Setup, state: &State, noise: &Noise, adjusted: &[Vec<f64>]) -> Vec<RowEquations> {
    let rows = setup.problem.rows.iter().zip(adjusted);
    rows.map(|(row, counts)| RowEquations::new(setup.problem, state, noise, row, counts)).collect()
}

/// Columns that the rows of a plate touch: its gains, zeros, curvatures, temperature terms, then all free masses.
fn plate_columns(setup: &Setup, plate: usize) -> Vec<usize> {
    let layout = &setup.layout;
    let channels = &setup.problem.plates[plate].channels;
    let mut columns: Vec<usize> = channels.iter().map(|&c| layout.gain(c)).collect();
    columns.extend(channels.iter().map(|&c| layout.zero(c)));
    columns.extend(channels.iter().filter_map(|&c| layout.curvature(c)));
    columns.extend(channels.iter().filter_map(|&c| layout.zero_per_c(c)));
    columns.extend(layout.span_per_c());
    columns.extend((0..setup.problem.bodies.len()).filter_map(|b| layout.mass(b)));
    columns
}

/// Whitened Jacobian of a row's equations, in the columns that it touches.
pub(crate) fn jacobian(setup: &Setup, row_idx: usize, equations: &RowEquations) -> (Vec<usize>, Matrix3xX<f64>) {
    jacobian_of(setup, &setup.problem.rows[row_idx], equations)
}

/// The same for any row, one of the run or one that might be taken.
pub(crate) fn jacobian_of(setup: &Setup, row: &LoadedRow, equations: &RowEquations) -> (Vec<usize>, Matrix3xX<f64>) {
    let channels = &setup.problem.plates[row.plate].channels;
    let mut columns = Vec::with_capacity(3 * channels.len() + 1);
    let mut entries: Vec<Vector3<f64>> = Vec::with_capacity(3 * channels.len() + 1);
    for (i, &c) in channels.iter().enumerate() {
        let arm = equations.whitener * equations.arm[i];
        columns.push(setup.layout.gain(c));
        entries.push(equations.factor * equations.deflection[i] * arm);
        columns.push(setup.layout.zero(c));
        entries.push(-equations.slope[i] * arm);
        if let Some(j) = setup.layout.curvature(c) {
            columns.push(j);
            entries.push(equations.factor * equations.deflection[i].powi(2) * arm);
        }
        if let Some(j) = setup.layout.zero_per_c(c) {
            columns.push(j);
            entries.push(-equations.slope[i] * equations.warmer_c * arm);
        }
    }
    if let Some(j) = setup.layout.span_per_c() {
        let borne: Vector3<f64> = equations.reaction.iter().zip(&equations.arm).map(|(r, arm)| *r * arm).sum();
        columns.push(j);
        entries.push(-equations.factor * equations.warmer_c * (equations.whitener * borne));
    }
    if let Some(j) = setup.layout.mass(row.body) {
        columns.push(j);
        entries.push(-(equations.whitener * equations.load_arm));
    }
    (columns, Matrix3xX::from_columns(&entries))
}

/// One linear least-squares step: its coefficients are the changes of the unknowns.
fn linear_step(
    setup: &Setup,
    state: &State,
    hold: &[f64],
    equations: &[RowEquations],
    weights: &[f64],
) -> Result<Fit, CalibrateError> {
    let n = setup.layout.n_columns;
    let mut design: Vec<Vec<f64>> = Vec::new();
    let mut aim: Vec<f64> = Vec::new();
    let mut push = |entries: &[(usize, f64)], value: f64| {
        let mut line = vec![0.0; n];
        for &(j, a) in entries {
            line[j] = a;
        }
        design.push(line);
        aim.push(value);
    };
    for plate in 0..setup.problem.plates.len() {
        let columns = plate_columns(setup, plate);
        let Some(triangle) = condensed(setup, plate, &columns, equations, weights) else { continue };
        for line in triangle.row_iter() {
            let entries: Vec<(usize, f64)> = columns.iter().copied().zip(line.iter().copied()).collect();
            push(&entries, line[columns.len()]);
        }
    }
    for (c, (zero, hold)) in setup.zeros.iter().zip(hold).enumerate() {
        let sd = zero.noise / (zero.n as f64).sqrt();
        let mut entries = vec![(setup.layout.zero(c), 1.0 / sd)];
        let mut expected = state.zero[c];
        // Mean and slope of a straight line are independent where the line is counted from the mean of its own readings.
        if let (Some(j), Some(warm)) = (setup.layout.zero_per_c(c), zero.per_c) {
            entries.push((j, warm.mean_c / sd));
            expected += state.zero_per_c[c] * warm.mean_c;
            let u = zero.noise / warm.spread.sqrt();
            push(&[(j, 1.0 / u)], (warm.slope - state.zero_per_c[c]) / u);
        }
        push(&entries, (zero.mean - expected) / sd);
        push(&[(setup.layout.gain(c), 1.0 / hold)], 0.0);
    }
    for (entries, value) in setup.prior.into_iter().flat_map(|prior| prior.observations(state)) {
        let entries: Vec<(usize, f64)> = entries.into_iter().map(|(c, a)| (setup.layout.gain(c), a)).collect();
        push(&entries, value);
    }
    for (b, body) in setup.problem.bodies.iter().enumerate() {
        if let (Some(j), Body::Known { mass_kg, u_kg }) = (setup.layout.mass(b), body) {
            push(&[(j, 1.0 / u_kg)], (mass_kg - state.mass[b]) / u_kg);
        }
    }
    let design = DMatrix::from_fn(design.len(), n, |i, j| design[i][j]);
    Ok(fit(&design, &aim, None)?)
}

/// The rows of a plate, whitened, as the triangle of their QR factors with the right side as last column.
fn condensed(
    setup: &Setup,
    plate: usize,
    columns: &[usize],
    equations: &[RowEquations],
    weights: &[f64],
) -> Option<DMatrix<f64>> {
    let mut place = vec![usize::MAX; setup.layout.n_columns];
    for (i, &j) in columns.iter().enumerate() {
        place[j] = i;
    }
    let rows: Vec<usize> =
        (0..setup.problem.rows.len()).filter(|&i| setup.problem.rows[i].plate == plate && weights[i] > 0.0).collect();
    if rows.is_empty() {
        return None;
    }
    let mut stack = DMatrix::zeros(3 * rows.len(), columns.len() + 1);
    for (block, &i) in rows.iter().enumerate() {
        let root = weights[i].sqrt();
        let (touched, entries) = jacobian(setup, i, &equations[i]);
        for (column, j) in entries.column_iter().zip(touched) {
            stack.fixed_view_mut::<3, 1>(3 * block, place[j]).copy_from(&(root * column));
        }
        let aim = -root * (equations[i].whitener * equations[i].misclosure);
        stack.fixed_view_mut::<3, 1>(3 * block, columns.len()).copy_from(&aim);
    }
    Some(stats::regression::condense(stack))
}

fn fitted_rows(setup: &Setup, equations: Vec<RowEquations>, covariance: &DMatrix<f64>) -> Vec<FittedRow> {
    let of_row = |(i, equations): (usize, RowEquations)| {
        let (columns, a) = jacobian(setup, i, &equations);
        let local = DMatrix::from_fn(columns.len(), columns.len(), |p, q| covariance[(columns[p], columns[q])]);
        let leverage = &a * local * a.transpose();
        let residual = equations.misclosure;
        let whitened = equations.whitener * residual;
        FittedRow { residual, whitened, leverage: leverage.fixed_view::<3, 3>(0, 0).into_owned(), equations }
    };
    equations.into_iter().enumerate().map(of_row).collect()
}

/// What a step knows of the unknowns, with signal and noise told apart in the directions of the gains.
struct Information {
    /// Q, as if all information were signal.
    covariance: DMatrix<f64>,
    n_cells: usize,
    /// Q_:g Q_gg⁻¹ L U: what a unit along each direction of the gains makes of all unknowns, Q_gg = L Lᵀ.
    directions: DMatrix<f64>,
    /// Uᵀ L⁻¹: a change of the gains in those directions.
    coordinates: DMatrix<f64>,
    /// Share of the information along each direction that is noise.
    noise_share: DVector<f64>,
    /// How far a unit along each direction moves some gain, in starting gains.
    reach: Vec<f64>,
}

impl Information {
    fn new(
        setup: &Setup,
        equations: &[RowEquations],
        weights: &[f64],
        covariance: DMatrix<f64>,
        hold: &[f64],
        is_adjusted: bool,
    ) -> Self {
        let n_cells = setup.layout.n_cells;
        let mut noise = DMatrix::<f64>::zeros(n_cells, n_cells);
        for (i, (row, equations)) in setup.problem.rows.iter().zip(equations).enumerate() {
            let channels = &setup.problem.plates[row.plate].channels;
            let weight = weights[i];
            equations.noise_information(is_adjusted, |a, b, value| noise[(channels[a], channels[b])] += weight * value);
        }
        // Gains lead the layout, so their block of Q is the top left one; it is regular, for every gain is held.
        let gains = covariance.view((0, 0), (n_cells, n_cells)).into_owned();
        let l = gains.cholesky().map_or_else(|| DMatrix::identity(n_cells, n_cells), nalgebra::Cholesky::unpack);
        let eigen = SymmetricEigen::new(l.transpose() * noise * &l);
        let inverse = l.clone().try_inverse().unwrap_or_else(|| DMatrix::identity(n_cells, n_cells));
        let coordinates = eigen.eigenvectors.transpose() * &inverse;
        let directions = covariance.columns(0, n_cells) * inverse.transpose() * &eigen.eigenvectors;
        let reach = (0..n_cells)
            .map(|j| hold.iter().enumerate().map(|(c, h)| (directions[(c, j)] / h).abs()).fold(0.0, f64::max))
            .collect();
        Self { covariance, n_cells, directions, coordinates, noise_share: eigen.eigenvalues, reach }
    }

    /// Whether the run leaves direction `j` open: noise speaks louder than signal, or both too softly.
    fn is_open(&self, j: usize) -> bool {
        self.noise_share[j] > MAX_NOISE_SHARE || self.reach[j] > MAX_REACH
    }

    /// The regression's step without its part along open directions: there the gains stay where they are.
    fn step(&self, regression: &[f64]) -> Vec<f64> {
        let mut step = DVector::from_column_slice(regression);
        let along = &self.coordinates * step.rows(0, self.n_cells);
        for (j, &share) in self.noise_share.iter().enumerate() {
            // Newton's step of the errors-in-variables problem is 1/(1 − share) of the regression's.
            let factor = if self.is_open(j) { -1.0 } else { 1.0 / (1.0 - share.max(0.0)) - 1.0 };
            step += factor * along[j] * self.directions.column(j);
        }
        step.as_slice().to_vec()
    }

    /// Largest change in units of the uncertainty.
    fn largest(&self, step: &[f64]) -> f64 {
        step.iter().enumerate().map(|(j, s)| s.abs() / self.covariance[(j, j)].sqrt()).fold(0.0, f64::max)
    }

    /// Cov = (1 − QN)⁻¹ Q (1 − NQ)⁻¹; open directions come out as uncertain as a gain is large.
    ///
    /// With M = Q⁻¹ − N, Cov = M⁻¹ Q⁻¹ M⁻¹ = Q + Σ_j (1/(1 − λ_j)² − 1) t_j t_jᵀ over the directions t_j.
    fn honest_covariance(&self) -> DMatrix<f64> {
        let growth = DVector::from_fn(self.n_cells, |j, _| {
            if self.is_open(j) {
                // As uncertain as the hold leaves it.
                return (HOLD / self.reach[j]).powi(2).max(1.0) - 1.0;
            }
            (1.0 / (1.0 - self.noise_share[j].max(0.0))).powi(2) - 1.0
        });
        &self.covariance + &self.directions * DMatrix::from_diagonal(&growth) * self.directions.transpose()
    }
}
