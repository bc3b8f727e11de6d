//! JCGM 100:2008, H.1 "End-gauge calibration": l = l_S + d − l_S (δα θ + α_S δθ).

use bedplate_stats::uncertainty::{
    Component, combined, coverage_factor, dof_of_reliability, effective_dof, propagate, second_order_variance,
};
use nalgebra::DMatrix;
use published::within;

/// nm; d, l_S, δα, α_S in 1/°C, θ and δθ in °C.
fn length_nm(x: &[f64]) -> f64 {
    let [l_s, d, delta_alpha, alpha, theta, delta_theta] = x else { return f64::NAN };
    l_s + d - l_s * (delta_alpha * theta + alpha * delta_theta)
}

const ESTIMATES: [f64; 6] = [50_000_623.0, 215.0, 0.0, 11.5e-6, -0.1, 0.0];

/// Mean of five differences with a pooled s of 13 nm from 25 observations; comparator: random 0.01 µm at 95 % from six
/// observations, systematic 0.02 µm at three standard deviations, reliable to 25 % (H.1.3.2).
fn difference_parts() -> [Component; 3] {
    [
        Component { u: 13.0 / 5f64.sqrt(), dof: 24.0 },
        Component { u: 10.0 / 2.57, dof: 5.0 },
        Component { u: 20.0 / 3.0, dof: dof_of_reliability(0.25) },
    ]
}

fn uncertainties() -> [f64; 6] {
    let theta = 0.2_f64.hypot(0.5 / 2f64.sqrt());
    let rectangular = |half_width: f64| half_width / 3f64.sqrt();
    [75.0 / 3.0, combined(&difference_parts()), rectangular(1e-6), rectangular(2e-6), theta, rectangular(0.05)]
}

/// Source: JCGM 100:2008, H.1.3.2: u(d) = 9.7 nm with 25.6 degrees of freedom; 25 % reliable means 8.
#[test]
fn difference_of_lengths() {
    within(dof_of_reliability(0.25), 8.0, 1e-12);
    within(combined(&difference_parts()), 9.7, 0.05);
    within(effective_dof(&difference_parts()), 25.6, 0.05);
}

/// Source: JCGM 100:2008, H.1.4 to H.1.6 and Table H.1. The guide forms ν_eff from rounded figures; full digits are carried here.
#[test]
fn end_gauge() {
    let u = uncertainties();
    let covariance = DMatrix::from_diagonal(&u.map(|u| u * u).to_vec().into());
    let l = propagate(|x| [length_nm(x)], &ESTIMATES, &covariance).unwrap();
    within(l.values[0], 50_000_838.0, 0.5);
    within(l.u(0), 32.0, 0.5);
    let contributions: Vec<f64> = u.iter().enumerate().map(|(i, u)| (l.sensitivities[(0, i)] * u).abs()).collect();
    for (found, printed) in contributions.iter().zip([25.0, 9.7, 2.9, 0.0, 0.0, 16.6]) {
        within(*found, printed, 0.05);
    }
    let infinite = f64::INFINITY;
    let dofs = [18.0, effective_dof(&difference_parts()), dof_of_reliability(0.1), infinite, infinite, 2.0];
    let components: Vec<Component> = contributions.iter().zip(dofs).map(|(&u, dof)| Component { u, dof }).collect();
    let nu = effective_dof(&components);
    // Printed as 16.7 from rounded contributions; 16.74 with all digits (recomputed).
    within(nu, 16.7, 0.05);
    let k = coverage_factor(0.99, nu);
    within(k, 2.92, 0.005);
    within(k * l.u(0), 93.0, 0.55);
}

/// Source: JCGM 100:2008, H.1.7: the second order adds 11.7 nm and 1.7 nm, 34 nm together.
#[test]
fn end_gauge_to_second_order() {
    let u = uncertainties();
    let pair = |kept: [usize; 2]| {
        let some: Vec<f64> = u.iter().enumerate().map(|(i, &u)| if kept.contains(&i) { u } else { 0.0 }).collect();
        second_order_variance(length_nm, &ESTIMATES, &some).unwrap().sqrt()
    };
    within(pair([2, 4]), 11.7, 0.05);
    within(pair([3, 5]), 1.7, 0.05);
    let covariance = DMatrix::from_diagonal(&u.map(|u| u * u).to_vec().into());
    let first = propagate(|x| [length_nm(x)], &ESTIMATES, &covariance).unwrap().covariance[(0, 0)];
    let whole = (first + second_order_variance(length_nm, &ESTIMATES, &u).unwrap()).sqrt();
    within(whole, 34.0, 0.5);
}
