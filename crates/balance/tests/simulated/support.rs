//! Invented patients with known truth, made minute by minute by a model of their own: no part of the
//! estimator is used. Flows are piecewise; the chart sees them in lumps with rounding, reading errors
//! and late stamps; the deck sees them with noise, posture errors and care gaps.

use formats::chart::{Direction, Entry, Route};
use formats::deck::Sex;
use formats::patient::{Patient, PatientFile, Plan, Ventilation};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// What kind of patient and record.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scenario {
    pub(crate) hours: usize,
    pub(crate) weight_kg: f64,
    pub(crate) height_mm: f64,
    /// Planned rates, mL/h.
    pub(crate) intake_ml_h: f64,
    pub(crate) urine_ml_h: f64,
    /// Spread of the urine rate about its mean, share, and its fading time.
    pub(crate) urine_spread: f64,
    pub(crate) urine_fade_h: f64,
    /// Spread of the intake rate about its plan, share (a dose changed, a pump stopped).
    pub(crate) intake_spread: f64,
    /// Insensible loss: mean is drawn around the published figure with this share as spread.
    pub(crate) insensible_ml_h: f64,
    pub(crate) insensible_spread: f64,
    /// Change of the loss in a day (random walk), share.
    pub(crate) insensible_walk: f64,
    /// Boluses a day, each 250 or 500 mL, charted when given.
    pub(crate) boluses_a_day: f64,
    /// Relative error of a charted urine volume, and rounding, mL.
    pub(crate) urine_error: f64,
    pub(crate) round_ml: f64,
    /// Relative error of a pump, for each hour.
    pub(crate) pump_error: f64,
    /// Largest share by which a pump runs off what it shows, for the whole record.
    pub(crate) pump_bias: f64,
    /// Late or early stamps, minutes (standard deviation).
    pub(crate) stamp_sd_min: f64,
    /// Deck: minutes between weights, stated u, fast noise, posture error, g.
    pub(crate) every_min: usize,
    pub(crate) u_g: f64,
    pub(crate) white_g: f64,
    pub(crate) posture_g: f64,
    /// Share of the day in care (no settled weights).
    pub(crate) care: f64,
    /// Uncharted loss: start h, length h, mL.
    pub(crate) episode: Option<(f64, f64, f64)>,
}

impl Scenario {
    pub(crate) fn adult() -> Self {
        Self {
            hours: 72,
            weight_kg: 74.0,
            height_mm: 1720.0,
            intake_ml_h: 95.0,
            urine_ml_h: 65.0,
            urine_spread: 0.35,
            urine_fade_h: 4.0,
            intake_spread: 0.0,
            insensible_ml_h: 30.0,
            insensible_spread: 0.3,
            insensible_walk: 0.15,
            boluses_a_day: 0.7,
            urine_error: 0.04,
            round_ml: 5.0,
            pump_error: 0.02,
            pump_bias: 0.02,
            stamp_sd_min: 3.0,
            every_min: 10,
            u_g: 35.0,
            white_g: 30.0,
            posture_g: 15.0,
            care: 0.12,
            episode: None,
        }
    }

    pub(crate) fn child() -> Self {
        Self {
            weight_kg: 12.0,
            height_mm: 860.0,
            intake_ml_h: 40.0,
            urine_ml_h: 22.0,
            insensible_ml_h: 13.0,
            boluses_a_day: 0.5,
            round_ml: 1.0,
            u_g: 12.0,
            white_g: 10.0,
            posture_g: 5.0,
            ..Self::adult()
        }
    }
}

/// A patient with its truth.
pub(crate) struct Simulated {
    pub(crate) patient: PatientFile,
    pub(crate) weights: Vec<Weight>,
    pub(crate) chart: Vec<Entry>,
    /// True mass at each minute of the record and the day after, g.
    pub(crate) mass_g: Vec<f64>,
    /// True uncharted fluid since the start at each minute, g, gain positive.
    pub(crate) uncharted_g: Vec<f64>,
    pub(crate) start: Timestamp,
}

pub(crate) fn start() -> Timestamp {
    "2031-06-01T00:00:00Z".parse().unwrap()
}

fn normal(rng: &mut Xoshiro256PlusPlus) -> f64 {
    StandardNormal.sample(rng)
}

/// A rate with mean 1 that fades towards it: exp of an Ornstein-Uhlenbeck process.
struct Wander {
    x: f64,
    spread: f64,
    keep: f64,
}

impl Wander {
    fn new(spread: f64, fade_h: f64, rng: &mut Xoshiro256PlusPlus) -> Self {
        Self { x: spread * normal(rng), spread, keep: (-1.0 / (60.0 * fade_h)).exp() }
    }

    fn next(&mut self, rng: &mut Xoshiro256PlusPlus) -> f64 {
        self.x = self.keep * self.x + self.spread * (1.0 - self.keep * self.keep).sqrt() * normal(rng);
        (self.x - 0.5 * self.spread * self.spread).exp()
    }
}

