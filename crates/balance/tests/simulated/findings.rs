//! What does not fit is found and named: entries, weights, pads, gaps. Patients are invented.

use crate::support::{Scenario, Simulated, simulate, start};
use bedplate_balance::{Alert, AlertKind, BalanceError, BalanceReport, Options, Removal, Span, balance};
use formats::chart::{Direction, Entry, Route};
use formats::patient::Plan;
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};

/// A quiet adult: one bolus or none, so that what is put in stands alone.
fn quiet() -> Scenario {
    Scenario { boluses_a_day: 0.0, hours: 48, ..Scenario::adult() }
}

fn run(sim: &Simulated) -> BalanceReport {
    balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()).unwrap()
}

fn at(hour: f64) -> Timestamp {
    start() + SignedDuration::from_secs_f64(3600.0 * hour)
}

fn entry(hour: f64, direction: Direction, route: Route, volume_ml: f64) -> Entry {
    Entry { line: 900, time: at(hour), direction, route, volume_ml, leaves_deck: true, note: "put in".to_owned() }
}

/// Adds mass to all weights from an hour on, g.
fn shift(sim: &mut Simulated, from_hour: f64, grams: f64) {
    for weight in sim.weights.iter_mut().filter(|weight| weight.time.unwrap() >= at(from_hour)) {
        weight.patient_kg = weight.patient_kg.map(|kg| kg + grams / 1000.0);
    }
}

fn of_kind(report: &BalanceReport, kind: AlertKind) -> Vec<&Alert> {
    report.alerts.iter().filter(|alert| alert.kind == kind).collect()
}

#[test]
fn a_bolus_written_twice_is_contradicted() {
    let mut sim = simulate(quiet(), 1);
    shift(&mut sim, 20.0, 500.0);
    sim.chart.push(entry(20.1, Direction::Intake, Route::Oral, 500.0));
    assert!(of_kind(&run(&sim), AlertKind::ContradictedEntry).is_empty());
    sim.chart.push(Entry { note: "again".to_owned(), ..entry(20.5, Direction::Intake, Route::Oral, 500.0) });
    let report = run(&sim);
    let found = of_kind(&report, AlertKind::ContradictedEntry);
    assert_eq!(found.len(), 1, "{:?}", report.alerts);
    assert!(found[0].text.contains("written twice"), "{}", found[0].text);
    // Counted all the same: the chart's total is what the chart says.
    let sum: f64 =
        sim.chart.iter().map(|e| if e.direction == Direction::Intake { e.volume_ml } else { -e.volume_ml }).sum();
    assert!((report.rows.last().unwrap().charted_ml - sum).abs() < 1e-9);
    // And not relied on: the mass stays with the weights.
    let row = report.rows.last().unwrap();
    assert!((1000.0 * row.mass_kg - sim.mass_g[60 * 48] - 500.0).abs() < 4000.0 * row.u_kg);
}

#[test]
fn output_charted_as_intake_is_contradicted() {
    let mut sim = simulate(quiet(), 2);
    shift(&mut sim, 30.0, -400.0);
    sim.chart.push(entry(30.1, Direction::Intake, Route::Gastric, 400.0));
    let report = run(&sim);
    let found = of_kind(&report, AlertKind::ContradictedEntry);
    assert_eq!(found.len(), 1, "{:?}", report.alerts);
    assert!(found[0].text.contains("exchanged"), "{}", found[0].text);
}

#[test]
fn a_volume_ten_times_too_large_is_contradicted() {
    let mut sim = simulate(quiet(), 3);
    shift(&mut sim, 25.0, 90.0);
    sim.chart.push(entry(25.1, Direction::Intake, Route::Oral, 900.0));
    let report = run(&sim);
    let found = of_kind(&report, AlertKind::ContradictedEntry);
    assert_eq!(found.len(), 1, "{:?}", report.alerts);
    assert!(found[0].text.contains("ten times"), "{}", found[0].text);
}

