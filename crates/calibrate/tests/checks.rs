//! Charts of check standards: the worked examples of the e-Handbook, a shift that only the moving average sees, the term.

use std::f64::consts::FRAC_2_SQRT_PI;

use calibrate::checks::{CheckChart, CheckError, CheckOptions, CheckReport, SignalKind, checks};
use formats::checks::Check;
use formats::deck::Deck;
use published::within;
use rand::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// A check a day from 2031-01-01 on, of one body.
fn daily(grams: &[f64], mass_kg: Option<f64>) -> Vec<Check> {
    let start: jiff::Timestamp = "2031-01-01T07:00:00Z".parse().unwrap();
    let check = |(i, g): (usize, &f64)| Check {
        line: i + 2,
        time: start + jiff::SignedDuration::from_hours(24 * i64::try_from(i).unwrap()),
        standard: "F1".into(),
        shown_kg: mass_kg.unwrap_or(0.0) + g / 1000.0,
        mass_kg,
        note: None,
    };
    grams.iter().enumerate().map(check).collect()
}

fn charted(grams: &[f64], mass_kg: Option<f64>, options: &CheckOptions) -> CheckReport {
    checks(&daily(grams, mass_kg), None, options).unwrap()
}

fn kinds(chart: &CheckChart) -> Vec<(SignalKind, usize, usize)> {
    chart.signals.iter().map(|s| (s.kind, s.line, s.last_line)).collect()
}

fn deck() -> Deck {
    formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap()
}

