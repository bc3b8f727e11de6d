//! The local level model on the flow of the Nile at Aswan 1871–1970 (Cobb 1978).
//! Source: Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), ch. 2 (figures from memory where
//! said), and the maximum-likelihood values printed with the R package KFAS (read). The tables of filter and smoother are
//! computed with statsmodels 0.15.0, exact diffuse start.

use crate::support::columns;
use bedplate_stats::state_space::{
    Initial, Observation, Step, fit_variances, heteroscedasticity, jarque_bera, ljung_box, log_likelihood, run, smooth,
};
use nalgebra::{SMatrix, SVector};
use published::within;

fn flows() -> Vec<f64> {
    let [_, flow] = columns(include_str!("../data/nile.csv")).try_into().expect("two columns");
    flow
}

fn local_level(var_noise: f64, var_walk: f64) -> Vec<Step<1, 1>> {
    let step = |value| Step {
        transition: SMatrix::identity(),
        input: SMatrix::zeros(),
        noise: SMatrix::from([[var_walk]]),
        observations: [Some(Observation { row: SVector::from([1.0]), value, variance: var_noise })],
    };
    flows().into_iter().map(step).collect()
}

/// Source: KFAS: maximum −632.5456 over 99 terms at 15098.53 and 1469.178; statsmodels counts a −½ ln 2π for the first
/// observation as well, −633.464564.
#[test]
fn log_likelihood_from_an_exact_diffuse_start() {
    let found = run(&Initial::diffuse(), &local_level(15_098.53, 1_469.178));
    assert_eq!((found.n_terms, found.n_diffuse), (99, 1));
    within(found.log_likelihood, -632.5456, 5e-5);
    within(found.log_likelihood, -632.545625, 5e-7);
    within(found.log_likelihood - 0.5 * std::f64::consts::TAU.ln(), -633.464564, 5e-7);
}

/// Source: Durbin & Koopman table 2.1 (from memory; recomputed): concentrated log-likelihood without its constants,
/// −((n−1)/2) ln σ̂² − ½ Σ ln F*, at ratios q = σ²_η/σ²_ε.
#[test]
fn concentrated_log_likelihood_over_the_ratio() {
    let n = 100.0f64;
    for (q, printed, full) in [
        (1.0, -495.68, -495.685),
        (0.0360, -492.53, -492.529),
        (0.0745, -492.10, -492.105),
        (0.0974, -492.07, -492.071),
    ] {
        let found = run(&Initial::diffuse(), &local_level(1.0, q));
        let told: Vec<_> = found.innovations.iter().map(|i| i[0].unwrap()).filter(|i| i.variance.is_finite()).collect();
        let scale = told.iter().map(|i| i.value * i.value / i.variance).sum::<f64>() / (n - 1.0);
        let logs: f64 = told.iter().map(|i| i.variance.ln()).sum();
        let concentrated = -0.5 * (n - 1.0) * scale.ln() - 0.5 * logs;
        within(concentrated, printed, 0.011);
        within(concentrated, full, 6e-4);
    }
}

/// Source: KFAS, maximum likelihood 15098.53 and 1469.178.
#[test]
fn maximum_likelihood_variances() {
    let likelihood = |v: &[f64]| log_likelihood(&Initial::diffuse(), local_level(v[0], v[1]));
    let fit = fit_variances(&[10_000.0, 10_000.0], likelihood);
    assert!(fit.converged);
    // The published figures stop 1e-6 short of the top, where the likelihood is flat to its rounding; the tight ones are
    // Newton's method on the likelihood at 50 digits (mpmath 1.4.1).
    within(fit.variances[0], 15_098.53, 0.05);
    within(fit.variances[1], 1_469.178, 0.01);
    within(fit.variances[0], 15_098.518_32, 0.02);
    within(fit.variances[1], 1_469.176_36, 0.005);
    within(fit.log_likelihood, -632.5456, 5e-5);
    within((fit.variances[1] / fit.variances[0]).ln(), -2.32989, 5e-5);
    // From the second derivatives in the logarithms at 50 digits.
    within(fit.standard_errors[0].unwrap(), 3145.548, 0.02);
    within(fit.standard_errors[1].unwrap(), 1280.375, 0.02);
}

