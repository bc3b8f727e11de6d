//! The same data by independent public libraries: figures of `tests/data/expected.csv`, made by `make_expected.py`.

use published::within;
use std::collections::BTreeMap;

use bedplate_stats::agreement::{
    bland_altman, concordance, deming, passing_bablok, proportional_bias, repeated, repeated_varying, weighted_deming,
};
use bedplate_stats::allan::Record;
use bedplate_stats::anova::{GaugeOptions, gauge};
use bedplate_stats::control_chart::{AverageOptions, Process, moving_average};

use crate::agreement::{LARGE_1, MINI_1};
use crate::agreement_repeated::cardiac_output;
use crate::allan::thousand;
use crate::support::columns;

/// Figures of each quantity in the order they were put down.
fn expected() -> BTreeMap<&'static str, Vec<f64>> {
    let mut all: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for line in include_str!("../data/expected.csv").lines().skip(2) {
        let (quantity, value) = line.rsplit_once(',').unwrap();
        all.entry(quantity).or_default().push(value.parse().unwrap());
    }
    all
}

/// Compares figures with those of that name, relative to the larger of both, and takes them off the list.
#[track_caller]
fn compare(all: &mut BTreeMap<&'static str, Vec<f64>>, quantity: &str, found: &[f64], relative: f64) {
    let expected = all.remove(quantity).unwrap_or_else(|| panic!("no figures of {quantity}"));
    assert_eq!(found.len(), expected.len(), "{quantity}");
    for (found, expected) in found.iter().zip(expected) {
        let off = (found - expected).abs() / expected.abs().max(1e-300);
        assert!(off <= relative, "{quantity}: found {found:.16e}, expected {expected:.16e}, off by {off:.1e}");
    }
}

/// Figures of the other libraries with that beginning.
fn of(beginning: &str) -> BTreeMap<&'static str, Vec<f64>> {
    let mut all = expected();
    all.retain(|quantity, _| quantity.starts_with(beginning));
    assert!(!all.is_empty());
    all
}

#[test]
fn agreement_of_two_methods() {
    let arsenate = columns(include_str!("../data/arsenate.csv"));
    for (tag, x, y) in [("peak_flow", &LARGE_1[..], &MINI_1[..]), ("arsenate", &arsenate[0], &arsenate[2])] {
        let mut all = of(tag);
        let mut check = |quantity: &str, found: &[f64], relative: f64| {
            compare(&mut all, &format!("{tag} {quantity}"), found, relative);
        };
        let a = bland_altman(x, y, 0.95).unwrap();
        check("bias sd", &[a.bias, a.sd], 1e-12);
        check("bias_ci", &a.bias_ci, 1e-11);
        check("limits", &a.limits, 1e-12);
        check("upper_limit_ci", &a.limits_ci[1], 1e-11);
        check("upper_limit_ci_exact", &a.limits_ci_exact[1], 1e-9);
        let p = proportional_bias(x, y, 0.95).unwrap();
        let [low, high] = p.slope_ci;
        check("proportional", &[p.slope, low, high, p.slope_p, p.intercept, p.residual_sd], 1e-10);
        let c = concordance(x, y, 0.95).unwrap();
        check("concordance", &[c.value, c.pearson], 1e-12);
        for ratio in [1.0, 0.25, 3.0] {
            let d = deming(x, y, ratio, 0.95).unwrap();
            // The pseudo-values difference n times what nearly cancels.
            let found = [d.slope, d.intercept, d.slope_se, d.intercept_se, d.slope_ci[0]];
            check(&format!("deming {ratio:?}"), &found, 1e-10);
        }
        let b = passing_bablok(x, y, 0.95).unwrap();
        let found = [b.slope, b.slope_ci[0], b.slope_ci[1], b.intercept, b.intercept_ci[0], b.intercept_ci[1]];
        check("passing_bablok", &found, 1e-12);
        assert!(all.is_empty(), "not compared: {all:?}");
    }
}

/// Source: Ripley & Thompson, Analyst 112 (1987) 377–383: intercept 0.106448 and slope 0.973000 (read, as printed by the R
/// package deming); the figures of expected.csv by orthogonal distance regression.
#[test]
fn line_with_errors_that_differ_from_pair_to_pair() {
    let mut all = of("weighted_deming");
    let c = columns(include_str!("../data/arsenate.csv"));
    let d = weighted_deming(&c[0], &c[2], &c[1], &c[3], 0.95).unwrap();
    within(d.intercept, 0.106_448, 5e-7);
    // The package prints 0.973000 where its fit stops; the least sum lies at 0.972988.
    within(d.slope, 0.973_000, 2e-5);
    compare(&mut all, "weighted_deming", &[d.slope, d.intercept], 1e-8);
    compare(&mut all, "weighted_deming se", &[d.slope_se, d.intercept_se], 1e-6);
    assert!(all.is_empty(), "not compared: {all:?}");
}