#[test]
fn litres_written_as_millilitres_are_contradicted() {
    let mut sim = simulate(quiet(), 6);
    shift(&mut sim, 25.0, 500.0);
    sim.chart.push(entry(25.1, Direction::Intake, Route::Iv, 0.5));
    // A flush of two millilitres is what it says.
    sim.chart.push(entry(40.1, Direction::Intake, Route::Iv, 2.0));
    let report = run(&sim);
    let found = of_kind(&report, AlertKind::ContradictedEntry);
    assert_eq!(found.len(), 1, "{:?}", report.alerts);
    assert!(found[0].text.contains("litres written as millilitres"), "{}", found[0].text);
}

#[test]
fn five_litres_of_urine_in_an_hour_are_flagged_and_do_not_bend_the_mass() {
    let mut sim = simulate(quiet(), 4);
    sim.chart.push(entry(12.0, Direction::Output, Route::Urine, 5000.0));
    let report = run(&sim);
    assert_eq!(of_kind(&report, AlertKind::ImplausibleEntry).len(), 1);
    let row = &report.rows[24];
    assert!((1000.0 * row.mass_kg - sim.mass_g[60 * 24]).abs() < 4000.0 * row.u_kg, "{row:?}");
}

#[test]
fn urine_that_cannot_be_meant_hides_no_oliguria() {
    let little = Scenario { urine_ml_h: 20.0, ..quiet() };
    let mut sim = simulate(little, 4);
    let asked = "urine output and kidney stage";
    let answer = |report: &BalanceReport, question: &str| {
        report.answers.iter().find(|answer| answer.question == question).unwrap().clone()
    };
    let before = answer(&run(&sim), asked);
    // 20 mL/h of 74 kg is 0.27 mL/kg/h: the third stage after 24 h.
    assert!(before.text.contains("stage 3 by urine now"), "{}", before.text);
    sim.chart.push(entry(40.5, Direction::Output, Route::Urine, 5000.0));
    let report = run(&sim);
    let after = answer(&report, asked);
    assert!((after.value - before.value).abs() < 0.02, "{} {}", after.text, before.text);
    assert!(after.text.contains("stage 3 by urine now"), "{}", after.text);
    assert!(after.basis.contains("without line 900, in doubt"), "{}", after.basis);
    // The totals count it, as every entry is counted, and say so.
    for question in ["net balance", "percent fluid overload", "fluid that neither chart nor insensible loss explains"] {
        let answers = report.answers.iter().filter(|answer| answer.question == question);
        assert!(answers.clone().any(|a| a.basis.contains("the chart counts line 900, in doubt")), "{answers:?}");
    }
    let day = |h: &str| report.answers.iter().find(|answer| answer.text.starts_with(h)).unwrap();
    assert!(!day("last 6 h").basis.contains("in doubt"), "{}", day("last 6 h").basis);
}

#[test]
fn a_chart_without_an_entry_sums_to_nothing_and_not_to_minus_nothing() {
    let mut sim = simulate(quiet(), 4);
    sim.chart.clear();
    let options = Options { spans: vec![Span { from: at(10.0), to: at(20.0) }], ..Options::default() };
    let report = balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap();
    assert!(report.overload_pct.charted.is_sign_positive());
    assert!(report.windows.iter().all(|window| window.charted_ml.is_sign_positive()));
    // A window that does not end with the record says where it lies.
    let span = report.answers.iter().find(|answer| answer.text.contains("10 h from")).unwrap();
    assert!(span.text.starts_with("10 h from ") && span.text.contains("+0 charted"), "{}", span.text);
}