/// Makes one patient; the truth runs one day beyond the record.
pub(crate) fn simulate(scenario: Scenario, seed: u64) -> Simulated {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let s = scenario;
    let minutes = s.hours * 60;
    let total = minutes + 24 * 60;
    let mut urine = Wander::new(s.urine_spread, s.urine_fade_h, &mut rng);
    let mut intake = Wander::new(s.intake_spread, 6.0, &mut rng);
    let mut loss = s.insensible_ml_h * (1.0 + s.insensible_spread * normal(&mut rng)).max(0.2);
    let base_loss = loss;
    let shown_over_true = 1.0 + s.pump_bias * (2.0 * rng.random::<f64>() - 1.0);
    let (mut mass, mut uncharted) = (1000.0 * s.weight_kg, 0.0);
    let (mut mass_g, mut uncharted_g) = (vec![mass], vec![0.0]);
    let (mut in_hour, mut out_hour) = (0.0, 0.0);
    let mut chart = Vec::new();
    let mut bolus_left: (f64, f64) = (0.0, 0.0);
    for minute in 1..=total {
        let t_h = minute as f64 / 60.0;
        let inn = s.intake_ml_h / 60.0 * if s.intake_spread > 0.0 { intake.next(&mut rng) } else { 1.0 };
        let out = s.urine_ml_h / 60.0 * urine.next(&mut rng);
        loss = (loss + base_loss * s.insensible_walk / (24.0f64 * 60.0).sqrt() * normal(&mut rng)).max(0.0);
        if bolus_left.0 <= 0.0 && minute < minutes - 40 && rng.random::<f64>() < s.boluses_a_day / 1440.0 {
            let volume = if rng.random::<bool>() { 250.0 } else { 500.0 } * (s.weight_kg / 74.0).min(1.0);
            // A bag holds what it says to 3 %.
            let charted = volume;
            let volume = volume * (1.0 + 0.03 * normal(&mut rng));
            push(&mut chart, minute as f64 + 30.0, Direction::Intake, Route::Iv, charted, "bolus");
            bolus_left = (volume, volume / 30.0);
        }
        let bolus = bolus_left.0.min(bolus_left.1).max(0.0);
        bolus_left.0 -= bolus;
        let lost = s.episode.map_or(
            0.0,
            |(from, length, ml)| {
                if t_h > from && t_h <= from + length { ml / length / 60.0 } else { 0.0 }
            },
        );
        let unseen = -loss / 60.0 - lost;
        mass += inn - out + bolus + unseen;
        uncharted += unseen;
        in_hour += inn;
        out_hour += out;
        mass_g.push(mass);
        uncharted_g.push(uncharted);
        if minute % 60 == 0 && minute <= minutes {
            let stamp = |rng: &mut Xoshiro256PlusPlus| {
                (minute as f64 - 1.0 + s.stamp_sd_min * normal(rng)).clamp(1.0, minutes as f64)
            };
            let at = stamp(&mut rng);
            let volume = (in_hour * shown_over_true * (1.0 + s.pump_error * normal(&mut rng))).round();
            push(&mut chart, at, Direction::Intake, Route::Iv, volume, "");
            let at = stamp(&mut rng);
            let read = out_hour * (1.0 + s.urine_error * normal(&mut rng));
            push(&mut chart, at, Direction::Output, Route::Urine, (read / s.round_ml).round() * s.round_ml, "");
            (in_hour, out_hour) = (0.0, 0.0);
        }
    }
    let weights = weights(&s, &mass_g[..=minutes], &mut rng);
    let patient = PatientFile {
        patient: Patient {
            label: "invented".to_owned(),
            sex: Some(Sex::Male),
            age_y: Some(if s.weight_kg < 40.0 { 3.0 } else { 60.0 }),
            height_mm: Some(s.height_mm),
            admission_kg: Some(s.weight_kg),
            ventilated: Some(Ventilation::No),
            temperature_c: Some(37.2),
            ..Patient::default()
        },
        plan: Some(Plan { intake_ml_h: s.intake_ml_h, output_ml_h: s.urine_ml_h, ultrafiltration_ml_h: 0.0 }),
    };
    chart.sort_by_key(|entry: &Entry| entry.time);
    for (k, entry) in chart.iter_mut().enumerate() {
        entry.line = k + 2;
    }
    Simulated { patient, weights, chart, mass_g, uncharted_g, start: start() }
}

fn push(chart: &mut Vec<Entry>, minute: f64, direction: Direction, route: Route, volume_ml: f64, note: &str) {
    let time = start() + SignedDuration::from_secs((minute * 60.0) as i64);
    let line = chart.len() + 2;
    chart.push(Entry { line, time, direction, route, volume_ml, leaves_deck: true, note: note.to_owned() });
}

fn weights(s: &Scenario, mass_g: &[f64], rng: &mut Xoshiro256PlusPlus) -> Vec<Weight> {
    let mut out = Vec::new();
    let mut posture = s.posture_g * normal(rng);
    let keep = (-(s.every_min as f64) / 120.0).exp();
    let mut care_left = 0usize;
    for minute in (0..mass_g.len()).step_by(s.every_min) {
        posture = keep * posture + s.posture_g * (1.0 - keep * keep).sqrt() * normal(rng);
        // Care lasts half an hour on average.
        if care_left == 0 && rng.random::<f64>() < s.care * s.every_min as f64 / 30.0 {
            care_left = (30 / s.every_min).max(1);
        }
        let in_care = care_left > 0;
        care_left = care_left.saturating_sub(1);
        let kg = (mass_g[minute] + posture + s.white_g * normal(rng)) / 1000.0;
        out.push(Weight {
            time: Some(start() + SignedDuration::from_secs_f64(60.0 * minute as f64)),
            t_s: 60.0 * minute as f64,
            patient_kg: Some((kg * 1000.0).round() / 1000.0),
            u_kg: Some(s.u_g / 1000.0),
            state: if in_care { State::Held } else { State::Settled },
        });
    }
    out
}
