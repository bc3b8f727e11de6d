//! Agreement with repeats on each subject, and the exact interval of a limit, against published examples.

use bedplate_stats::agreement::{bland_altman, pairs_for_limit_width, proportional_bias, repeated, repeated_varying};

use crate::support::columns;
use published::{within, within_share};

/// Pairs of each of the twelve subjects: impedance as the reference, so that the difference is rv − ic as in the papers.
pub(crate) fn cardiac_output() -> Vec<(Vec<f64>, Vec<f64>)> {
    let data = columns(include_str!("../data/cardiac_output.csv"));
    let mut subjects = vec![(Vec::new(), Vec::new()); 12];
    for ((subject, rv), ic) in data[0].iter().zip(&data[1]).zip(&data[2]) {
        let (reference, method) = &mut subjects[*subject as usize - 1];
        reference.push(*ic);
        method.push(*rv);
    }
    subjects
}

/// Source: Bland & Altman, Journal of Biopharmaceutical Statistics 17 (2007) 571–582, section on a true value that varies:
/// residual mean square 0.170714026, mean square of subjects 4.2090856, divisor 4.9818182, total variance 0.98133606,
/// SD 0.99062408, bias 0.6021667, limits −1.3394565 to 2.5437899 with ±1.96 (printed by a program in single precision:
/// its eighth digit is not to be trusted).
#[test]
fn pairs_of_a_varying_value_give_the_published_limits() {
    let a = repeated_varying(&cardiac_output(), 0.95).unwrap();
    assert_eq!((a.subjects, a.pairs), (12, 60));
    within(a.within_sd * a.within_sd, 0.170_714_026, 5e-8);
    // The mean square of subjects is printed to 5e-7, the spacing of single precision there; the divisor takes a fifth.
    within(a.between_sd * a.between_sd, (4.209_085_6 - 0.170_714_026) / 4.981_818_2, 1.5e-7);
    within(a.sd * a.sd, 0.981_336_06, 1e-7);
    within(a.sd, 0.990_624_08, 1e-7);
    within(a.bias, 0.602_166_7, 1e-7);
    within(a.bias - 1.96 * a.sd, -1.339_456_5, 1e-6);
    within(a.bias + 1.96 * a.sd, 2.543_789_9, 1e-6);
    // The exact z is 1.959964.
    within(a.limits[0], -1.339_456_5 + 3.6e-5, 1e-6);
}

/// Source: the same paper, a true value that keeps still: within-subject variances 0.107227795 (rv) and 0.137874069 (ic),
/// mean of subjects' differences 0.7092361, their variance 0.91269114, multiplier 0.7902778, SD 1.0518506.
/// DIFFERENCE: the paper centres these limits on the mean of all pairs, 0.6021667; we on 0.7092361, the mean whose
/// variance enters them, which gives each subject the same weight.
#[test]
fn repeats_of_a_constant_value_give_the_published_spread() {
    let a = repeated(&cardiac_output(), 0.95).unwrap();
    within(a.within_method * a.within_method, 0.107_227_795, 5e-8);
    within(a.within_reference * a.within_reference, 0.137_874_069, 5e-8);
    within(a.bias, 0.709_236_1, 1e-7);
    within(a.sd * a.sd, 0.912_691_14 + 0.790_277_8 * (0.107_227_795 + 0.137_874_069), 2e-7);
    within(a.sd, 1.051_850_6, 1e-7);
    // t(11) = 2.200985 from the tables; the standard error of the mean is that of twelve subjects.
    within(a.bias_ci[1] - a.bias, 2.200_985 * (0.912_691_14f64 / 12.0).sqrt(), 1e-6);
}

/// Source: the same paper, subjects ignored: SD 0.9610571.
#[test]
fn all_pairs_alike_give_the_published_spread() {
    let (ic, rv): (Vec<Vec<f64>>, Vec<Vec<f64>>) = cardiac_output().into_iter().unzip();
    let a = bland_altman(&ic.concat(), &rv.concat(), 0.95).unwrap();
    within(a.sd, 0.961_057_1, 5e-8);
}

