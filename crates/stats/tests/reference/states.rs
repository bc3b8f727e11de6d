//! Filter and smoother on three models with an exact diffuse start, against statsmodels 0.15.0 (`tests/make_states.py`): the Nile
//! with years missing (Durbin & Koopman, 2nd ed. (2012), 2.7), a local linear trend (Harvey 1989, 2.3; Durbin & Koopman 3.2.1),
//! and mass, loss rate and a fading error at irregular times.
//!
//! The log-likelihood is met to 1e-6, states to 1e-8 of themselves; a variance that is a small difference of large ones
//! (a slope just after a diffuse start) to 1e-8 of the largest of its kind.

use bedplate_stats::state_space::{Initial, Observation, Step, run, smooth};
use nalgebra::{SMatrix, SVector};
use published::within;

const STATES: &str = include_str!("../data/states.csv");

/// One step of the reference: time, observation, and filtered and smoothed mean and variance of each state.
struct Wanted<const N: usize> {
    t: f64,
    y: Option<f64>,
    states: [[f64; 4]; N],
}

fn wanted<const N: usize>(model: &str) -> (f64, Vec<Wanted<N>>) {
    let number = |cell: &str| cell.parse::<f64>().expect("a number");
    let mut log_likelihood = f64::NAN;
    let mut steps = Vec::new();
    for line in STATES.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        if cells[0] != model {
            continue;
        }
        if cells[1] == "loglik" {
            log_likelihood = number(cells[2]);
            continue;
        }
        let states = std::array::from_fn(|i| std::array::from_fn(|j| number(cells[4 + 4 * i + j])));
        steps.push(Wanted { t: number(cells[2]), y: (!cells[3].is_empty()).then(|| number(cells[3])), states });
    }
    (log_likelihood, steps)
}

/// A transition and its noise.
type Into<const N: usize> = (SMatrix<f64, N, N>, SMatrix<f64, N, N>);

#[track_caller]
fn meets<const N: usize>(
    model: &str,
    initial: &Initial<N>,
    row: SVector<f64, N>,
    variance: f64,
    into: impl Fn(f64) -> Into<N>,
) {
    let (log_likelihood, wanted) = wanted::<N>(model);
    let mut last_t = None;
    let steps: Vec<Step<N, 1>> = wanted
        .iter()
        .map(|step| {
            let (transition, noise) =
                last_t.map_or((SMatrix::identity(), SMatrix::zeros()), |last: f64| into(step.t - last));
            last_t = Some(step.t);
            let observation = step.y.map(|value| Observation { row, value, variance });
            Step { transition, input: SVector::zeros(), noise, observations: [observation] }
        })
        .collect();
    let found = run(initial, &steps);
    within(found.log_likelihood, log_likelihood, 1e-6);
    let smoothed = smooth(&found, &steps).expect("it is determined");
    for i in 0..N {
        let largest = |j: usize| wanted.iter().map(|step| step.states[i][j].abs()).fold(0.0, f64::max);
        let scales: [f64; 4] = std::array::from_fn(largest);
        for (k, step) in wanted.iter().enumerate() {
            let (filtered, smooth) = (&found.filtered[k], &smoothed[k]);
            let [mean, var, smooth_mean, smooth_var] = step.states[i];
            // Before the data determine a component its filtered value is arbitrary, and ours says infinite.
            if filtered.covariance[(i, i)].is_finite() {
                within(filtered.mean[i], mean, 1e-8 * scales[0]);
                within(filtered.covariance[(i, i)], var, 1e-8 * scales[1]);
            }
            within(smooth.mean[i], smooth_mean, 1e-8 * scales[2]);
            within(smooth.covariance[(i, i)], smooth_var, 1e-8 * scales[3]);
        }
    }
}

#[test]
fn the_nile_with_forty_years_missing() {
    let into = |_| (SMatrix::identity(), SMatrix::from([[1469.1]]));
    meets("gaps", &Initial::diffuse(), SVector::from([1.0]), 15_099.0, into);
}

#[test]
fn a_local_linear_trend_with_level_and_slope_diffuse() {
    let into = |h| (SMatrix::<f64, 2, 2>::new(1.0, h, 0.0, 1.0), SMatrix::from_diagonal(&SVector::from([1100.0, 9.0])));
    meets("trend", &Initial::diffuse(), SVector::from([1.0, 0.0]), 14_000.0, into);
}

#[test]
fn mass_rate_and_fading_error_at_irregular_times() {
    let initial = Initial {
        mean: SVector::from([0.0, 25.0, 0.0]),
        covariance: SMatrix::from_diagonal(&SVector::from([0.0, 100.0, 225.0])),
        diffuse: [true, false, false],
    };
    let into = |h: f64| {
        let transition = SMatrix::<f64, 3, 3>::new(1.0, -h, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, (-h / 2.0).exp());
        let q = 1.5;
        let moved = -q * h * h / 2.0;
        let fading = 225.0 * (1.0 - (-h).exp());
        let noise =
            SMatrix::<f64, 3, 3>::new(q * h.powi(3) / 3.0 + 4.0 * h, moved, 0.0, moved, q * h, 0.0, 0.0, 0.0, fading);
        (transition, noise)
    };
    meets("deck", &initial, SVector::from([1.0, 0.0, 1.0]), 900.0, into);
}
