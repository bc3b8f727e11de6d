//! Laws that hold for whatever is measured.

use bedplate_stats::agreement::{
    bland_altman, concordance, deming, passing_bablok, proportional_bias, repeated, repeated_varying, share_within,
};
use bedplate_stats::allan::{AllanError, Deviation, Record};
use bedplate_stats::anova::{GaugeOptions, gauge, two_way};
use bedplate_stats::control_chart::{AverageOptions, Process, individuals, moving_average};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn config() -> ProptestConfig {
    ProptestConfig { failure_persistence: None, rng_seed: RngSeed::Fixed(17), ..ProptestConfig::with_cases(128) }
}

/// Pairs of two methods that follow one another: a true value and an error of each.
fn pairs(n: std::ops::Range<usize>) -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    prop::collection::vec((20.0..200.0_f64, -3.0..3.0_f64, -3.0..3.0_f64), n)
        .prop_map(|rows: Vec<(f64, f64, f64)>| rows.into_iter().map(|(t, a, b)| (t + a, t + b)).unzip())
}

/// Equal to the rounding of a few hundred operations on numbers of that size.
fn same(a: f64, b: f64, size: f64) -> bool {
    (a - b).abs() <= 1e-11 * size.abs().max(1.0)
}

fn same_ends(a: [f64; 2], b: [f64; 2], size: f64) -> bool {
    same(a[0], b[0], size) && same(a[1], b[1], size)
}

fn mirrored(a: [f64; 2]) -> [f64; 2] {
    [-a[1], -a[0]]
}

