//! Thirty days of weights each minute with an hourly chart: the whole balance, what it costs a day, and the general state-space solver
//! on the model that `compare.py` gives to its peer.
//!
//! `cargo bench -p bedplate-balance`. The patient is invented.

use bedplate_balance::{Options, balance};
use formats::chart::{Direction, Entry, Route};
use formats::patient::{Patient, PatientFile};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use nalgebra::{Matrix3, Vector3};
use stats::optimize::{Differences, Minimum, bfgs};
use stats::state_space::{self, Initial, Observation, Step};

/// `--likelihood` prints what both sides of the comparison must agree on instead: ln of the likelihood at the given noise levels, and
/// at those of the fit.
fn main() {
    if std::env::args().any(|arg| arg == "--likelihood") {
        let mut model = SameModel::new();
        let (at_given, fitted) = (model.log_likelihood(&given()), model.fit());
        #[expect(clippy::print_stdout, reason = "the comparison reads it")]
        {
            println!("{at_given} {} {}", -fitted.value, fitted.evaluations);
        }
        return;
    }
    divan::main();
}

/// A quiet patient: 95 mL/h in, 65 out, 28 lost; errors by a fixed scramble, no random numbers.
fn record(days: u32) -> (PatientFile, Vec<Weight>, Vec<Entry>) {
    let start: Timestamp = Timestamp::from_second(1_937_000_000).unwrap_or(Timestamp::UNIX_EPOCH);
    let minutes = days * 1440;
    let scramble = |k: u32| f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
    let weights = (0..minutes)
        .map(|k| Weight {
            time: Some(start + SignedDuration::from_mins(i64::from(k))),
            t_s: 60.0 * f64::from(k),
            patient_kg: Some(74.0 + f64::from(k) / 60.0 * 0.002 + 0.1 * scramble(k)),
            u_kg: Some(0.035),
            state: if k % 97 < 9 { State::Held } else { State::Settled },
        })
        .collect();
    let entry = |k: u32, direction, route, volume_ml| Entry {
        line: k as usize + 2,
        time: start + SignedDuration::from_mins(i64::from(k) * 60 + 59),
        direction,
        route,
        volume_ml,
        leaves_deck: true,
        note: String::new(),
    };
    let chart = (0..days * 24)
        .flat_map(|k| {
            let urine = (13.0 + 6.0 * scramble(7 * k)).round() * 5.0;
            [entry(k, Direction::Intake, Route::Iv, 95.0), entry(k, Direction::Output, Route::Urine, urine)]
        })
        .collect();
    let patient = Patient {
        label: "invented".to_owned(),
        age_y: Some(60.0),
        height_mm: Some(1720.0),
        admission_kg: Some(74.0),
        ..Patient::default()
    };
    (PatientFile { patient, plan: None }, weights, chart)
}

#[divan::bench(args = [1, 3, 30])]
fn whole_balance(bencher: divan::Bencher<'_, '_>, days: u32) {
    let (patient, weights, chart) = record(days);
    let options = Options::default();
    bencher.bench(|| balance(&patient, &weights, &chart, &options));
}

/// The model that `compare.py` gives to statsmodels: mass, loss rate and an error that fades in two hours, a step a minute, on the
/// settled weights of thirty days less the charted mass, g. Starts and noise levels are its, too.
struct SameModel {
    initial: Initial<3>,
    steps: Vec<Step<3, 1>>,
}

/// Logarithms of the noise levels that both sides are given: of a weight, of mass, rate and fading error a step.
fn given() -> [f64; 4] {
    [900f64.ln(), 0.1f64.ln(), 1e-3f64.ln(), 0.0]
}

impl SameModel {
    fn new() -> Self {
        let (_, weights, chart) = record(30);
        let dt_h = 1.0_f64 / 60.0;
        let mut transition = Matrix3::identity();
        transition[(0, 1)] = -dt_h;
        transition[(2, 2)] = (-dt_h / 2.0).exp();
        let mut charted_g = 0.0;
        let steps = weights.iter().enumerate().map(|(minute, weight)| {
            let of_hour = &chart[2 * (minute / 60)..2 * (minute / 60) + 2];
            charted_g += (of_hour[0].volume_ml - of_hour[1].volume_ml) / 60.0;
            let settled = weight.patient_kg.filter(|_| weight.state == State::Settled);
            let observation = settled.map(|kg| Observation {
                row: Vector3::new(1.0, 0.0, 1.0),
                value: 1000.0 * (kg - 74.0) - charted_g,
                variance: 0.0,
            });
            Step { transition, input: Vector3::zeros(), noise: Matrix3::zeros(), observations: [observation] }
        });
        let mean = Vector3::new(0.0, 33.0, 0.0);
        let covariance = Matrix3::from_diagonal(&Vector3::new(1e7, 300.0, 50.0));
        Self { initial: Initial::known(mean, covariance), steps: steps.collect() }
    }

    fn set(&mut self, ln_levels: &[f64]) {
        let noise = Matrix3::from_diagonal(&Vector3::from_fn(|i, _| ln_levels[i + 1].exp()));
        for step in &mut self.steps {
            step.noise = noise;
            if let Some(observation) = &mut step.observations[0] {
                observation.variance = ln_levels[0].exp();
            }
        }
    }

    fn log_likelihood(&mut self, ln_levels: &[f64]) -> f64 {
        self.set(ln_levels);
        state_space::log_likelihood(&self.initial, self.steps.iter().copied())
    }

    fn smooth(&mut self, ln_levels: &[f64]) -> Option<Vec<state_space::State<3>>> {
        self.set(ln_levels);
        state_space::smooth(&state_space::run(&self.initial, &self.steps), &self.steps).ok()
    }

    /// The levels of the largest likelihood, by at most as many steps as the other side is given.
    fn fit(&mut self) -> Minimum {
        bfgs(&mut Differences(|ln_levels: &[f64]| -self.log_likelihood(ln_levels)), &given(), 25, 1e-4)
    }
}

#[divan::bench]
fn same_model_smooth(bencher: divan::Bencher<'_, '_>) {
    let mut model = SameModel::new();
    bencher.bench_local(|| model.smooth(&given()));
}

#[divan::bench]
fn same_model_fit(bencher: divan::Bencher<'_, '_>) {
    let mut model = SameModel::new();
    bencher.bench_local(|| {
        let fitted = model.fit();
        model.smooth(&fitted.x)
    });
}