/// A scatter of ± 2 g without drift, eight to the period.
fn quiet(n: usize) -> Vec<f64> {
    (0..n).map(|i| [1.0, -2.0, 0.5, 1.5, -1.0, 2.0, -0.5, -1.5][i % 8]).collect()
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.2 (from memory; the arithmetic agrees): ten batches, mean 50.81, mean moving range
/// 1.8778, limits 45.8159 and 55.8041 with d₂ rounded to 1.128; nothing outside.
#[test]
fn ten_batches_of_the_handbook_give_its_limits() {
    let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let report = charted(&flow, None, &CheckOptions { baseline: 10, ..CheckOptions::default() });
    let chart = &report.charts[0];
    within(1000.0 * chart.from_kg, 50.81, 5e-3);
    assert!(chart.centre_g.abs() < 1e-9);
    // 2/√π is 1.128379, where the handbook has 1.128.
    let half = (chart.limits_g[1] - chart.centre_g) * FRAC_2_SQRT_PI / 1.128;
    within(half, 55.804_1 - 50.81, 6e-5);
    within(chart.sd_g * FRAC_2_SQRT_PI, 1.877_8, 5e-5);
    assert!(report.in_control, "{:?}", chart.signals);
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.4 (from memory; the arithmetic agrees): target 50, s = 2.0539, λ = 0.3; averages to
/// two places, settled limits 52.5884 and 47.4115. A baseline of that mean and spread comes before; what its end leaves in the
/// average fades by 0.7 a check.
#[test]
fn twenty_readings_of_the_handbook_give_its_moving_averages() {
    let readings = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
        50.73, 51.23, 51.94, 51.99,
    ];
    let half = 2.053_9 * FRAC_2_SQRT_PI / 2.0;
    let mut grams: Vec<f64> = (0..6).map(|i| if i % 2 == 0 { 50.0 + half } else { 50.0 - half }).collect();
    grams.extend(readings);
    let options = CheckOptions { baseline: 6, weight: 0.3, ..CheckOptions::default() };
    let report = charted(&grams, Some(20.0), &options);
    let points = &report.charts[0].points;
    let mut left = points[5].average_g - 50.0;
    for (point, printed) in points[6..].iter().zip(printed) {
        left *= 0.7;
        within(point.average_g - left, printed, 5.001e-3);
    }
    let [low, high] = points[25].average_limits_g;
    within(high, 52.588_4, 5e-4);
    within(low, 47.411_5, 5e-4);
    assert!(report.in_control, "{:?}", report.charts[0].signals);
}

/// A shift of 1.5 standard deviations that stays: no single check shows it, the moving average does within a few checks.
#[test]
fn a_small_shift_that_stays_is_seen_by_the_moving_average_alone() {
    let mut grams = quiet(24);
    let sd = charted(&grams, Some(20.0), &CheckOptions::default()).charts[0].sd_g;
    grams.extend(quiet(16).iter().map(|g| g + 1.5 * sd));
    let chart = charted(&grams, Some(20.0), &CheckOptions::default()).charts.remove(0);
    assert!(chart.signals.iter().all(|s| s.kind == SignalKind::Drifted), "{:?}", chart.signals);
    let first = chart.signals[0].line;
    assert!((26..=34).contains(&first), "shifted from line 26 on, seen on line {first}");
    assert!(chart.signals[0].text.contains("above"), "{}", chart.signals[0].text);
}

#[test]
fn one_check_far_off_and_a_step_are_named_where_they_are() {
    let mut grams = quiet(30);
    grams[25] = 40.0;
    let chart = charted(&grams, None, &CheckOptions::default()).charts.remove(0);
    let named = kinds(&chart);
    assert!(named.contains(&(SignalKind::BeyondLimits, 27, 27)), "{named:?}");
    assert!(named.contains(&(SignalKind::Jump, 27, 27)) && named.contains(&(SignalKind::Jump, 28, 28)), "{named:?}");
    // A jump of 18 standard deviations stays in the average for a while: one signal, not one a check.
    assert_eq!(named.iter().filter(|n| n.0 == SignalKind::Drifted).count(), 1, "{named:?}");
    let mut spoilt = quiet(20);
    spoilt[3] = 40.0;
    let chart = charted(&spoilt, None, &CheckOptions::default()).charts.remove(0);
    assert!(chart.notes.iter().any(|n| n.contains("baseline itself")), "{:?}", chart.notes);
}

/// The slope and its uncertainty by the textbook formulas, and the term from the slope: e = 100 g at 20 kg has a permissible error of
/// 50 g, a third of it is 16.7 g.
#[test]
fn drift_and_term_follow_from_the_line() {
    let grams: Vec<f64> = quiet(40).iter().enumerate().map(|(i, g)| g + 0.1 * i as f64).collect();
    let rows = daily(&grams, Some(20.0));
    let options = CheckOptions { reach: 6.0, ..CheckOptions::default() };
    let chart = checks(&rows, Some(&deck()), &options).unwrap().charts.remove(0);
    let (n, mean_x) = (40.0, 19.5);
    let mean_y = grams.iter().sum::<f64>() / n;
    let sxx: f64 = (0..40).map(|i| (f64::from(i) - mean_x).powi(2)).sum();
    let slope = grams.iter().enumerate().map(|(i, g)| (i as f64 - mean_x) * (g - mean_y)).sum::<f64>() / sxx;
    let at = |x: f64| mean_y + slope * (x - mean_x);
    let s2 = grams.iter().enumerate().map(|(i, g)| (g - at(i as f64)).powi(2)).sum::<f64>() / (n - 2.0);
    let trend = chart.trend.unwrap();
    assert!((trend.per_30_days_g - 30.0 * slope).abs() < 1e-9 && trend.is_significant);
    assert!((trend.u_per_30_days_g - 30.0 * (s2 / sxx).sqrt()).abs() < 1e-9);
    assert!(chart.signals.is_empty(), "{:?}", chart.signals);
    let reaches = |x: f64| at(x) + 2.0 * (s2 * (1.0 / n + (x - mean_x).powi(2) / sxx)).sqrt() >= 50.0 / 3.0;
    let days = (0..).map(f64::from).find(|d| reaches(39.0 + d)).unwrap();
    let last: jiff::Timestamp = "2031-02-09T07:00:00Z".parse().unwrap();
    let on = last + jiff::SignedDuration::from_hours(24 * days as i64);
    let due = chart.due.unwrap();
    assert_eq!(due.on, on.to_string()[..10], "{}", due.why);
    assert!(due.why.contains("a third of the permissible error at 20.0 kg, 17 g"), "{}", due.why);
}

#[test]
fn in_control_the_term_is_a_year_and_out_of_control_it_is_now() {
    let steady = checks(&daily(&quiet(60), Some(20.0)), Some(&deck()), &CheckOptions::default()).unwrap();
    let due = steady.charts[0].due.clone().unwrap();
    assert_eq!(due.on, "2032-02-29", "{}", due.why);
    let mut grams = quiet(60);
    grams[50] = 40.0;
    let upset = checks(&daily(&grams, Some(20.0)), Some(&deck()), &CheckOptions::default()).unwrap();
    let due = upset.charts[0].due.clone().unwrap();
    assert!(due.on == "2031-03-01" && due.why.contains("out of control"), "{due:?}");
    assert!(checks(&daily(&quiet(60), None), None, &CheckOptions::default()).unwrap().charts[0].due.is_none());
}

/// How many checks of a sound deck go by for one signal: independent normal checks, `watched` a deck after the baseline.
fn checks_a_false_signal(decks: u64, baseline: usize, watched: usize) -> f64 {
    let options = CheckOptions { baseline, ..CheckOptions::default() };
    let mut checks_with_one = 0;
    for deck in 0..decks {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(20_311_104 + deck);
        let grams: Vec<f64> = (0..baseline + watched).map(|_| StandardNormal.sample(&mut rng)).collect();
        let chart = charted(&grams, None, &options).charts.remove(0);
        let last = chart.points[baseline - 1].line;
        let mut lines: Vec<usize> = chart.signals.iter().map(|s| s.line).filter(|line| *line > last).collect();
        lines.dedup();
        checks_with_one += lines.len();
    }
    decks as f64 * watched as f64 / f64::from(u32::try_from(checks_with_one).unwrap())
}

/// Single checks alone would give one in 370 with known limits (tables of the normal distribution); moving range and moving average
/// signal too, and twenty checks know the limits badly. The ranges are what "about 30" and "about 80" of the manual bear.
#[test]
fn false_signals_are_as_rare_as_the_manual_says() {
    let twenty = checks_a_false_signal(600, CheckOptions::default().baseline, 260);
    assert!((26.0..34.0).contains(&twenty), "one in {twenty}");
    let many = checks_a_false_signal(20, 2000, 4000);
    assert!((72.0..88.0).contains(&many), "one in {many}");
    let manual = include_str!("../../../docs/stages/calibrate.md").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        manual.contains("about one check in 80 where its scatter is well known, one in 30 where twenty checks set")
    );
}