#[test]
fn fluid_in_a_pad_is_no_loss_of_the_deck_until_the_pad_goes() {
    let mut sim = simulate(Scenario { care: 0.0, ..quiet() }, 5);
    // 300 mL into the pad at 10 h: the body loses them, the deck keeps them until care at 20 h.
    let mut pad = entry(10.0, Direction::Output, Route::Urine, 300.0);
    pad.leaves_deck = false;
    pad.route = Route::Other;
    sim.chart.push(pad);
    shift(&mut sim, 20.0, -300.0);
    for weight in sim.weights.iter_mut().filter(|w| (at(19.7)..at(20.2)).contains(&w.time.unwrap())) {
        weight.state = State::Held;
    }
    let report = run(&sim);
    let body_g = |hour: usize| sim.mass_g[60 * hour] - if hour >= 10 { 300.0 } else { 0.0 };
    for hour in [9, 15, 25, 48] {
        let row = &report.rows[hour];
        assert!((1000.0 * row.mass_kg - body_g(hour)).abs() < 4000.0 * row.u_kg, "hour {hour}: {row:?}");
    }
    assert!((report.rows[15].on_deck_ml - 300.0).abs() < 60.0);
    assert!(report.rows[25].on_deck_ml.abs() < 1.0);
    assert!(report.alerts.is_empty(), "{:?}", report.alerts);
}

#[test]
fn a_removal_that_is_known_empties_the_pad() {
    let mut sim = simulate(Scenario { care: 0.0, ..quiet() }, 6);
    let mut pad = entry(10.0, Direction::Output, Route::Other, 300.0);
    pad.leaves_deck = false;
    sim.chart.push(pad);
    shift(&mut sim, 20.0, -300.0);
    let options = Options { removals: vec![Removal { time: at(20.0), fluid_g: None }], ..Options::default() };
    let report = balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap();
    assert!(report.rows[21].on_deck_ml.abs() < 1.0);
    assert!(report.alerts.is_empty(), "{:?}", report.alerts);
}

#[test]
fn one_weight_that_stands_alone_is_left_out_and_told() {
    let mut sim = simulate(quiet(), 7);
    let odd = sim.weights.iter().position(|w| w.time.unwrap() >= at(24.0) && w.state == State::Settled).unwrap();
    sim.weights[odd].patient_kg = sim.weights[odd].patient_kg.map(|kg| kg + 5.0);
    let report = run(&sim);
    assert!(report.notes.iter().any(|note| note.contains("left out")), "{:?}", report.notes);
    assert!(report.alerts.is_empty(), "{:?}", report.alerts);
    let row = &report.rows[24];
    assert!((1000.0 * row.mass_kg - sim.mass_g[60 * 24]).abs() < 4000.0 * row.u_kg);
}

#[test]
fn a_step_that_stays_is_told_and_followed() {
    let mut sim = simulate(quiet(), 8);
    shift(&mut sim, 24.05, -700.0);
    let report = run(&sim);
    let steps = of_kind(&report, AlertKind::Step);
    assert_eq!(steps.len(), 1, "{:?}", report.alerts);
    assert!(steps[0].text.contains("fell by 7") || steps[0].text.contains("fell by 6"), "{}", steps[0].text);
    let row = &report.rows[40];
    assert!((1000.0 * row.mass_kg - (sim.mass_g[60 * 40] - 700.0)).abs() < 4000.0 * row.u_kg);
}

#[test]
fn two_days_without_a_weight_are_told_once_and_widen_the_interval() {
    let mut sim = simulate(Scenario { hours: 96, ..quiet() }, 9);
    sim.weights.retain(|w| !(at(30.0)..at(78.0)).contains(&w.time.unwrap()));
    let report = run(&sim);
    assert_eq!(of_kind(&report, AlertKind::WeightNotChecked).len(), 1, "{:?}", report.alerts);
    assert!(report.rows[54].u_kg > 3.0 * report.rows[20].u_kg);
    let row = &report.rows[54];
    assert!((1000.0 * row.mass_kg - sim.mass_g[60 * 54]).abs() < 4000.0 * row.u_kg);
}

#[test]
fn overload_is_told_when_it_reaches_a_band() {
    let mut sim = simulate(quiet(), 10);
    sim.patient.patient.admission_kg = Some(70.0);
    // 74 kg is 5.7 % over 70: the first band, once.
    let report = run(&sim);
    let found = of_kind(&report, AlertKind::Overload);
    assert_eq!(found.len(), 1, "{:?}", report.alerts);
    assert!(found[0].text.contains("reached 5 %"), "{}", found[0].text);
    assert!(report.answers.iter().any(|answer| answer.text.contains("Selewski")));
}