/// Source: recomputed: a start of mean 0 and variance 10⁷ instead of a diffuse one, at 15099 and 1469.1.
#[test]
fn a_large_number_is_not_a_diffuse_start() {
    let known = Initial::known(SVector::from([0.0]), SMatrix::from([[1e7]]));
    let found = run(&known, &local_level(15_099.0, 1_469.1));
    within(found.log_likelihood, -641.585578, 5e-7);
    for (t, mean, variance) in [(0, 1118.3115, 15_076.236), (1, 1140.1084, 7894.558), (2, 1072.3160, 5779.497)] {
        within(found.filtered[t].mean[0], mean, 5e-5);
        within(found.filtered[t].covariance[0], variance, 5e-4);
    }
}

/// Year; a, P, v, F; filtered and its variance; smoothed and its variance. At 15099 and 1469.1.
type Row = (usize, [f64; 4], [f64; 4]);
const TABLE: [Row; 10] = [
    (1871, [0.0, f64::INFINITY, 1120.0, f64::INFINITY], [1120.0000, 15099.000, 1111.6683, 4032.158]),
    (1872, [1120.0000, 16568.100, 40.0000, 31667.100], [1140.9278, 7899.736, 1110.8577, 3242.930]),
    (1873, [1140.9278, 9368.836, -177.9278, 24467.836], [1072.7985, 5781.470, 1105.2656, 2818.942]),
    (1874, [1072.7985, 7250.570, 137.2015, 22349.570], [1117.3090, 4898.365, 1113.5156, 2591.168]),
    (1875, [1117.3090, 6367.465, 42.6910, 21466.465], [1129.9721, 4478.723, 1112.3779, 2468.803]),
    (1880, [1171.3012, 5536.922, -31.3012, 20635.922], [1162.9026, 4051.284, 1097.7216, 2333.113]),
    (1899, [1133.1263, 5501.258, -359.1263, 20600.258], [1037.2223, 4032.158, 950.9301, 2326.757]),
    (1920, [859.2980, 5501.258, -38.2980, 20600.258], [849.0706, 4032.158, 834.7633, 2326.757]),
    (1969, [858.1258, 5501.258, -144.1258, 20600.258], [819.6373, 4032.158, 804.0496, 3242.930]),
    (1970, [819.6373, 5501.258, -79.6373, 20600.258], [798.3703, 4032.158, 798.3703, 4032.158]),
];

#[test]
fn filter_and_smoother_year_by_year() {
    let steps = local_level(15_099.0, 1_469.1);
    let found = run(&Initial::diffuse(), &steps);
    let smoothed = smooth(&found, &steps).unwrap();
    for (year, [a, p, v, f], [filtered, filtered_var, smooth, smooth_var]) in TABLE {
        let t = year - 1871;
        let told = found.innovations[t][0].unwrap();
        if t == 0 {
            assert!(found.predicted[t].covariance[0].is_infinite() && told.variance.is_infinite());
        } else {
            within(found.predicted[t].mean[0], a, 5e-5);
            within(found.predicted[t].covariance[0], p, 5e-4);
            within(told.value, v, 5e-5);
            within(told.variance, f, 5e-4);
        }
        within(found.filtered[t].mean[0], filtered, 5e-5);
        within(found.filtered[t].covariance[0], filtered_var, 5e-4);
        within(smoothed[t].mean[0], smooth, 5e-5);
        within(smoothed[t].covariance[0], smooth_var, 5e-4);
    }
    // Steady state: P = 5501.2579, gain 0.2670480, filtered variance 4032.1579 (recomputed).
    let steady = found.predicted[60].covariance[0];
    within(steady, 5501.2579, 5e-5);
    within(steady / (steady + 15_099.0), 0.2670480, 5e-8);
    within(found.filtered[60].covariance[0], 4032.1579, 5e-5);
}

/// Source: Durbin & Koopman (2012) 2.12.1 (from memory): skewness −0.03, kurtosis 0.09 off 3, H(33) = 0.61, Q(9) = 8.84.
#[test]
fn diagnostics_of_the_innovations() {
    let found = run(&Initial::diffuse(), &local_level(15_098.53, 1_469.178));
    let e = found.standardized();
    assert_eq!(e.len(), 99);
    let shape = jarque_bera(&e).unwrap();
    within(shape.skewness, -0.03, 5e-3);
    within(shape.kurtosis - 3.0, 0.09, 5e-3);
    within(heteroscedasticity(&e, 33).unwrap().statistic, 0.61, 5e-3);
    within(ljung_box(&e, 9, 0).unwrap().statistic, 8.84, 5e-3);
}