proptest! {
    #![proptest_config(config())]

    /// Exchange of the methods turns the sign of the bias and of everything about it.
    #[test]
    fn exchange_of_methods_turns_the_bias((x, y) in pairs(3..40)) {
        let (a, b) = (bland_altman(&x, &y, 0.95).unwrap(), bland_altman(&y, &x, 0.95).unwrap());
        prop_assert!(same(a.bias, -b.bias, 10.0) && same(a.sd, b.sd, 10.0));
        prop_assert!(same_ends(a.bias_ci, mirrored(b.bias_ci), 10.0));
        prop_assert!(same_ends(a.limits, mirrored(b.limits), 10.0));
        prop_assert!(same_ends(a.limits_ci[0], mirrored(b.limits_ci[1]), 10.0));
        prop_assert!(same_ends(a.limits_ci_exact[0], mirrored(b.limits_ci_exact[1]), 100.0));
        prop_assert!(same(a.proportional_slope, -b.proportional_slope, 1.0));
        let (c, d) = (concordance(&x, &y, 0.95).unwrap(), concordance(&y, &x, 0.95).unwrap());
        prop_assert!(same(c.value, d.value, 1.0));
    }

    /// Another unit scales what has the unit and leaves what has none; a common offset leaves every difference.
    #[test]
    fn units_scale_and_offsets_vanish((x, y) in pairs(4..40), scale in 0.01..100.0_f64, offset in -50.0..50.0_f64) {
        let moved = |v: &[f64]| v.iter().map(|v| scale * v + offset).collect::<Vec<_>>();
        let (u, v) = (moved(&x), moved(&y));
        let size = 1000.0 * scale;
        let (a, b) = (bland_altman(&x, &y, 0.95).unwrap(), bland_altman(&u, &v, 0.95).unwrap());
        prop_assert!(same(scale * a.bias, b.bias, size) && same(scale * a.sd, b.sd, size));
        prop_assert!(same_ends(a.limits.map(|l| scale * l), b.limits, size));
        prop_assert!(same_ends(a.limits_ci_exact[1].map(|l| scale * l), b.limits_ci_exact[1], size));
        let (c, d) = (concordance(&x, &y, 0.95).unwrap(), concordance(&u, &v, 0.95).unwrap());
        prop_assert!(same(c.value, d.value, 1e4 / scale.min(1.0)) && same(c.pearson, d.pearson, 1e4 / scale.min(1.0)));
        let only_scaled = |v: &[f64]| v.iter().map(|v| scale * v).collect::<Vec<_>>();
        prop_assert!(same(share_within(&x, &y, 2.0), share_within(&only_scaled(&x), &only_scaled(&y), 2.0), 1.0));
    }

    /// The order of the pairs is nothing.
    #[test]
    fn order_of_pairs_is_nothing((x, y) in pairs(4..40), turn in 0usize..40) {
        let turned = |v: &[f64]| { let mut v = v.to_vec(); v.rotate_left(turn % x.len()); v };
        let (u, v) = (turned(&x), turned(&y));
        let (a, b) = (bland_altman(&x, &y, 0.9).unwrap(), bland_altman(&u, &v, 0.9).unwrap());
        prop_assert!(same_ends(a.limits, b.limits, 100.0) && same_ends(a.bias_ci, b.bias_ci, 100.0));
        let (a, b) = (passing_bablok(&x, &y, 0.9).unwrap(), passing_bablok(&u, &v, 0.9).unwrap());
        prop_assert!(same(a.slope, b.slope, a.slope));
        if let (Ok(a), Ok(b)) = (deming(&x, &y, 1.0, 0.9), deming(&u, &v, 1.0, 0.9)) {
            // A sample that hardly spreads magnifies the rounding of its moments.
            prop_assert!(same(a.slope, b.slope, 1e3 * a.slope) && same(a.slope_se, b.slope_se, 1e4 * (1.0 + a.slope_se)));
        }
    }

    /// Exchange of the methods with the inverse ratio gives the inverse line; at ratio 1 both methods stand alike.
    #[test]
    fn deming_is_one_line_from_both_sides((x, y) in pairs(5..40), ratio in 0.2..5.0_f64) {
        let spread = x.iter().fold(0.0, |s: f64, v| s.max((v - x[0]).abs()));
        prop_assume!(spread > 20.0);
        let (Ok(a), Ok(b)) = (deming(&x, &y, ratio, 0.95), deming(&y, &x, 1.0 / ratio, 0.95)) else {
            return Err(TestCaseError::reject("no correlation"));
        };
        prop_assert!(same(a.slope * b.slope, 1.0, 100.0));
        prop_assert!(same(b.intercept, -a.intercept / a.slope, 1e4));
    }

    /// Points on a line give that line, whatever the ratio and by whichever method.
    #[test]
    fn points_on_a_line_give_the_line(
        x in prop::collection::vec(20.0..200.0_f64, 5..30),
        slope in 0.5..2.0_f64,
        intercept in -10.0..10.0_f64,
        ratio in 0.1..10.0_f64,
    ) {
        let spread = x.iter().fold(0.0, |s: f64, v| s.max((v - x[0]).abs()));
        prop_assume!(spread > 10.0);
        let y: Vec<f64> = x.iter().map(|x| intercept + slope * x).collect();
        let d = deming(&x, &y, ratio, 0.95).unwrap();
        prop_assert!((d.slope - slope).abs() < 1e-9 && (d.intercept - intercept).abs() < 1e-7 && d.slope_se < 1e-9);
        let p = passing_bablok(&x, &y, 0.95).unwrap();
        prop_assert!((p.slope - slope).abs() < 1e-9 && (p.intercept - intercept).abs() < 1e-7);
        // d = a + (b − 1) x over (x + y)/2 = a/2 + (b + 1)/2 x has the slope 2 (b − 1)/(b + 1).
        let bias = proportional_bias(&x, &y, 0.95).unwrap();
        prop_assert!((bias.slope - 2.0 * (slope - 1.0) / (slope + 1.0)).abs() < 1e-9);
    }

    /// Rising pairs have only positive slopes; with an odd number of them exchange of the methods inverts the median.
    #[test]
    fn passing_bablok_is_one_line_from_both_sides(steps in prop::collection::vec((0.1..5.0_f64, 0.1..5.0_f64), 6)) {
        let (mut x, mut y) = (vec![], vec![]);
        let (mut u, mut v) = (0.0, 0.0);
        for (a, b) in steps {
            u += a;
            v += b;
            x.push(u);
            y.push(v);
        }
        let (a, b) = (passing_bablok(&x, &y, 0.95).unwrap(), passing_bablok(&y, &x, 0.95).unwrap());
        prop_assert!(same(a.slope * b.slope, 1.0, 10.0));
        prop_assert!(same(a.slope_ci[0] * b.slope_ci[1], 1.0, 10.0) || !b.slope_ci[1].is_finite());
    }

    /// Concordance is precision times accuracy, neither above 1; a bias can only lower it.
    #[test]
    fn concordance_is_below_correlation((x, y) in pairs(4..40), offset in 0.0..50.0_f64) {
        let c = concordance(&x, &y, 0.95).unwrap();
        prop_assert!(c.value.abs() <= c.pearson.abs() + 1e-12 && c.pearson.abs() <= 1.0 + 1e-12);
        prop_assert!(same(c.value, c.pearson * c.accuracy, 1.0) && c.accuracy <= 1.0 + 1e-12);
        if let Some([low, high]) = c.ci {
            prop_assert!(low <= c.value && c.value <= high && low >= -1.0 && high <= 1.0);
        }
        // Methods set to the same mean, then one of them moved away.
        let shift = y.iter().sum::<f64>() / y.len() as f64 - x.iter().sum::<f64>() / x.len() as f64;
        let level: Vec<f64> = y.iter().map(|v| v - shift).collect();
        let away: Vec<f64> = level.iter().map(|v| v + offset).collect();
        let (near, far) = (concordance(&x, &level, 0.95).unwrap().value, concordance(&x, &away, 0.95).unwrap().value);
        prop_assert!(far.abs() <= near.abs() + 1e-12);
    }

    /// Every interval holds its estimate, and a higher coverage holds the lower one.
    #[test]
    fn intervals_are_nested((x, y) in pairs(5..40)) {
        let (narrow, wide) = (bland_altman(&x, &y, 0.8).unwrap(), bland_altman(&x, &y, 0.95).unwrap());
        prop_assert!(wide.bias_ci[0] < narrow.bias_ci[0] && narrow.bias_ci[0] < narrow.bias);
        prop_assert!(wide.limits[1] > narrow.limits[1]);
        for (limit, ci) in wide.limits.into_iter().zip(wide.limits_ci_exact) {
            prop_assert!(ci[0] < limit && limit < ci[1]);
        }
    }

    /// The order of subjects is nothing, a pair that repeats its subject's others adds no spread, and a constant reference
    /// makes both models see the same scatter within subjects.
    #[test]
    fn repeats_obey_their_models(rows in prop::collection::vec(prop::collection::vec(-5.0..5.0_f64, 2..5), 3..12)) {
        let subjects: Vec<(Vec<f64>, Vec<f64>)> = rows.iter().map(|d| (vec![70.0; d.len()], d.clone())).collect();
        let reversed: Vec<(Vec<f64>, Vec<f64>)> = subjects.iter().rev().cloned().collect();
        let (a, b) = (repeated_varying(&subjects, 0.95).unwrap(), repeated_varying(&reversed, 0.95).unwrap());
        prop_assert!(same(a.sd, b.sd, 10.0) && same_ends(a.limits_ci[1], b.limits_ci[1], 1000.0));
        prop_assert!(a.sd >= a.within_sd - 1e-12 && a.limits_ci[1][0] <= a.limits[1] && a.limits[1] <= a.limits_ci[1][1]);
        let c = repeated(&subjects, 0.95).unwrap();
        prop_assert!(same(c.within_method, a.within_sd, 10.0) && c.within_reference.abs() < 1e-12);
        prop_assert!(c.limits_ci[0][0] <= c.limits[0] && c.limits[0] <= c.limits_ci[0][1]);
    }
}

