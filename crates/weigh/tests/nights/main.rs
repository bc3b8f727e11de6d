//! Nights with known truth: what is settled is right, what is unsure is not settled.

mod asked;
mod care;
mod cuts;
mod left;
mod model;
mod raised;
mod random;
mod settled;
mod stand_in;
mod warmth;

use bedplate_weigh::{EventKind, FaultKind, Options, WeighReport, Weigher};
use formats::actions::ActionKind::{Add, Hold, PatientOff, PatientOn, PatientStep, Release, Remove, Tare, Withdraw};
use formats::weights::{State, Weight};
use model::{Deed, Made, Night, deck};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

struct Weighed {
    rows: Vec<Weight>,
    report: WeighReport,
    made: Made,
}

fn weigh(night: &Night) -> Weighed {
    let made = night.make();
    let mut weigher =
        Weigher::new(&made.deck, &made.calibration, &made.header, &made.actions, Options::default()).unwrap();
    let rows: Vec<Weight> = made.samples.iter().filter_map(|sample| weigher.push(sample)).collect();
    let report = weigher.finish();
    assert_eq!(report.rows, rows.len());
    Weighed { rows, report, made }
}

impl Weighed {
    fn truth(&self, t_s: f64) -> f64 {
        let at = self.made.samples.partition_point(|s| s.t_s < t_s).min(self.made.samples.len() - 1);
        self.made.truth_kg[at]
    }

    fn settled(&self, from: f64, to: f64) -> Vec<&Weight> {
        self.rows.iter().filter(|r| r.state == State::Settled && (from..to).contains(&r.t_s)).collect()
    }

    /// Largest error of a settled weight, kg; NaN without one.
    fn worst(&self, from: f64, to: f64) -> f64 {
        let rows = self.settled(from, to);
        let error = |r: &&Weight| (r.patient_kg.unwrap() - self.truth(r.t_s)).abs();
        rows.iter().map(error).fold(f64::NAN, f64::max)
    }

    /// Settled rows while something disturbs, after the first four seconds.
    fn false_settled(&self) -> Vec<f64> {
        let within = |t: f64| self.made.disturbed.iter().any(|[a, b]| a + 4.0 <= t && t <= *b);
        self.rows.iter().filter(|r| r.state == State::Settled && within(r.t_s)).map(|r| r.t_s).collect()
    }

    fn kinds(&self) -> Vec<EventKind> {
        self.report.events.iter().map(|e| e.kind).collect()
    }
}

/// Tare at 30 s, the patient lies down at 60 s.
fn begun(end: f64) -> Night {
    let deeds =
        vec![Deed::Patient { from: 60.0, over: 8.0, up: false }, Deed::Restless { from: 60.0, to: 80.0, kg: 1.0 }];
    Night { end, deeds, actions: vec![(30.0, Tare, None), (62.0, PatientOn, None)], ..Night::default() }
}
