//! The core against the general solver: same model with dense matrices, exact diffuse start.

use stats::state_space::{self, Initial, Step, run, smooth as general_smooth};

use super::tests::{PARAMS, grid, run as core_run};
use super::*;

/// T, c and Q of a transition, column by column from the core's own law for T, and Q from its definition.
fn step(node: &Node) -> Step<N, 1> {
    let into = &node.into;
    let mut transition = Matrix::zeros();
    for j in 0..N {
        let mut column = unit(j);
        predict_mean(&mut column, into);
        transition.set_column(j, &column);
    }
    let (q, dt) = (PARAMS.rate_q + into.extra_rate_q, into.dt_h);
    let chart2 = PARAMS.chart.powi(2);
    let mut noise = Matrix::zeros();
    noise[(R, R)] = q * dt;
    noise[(U, R)] = -0.5 * q * dt * dt;
    noise[(R, U)] = noise[(U, R)];
    noise[(U, U)] = q * dt.powi(3) / 3.0 + into.var_step_g2;
    noise[(C, C)] = chart2 * into.var_through_g2 + into.var_retained_g2;
    let keep = into.keep_pool;
    noise[(POOL, POOL)] = keep * keep * into.var_retained_g2 + into.var_pool_g2;
    noise[(C, POOL)] = -keep * into.var_retained_g2;
    noise[(POOL, C)] = noise[(C, POOL)];
    // The walk of the weeping, W, and its integral, which U loses and the pool gains.
    let w = PARAMS.weep_q();
    noise[(WEEP, WEEP)] = w * dt;
    noise[(U, U)] += w * dt.powi(3) / 3.0;
    noise[(POOL, POOL)] += keep * keep * w * dt.powi(3) / 3.0;
    noise[(U, POOL)] = -keep * w * dt.powi(3) / 3.0;
    noise[(POOL, U)] = noise[(U, POOL)];
    noise[(U, WEEP)] = -0.5 * w * dt * dt;
    noise[(WEEP, U)] = noise[(U, WEEP)];
    noise[(POOL, WEEP)] = keep * 0.5 * w * dt * dt;
    noise[(WEEP, POOL)] = noise[(POOL, WEEP)];
    noise[(TIMING, TIMING)] = into.var_timing_g2;
    noise[(DRIFT, DRIFT)] = into.var_drift_g2;
    noise[(POSTURE, POSTURE)] = (1.0 - into.keep_posture.powi(2)) * PARAMS.posture.powi(2) * into.var_posture_g2;
    if into.anchor {
        // The noise of U and C goes with them into the mass.
        let mut anchor = Matrix::identity();
        for idx in [U, C] {
            anchor[(M0, idx)] = 1.0;
            anchor[(idx, idx)] = 0.0;
        }
        noise = anchor * noise * anchor.transpose();
    }
    let observation = node.observation.map(|seen| state_space::Observation {
        row: observed(),
        value: seen.value_g,
        variance: PARAMS.white.powi(2) * seen.var_g2,
    });
    Step { transition, input: unit(POOL) * (into.keep_pool * into.pool_g), noise, observations: [observation] }
}

fn initial() -> Initial<N> {
    let first = grid().nodes[0].observation.unwrap();
    let mut mean = Vector::zeros();
    mean[M0] = first.value_g;
    mean[R] = PARAMS.rate_g_h;
    let mut covariance = Matrix::zeros();
    covariance[(R, R)] = PARAMS.rate_sd_g_h.powi(2);
    mean[WEEP] = PARAMS.weep_g_h;
    covariance[(WEEP, WEEP)] = PARAMS.weep_g_h.powi(2);
    covariance[(POSTURE, POSTURE)] = PARAMS.posture.powi(2) * 900.0;
    let mut diffuse = [false; N];
    diffuse[M0] = true;
    Initial { mean, covariance, diffuse }
}

#[test]
fn log_likelihood_and_states_are_the_general_solvers() {
    let grid = grid();
    let steps: Vec<Step<N, 1>> = grid.nodes.iter().map(step).collect();
    let general = run(&initial(), &steps);
    let (filtered, filter) = core_run(&grid, PARAMS);
    // The core's start is diffuse to 1e-7 of the first variance: half of that for each later term at most.
    assert!((filter.log_likelihood() - general.log_likelihood).abs() < 1e-6);
    let smoothed = general_smooth(&general, &steps).unwrap();
    let wanted: Vec<usize> = (0..grid.nodes.len()).collect();
    for (k, (ours, theirs)) in smooth(&grid, &filtered, &wanted).iter().zip(&smoothed).enumerate() {
        for s in 0..N {
            let scale = theirs.covariance[(s, s)].sqrt().max(1e-3);
            // 1e-7 of a diffuse start, and 30 g of the first weight over some grams of a state.
            assert!((ours.mean[s] - theirs.mean[s]).abs() < 1e-5 * scale, "node {k} state {s}");
            let variance = ours.cov(&unit(s), &unit(s));
            assert!((variance - theirs.covariance[(s, s)]).abs() < 1e-5 * scale * scale, "node {k} state {s}");
        }
    }
}
