//! Gauge repeatability and reproducibility against the example of the AIAG manual.

use bedplate_stats::anova::{Gauge, GaugeOptions, gauge, two_way};

use crate::support::columns;
use published::{within, within_share};

fn study(pool_above: f64) -> Gauge {
    let data = columns(include_str!("../data/gauge.csv"));
    let level = |c: &[f64]| c.iter().map(|v| *v as usize).collect::<Vec<_>>();
    gauge(&level(&data[0]), &level(&data[1]), &data[3], GaugeOptions { pool_above }).unwrap()
}

/// Source: AIAG, Measurement Systems Analysis, 4th ed., gauge study by analysis of variance, as printed: EV 0.199933,
/// AV 0.226838, GRR 0.302373, PV 1.042327, TV 1.085; contributions 3.4, 4.4, 7.8 and 92.2 %; GRR 27.9 % of TV;
/// 1.41 PV/GRR 4.861, rounded down to 4 categories.
#[test]
fn pooled_study_gives_the_published_components() {
    let g = study(GaugeOptions::default().pool_above);
    assert!(g.pooled && g.interaction.sd.abs() <= 0.0);
    within(g.repeatability.sd, 0.199_933, 5e-7);
    within(g.appraiser.sd, 0.226_838, 5.5e-7);
    // Printed from rounded figures: √(0.199933² + 0.226838²) is 0.302372.
    within(g.gauge.sd, 0.302_373, 2e-6);
    within(g.part.sd, 1.042_327, 6e-7);
    within(g.total_sd, 1.085, 5e-4);
    for (share, percent) in [(g.repeatability, 3.4), (g.appraiser, 4.4), (g.gauge, 7.8), (g.part, 92.2)] {
        within(100.0 * share.of_variance, percent, 0.05);
    }
    within(100.0 * g.gauge.of_sd, 27.9, 0.05);
    within(g.category_ratio, 4.861, 6e-4);
    assert_eq!(g.distinct_categories(), 4);
    assert_eq!(g.reproducibility, g.appraiser);
}

/// Source: the same data by statsmodels 0.15.0 (ordinary least squares with both factors and their interaction), to the
/// digits noted.
#[test]
fn table_agrees_with_an_independent_fit() {
    let g = study(0.25);
    let i = g.table.interaction.unwrap();
    for (source, df, ss) in [
        (g.table.first, 9.0, 88.361_934),
        (g.table.second, 2.0, 3.167_262),
        (i, 18.0, 0.358_982),
        (g.table.error, 60.0, 2.758_933),
    ] {
        within(source.df, df, 1e-12);
        within(source.ss, ss, 5e-7);
    }
    let f = g.interaction_f.unwrap();
    within(f.f, 0.433_72, 5e-6);
    within(f.p, 0.974_11, 5e-6);
    within(g.table.first.against(&i).f, 492.291, 5e-4);
    within(g.table.second.against(&i).f, 79.406, 5e-4);
    within(g.table.first.against(&g.table.error).f, 213.517, 5e-4);
    within(g.table.second.against(&g.table.error).f, 34.440, 5e-4);
}

/// Source: the same data without pooling, computed: EV 0.2144347, AV 0.22830445, GRR 0.3132174,
/// PV 1.0433945.
#[test]
fn study_that_never_pools_keeps_the_error_apart() {
    let g = study(1.0);
    assert!(!g.pooled);
    within(g.repeatability.sd, 0.214_434_7, 5e-8);
    within(g.appraiser.sd, 0.228_304_45, 5e-9);
    within(g.gauge.sd, 0.313_217_4, 5e-8);
    within(g.part.sd, 1.043_394_5, 5e-8);
    // The interaction's mean square is below the error's: no component of its own.
    assert!(g.interaction.sd.abs() <= 0.0);
}

/// Row order means nothing, to the last bit; and the four sums of squares add up to that about the mean.
#[test]
fn sums_of_squares_add_up_in_any_order() {
    let data = columns(include_str!("../data/gauge.csv"));
    let level = |c: &[f64]| c.iter().map(|v| *v as usize).collect::<Vec<_>>();
    let (part, appraiser, value) = (level(&data[0]), level(&data[1]), &data[3]);
    let t = two_way(&part, &appraiser, value).unwrap();
    let total: f64 = value.iter().map(|v| (v - t.mean) * (v - t.mean)).sum();
    within_share(t.first.ss + t.second.ss + t.interaction.unwrap().ss + t.error.ss, total, 1e-13);
    let backwards = |v: &[usize]| v.iter().rev().copied().collect::<Vec<_>>();
    let reversed: Vec<f64> = value.iter().rev().copied().collect();
    let again = two_way(&backwards(&part), &backwards(&appraiser), &reversed).unwrap();
    assert_eq!(again, t);
}