#[test]
fn an_entry_of_the_future_is_flagged_and_does_not_lengthen_the_record() {
    let mut sim = simulate(quiet(), 11);
    let rows = run(&sim).rows.len();
    sim.chart.push(entry(24.0 * 400.0, Direction::Intake, Route::Iv, 100.0));
    let report = run(&sim);
    assert_eq!(report.rows.len(), rows);
    assert!(of_kind(&report, AlertKind::ImplausibleEntry)[0].text.contains("in the future"));
}

/// What is told to count in no total counts in none, also where the record runs on behind `now`.
#[test]
fn an_entry_behind_now_counts_in_no_total() {
    let sim = simulate(quiet(), 11);
    let of = |chart: &[Entry]| {
        let options = Options { now: Some(at(2.0)), ..Options::default() };
        balance(&sim.patient, &sim.weights, chart, &options).unwrap()
    };
    let mut chart: Vec<Entry> = sim.chart.iter().filter(|entry| entry.time <= at(2.0)).cloned().collect();
    let without = of(&chart);
    chart.push(entry(6.0, Direction::Intake, Route::Iv, 500.0));
    let with = of(&chart);
    assert!(of_kind(&with, AlertKind::ImplausibleEntry)[0].text.contains("counts in no total"));
    let last = |report: &BalanceReport| report.rows.last().unwrap().charted_ml;
    assert!((last(&with) - last(&without)).abs() < 1e-9, "{} {}", last(&with), last(&without));
    assert!((with.overload_pct.charted - without.overload_pct.charted).abs() < 1e-12);
}

#[test]
fn the_same_entry_twice_stops_the_balance_with_both_lines() {
    let mut sim = simulate(quiet(), 12);
    let again = Entry { line: 777, ..sim.chart[4].clone() };
    sim.chart.push(again);
    let error = balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()).unwrap_err();
    assert_eq!(error, BalanceError::DuplicateEntry { first: sim.chart[4].line, second: 777 });
}

#[test]
fn no_settled_weight_stops_the_balance() {
    let mut sim = simulate(quiet(), 13);
    for weight in &mut sim.weights {
        weight.state = State::Moving;
    }
    let error = balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()).unwrap_err();
    assert_eq!(error, BalanceError::TooFewWeights { n_rows: sim.weights.len(), needed: 1 });
}

#[test]
fn a_plan_that_is_not_kept_is_told_and_other_plans_are_forecast() {
    let mut sim = simulate(quiet(), 14);
    let kept = Plan { intake_ml_h: 95.0, output_ml_h: 65.0, ultrafiltration_ml_h: 0.0 };
    sim.patient.plan = Some(Plan { ultrafiltration_ml_h: 100.0, ..kept });
    let options = Options { alternatives: vec![("no removal".to_owned(), kept)], ..Options::default() };
    let report = balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap();
    assert_eq!(of_kind(&report, AlertKind::OffPlan).len(), 1, "{:?}", report.alerts);
    let other = &report.alternatives[0];
    let apart = other.forecast[23].mass_kg - report.forecast[23].mass_kg;
    assert!((apart - 2.4).abs() < 1e-9, "100 mL/h over 24 h: {apart}");
}

#[test]
fn windows_agree_with_rows_and_are_sharper_than_their_difference() {
    let sim = simulate(quiet(), 15);
    let report = run(&sim);
    let day = report.windows.iter().find(|window| (window.hours - 24.0).abs() < 0.01).unwrap();
    let (a, b) = (&report.rows[24], &report.rows[48]);
    assert!((day.fused_ml - 1000.0 * (b.mass_kg - a.mass_kg)).abs() < 1e-6);
    assert!((day.charted_ml - (b.charted_ml - a.charted_ml)).abs() < 1e-9);
    // The masses of both ends share the errors of the weights between them only weakly, but never add up
    // to more than two independent ones.
    assert!(day.u_fused_ml > 0.0 && day.u_fused_ml <= 1000.0 * a.u_kg.hypot(b.u_kg) * 1.05);
}

