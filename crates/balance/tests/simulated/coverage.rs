//! Intervals that hold what they state, on invented patients whose truth comes from a model of its own.
//!
//! Each patient gives three hours of mass and of unexplained fluid (half, three quarters and the end of
//! the record) and one forecast. Hours of one patient are not independent, so 200 patients bound a
//! coverage of 95 % to about ±3 % (two standard errors of 200 draws are 3.1 %).

use crate::support::{Scenario, Simulated, simulate};
use bedplate_balance::{BalanceReport, Densities, Options, balance};

const N_PATIENTS: u64 = 200;

fn run(sim: &Simulated) -> BalanceReport {
    // These patients' fluids weigh 1 g/mL just so, and it is known.
    let options = Options { densities: Some(Densities::default()), ..Options::default() };
    balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap()
}

fn hour_of(sim: &Simulated, time: jiff::Timestamp) -> f64 {
    time.duration_since(sim.start).as_secs_f64() / 3600.0
}

/// Share of 95 % intervals that hold the truth: mass, unexplained fluid, mass 24 h ahead.
fn coverage(scenario: Scenario, first_seed: u64) -> [f64; 3] {
    let (mut hits, mut n) = ([0u32; 3], [0u32; 3]);
    for seed in first_seed..first_seed + N_PATIENTS {
        let sim = simulate(scenario, seed);
        let report = run(&sim);
        for hour in [scenario.hours / 2, scenario.hours * 3 / 4, scenario.hours] {
            let row = &report.rows[hour];
            let inside = |error: f64, u: f64| u32::from(error.abs() <= 1.96 * u);
            hits[0] += inside(1000.0 * row.mass_kg - sim.mass_g[60 * hour], 1000.0 * row.u_kg);
            hits[1] += inside(row.unexplained_ml - sim.uncharted_g[60 * hour], row.u_unexplained_ml);
            n[0] += 1;
            n[1] += 1;
        }
        let ahead = &report.forecast[23];
        let truth_kg = sim.mass_g[60 * (scenario.hours + 24)] / 1000.0;
        hits[2] += u32::from((ahead.low_kg..=ahead.high_kg).contains(&truth_kg));
        n[2] += 1;
    }
    [0, 1, 2].map(|k| f64::from(hits[k]) / f64::from(n[k]))
}

/// 95 % less the 3 % that 200 patients leave open; above, an interval may be wide where the noise is
/// below what was assumed, but not for everyone.
fn assert_covers(name: &str, coverage: [f64; 3]) {
    for (what, share) in ["mass", "unexplained", "forecast"].iter().zip(coverage) {
        assert!((0.92..=0.995).contains(&share), "{name}: {what} covered in {share:.3}");
    }
}

#[test]
fn adult_intervals_hold_their_coverage() {
    assert_covers("adult", coverage(Scenario::adult(), 50_000));
}

#[test]
fn child_intervals_hold_their_coverage() {
    assert_covers("child", coverage(Scenario::child(), 60_000));
}

#[test]
fn half_a_litre_uncharted_over_12_hours_is_found_and_little_else() {
    let scenario = Scenario { episode: Some((36.0, 12.0, 500.0)), ..Scenario::adult() };
    let (mut found, mut false_alerts) = (0u32, 0u32);
    for seed in 70_000..70_000 + N_PATIENTS {
        let sim = simulate(scenario, seed);
        let hours: Vec<f64> = run(&sim).alerts.iter().map(|alert| hour_of(&sim, alert.time)).collect();
        let in_time = |hour: &f64| (36.0..=54.0).contains(hour);
        found += u32::from(hours.iter().any(in_time));
        false_alerts += hours.iter().filter(|hour| !in_time(hour)).count() as u32;
    }
    // At least 95 % must be found; 200 patients with a true 97 % stay above 94 % but once in a hundred.
    assert!(found >= 188, "{found} of {N_PATIENTS} found");
    let per_day = f64::from(false_alerts) / (N_PATIENTS as f64 * 54.0 / 24.0);
    assert!(per_day <= 0.1, "{per_day:.3} false alerts a patient-day");
}

#[test]
fn nothing_missing_gives_at_most_one_alert_in_ten_patient_days() {
    let mut alerts = 0;
    for seed in 80_000..80_000 + N_PATIENTS {
        alerts += run(&simulate(Scenario::adult(), seed)).alerts.len();
    }
    let per_day = alerts as f64 / (N_PATIENTS as f64 * 3.0);
    assert!(per_day <= 0.1, "{per_day:.3} false alerts a patient-day");
}

/// Charted totals are plain sums from the first row, and unexplained is weighed less charted.
#[test]
fn running_totals_are_exact() {
    let sim = simulate(Scenario::adult(), 90_001);
    let report = run(&sim);
    let sum: f64 = sim
        .chart
        .iter()
        .map(|entry| match entry.direction {
            formats::chart::Direction::Intake => entry.volume_ml,
            formats::chart::Direction::Output => -entry.volume_ml,
        })
        .sum();
    let last = report.rows.last().unwrap();
    assert!((last.charted_ml - sum).abs() < 1e-9);
    for row in &report.rows {
        assert!((row.unexplained_ml - (row.weighed_ml - row.charted_ml)).abs() < 1e-9);
    }
    assert!(report.rows[0].weighed_ml.abs() < 1e-9);
}
