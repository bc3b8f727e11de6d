//! Whatever stands in the files, a balance is made of finite numbers or refused with a reason.

use bedplate_balance::{Answered, Correction, ItemEvent, Options, Removal, Span, balance};
use formats::chart::{Direction, Entry, Route};
use formats::deck::Sex;
use formats::patient::{Patient, PatientFile, Plan, Ventilation};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;
use proptest::sample::select;

use crate::support::{Scenario, simulate, start};

/// Numbers as files have them: mostly such as are meant, some that are not.
fn number(meant: std::ops::Range<f64>) -> impl Strategy<Value = f64> {
    prop_oneof![
        40 => meant,
        1 => select(vec![0.0, -1.0, 1e-12, 1e9, 1e300, -1e300, f64::NAN, f64::INFINITY]),
        1 => any::<f64>(),
    ]
}

fn time() -> impl Strategy<Value = Timestamp> {
    let hours = prop_oneof![30 => -4.0..60.0f64, 1 => -1e5..1e5f64];
    hours.prop_map(|h| start() + SignedDuration::from_secs_f64(3600.0 * h))
}

prop_compose! {
    fn weights()(
        steps in prop::collection::vec((prop_oneof![20 => 60i64..1200, 1 => 0i64..300_000], number(69.0..71.0), number(0.02..0.06), 0..8usize), 0..80),
        timed in prop::bool::weighted(0.95),
    ) -> Vec<Weight> {
        let mut t_s = 0;
        let states = [State::Settled, State::Settled, State::Settled, State::Settled, State::Held, State::Moving, State::Fault, State::Empty];
        steps.into_iter().map(|(step_s, kg, u_kg, state)| {
            t_s += step_s;
            Weight {
                time: timed.then(|| start() + SignedDuration::from_secs(t_s)),
                t_s: t_s as f64,
                patient_kg: Some(kg).filter(|_| state != 7),
                u_kg: Some(u_kg).filter(|_| state != 7),
                state: states[state],
            }
        }).collect()
    }
}

prop_compose! {
    fn entry()(time in time(), output in any::<bool>(), route in 0..10usize, volume_ml in number(0.0..600.0), leaves_deck in any::<bool>()) -> Entry {
        let routes = [
            Route::Iv, Route::Oral, Route::Enteral, Route::Blood, Route::Urine, Route::Drain, Route::Stool, Route::Gastric,
            Route::Ultrafiltrate, Route::Other,
        ];
        let direction = if output { Direction::Output } else { Direction::Intake };
        Entry { line: 0, time, direction, route: routes[route], volume_ml, leaves_deck, note: String::new() }
    }
}

prop_compose! {
    fn patient()(
        sex in prop::option::of(select(vec![Sex::Female, Sex::Male])),
        age_y in prop::option::of(number(0.0..95.0)),
        height_mm in prop::option::of(number(400.0..2000.0)),
        admission_kg in prop::option::of(number(60.0..80.0)),
        dry_kg in prop::option::of(number(60.0..80.0)),
        ventilated in prop::option::of(select(vec![Ventilation::Humidified, Ventilation::Dry, Ventilation::No])),
        temperature_c in prop::option::of(number(35.0..41.0)),
        creatinine_umol_l in prop::option::of(number(50.0..500.0)),
        burned_pct in prop::option::of(number(0.0..90.0)),
        plan in prop::option::of((number(0.0..300.0), number(0.0..300.0), number(0.0..300.0))),
    ) -> PatientFile {
        PatientFile {
            patient: Patient {
                label: "wild".to_owned(), sex, age_y, height_mm, admission_kg, dry_kg, ventilated, temperature_c, creatinine_umol_l,
                baseline_creatinine_umol_l: creatinine_umol_l.map(|c| c / 2.0), burned_pct, ..Patient::default()
            },
            plan: plan.map(|(intake_ml_h, output_ml_h, ultrafiltration_ml_h)| Plan { intake_ml_h, output_ml_h, ultrafiltration_ml_h }),
        }
    }
}