#[test]
fn bodies_of_one_file_are_charted_apart() {
    let mut rows = daily(&quiet(20), Some(20.0));
    let mut other = daily(&quiet(20).iter().map(|g| 10.0 * g).collect::<Vec<f64>>(), Some(5.0));
    other.iter_mut().for_each(|c| c.standard = "F2".into());
    rows.extend(other);
    let report = checks(&rows, None, &CheckOptions::default()).unwrap();
    assert_eq!(report.charts.len(), 2);
    assert!((report.charts[1].sd_g / report.charts[0].sd_g - 10.0).abs() < 1e-6);
}

#[test]
fn what_cannot_be_charted_is_said() {
    let of = |grams: &[f64], options: CheckOptions| checks(&daily(grams, Some(20.0)), None, &options).unwrap_err();
    let usual = CheckOptions::default();
    assert!(matches!(of(&quiet(4), usual), CheckError::TooFew { found: 4, .. }));
    assert!(of(&[0.0; 9], usual).to_string().contains("all show 20 kg"));
    for (options, name) in [
        (CheckOptions { baseline: 4, ..usual }, "baseline"),
        (CheckOptions { weight: 0.0, ..usual }, "weight"),
        (CheckOptions { weight: 1.1, ..usual }, "weight"),
        (CheckOptions { weight: f64::NAN, ..usual }, "weight"),
        (CheckOptions { reach: -1.0, ..usual }, "reach"),
    ] {
        assert!(of(&quiet(20), options).to_string().contains(name), "{name}");
    }
    let endless = of(&[1.0, f64::INFINITY, 2.0, 1.0, 2.0], usual);
    assert!(matches!(endless, CheckError::Chart { .. }), "{endless}");
}