/// The far end of the exact interval of a limit is a one-sided tolerance limit: here 95 % of all differences lie below
/// with 95 % confidence. Source of the factors: NIST/SEMATECH e-Handbook 7.2.6.3, k = 2.911 (n = 10), 2.396 (n = 20),
/// 2.220 (n = 30); Natrella, Experimental Statistics (1963), Table A-7.
#[test]
fn exact_interval_of_a_limit_ends_at_the_tolerance_factor() {
    for (n, factor) in [(10, 2.911), (20, 2.396), (30, 2.220)] {
        let method: Vec<f64> = (0..n).map(|i| f64::from(i * i % 13) - 4.0).collect();
        // Limits that hold 90 % leave 5 % on either side, and so do intervals of 90 %.
        let a = bland_altman(&vec![0.0; method.len()], &method, 0.90).unwrap();
        within((a.limits_ci_exact[1][1] - a.bias) / a.sd, factor, 0.000_5);
        within((a.bias - a.limits_ci_exact[0][0]) / a.sd, factor, 0.000_5);
    }
}

/// Source: Bland, "How can I decide the sample size for a study of agreement?" (from memory): with 100 subjects the limits
/// are known to ±0.34 s, with 200 to ±0.24 s (there with z = 1.96).
#[test]
fn hundred_pairs_settle_a_limit_to_a_third_of_the_spread() {
    let n = pairs_for_limit_width(1.0, 2.0 * 0.34, 0.95).unwrap();
    assert!((98..=104).contains(&n), "{n}");
    let n = pairs_for_limit_width(1.0, 2.0 * 0.24, 0.95).unwrap();
    assert!((198..=206).contains(&n), "{n}");
    // t(99) = 1.984217, √(3/100) = 0.1732051: the width of exactly a hundred pairs.
    assert_eq!(pairs_for_limit_width(1.0, 2.0 * 1.984_217 * 0.173_205_1 + 1e-6, 0.95).unwrap(), 100);
    assert_eq!(pairs_for_limit_width(1.0, 2.0 * 1.984_217 * 0.173_205_1 - 1e-6, 0.95).unwrap(), 101);
    assert!(pairs_for_limit_width(1.0, 1e-12, 0.95).is_err() && pairs_for_limit_width(0.0, 1.0, 0.95).is_err());
}

/// A difference that is exactly 4 % of the mean plus 1: the line is known, and its residuals are what is put on it.
#[test]
fn bias_that_grows_with_size_is_found() {
    let mean: Vec<f64> = (0..12).map(|i| 40.0 + 5.0 * f64::from(i)).collect();
    let wiggle = [0.1, -0.1, -0.1, 0.1, 0.1, -0.1, -0.1, 0.1, 0.1, -0.1, -0.1, 0.1];
    let d: Vec<f64> = mean.iter().zip(wiggle).map(|(m, w)| 1.0 + 0.04 * m + w).collect();
    let reference: Vec<f64> = mean.iter().zip(&d).map(|(m, d)| m - 0.5 * d).collect();
    let method: Vec<f64> = mean.iter().zip(&d).map(|(m, d)| m + 0.5 * d).collect();
    let line = proportional_bias(&reference, &method, 0.95).unwrap();
    // The wiggle's four-beat pattern is orthogonal to a constant and to a slope.
    within_share(line.slope, 0.04, 1e-10);
    within_share(line.intercept, 1.0, 1e-10);
    within_share(line.residual_sd, (12.0 * 0.01f64 / 10.0).sqrt(), 1e-10);
    // Σ(m − m̄)² = 25 · 143; t(10) = 2.228139 from the tables.
    within_share(line.slope_ci[1] - line.slope, 2.228_139 * 0.109_544_512 / (25.0f64 * 143.0).sqrt(), 1e-6);
    assert!(line.slope_p < 1e-9);
    let a = bland_altman(&reference, &method, 0.95).unwrap();
    assert_eq!((a.proportional_slope, a.proportional_p), (line.slope, Some(line.slope_p)));
}
