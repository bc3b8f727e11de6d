use super::*;

pub(super) const PARAMS: Params =
    Params { white: 1.0, posture: 0.3, chart: 1.0, rate_q: 1.5, rate_g_h: 20.0, rate_sd_g_h: 10.0, weep_g_h: 15.0 };

/// A grid with everything in it: gaps, chart noise, pads, a step.
pub(super) fn grid() -> Grid {
    let mut nodes = Vec::new();
    for k in 0..60u32 {
        let t = f64::from(k) * 0.25;
        let mut into = Transition::NONE;
        if k > 0 {
            into = Transition {
                dt_h: 0.25,
                keep_timing: (-0.25f64).exp(),
                keep_posture: (-0.125f64).exp(),
                keep_drift: if k == 50 { 0.0 } else { 1.0 },
                keep_pool: if k == 30 { 0.0 } else { 1.0 },
                pool_g: if k == 20 { 150.0 } else { 0.0 },
                var_through_g2: 9.0,
                var_retained_g2: if k == 20 { 100.0 } else { 0.0 },
                var_timing_g2: if k % 7 == 0 { 400.0 } else { 0.0 },
                var_drift_g2: 4.0,
                var_posture_g2: 900.0,
                var_pool_g2: 0.0,
                var_step_g2: if k == 40 { 1e4 } else { 0.0 },
                extra_rate_q: if k > 45 { 30.0 } else { 0.0 },
                anchor: k == 4,
            };
        }
        let wave = f64::from((k * 7919) % 101) - 50.0;
        let observation = (k % 5 != 3).then_some(Observation { value_g: 70_000.0 - 20.0 * t + wave, var_g2: 900.0 });
        nodes.push(Node { t_h: t, charted_g: 0.0, into, observation });
    }
    Grid { nodes }
}

pub(super) fn run(grid: &Grid, params: Params) -> (Vec<Filtered>, Filter) {
    let first = grid.nodes.iter().find_map(|node| node.observation).unwrap();
    let mut filter = Filter::new(params, first, 900.0);
    let filtered = grid.nodes.iter().map(|node| filter.step(node)).collect();
    (filtered, filter)
}

/// Two ways to one answer: the smoothed state at a node, and the filter of a state that carries a copy
/// of the node's state along. Here by the law that the smoother at the last node is the filter.
#[test]
fn smoothed_equals_filtered_at_the_end() {
    let grid = grid();
    let (filtered, filter) = run(&grid, PARAMS);
    let smoothed = smooth(&grid, &filtered, &[grid.nodes.len() - 1]);
    assert!((smoothed[0].mean - filter.a).norm() < 1e-7);
    let body = body();
    // P of some 1e3 g² next to a diffuse 9e9: eight digits are left of sixteen.
    assert!((smoothed[0].cov(&body, &body) - body.dot(&(filter.p * body))).abs() < 1e-4);
}

/// Smoothing never knows less than filtering.
#[test]
fn smoothed_variance_is_at_most_the_filtered_one() {
    let grid = grid();
    let (filtered, _) = run(&grid, PARAMS);
    let wanted: Vec<usize> = (5..60).collect();
    let smoothed = smooth(&grid, &filtered, &wanted);
    for (s, &idx) in smoothed.iter().zip(&wanted) {
        for g in [body(), unit(U), unit(R)] {
            let predicted = g.dot(&(filtered[idx].p * g));
            assert!(s.cov(&g, &g) <= predicted * (1.0 + 1e-6) + 1e-3, "node {idx}");
            assert!(s.cov(&g, &g) > 0.0);
        }
    }
}

/// The joint Gaussian of states and weights, built without a filter, conditioned on all weights at once.
#[test]
fn smoother_equals_batch_conditioning() {
    use nalgebra::{DMatrix, DVector};
    let grid = grid();
    let (filtered, _) = run(&grid, PARAMS);
    let idx = 33;
    let smoothed = smooth(&grid, &filtered, &[idx]);
    // Impulse responses by running the law of motion on unit shocks: x_k = Φ(k,j) shocks.
    let n_nodes = grid.nodes.len();
    let first = grid.nodes[0].observation.unwrap();
    let mut blank = Filter::new(PARAMS, first, 900.0);
    let (mut means, mut covariances) = (vec![blank.a], vec![blank.p]);
    for node in &grid.nodes[1..] {
        blank.predict(&node.into);
        means.push(blank.a);
        covariances.push(blank.p);
    }
    // Cov(x_i, x_k) = Cov(x_i, x_i) Φ(k,i)' for i ≤ k.
    let propagate = |from: usize, to: usize, mut x: Vector| {
        for node in &grid.nodes[from + 1..=to] {
            filter::predict_mean(&mut x, &node.into);
        }
        x
    };
    let z = observed();
    let seen: Vec<usize> = (0..n_nodes).filter(|&k| grid.nodes[k].observation.is_some()).collect();
    let cross = |i: usize, k: usize| -> Vector {
        // Cov(x_i, z'x_k)
        if i <= k {
            let mut column = Vector::zeros();
            for s in 0..N {
                column[s] = z.dot(&propagate(i, k, covariances[i].column(s).into_owned()));
            }
            column
        } else {
            propagate(k, i, covariances[k] * z)
        }
    };
    let var = DMatrix::from_fn(seen.len(), seen.len(), |a, b| {
        let noise = if a == b { PARAMS.white.powi(2) * 900.0 } else { 0.0 };
        z.dot(&cross(seen[a], seen[b])) + noise
    });
    let resid = DVector::from_iterator(
        seen.len(),
        seen.iter().map(|&k| grid.nodes[k].observation.unwrap().value_g - z.dot(&means[k])),
    );
    let inverse = var.cholesky().unwrap();
    let weights = inverse.solve(&resid);
    let mut mean = means[idx];
    for (a, &k) in seen.iter().enumerate() {
        mean += cross(idx, k) * weights[a];
    }
    // The batch matrix has a condition of some 1e9: six digits of its answer are sure.
    for s in [U, R, C, TIMING, POOL, DRIFT, POSTURE, WEEP] {
        assert!((smoothed[0].mean[s] - mean[s]).abs() < 1e-3, "state {s}: {} {}", smoothed[0].mean[s], mean[s]);
    }
    let b = body_change();
    let c = DVector::from_iterator(seen.len(), seen.iter().map(|&k| b.dot(&cross(idx, k))));
    let variance = b.dot(&(covariances[idx] * b)) - c.dot(&inverse.solve(&c));
    assert!((smoothed[0].cov(&b, &b) - variance).abs() < 1e-3 * variance);
    // And the covariance between two times, by the same conditioning.
    let early = 12;
    let lag = lag_cov(&grid, &filtered, early, (idx, &smoothed[0]), &b);
    let c_early = DVector::from_iterator(seen.len(), seen.iter().map(|&k| b.dot(&cross(early, k))));
    let mut between = Vector::zeros();
    for s in 0..N {
        between[s] = b.dot(&propagate(early, idx, covariances[early].column(s).into_owned()));
    }
    let expected = b.dot(&between) - c_early.dot(&inverse.solve(&c));
    assert!((lag - expected).abs() < 1e-3 * variance, "{lag} {expected}");
}
