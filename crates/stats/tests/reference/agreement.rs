//! Agreement of two methods against published examples.

use bedplate_stats::agreement::{Repeated, bland_altman, concordance, deming, passing_bablok, repeated, share_within};

use published::{within, within_share};

/// Peak expiratory flow, L/min, first and second reading of two meters on 17 subjects.
/// Source: Bland & Altman, Lancet 1986;i:307–310, Table 1.
pub(crate) const LARGE_1: [f64; 17] =
    [494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178., 423., 427.];
const LARGE_2: [f64; 17] =
    [490., 397., 512., 401., 470., 611., 415., 431., 638., 429., 420., 633., 275., 492., 165., 372., 421.];
pub(crate) const MINI_1: [f64; 17] =
    [512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259., 350., 451.];
const MINI_2: [f64; 17] =
    [525., 415., 508., 444., 500., 625., 460., 390., 642., 432., 420., 605., 227., 467., 268., 370., 443.];

/// Source: Bland & Altman 1986. Bias and SD as printed (−2.1, 38.8); the intervals from memory of the paper (−22.0 to 17.8;
/// −114.3 to −45.1; 40.9 to 110.0), which rounds its steps and takes ±2 SD.
#[test]
fn peak_flow_gives_the_published_limits() {
    let a = bland_altman(&MINI_1, &LARGE_1, 0.95).unwrap();
    within(a.bias, -2.1, 0.05);
    within(a.sd, 38.8, 0.05);
    within(a.bias_ci[0], -22.0, 0.06);
    within(a.bias_ci[1], 17.8, 0.06);
    // The paper's limits take ±2 SD of rounded figures, −79.7 and 75.5; with ±1.96 SD they are −78.097 and 73.862
    // (computed with full digits), and the exact z = 1.959964 stands 0.0014 nearer.
    within(a.bias - 2.0 * a.sd, -79.7, 0.1);
    within(a.bias + 2.0 * a.sd, 75.5, 0.1);
    within(a.limits[0], -78.097 + 0.0014, 0.000_5);
    within(a.limits[1], 73.862 - 0.0014, 0.000_5);
    // Half length of the limits' intervals: t(16) √(3 s²/n) = 2.1199 × 16.2846.
    within(a.limits_ci[0][1] - a.limits[0], 2.119_905 * 16.284_6, 0.002);
    // The exact interval leans outward and is of much the same length.
    assert!(a.limits_ci_exact[1][1] > a.limits_ci[1][1] && a.limits_ci_exact[1][0] > a.limits_ci[1][0]);
    assert!(a.limits_ci_exact[1][0] < a.limits[1] && a.limits[1] < a.limits_ci_exact[1][1]);
}

/// Source: Bland & Altman 1986: averages of two readings, SD of differences corrected to 37.7 (from memory of the paper);
/// repeatability coefficients 43.2 and 56.4 from rounded figures (from memory), 43.29 and 56.32 with full digits and 2 SD.
#[test]
fn repeats_give_the_published_corrected_spread() {
    let subjects: Vec<(Vec<f64>, Vec<f64>)> =
        (0..17).map(|i| (vec![MINI_1[i], MINI_2[i]], vec![LARGE_1[i], LARGE_2[i]])).collect();
    let Repeated { sd, bias, within_reference, within_method, .. } = repeated(&subjects, 0.95).unwrap();
    within(bias, -6.0, 0.05);
    within(sd, 37.7, 0.05);
    within(2.0 * 2f64.sqrt() * within_method, 43.294, 0.000_5);
    within(2.0 * 2f64.sqrt() * within_reference, 56.316, 0.000_5);
}

/// Source: the same data; no printed concordance was at hand, so these are computed with full digits by an independent
/// public library (audmetric 1.4.2, ρ_c) and by hand (intervals).
#[test]
fn peak_flow_gives_its_concordance() {
    let c = concordance(&LARGE_1, &MINI_1, 0.95).unwrap();
    within_share(c.value, 0.942_742_431_4, 1e-10);
    within(c.pearson, 0.943_279_4, 5e-8);
    within(c.accuracy, 0.999_430_7, 5e-8);
    within(c.se.unwrap(), 0.028_616_7, 5e-8);
    let [low, high] = c.ci.unwrap();
    within(low, 0.850_49, 5e-6);
    within(high, 0.978_73, 5e-6);
}

/// Source: closed form and orthogonal regression of scipy 1.17.1 on the same numbers.
#[test]
fn equal_variance_deming_agrees_with_orthogonal_regression() {
    let x: Vec<f64> = (1..=10).map(f64::from).collect();
    let wiggle = [0., -1., 2., -3., 4., -5., 6., -7., 8., -5.];
    let y: Vec<f64> = x.iter().zip(wiggle).map(|(x, w)| 2.3 * x + 0.5 * w).collect();
    let d = deming(&x, &y, 1.0, 0.95).unwrap();
    within(d.intercept, -1.328_591_7, 5e-8);
    within(d.slope, 2.532_471_2, 5e-8);
    let d = deming(&LARGE_1, &MINI_1, 1.0, 0.95).unwrap();
    within(d.intercept, 15.231_56, 5e-6);
    within(d.slope, 0.970_880_8, 5e-8);
}

/// Source: Sen, Journal of the American Statistical Association 63 (1968) 1379–1389, as printed in the tests of the R
/// package deming: slope 4, intercept 6, 93 % interval of the slope 26/7 to 35/8.
#[test]
fn sens_data_give_the_published_line() {
    let x = [1., 2., 3., 4., 10., 12., 18.];
    let y = [9., 15., 19., 20., 45., 55., 78.];
    let p = passing_bablok(&x, &y, 0.93).unwrap();
    within(p.slope, 4.0, 1e-12);
    within(p.intercept, 6.0, 1e-12);
    within(p.slope_ci[0], 26.0 / 7.0, 1e-12);
    within(p.slope_ci[1], 35.0 / 8.0, 1e-12);
}

/// Source: tests of the R package deming: slope 1.05, intercept 0.125, with one slope below −1. Peak flow: computed with
/// the same definition.
#[test]
fn a_slope_below_minus_one_shifts_the_median() {
    let p = passing_bablok(&[1., 2., 3., 4., 5., 6.], &[2., 1.2, 4.1, 3.5, 6.3, 3.], 0.95).unwrap();
    within(p.slope, 1.05, 1e-12);
    within(p.intercept, 0.125, 1e-12);
    let p = passing_bablok(&LARGE_1, &MINI_1, 0.95).unwrap();
    within(p.slope, 1.064_814_8, 5e-8);
    within(p.slope_ci[0], 0.837_08, 5e-6);
    within(p.slope_ci[1], 1.396_83, 5e-6);
    within(p.intercept, -24.305_6, 5e-5);
}

/// Counted by hand from the percentages below.
#[test]
fn shares_within_a_percentage_are_counts() {
    let share_of = |percent: f64| 17.0 * share_within(&LARGE_1, &MINI_1, percent);
    // 3.6, 8.9, 0.8, 1.4, 5.04, 7.7, 11.9, 14.0, 1.2, 2.8, 3.6, 4.6, 2.6, 0.2, 45.5, 17.3, 5.6 percent.
    within(share_of(5.0), 9.0, 1e-9);
    within(share_of(10.0), 13.0, 1e-9);
}
