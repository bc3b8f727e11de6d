//! Rows that do not belong: what lay there was not what, or not where, the row says.
//!
//! Each row's load equation, and its two moment equations, are held against what the other rows predict. Rows far off are
//! left out, the fit repeated and all rows tested again, until the set no longer changes.

use crate::fit::{FittedRow, Setup, Solution};
use crate::lack_of_fit::{load_freedom, moment_freedom};
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};
use stats::distribution::{f_sf, t_two_sided_p};

/// Chance that any row of a clean run is called an outlier, for the load and for the moment equations each.
const FALSE_ALARM: f64 = 1e-3;
/// Places nearer than this to where they should be are no gross error, however exact the others are.
const GROSS_PLACE_M: f64 = 5e-3;
/// A row of which the fit leaves less than this share free is tested by nobody else.
const LEAST_FREE: f64 = 0.02;

/// A row that does not belong.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outlier {
    /// Index among the loaded rows.
    pub(crate) row: usize,
    /// Excess of the sum of the cells over the load, kg.
    pub(crate) excess_kg: f64,
    /// Where the load seems to lie less where it was put, mm.
    pub(crate) shift_mm: [f64; 2],
    pub(crate) cause: Cause,
    /// Probability of such a row anywhere in a clean run.
    pub(crate) p: f64,
}

/// What alone would explain the row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cause {
    /// Another mass at the stated place.
    Mass,
    /// Another place.
    Place,
    /// A jump of one cell's counts.
    Cell {
        /// Its channel.
        channel: usize,
        /// The jump.
        counts: f64,
    },
}

/// The rows that do not belong to a solution.
pub(crate) fn outliers(setup: &Setup, solution: &Solution) -> Vec<Outlier> {
    let used = || (0..solution.rows.len()).filter(|&i| setup.used[i]);
    let load_df: f64 = used().map(|i| load_freedom(solution, i)).sum();
    let moment_df: f64 = used().map(|i| moment_freedom(solution, i)).sum();
    let n = solution.rows.len() as f64;
    let mut found = Vec::new();
    for (i, row) in solution.rows.iter().enumerate() {
        let Some(prediction) = Prediction::new(row, solution.weights[i]) else { continue };
        let is_gross = prediction.is_gross(setup, i);
        let load = prediction.load_t().filter(|_| load_df > 2.0 && is_gross[0]);
        let load_p = load.map_or(1.0, |t| t_two_sided_p(t, load_df - 1.0));
        let moments = prediction.moment_f().filter(|_| moment_df > 3.0 && is_gross[1]);
        let moment_p = moments.map_or(1.0, |f| f_sf(f, 2.0, moment_df - 2.0));
        let p = n * load_p.min(moment_p);
        if p < FALSE_ALARM {
            found.push(describe(setup, i, row, prediction.error, p));
        }
    }
    found
}

/// A row against what the others predict.
struct Prediction {
    mass: f64,
    error: Vector3<f64>,
    variance: Matrix3<f64>,
    /// Share of each equation that the fit leaves free.
    free: Vector3<f64>,
}

impl Prediction {
    /// From the residual e of a row of weight w, in whitened coordinates: the error against the others' prediction is
    /// (1 − wH)⁻¹ e, its variance (1 − wH)⁻¹ (1 + (1 − w) H).
    fn new(row: &FittedRow, weight: f64) -> Option<Self> {
        let l = row.equations.whitener.try_inverse()?;
        let h = row.leverage;
        let own = Matrix3::identity() - weight * h;
        let released = own.try_inverse()?;
        let variance = released * (Matrix3::identity() + (1.0 - weight) * h);
        let unfit = l * own * l.transpose();
        Some(Self {
            mass: row.equations.mass,
            error: l * released * row.whitened,
            variance: l * variance * l.transpose(),
            free: Vector3::from_fn(|e, _| unfit[(e, e)] / row.equations.covariance[(e, e)]),
        })
    }

    /// Whether the load's error is beyond what sound cells may show, and the place's beyond what a hand may.
    fn is_gross(&self, setup: &Setup, i: usize) -> [bool; 2] {
        let row = &setup.problem.rows[i];
        let channels = &setup.problem.plates[row.plate].channels;
        let shares = channels.iter().map(|&c| setup.problem.cells[c].allowed_share);
        let share = shares.fold(0.0, f64::max) / (channels.len() as f64).sqrt();
        let off_m = self.error[1].hypot(self.error[2]) / self.mass.abs();
        [self.error[0].abs() > share * self.mass.abs(), off_m > GROSS_PLACE_M]
    }

    /// Student's t of the load equation.
    fn load_t(&self) -> Option<f64> {
        (self.free[0] > LEAST_FREE).then(|| self.error[0] / self.variance[(0, 0)].sqrt())
    }

    /// F of the two moment equations.
    fn moment_f(&self) -> Option<f64> {
        let moment: Vector2<f64> = self.error.fixed_rows::<2>(1).into_owned();
        let variance: Matrix2<f64> = self.variance.fixed_view::<2, 2>(1, 1).into_owned();
        let inverse = variance.try_inverse()?;
        (self.free[1].min(self.free[2]) > LEAST_FREE).then(|| (moment.transpose() * inverse * moment)[(0, 0)] / 2.0)
    }
}

/// Names the single cause that leaves least of the residual.
fn describe(setup: &Setup, i: usize, row: &FittedRow, residual: Vector3<f64>, p: f64) -> Outlier {
    let problem = setup.problem;
    let equations = &row.equations;
    let whitened = equations.whitener * residual;
    let left_by = |direction: Vector3<f64>| {
        let d = equations.whitener * direction;
        let size = whitened.dot(&d) / d.norm_squared();
        ((whitened - size * d).norm_squared(), size)
    };
    // A wrong place leaves the load equation's residual and explains both moments.
    let place_left = residual[0].powi(2) / equations.covariance[(0, 0)];
    // Two unknowns explain a place, one a mass or a jump: the place must be better by what one more unknown is worth.
    let mut best = (place_left + 4.0, Cause::Place);
    let (mass_left, _) = left_by(equations.load_arm);
    if mass_left < best.0 {
        best = (mass_left, Cause::Mass);
    }
    for (j, &channel) in problem.plates[problem.rows[i].plate].channels.iter().enumerate() {
        let (left, size) = left_by(equations.arm[j]);
        if left < best.0 && left < 0.5 * mass_left {
            best = (left, Cause::Cell { channel, counts: size / equations.slope[j] });
        }
    }
    let total = equations.mass + residual[0];
    let shift = |axis: usize| {
        let moment = equations.mass * equations.load_arm[axis] + residual[axis];
        (moment / total - equations.load_arm[axis]) * 1e3
    };
    Outlier { row: i, excess_kg: residual[0], shift_mm: [shift(1), shift(2)], cause: best.1, p }
}
