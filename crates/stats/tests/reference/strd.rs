//! NIST Statistical Reference Datasets, linear regression (itl.nist.gov/div898/strd/lls): Norris and Pontius.
//! Certified to 15 digits.

use crate::support::columns;
use bedplate_stats::regression::{Variance, fit_polynomial};
use published::within_share;

const NORRIS: &str = include_str!("../data/norris.csv");
const PONTIUS: &str = include_str!("../data/pontius.csv");

/// Source: NIST StRD, Norris, certified values (F: its analysis of variance table).
#[test]
fn straight_line_gives_nist_norris() {
    let [y, x] = columns(NORRIS).try_into().expect("two columns");
    let line = fit_polynomial(&x, &y, None, 1).unwrap();
    let b = line.coefficients();
    // Certified figures carry 15 digits; 13 are reached in the coefficients. Normal equations stop at 11 to 12.
    within_share(b[0], -0.262323073774029, 1e-12);
    within_share(b[1], 1.00211681802045, 1e-13);
    let se = line.standard_errors(Variance::FromResiduals).unwrap();
    within_share(se[0], 0.232818234301152, 1e-13);
    within_share(se[1], 0.429796848199937E-03, 1e-13);
    within_share(line.fit().residual_sd().unwrap(), 0.884796396144373, 1e-13);
    within_share(line.fit().r_squared(), 0.999993745883712, 1e-14);
    let anova = line.fit().anova().unwrap();
    assert_eq!((anova.regression_df, anova.residual_df), (1, 34));
    within_share(anova.regression_ss, 4255954.13232369, 1e-14);
    within_share(anova.residual_ss, 26.6173985294224, 1e-13);
    within_share(anova.f, 5436385.54079785, 1e-13);
}

/// Source: NIST StRD, Pontius, certified values (F and regression SS: recomputed at 50 digits, print not seen).
#[test]
fn quadratic_gives_nist_pontius() {
    let [y, x] = columns(PONTIUS).try_into().expect("two columns");
    let curve = fit_polynomial(&x, &y, None, 2).unwrap();
    let b = curve.coefficients();
    // The constant is the small difference of larger figures; raw powers through an SVD keep 6 digits of it.
    within_share(b[0], 0.673565789473684E-03, 1e-12);
    within_share(b[1], 0.732059160401003E-06, 1e-13);
    within_share(b[2], -0.316081871345029E-14, 1e-12);
    let se = curve.standard_errors(Variance::FromResiduals).unwrap();
    // The sum of squares of residuals near 1e-4 of observations near 1 carries about 12 digits.
    within_share(se[0], 0.107938612033077E-03, 1e-11);
    within_share(se[1], 0.157817399981659E-09, 1e-11);
    within_share(se[2], 0.486652849992036E-16, 1e-11);
    within_share(curve.fit().residual_sd().unwrap(), 0.205177424076185E-03, 1e-11);
    within_share(curve.fit().r_squared(), 0.999999900178537, 1e-14);
    let anova = curve.fit().anova().unwrap();
    assert_eq!((anova.regression_df, anova.residual_df), (2, 37));
    within_share(anova.regression_ss, 15.6040343244198, 1e-13);
    within_share(anova.residual_ss, 0.155761768796992E-05, 1e-11);
    within_share(anova.f, 185330865.995752, 1e-11);
    let unit = curve.covariance(Variance::Known).unwrap();
    for (at, expected) in [
        ((0, 0), 0.276754385964916),
        ((0, 1), -3.59649122807024E-07),
        ((0, 2), 9.74658869395731E-14),
        ((1, 1), 5.91630591630603E-13),
        ((1, 2), -1.77210703526497E-19),
        ((2, 2), 5.62573661988878E-26),
    ] {
        within_share(unit[at], expected, 1e-12);
    }
}
