//! Against values from elsewhere: scipy (the script is in `data`), textbooks, statics.

mod statics;
mod textbook;

use bedplate_signal::change::glr;
use bedplate_signal::filter::{LowPass, gain};
use published::within;

const TAU_S: f64 = 0.45;

fn table(text: &str) -> Vec<Vec<f64>> {
    text.lines().skip(1).map(|line| line.split(',').map(|field| field.parse().unwrap()).collect()).collect()
}

/// Source: `scipy.signal.lfilter` 1.17.1.
#[test]
fn even_samples_are_filtered_as_scipy_filters_them() {
    let mut filter = LowPass::new();
    for row in table(include_str!("data/lowpass.csv")) {
        let y = filter.push(row[0], gain(0.1, TAU_S));
        // Two orders of summing 70 kg in double precision differ by some 1e-14; a wrong coefficient by more than 1e-6.
        within(y, row[1], 1e-11);
    }
}

/// Source: `scipy.signal.freqz` 1.17.1, by the transform of our impulse response.
#[test]
fn the_response_is_that_of_four_equal_poles() {
    let (mut filter, step) = (LowPass::new(), gain(0.1, TAU_S));
    filter.push(0.0, 0.0);
    let impulse: Vec<f64> = (0..4000).map(|i| filter.push(if i == 0 { 1.0 } else { 0.0 }, step)).collect();
    for row in table(include_str!("data/response.csv")) {
        let turn = |i: usize| std::f64::consts::TAU * row[0] * 0.1 * i as f64;
        let re: f64 = impulse.iter().enumerate().map(|(i, h)| h * turn(i).cos()).sum();
        let im: f64 = -impulse.iter().enumerate().map(|(i, h)| h * turn(i).sin()).sum::<f64>();
        within(re.hypot(im), row[1], 1e-10);
        let turns = (im.atan2(re) - row[2]) / std::f64::consts::TAU;
        within(turns, turns.round(), 1e-8);
    }
}

/// Source: `scipy.signal.cont2discrete` 1.17.1 with the time of each sample.
#[test]
fn uneven_samples_are_filtered_by_the_time_they_stand_for() {
    let (mut filter, mut last_s) = (LowPass::new(), 0.0);
    for row in table(include_str!("data/uneven.csv")) {
        let y = filter.push(row[1], gain(row[0] - last_s, TAU_S));
        last_s = row[0];
        within(y, row[2], 1e-12);
    }
}

/// The figures in the documentation of `filter`; source: `scipy.special` 1.17.1, and −3 dB by its closed form.
#[test]
fn the_documented_figures_hold() {
    let figures = table(include_str!("data/figures.csv")).remove(0);
    for (figure, documented) in figures.iter().zip([10.05, 13.06, 15.91, 0.0692, 0.0781]) {
        // Documented to the digits shown.
        within(*figure, documented, 0.5e-2_f64.min(0.01 * documented));
    }
    for (within, continuous) in [(1e-2, figures[0]), (1e-3, figures[1]), (1e-4, figures[2])] {
        for dt_s in [0.0125, 0.1, 0.2] {
            let (mut filter, mut last_outside_s) = (LowPass::new(), 0.0);
            filter.push(0.0, 0.0);
            for i in 1..2000 {
                let y = filter.push(1.0, gain(dt_s, TAU_S));
                assert!(y <= 1.0 + 1e-12, "never past its end");
                if 1.0 - y > within {
                    last_outside_s = f64::from(i) * dt_s;
                }
            }
            let documented_s = continuous * TAU_S;
            let early_s = documented_s - last_outside_s;
            assert!((-1e-9..4.0 * dt_s).contains(&early_s), "{within}: {last_outside_s} s against {documented_s} s");
        }
    }
}

/// Source: log-likelihoods of `scipy.stats` 1.17.1, maximized numerically.
#[test]
fn the_likelihood_ratio_is_what_its_definition_says() {
    for row in table(include_str!("data/glr.csv")) {
        let found = glr(row[4..].iter().rev().copied(), row[0], 0.0);
        // The numerical maximum is flat to some 1e-8 in its place, far less in its value.
        within(found.ratio, row[1], 1e-9 * (1.0 + row[1]));
        within(found.since as f64, row[2], 0.5);
        within(found.mean, row[3], 1e-6);
    }
}