#[test]
fn a_record_of_a_few_minutes_gives_no_row_and_says_so() {
    let weights: Vec<Weight> = (0..3)
        .map(|k| Weight {
            time: Some(at(0.2) + SignedDuration::from_mins(k)),
            t_s: 60.0 * k as f64,
            patient_kg: Some(70.0),
            u_kg: Some(0.03),
            state: State::Settled,
        })
        .collect();
    let sim = simulate(quiet(), 16);
    let report = balance(&sim.patient, &weights, &[], &Options::default()).unwrap();
    assert!(report.rows.is_empty());
    assert!(report.notes.iter().any(|note| note.contains("no whole hour")));
    // What 24 h can tell is not known from three minutes.
    assert!(report.overload_pct.fused.is_finite() && report.resolvable_ml_24h.is_none());
}

fn answer<'a>(report: &'a BalanceReport, question: &str) -> &'a bedplate_balance::Answer {
    report.answers.iter().find(|a| a.question == question).unwrap()
}

/// Source: KDIGO 2012, table 2: under 18 years a filtration rate below 35 mL/min/1.73 m² is stage 3. By hand, bedside Schwartz:
/// 0.413 · 140 cm / (150 / 88.4 mg/dL) = 34.1.
#[test]
fn a_childs_filtration_rate_makes_the_stage() {
    let mut sim = simulate(quiet(), 21);
    let patient = &mut sim.patient.patient;
    patient.creatinine_umol_l = Some(150.0);
    patient.baseline_creatinine_umol_l = Some(100.0);
    let stage = |sim: &Simulated| answer(&run(sim), "kidney stage by creatinine").text.clone();
    assert!(stage(&sim).contains("stage 1;"), "{}", stage(&sim));
    sim.patient.patient.age_y = Some(10.0);
    sim.patient.patient.height_mm = Some(1400.0);
    let child = stage(&sim);
    assert!(child.contains("stage 3;") && child.contains("filtration rate 34 mL/min/1.73 m²"), "{child}");
}

/// Stages are of millilitres: what a litre of urine weighs must not make more of it.
#[test]
fn urine_is_staged_by_its_volume() {
    let sim = simulate(quiet(), 22);
    let rate = |densities| {
        let options = Options { densities, ..Options::default() };
        let report = balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap();
        answer(&report, "urine output and kidney stage").value
    };
    let heavy = bedplate_balance::Densities { urine_g_ml: 1.03, ..bedplate_balance::Densities::default() };
    let (plain, heavy) = (rate(None), rate(Some(heavy)));
    assert!((heavy / plain - 1.0).abs() < 1e-9, "{plain} {heavy}");
}

#[test]
fn a_mistyped_year_is_refused_and_not_filled_with_hours() {
    let mut sim = simulate(quiet(), 23);
    sim.weights[0].time = Some("0206-03-04T08:00:00Z".parse().unwrap());
    let refused = balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()).unwrap_err();
    assert!(matches!(refused, BalanceError::TooLong { .. }), "{refused}");
    assert!(refused.to_string().contains("from 0206-03-04T08:00:00Z to"), "{refused}");
}

/// A window of a past day is not the last day, and one before the first whole hour has no length below 0.
#[test]
fn windows_stand_where_they_are() {
    let sim = simulate(quiet(), 24);
    let span = |from: f64, to: f64| Span { from: at(from), to: at(to) };
    let with = |spans: Vec<Span>| {
        let options = Options { windows_h: Vec::new(), spans, ..Options::default() };
        balance(&sim.patient, &sim.weights, &sim.chart, &options).unwrap()
    };
    assert_eq!(with(vec![span(2.0, 26.0)]).ledgers.len(), 1, "the record alone");
    assert_eq!(with(vec![span(24.0, 48.0)]).ledgers.len(), 2, "the record and its last day");
    let early = with(vec![span(0.0, 0.3)]);
    assert!(early.windows.iter().all(|w| w.hours >= 0.0 && w.from <= w.to), "{:?}", early.windows);
}
