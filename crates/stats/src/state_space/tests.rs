use super::*;
use nalgebra::{DMatrix, DVector, Matrix2, SMatrix, SVector, Vector2};

/// A level and its slope seen at irregular times, with gaps, an input and two observers.
fn drifting(values: &[Option<f64>]) -> Vec<Step<2, 2>> {
    values
        .iter()
        .enumerate()
        .map(|(i, value)| {
            let dt = 0.5 + 0.3 * (i % 4) as f64;
            let seen = |row: Vector2<f64>, value: f64, variance: f64| Observation { row, value, variance };
            Step {
                transition: Matrix2::new(1.0, dt, 0.0, 1.0),
                input: SVector::from([0.1 * i as f64, 0.0]),
                noise: Matrix2::new(0.2 * dt, 0.05 * dt, 0.05 * dt, 0.03 * dt),
                observations: [
                    value.map(|v| seen(SVector::from([1.0, 0.0]), v, 0.7)),
                    (i % 3 == 2).then(|| seen(SVector::from([0.4, 1.5]), 0.8 * i as f64, 0.9)),
                ],
            }
        })
        .collect()
}

fn values() -> Vec<Option<f64>> {
    (0..12).map(|i| (i % 5 != 1).then(|| 3.0 + 0.9 * f64::from(i) + (f64::from(i) * 1.7).sin())).collect()
}

/// The same model as one generalized least-squares problem: every state is unknown, the transitions are equations.
/// Returns the stacked means and covariance.
fn batch(steps: &[Step<2, 2>]) -> (DVector<f64>, DMatrix<f64>) {
    let n = steps.len();
    let mut information = DMatrix::<f64>::zeros(2 * n, 2 * n);
    let mut score = DVector::<f64>::zeros(2 * n);
    for (t, step) in steps.iter().enumerate() {
        if t > 0 {
            let weight = step.noise.try_inverse().unwrap();
            // x_t − T x_{t−1} = c with covariance Q.
            let mut equation = DMatrix::<f64>::zeros(2, 2 * n);
            equation.view_mut((0, 2 * t), (2, 2)).copy_from(&Matrix2::identity());
            equation.view_mut((0, 2 * t - 2), (2, 2)).copy_from(&-step.transition);
            information += equation.transpose() * weight * &equation;
            score += equation.transpose() * (weight * step.input);
        }
        for seen in step.observations.iter().flatten() {
            let mut row = DVector::<f64>::zeros(2 * n);
            row.rows_mut(2 * t, 2).copy_from(&seen.row);
            score += &row * (seen.value / seen.variance);
            information += &row * row.transpose() / seen.variance;
        }
    }
    let covariance = information.try_inverse().unwrap();
    (&covariance * score, covariance)
}

#[test]
fn smoother_is_batch_least_squares_from_a_diffuse_start() {
    let steps = drifting(&values());
    let run = run(&Initial::diffuse(), &steps);
    assert_eq!((run.n_diffuse, run.last.diffuse_rank()), (2, 0));
    let smoothed = smooth(&run, &steps).unwrap();
    let (mean, covariance) = batch(&steps);
    for (t, state) in smoothed.iter().enumerate() {
        // Inverting the batch's information costs some digits of its own: condition near 1e3.
        let off = (state.mean - mean.rows(2 * t, 2)).amax();
        assert!(off < 1e-11, "step {t}: mean off by {off:e}");
        let off = (state.covariance - covariance.view((2 * t, 2 * t), (2, 2))).amax();
        assert!(off < 1e-11, "step {t}: covariance off by {off:e}");
    }
}

/// The last filtered state is the last smoothed one, and every filtered state is the smoothed one of what came before.
#[test]
fn filter_is_the_smoother_of_the_past() {
    let steps = drifting(&values());
    let whole = run(&Initial::diffuse(), &steps);
    for t in 4..steps.len() {
        let part = &steps[..=t];
        let smoothed = smooth(&run(&Initial::diffuse(), part), part).unwrap();
        assert!((whole.filtered[t].mean - smoothed[t].mean).amax() < 1e-12);
        assert!((whole.filtered[t].covariance - smoothed[t].covariance).amax() < 1e-12);
    }
}

/// κ = 10⁵ in place of ∞: the smoothed states differ by about 1/κ, the likelihood by the terms −½ ln 2πκ it gains. (A larger κ
/// would cost the vague smoother its digits: P − P N P cancels κ² ε of them.)
#[test]
fn diffuse_start_is_the_limit_of_a_vague_one() {
    const KAPPA: f64 = 1e5;
    let steps = drifting(&values());
    let exact = run(&Initial::diffuse(), &steps);
    let vague = run(&Initial::known(Vector2::zeros(), Matrix2::identity() * KAPPA), &steps);
    let (a, b) = (smooth(&exact, &steps).unwrap(), smooth(&vague, &steps).unwrap());
    for (a, b) in a.iter().zip(&b) {
        assert!((a.mean - b.mean).amax() < 2e-4 && (a.covariance - b.covariance).amax() < 2e-4);
    }
    let shift = -0.5 * 2.0 * (std::f64::consts::TAU * KAPPA).ln();
    assert!((vague.log_likelihood - shift - exact.log_likelihood).abs() < 1e-3);
}

