//! NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1 "Load cell calibration" (the Pontius data).
//! The F values and the calibration interval are from memory and agree with a recomputation at 50 digits to every
//! digit given here; the coefficients of the line were read in a worked script.

use crate::support::columns;
use bedplate_stats::distribution::f_quantile;
use bedplate_stats::regression::{Variance, fit_polynomial, inverse_prediction, lack_of_fit};
use published::within;

fn data() -> (Vec<f64>, Vec<f64>, Vec<usize>) {
    let [y, x] = columns(include_str!("../data/pontius.csv")).try_into().expect("two columns");
    // Twenty loads, each applied in two runs.
    let groups = x.iter().map(|x| (x / 150e3).round() as usize).collect();
    (x, y, groups)
}

#[test]
fn straight_line_is_found_wanting() {
    let (x, y, groups) = data();
    let line = fit_polynomial(&x, &y, None, 1).unwrap();
    let b = line.coefficients();
    within(b[0], 6.14968e-3, 0.000005e-3);
    within(b[1], 7.22103e-7, 0.000005e-7);
    let se = line.standard_errors(Variance::FromResiduals).unwrap();
    within(se[0], 7.132e-4, 0.0005e-4);
    within(se[1], 3.969e-10, 0.0005e-10);
    within(line.fit().residual_sd().unwrap(), 0.00217127, 5e-9);
    within(line.fit().r_squared(), 0.9999885, 5e-8);
    let test = lack_of_fit(line.fit(), &groups).unwrap().unwrap();
    assert_eq!((test.lack_df, test.pure_df), (18, 20));
    within(test.f, 214.7469, 5e-5);
    within(f_quantile(0.95, 18.0, 20.0), 2.151, 5e-4);
    assert!(test.p < 1e-15);
}

#[test]
fn quadratic_is_accepted() {
    let (x, y, groups) = data();
    let curve = fit_polynomial(&x, &y, None, 2).unwrap();
    let test = lack_of_fit(curve.fit(), &groups).unwrap().unwrap();
    assert_eq!((test.lack_df, test.pure_df), (17, 20));
    within(test.f, 0.8107239, 5e-8);
    within((test.pure_ss / test.pure_df as f64).sqrt(), 2.1473e-4, 5e-9);
    within(f_quantile(0.95, 17.0, 20.0), 2.167, 5e-4);
    assert!(test.p > 0.5);
}

#[test]
fn deflection_gives_its_load_and_interval() {
    let (x, y, _) = data();
    let curve = fit_polynomial(&x, &y, None, 2).unwrap();
    let load = inverse_prediction(&curve, 1.239722, 0.95).unwrap();
    within(load.x, 1_705_105.57, 5e-3);
    within(load.low, 1_704_513.37, 5e-3);
    within(load.high, 1_705_697.76, 5e-3);
    // What the line would have said: 3200 units off.
    let line = fit_polynomial(&x, &y, None, 1).unwrap();
    within(inverse_prediction(&line, 1.239722, 0.95).unwrap().x, 1_708_306.0, 0.5);
}
