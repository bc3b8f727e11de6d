//! Thirty days of weights each minute with an hourly chart: the whole balance, and what it costs a day.
//!
//! `cargo bench -p bedplate-balance`. The patient is invented.

use bedplate_balance::{Options, balance};
use formats::chart::{Direction, Entry, Route};
use formats::patient::{Patient, PatientFile};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};

fn main() {
    divan::main();
}

/// A quiet patient: 95 mL/h in, 65 out, 28 lost; errors by a fixed scramble, no random numbers.
fn record(days: u32) -> (PatientFile, Vec<Weight>, Vec<Entry>) {
    let start: Timestamp = Timestamp::from_second(1_937_000_000).unwrap_or(Timestamp::UNIX_EPOCH);
    let minutes = days * 1440;
    let scramble = |k: u32| f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
    let weights = (0..minutes)
        .map(|k| Weight {
            time: Some(start + SignedDuration::from_mins(i64::from(k))),
            t_s: 60.0 * f64::from(k),
            patient_kg: Some(74.0 + f64::from(k) / 60.0 * 0.002 + 0.1 * scramble(k)),
            u_kg: Some(0.035),
            state: if k % 97 < 9 { State::Held } else { State::Settled },
        })
        .collect();
    let entry = |k: u32, direction, route, volume_ml| Entry {
        line: k as usize + 2,
        time: start + SignedDuration::from_mins(i64::from(k) * 60 + 59),
        direction,
        route,
        volume_ml,
        leaves_deck: true,
        note: String::new(),
    };
    let chart = (0..days * 24)
        .flat_map(|k| {
            let urine = (13.0 + 6.0 * scramble(7 * k)).round() * 5.0;
            [entry(k, Direction::Intake, Route::Iv, 95.0), entry(k, Direction::Output, Route::Urine, urine)]
        })
        .collect();
    let patient = Patient {
        label: "invented".to_owned(),
        age_y: Some(60.0),
        height_mm: Some(1720.0),
        admission_kg: Some(74.0),
        ..Patient::default()
    };
    (PatientFile { patient, plan: None }, weights, chart)
}

#[divan::bench(args = [1, 3, 30])]
fn whole_balance(bencher: divan::Bencher<'_, '_>, days: u32) {
    let (patient, weights, chart) = record(days);
    let options = Options::default();
    bencher.bench(|| balance(&patient, &weights, &chart, &options));
}