#[test]
fn variance_is_infinite_until_something_is_seen() {
    let steps = drifting(&[None, Some(1.0), Some(2.0)]);
    let run = run(&Initial::diffuse(), &steps);
    assert!(run.predicted[0].covariance[(0, 0)].is_infinite() && run.filtered[0].covariance[(1, 1)].is_infinite());
    assert!(run.filtered[1].covariance[(0, 0)].is_finite() && run.filtered[1].covariance[(1, 1)].is_infinite());
    assert!(run.filtered[2].covariance.iter().all(|p| p.is_finite()));
    // The second step's second observer is missing, so its one innovation is diffuse.
    assert!(run.innovations[1][0].unwrap().standardized().is_none());
    let open = &steps[..2];
    assert_eq!(smooth(&super::run(&Initial::diffuse(), open), open), Err(SmoothError::StillDiffuse { rank: 1 }));
    assert!(matches!(smooth(&run, open), Err(SmoothError::Length { found: 2, expected: 3 })));
}

/// Only the level is unknown at the start; the slope has a prior. An observation that sees nothing new is an ordinary one.
#[test]
fn part_of_the_state_may_be_diffuse() {
    let steps = drifting(&values());
    let mut initial = Initial::known(SVector::from([0.0, 0.9]), Matrix2::new(0.0, 0.0, 0.0, 0.04));
    initial.diffuse[0] = true;
    let exact = run(&initial, &steps);
    assert_eq!(exact.n_diffuse, 1);
    let vague = run(&Initial::known(initial.mean, Matrix2::new(1e5, 0.0, 0.0, 0.04)), &steps);
    let (a, b) = (smooth(&exact, &steps).unwrap(), smooth(&vague, &steps).unwrap());
    for (a, b) in a.iter().zip(&b) {
        assert!((a.mean - b.mean).amax() < 2e-4 && (a.covariance - b.covariance).amax() < 2e-4);
    }
}

/// Three unknown constants seen by sums of them, one redundant: each new direction is taken once.
#[test]
fn each_direction_is_taken_once() {
    let see = |row: SVector<f64, 3>, value: f64| Observation { row, value, variance: 1.0 };
    let rows = [
        SVector::from([1.0, 1.0, 0.0]),
        SVector::from([2.0, 2.0, 0.0]),
        SVector::from([0.0, 1.0, -1.0]),
        SVector::from([1.0, 0.0, 1.0]),
    ];
    let truth = SVector::from([1.0, 2.0, 3.0]);
    let mut filter = Filter::new(&Initial::<3>::diffuse());
    let ranks: Vec<usize> = rows
        .iter()
        .map(|row| {
            filter.observe(&see(*row, row.dot(&truth)));
            filter.diffuse_rank()
        })
        .collect();
    // The fourth row is the first less the third.
    assert_eq!(ranks, [2, 2, 1, 1]);
    let (mean, variance) = filter.expect(&SVector::from([1.0, 0.0, 1.0]), 0.0);
    assert!((mean - 4.0).abs() < 1e-12 && variance.is_finite());
    assert!(filter.expect(&SVector::from([1.0, 0.0, 0.0]), 0.0).1.is_infinite());
}

#[test]
fn a_likelihood_on_the_fly_is_that_of_the_run() {
    let steps = drifting(&values());
    let fly = log_likelihood(&Initial::diffuse(), steps.iter().copied());
    assert!((fly - run(&Initial::diffuse(), &steps).log_likelihood).abs() < 1e-12);
}

#[test]
fn diagnostics_refuse_what_they_cannot_judge() {
    assert!(ljung_box(&[1.0, 2.0], 2, 0).is_none() && ljung_box(&[1.0; 9], 2, 0).is_none());
    assert!(ljung_box(&[1.0, 2.0, 1.0, 4.0], 1, 1).is_none());
    assert!(jarque_bera(&[]).is_none() && jarque_bera(&[2.0; 5]).is_none());
    assert!(heteroscedasticity(&[1.0, 2.0, 3.0], 2).is_none());
}

/// A variance that the data put at zero has no standard error; the other one keeps its own.
#[test]
fn a_variance_at_zero_has_no_standard_error() {
    // A constant level with alternating noise: any walk would make it worse.
    let values: Vec<f64> = (0..60).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
    let likelihood = |v: &[f64]| {
        log_likelihood(
            &Initial::<1>::diffuse(),
            values.iter().map(|&value| Step {
                transition: SMatrix::identity(),
                input: SVector::zeros(),
                noise: SMatrix::from([[v[1]]]),
                observations: [Some(Observation { row: SVector::from([1.0]), value, variance: v[0] })],
            }),
        )
    };
    let fit = fit_variances(&[0.5, 0.5], likelihood);
    // With the level known to be constant the variance is Σ(y − ȳ)²/(n − 1) = 60/59.
    assert!((fit.variances[0] - 60.0 / 59.0).abs() < 1e-3, "{fit:?}");
    assert!(fit.variances[1] < 1e-4 && fit.standard_errors[1].is_none() && fit.standard_errors[0].is_some());
}