prop_compose! {
    fn options()(
        now in prop::option::weighted(0.2, time()),
        block_s in number(10.0..1200.0),
        windows_h in prop::collection::vec(number(0.1..60.0), 0..4),
        spans in prop::collection::vec((time(), time()), 0..3),
        corrections in prop::collection::vec((0..30usize, 0..30usize), 0..3),
        answered in prop::collection::vec(time(), 0..2),
        removals in prop::collection::vec((time(), prop::option::of(number(0.0..900.0))), 0..4),
        items in prop::collection::vec((time(), number(-3.0..3.0), number(0.01..0.1)), 0..4),
        forecast_h in 0..100u32,
    ) -> Options {
        let mut items: Vec<ItemEvent> = items.into_iter().map(|(time, kg, u_kg)| ItemEvent { time, kg, u_kg, name: "pad".to_owned() }).collect();
        items.sort_by_key(|item| item.time);
        Options {
            start: None, now, block_s, windows_h, forecast_h, items,
            spans: spans.into_iter().map(|(from, to)| Span { from, to }).collect(),
            corrections: corrections.into_iter().map(|(line, corrects)| Correction { line, corrects }).collect(),
            answered: answered.into_iter().map(|time| Answered { time, kind: "step".to_owned(), answer: "seen".to_owned() }).collect(),
            removals: removals.into_iter().map(|(time, fluid_g)| Removal { time, fluid_g }).collect(),
            ..Options::default()
        }
    }
}

/// Whether every number of a document is one: what is not finite is written as null, and what may be missing is known by name.
fn holds(value: &serde_json::Value, key: &str) -> Result<(), String> {
    use serde_json::Value;
    match value {
        Value::Null if ["weighed_mL", "u", "resolvable_mL_24h"].contains(&key) || key.ends_with("_p") => Ok(()),
        Value::Null => Err(key.to_owned()),
        Value::Array(of) => of.iter().try_for_each(|value| holds(value, key)),
        Value::Object(of) => of.iter().try_for_each(|(key, value)| holds(value, key)),
        Value::String(text) if text.contains("NaN") || text.contains("inf ") => Err(text.clone()),
        _ => Ok(()),
    }
}

fn config(stated: u32) -> ProptestConfig {
    ProptestConfig {
        // As many inputs as a test states, or as `PROPTEST_CASES` says: a long run by hand.
        cases: std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(stated),
        rng_seed: proptest::test_runner::RngSeed::Fixed(6),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn a_wild_record_is_balanced_or_refused(
        file in patient(), weights in weights(), chart in prop::collection::vec(entry(), 0..30), options in options(),
    ) {
        let chart: Vec<Entry> = chart.into_iter().enumerate().map(|(k, entry)| Entry { line: k + 2, ..entry }).collect();
        match balance(&file, &weights, &chart, &options) {
            Ok(report) => {
                let document = serde_json::to_value(&report).unwrap();
                prop_assert_eq!(holds(&document, ""), Ok(()));
                prop_assert!(report.resolvable_ml_24h.is_none_or(f64::is_finite));
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }

    /// A right record with one number that is not meant: nearly all of these are balanced.
    #[test]
    fn one_wild_number_in_a_right_record_is_borne_or_refused(
        seed in 0u64..50, at in any::<prop::sample::Index>(), wild in number(0.0..1.0), which in 0..4usize,
    ) {
        let mut sim = simulate(Scenario { hours: 12, ..Scenario::adult() }, seed);
        match which {
            0 => { let n = sim.weights.len(); sim.weights[at.index(n)].patient_kg = Some(wild); }
            1 => { let n = sim.weights.len(); sim.weights[at.index(n)].u_kg = Some(wild); }
            2 => { let n = sim.chart.len(); sim.chart[at.index(n)].volume_ml = wild; }
            _ => { let n = sim.chart.len(); let moved_s = if wild.is_nan() { 0.0 } else { wild.clamp(-1e9, 1e9) }; sim.chart[at.index(n)].time += SignedDuration::from_secs_f64(moved_s); }
        }
        match balance(&sim.patient, &sim.weights, &sim.chart, &Options::default()) {
            Ok(report) => {
                let document = serde_json::to_value(&report).unwrap();
                prop_assert_eq!(holds(&document, ""), Ok(()));
                prop_assert!(report.resolvable_ml_24h.is_none_or(f64::is_finite));
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}
