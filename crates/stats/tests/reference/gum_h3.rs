//! JCGM 100:2008, H.3 "Calibration of a thermometer": b(t) = y₁ + y₂ (t − 20 °C).

use bedplate_stats::regression::{Variance, fit_rows};
use published::within;

const T: [f64; 11] = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
const B: [f64; 11] = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];

/// Source: JCGM 100:2008 H.3.3 and H.3.4; printed values are met to half their last place.
#[test]
fn thermometer_curve() {
    let rows: Vec<[f64; 2]> = T.iter().map(|t| [1.0, t - 20.0]).collect();
    let line = fit_rows(&rows, &B, None).unwrap();
    within(line.coefficients()[0], -0.1712, 5e-5);
    within(line.coefficients()[1], 0.00218, 5e-6);
    let se = line.standard_errors(Variance::FromResiduals).unwrap();
    within(se[0], 0.0029, 5e-5);
    within(se[1], 0.00067, 5e-6);
    let covariance = line.covariance(Variance::FromResiduals).unwrap();
    within(covariance[(0, 1)] / (se[0] * se[1]), -0.930, 5e-4);
    within(line.residual_sd().unwrap(), 0.0035, 5e-5);
    assert_eq!(line.degrees_of_freedom(), 9);
    let at_30 = line.estimate(&[1.0, 10.0], Variance::FromResiduals).unwrap().unwrap();
    within(at_30.value, -0.1494, 5e-5);
    within(at_30.u, 0.0041, 5e-5);
}

/// Source: JCGM 100:2008 H.3.5: about t̄ = 24.0085 °C the two coefficients are uncorrelated, −0.1625(11) + 0.00218(67)(t − t̄).
#[test]
fn centred_form_has_no_correlation() {
    let rows: Vec<[f64; 2]> = T.iter().map(|t| [1.0, t - 24.0085]).collect();
    let line = fit_rows(&rows, &B, None).unwrap();
    within(line.coefficients()[0], -0.1625, 5e-5);
    let covariance = line.covariance(Variance::FromResiduals).unwrap();
    within(covariance[(0, 0)].sqrt(), 0.0011, 5e-5);
    // t̄ is printed to four places, so r is zero to about 5e-5 over the spread of 1.6 °C.
    within(covariance[(0, 1)] / (covariance[(0, 0)] * covariance[(1, 1)]).sqrt(), 0.0, 5e-5);
}