type Statistic = fn(&Record, usize) -> Result<Deviation, AllanError>;

const STATISTICS: [Statistic; 3] = [Record::allan, Record::overlapping, Record::modified];

proptest! {
    #![proptest_config(config())]

    /// An offset is not seen, a factor scales, and time may run backwards.
    #[test]
    fn allan_sees_neither_offset_nor_direction(
        y in prop::collection::vec(-1.0..1.0_f64, 20..80),
        factor in 1usize..6,
        offset in -1e3..1e3_f64,
        scale in 0.1..10.0_f64,
    ) {
        let moved: Vec<f64> = y.iter().map(|y| offset + scale * y).collect();
        let backwards: Vec<f64> = y.iter().rev().copied().collect();
        let [a, b, c] = [&y, &moved, &backwards].map(|v| Record::from_frequency(v, 2.0).unwrap());
        for statistic in STATISTICS {
            let (a, b) = (statistic(&a, factor).unwrap(), statistic(&b, factor).unwrap());
            prop_assert!((scale * a.value - b.value).abs() < 1e-9);
            prop_assert_eq!(a.terms, b.terms);
        }
        for statistic in [Record::overlapping, Record::modified] {
            prop_assert!(same(statistic(&a, factor).unwrap().value, statistic(&c, factor).unwrap().value, 1.0));
        }
    }

    /// Averages of m readings are readings of their own: the plain deviation at factor m is theirs at factor 1.
    #[test]
    fn averaging_first_is_the_same(y in prop::collection::vec(-1.0..1.0_f64, 20..80), factor in 1usize..6) {
        let averages: Vec<f64> = y.chunks_exact(factor).map(|c| c.iter().sum::<f64>() / factor as f64).collect();
        let record = Record::from_frequency(&y, 1.0).unwrap();
        let averaged = Record::from_frequency(&averages, factor as f64).unwrap();
        prop_assert!(same(record.allan(factor).unwrap().value, averaged.allan(1).unwrap().value, 1.0));
        let ones = STATISTICS.iter().map(|s| s(&record, 1).unwrap().value).collect::<Vec<_>>();
        prop_assert!(same(ones[0], ones[1], 1.0) && same(ones[0], ones[2], 1.0));
    }

    /// Overlapping differences are worth more than those side by side and less than independent ones would be.
    #[test]
    fn degrees_of_freedom_lie_between(n in 12usize..300, factor in 1usize..6) {
        let record = Record::from_frequency(&vec![0.0; n - 1], 1.0).unwrap();
        let edf = record.white_edf(factor).unwrap();
        let terms = record.overlapping(factor).unwrap().terms as f64;
        prop_assert!(edf >= 1.0 - 1e-12 && edf <= terms);
    }

    /// A constant given to one appraiser moves that factor's variation and nothing else's; transposed data give the
    /// transposed table.
    #[test]
    fn sources_of_variation_keep_apart(
        values in prop::collection::vec(-1.0..1.0_f64, 24),
        shift in -10.0..10.0_f64,
        scale in 0.1..10.0_f64,
    ) {
        let part: Vec<usize> = (0..24).map(|i| i / 6).collect();
        let appraiser: Vec<usize> = (0..24).map(|i| i % 3).collect();
        let t = two_way(&part, &appraiser, &values).unwrap();
        let moved: Vec<f64> = values.iter().zip(&appraiser).map(|(v, a)| v + if *a == 1 { shift } else { 0.0 }).collect();
        let m = two_way(&part, &appraiser, &moved).unwrap();
        prop_assert!(same(t.first.ss, m.first.ss, 100.0) && same(t.error.ss, m.error.ss, 100.0));
        prop_assert!(same(t.interaction.unwrap().ss, m.interaction.unwrap().ss, 100.0));
        let transposed = two_way(&appraiser, &part, &values).unwrap();
        prop_assert!(same(t.first.ss, transposed.second.ss, 1.0) && same(t.second.ss, transposed.first.ss, 1.0));
        let g = gauge(&part, &appraiser, &values, GaugeOptions::default()).unwrap();
        prop_assert!(same(g.gauge.of_variance + g.part.of_variance, 1.0, 1.0));
        let scaled: Vec<f64> = values.iter().map(|v| scale * v).collect();
        let s = gauge(&part, &appraiser, &scaled, GaugeOptions::default()).unwrap();
        prop_assert!(same(scale * g.gauge.sd, s.gauge.sd, scale) && same(g.part.of_sd, s.part.of_sd, 1e3));
    }

    /// Charts move and scale with their readings; limits of averages open from the first reading to the settled ones.
    #[test]
    fn charts_move_with_their_readings(
        values in prop::collection::vec(-1.0..1.0_f64, 3..40),
        offset in -100.0..100.0_f64,
        scale in 0.1..10.0_f64,
        weight in 0.05..1.0_f64,
    ) {
        let moved: Vec<f64> = values.iter().map(|v| offset + scale * v).collect();
        let (a, b) = (individuals(&values, 3.0).unwrap(), individuals(&moved, 3.0).unwrap());
        prop_assert!(same(offset + scale * a.limits.upper, b.limits.upper, 1e3) && same(scale * a.sd, b.sd, 1e3));
        let options = AverageOptions { weight, reach: 3.0 };
        let a = moving_average(&values, Process { target: 0.1, sd: 0.5 }, options).unwrap();
        let b = moving_average(&moved, Process { target: offset + 0.1 * scale, sd: 0.5 * scale }, options).unwrap();
        for (a, b) in a.iter().zip(&b) {
            prop_assert!(same(offset + scale * a.average, b.average, 1e3));
            prop_assert!(same(offset + scale * a.limits.lower, b.limits.lower, 1e3));
        }
        let settled = 0.1 + 1.5 * (weight / (2.0 - weight)).sqrt();
        prop_assert!(a.windows(2).all(|w| w[0].limits.upper <= w[1].limits.upper && w[1].limits.upper <= settled + 1e-12));
    }
}