#[test]
fn repeats_on_each_subject() {
    let mut all = of("repeated");
    let subjects = cardiac_output();
    let v = repeated_varying(&subjects, 0.95).unwrap();
    let found = [v.bias, v.within_sd, v.between_sd, v.sd, v.bias_ci[1] - v.bias];
    compare(&mut all, "repeated_varying", &found, 1e-11);
    compare(&mut all, "repeated_varying upper_limit_ci", &v.limits_ci[1], 1e-10);
    let c = repeated(&subjects, 0.95).unwrap();
    let found = [c.bias, c.sd, c.within_reference, c.within_method, c.bias_ci[1] - c.bias];
    compare(&mut all, "repeated", &found, 1e-11);
    compare(&mut all, "repeated upper_limit_ci", &c.limits_ci[1], 1e-10);
    assert!(all.is_empty(), "not compared: {all:?}");
}

#[test]
fn study_of_a_gauge() {
    let mut all = of("gauge");
    let data = columns(include_str!("../data/gauge.csv"));
    let level = |c: &[f64]| c.iter().map(|v| *v as usize).collect::<Vec<_>>();
    let g = gauge(&level(&data[0]), &level(&data[1]), &data[3], GaugeOptions::default()).unwrap();
    for (quantity, source) in [
        ("gauge part", g.table.first),
        ("gauge appraiser", g.table.second),
        ("gauge part * appraiser", g.table.interaction.unwrap()),
        ("gauge Residual", g.table.error),
    ] {
        // The interaction is a difference of fits there, a hundredth of the whole.
        compare(&mut all, quantity, &[source.ss, source.df], 1e-12);
    }
    let f = g.interaction_f.unwrap();
    compare(&mut all, "gauge interaction F p", &[f.f, f.p], 1e-11);
    compare(&mut all, "gauge pooled F", &[g.part_f.f, g.appraiser_f.f], 1e-11);
    compare(&mut all, "gauge pooled p appraiser", &[g.appraiser_f.p], 1e-9);
    compare(&mut all, "gauge pooled sd", &[g.repeatability.sd, g.appraiser.sd, g.part.sd], 1e-12);
    assert!(all.is_empty(), "not compared: {all:?}");
}

#[test]
fn deviations_over_averaging_time() {
    let mut all = of("allan");
    let record = Record::from_frequency(&thousand(), 0.25).unwrap();
    for factor in [1, 3, 10, 37, 100, 200] {
        for (name, found) in [
            ("adev", record.allan(factor)),
            ("oadev", record.overlapping(factor)),
            ("mdev", record.modified(factor)),
            ("tdev", record.time(factor)),
        ] {
            compare(&mut all, &format!("allan {name} {factor}"), &[found.unwrap().value], 1e-11);
        }
    }
    for (n, factor) in [(12, 1), (101, 4), (1001, 10), (1001, 100)] {
        let edf = Record::from_frequency(&vec![0.0; n - 1], 1.0).unwrap().white_edf(factor).unwrap();
        compare(&mut all, &format!("allan edf {n} {factor}"), &[edf], 1e-12);
    }
    assert!(all.is_empty(), "not compared: {all:?}");
}

/// Against scipy.signal.welch; a bin may lie far below the largest, so the tolerance is of the largest density.
#[test]
fn density_of_a_record() {
    let mut all = of("welch");
    for length in [64, 101, 256] {
        let found = bedplate_stats::spectrum::welch(&thousand(), 4.0, length).unwrap().density;
        let expected = all.remove(format!("welch {length}").as_str()).unwrap();
        assert_eq!(found.len(), expected.len());
        let largest = expected.iter().copied().fold(0.0, f64::max);
        for (found, expected) in found.iter().zip(expected) {
            published::within(*found, expected, 1e-12 * largest);
        }
    }
    assert!(all.is_empty(), "not compared: {all:?}");
}

#[test]
fn moving_averages_of_a_process() {
    let mut all = of("ewma");
    let readings = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5];
    let process = Process { target: 50.0, sd: 2.053_9 };
    let points = moving_average(&readings, process, AverageOptions { weight: 0.3, reach: 3.0 }).unwrap();
    compare(&mut all, "ewma average", &points.iter().map(|p| p.average).collect::<Vec<_>>(), 1e-13);
    compare(&mut all, "ewma upper", &points.iter().map(|p| p.limits.upper).collect::<Vec<_>>(), 1e-13);
    assert!(all.is_empty(), "not compared: {all:?}");
}
