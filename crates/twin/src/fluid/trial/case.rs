//! One invented patient: drawn, lived through, charted and weighed.

use formats::chart::Entry;
use formats::deck::Sex;
use formats::patient::{Patient, PatientFile, Plan, Ventilation};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::{AHEAD_H, HOURS};
use crate::chance::Chance;
use crate::fluid::charting::{Charted, Slip, SlipKind};
use crate::fluid::course::{Course, STEP_S, Source};
use crate::fluid::metabolism::Physique;
use crate::fluid::regimen::{Loss, Regimen, Way};
use crate::fluid::{Habits, Story, chart, live, tell};

/// Stories in the order in which cases are dealt.
const STORIES: [Story; 6] =
    [Story::Steady, Story::Resuscitation, Story::Dialysis, Story::Replacement, Story::Burns, Story::Child];
/// Minutes between weights, and steps of a course in an hour.
const WEIGHT_EVERY_MIN: usize = 10;
const STEPS_AN_HOUR: usize = (3600.0 / STEP_S) as usize;
/// Stated uncertainty of a weight, and its true parts: fast noise, the error that lasts until the patient lies otherwise, drift
/// since zero. Grams for an adult; a deck for children errs by less. Own choices within what a class III deck may do.
const ADULT_DECK: Deck = Deck { u_g: 30.0, fast_g: 25.0, posture_g: 12.0, drift_g_sqrt_h: 2.0 };
const CHILD_DECK: Deck = Deck { u_g: 12.0, fast_g: 10.0, posture_g: 5.0, drift_g_sqrt_h: 0.8 };
/// A patient lies otherwise every two hours.
const POSTURE_H: f64 = 2.0;

#[derive(Debug, Clone, Copy)]
struct Deck {
    u_g: f64,
    fast_g: f64,
    posture_g: f64,
    drift_g_sqrt_h: f64,
}

/// A loss that nobody charts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Episode {
    /// Onset, h.
    pub from_h: f64,
    /// End, h.
    pub to_h: f64,
    /// Volume, mL.
    pub ml: f64,
}

/// One invented patient with all that an engine may see, and the truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Number of the case.
    pub number: u64,
    /// Typical course.
    pub story: Story,
    /// The patient and the plan for the day after the record.
    pub patient: PatientFile,
    /// Weights, a row each ten minutes.
    pub weights: Vec<Weight>,
    /// The chart.
    pub chart: Vec<Entry>,
    /// When wet pads left the deck, as the ward noted it.
    pub pads_off: Vec<Timestamp>,
    /// Time zero.
    pub start: Timestamp,
    /// The hidden loss, in every other case.
    pub episode: Option<Episode>,
    /// True mass of the patient at each minute of the record and the day after, g.
    pub mass_g: Vec<f64>,
    /// Uncharted fluid since the start at each minute, g, gain positive.
    pub uncharted_g: Vec<f64>,
    /// What the chart is wrong by beyond the steady loss, at each minute, g.
    pub missing_g: Vec<f64>,
}

/// Draws case `number` of a trial: stories in turn, a hidden loss in every other round of them.
#[must_use]
pub fn draw(seed: u64, number: u64) -> Case {
    drawn(seed, number, true)
}

/// The same case, with the same draws, but that nothing is lost unseen: what is told of it would have been told of all the same.
#[must_use]
pub fn draw_without_loss(seed: u64, number: u64) -> Case {
    Case { episode: None, ..drawn(seed, number, false) }
}

fn drawn(seed: u64, number: u64, loses: bool) -> Case {
    let mut chance = Chance::stream(seed.wrapping_mul(0x9e37_79b9).wrapping_add(number), "fluid trial");
    let story = STORIES[(number % STORIES.len() as u64) as usize];
    let mut physique = physique(story, &mut chance);
    let hours = (HOURS + AHEAD_H) as f64;
    let mut regimen = tell(story, &physique, hours, &mut chance);
    physique.burned_share = regimen.burned_share;
    let hidden = (number / STORIES.len() as u64) % 2 == 1;
    let episode = hidden.then(|| hide(&mut regimen, &physique, loses, &mut chance));
    let care_s = care(hours, &mut chance);
    let course = live(&physique, &regimen, hours, &care_s, &mut chance);
    let start: Timestamp = Timestamp::UNIX_EPOCH + SignedDuration::from_hours(24 * 22_582 + 18);
    let charted = chart(&course, &Habits::default(), start, &mut chance);
    let end = start + hours_long(HOURS);
    let (entries, late): (Vec<Entry>, Vec<Entry>) = charted.entries.iter().cloned().partition(|e| e.time <= end);
    drop(late);
    let deck = if story == Story::Child { CHILD_DECK } else { ADULT_DECK };
    let weights = weigh(&course, deck, &care_s, start, &mut chance);
    let truth = Truth::of(&course, &regimen, &charted);
    let patient = PatientFile { patient: known(story, &physique), plan: Some(plan(&regimen, &entries, end)) };
    let pads_off = care_s
        .iter()
        .filter(|at| **at < HOURS as f64 * 3600.0)
        .map(|at| start + SignedDuration::from_secs(*at as i64))
        .collect();
    Case {
        number,
        story,
        patient,
        weights,
        chart: entries,
        pads_off,
        start,
        episode,
        mass_g: course.patient_kg.iter().map(|kg| 1000.0 * kg).collect(),
        uncharted_g: truth.uncharted_g,
        missing_g: truth.missing_g,
    }
}

fn physique(story: Story, chance: &mut Chance) -> Physique {
    let child = story == Story::Child;
    let mass_kg = if child { chance.between(6.0, 22.0) } else { chance.log_normal(78.0, 14.0).clamp(48.0, 130.0) };
    // A child's height by the median of its weight, an adult's by a body mass index of 19 to 32.
    let height_mm = if child {
        (480.0 * (mass_kg / 3.4).powf(0.44)).round()
    } else {
        (1000.0 * (mass_kg / chance.between(19.0, 32.0)).sqrt()).clamp(1450.0, 2000.0).round()
    };
    let ventilated = match story {
        Story::Dialysis => Ventilation::No,
        Story::Steady if chance.happens(0.5) => Ventilation::No,
        _ => Ventilation::Humidified,
    };
    let temperature_c = chance.between(36.5, if story == Story::Resuscitation { 39.0 } else { 38.0 });
    Physique { mass_kg, height_mm, temperature_c, ventilated, burned_share: 0.0 }
}

/// Half a litre over twelve hours, in a child as much by its surface (half a litre at 1.73 m²); where nothing is to be lost, the same
/// at a rate of nothing, which takes the same draws.
fn hide(regimen: &mut Regimen, physique: &Physique, loses: bool, chance: &mut Chance) -> Episode {
    let ml = (500.0 / 1.73 * physique.surface_m2()).min(500.0);
    let from_h = chance.between(20.0, 30.0);
    regimen.losses.push(Loss {
        way: Way::Other,
        from_s: 3600.0 * from_h,
        to_s: 3600.0 * (from_h + 12.0),
        ml_h: if loses { ml / 12.0 } else { 0.0 },
        halves_in_s: None,
        leaves_deck: true,
        charted: false,
    });
    Episode { from_h, to_h: from_h + 12.0, ml }
}

/// Rounds of care with fresh pads, every six to nine hours.
fn care(hours: f64, chance: &mut Chance) -> Vec<f64> {
    let mut out = Vec::new();
    let mut at_h = chance.between(2.0, 6.0);
    while at_h < hours {
        out.push((3600.0 * at_h).round());
        at_h += chance.between(6.0, 9.0);
    }
    out
}

fn known(story: Story, physique: &Physique) -> Patient {
    Patient {
        label: "invented".to_owned(),
        sex: Some(Sex::Male),
        // A child's age by its weight: about 2 kg a year from 10 kg at one year.
        age_y: Some(if story == Story::Child { (0.5 * (physique.mass_kg - 8.0)).clamp(0.3, 8.0) } else { 60.0 }),
        height_mm: Some(physique.height_mm),
        admission_kg: Some((10.0 * physique.mass_kg).round() / 10.0),
        ventilated: Some(physique.ventilated),
        temperature_c: Some((10.0 * physique.temperature_c).round() / 10.0),
        burned_pct: (physique.burned_share > 0.0).then_some((100.0 * physique.burned_share).round()),
        ..Patient::default()
    }
}

/// What is ordered for the day after the record; outputs go on as charted in the last day.
fn plan(regimen: &Regimen, entries: &[Entry], end: Timestamp) -> Plan {
    use formats::chart::{Direction, Route};
    let (from_s, to_s) = (HOURS as f64 * 3600.0, (HOURS + AHEAD_H) as f64 * 3600.0);
    let within = |a: f64, b: f64| (b.min(to_s) - a.max(from_s)).max(0.0) / 3600.0;
    let pumps: f64 = regimen.infusions.iter().map(|i| i.ml_h * within(i.from_s, i.to_s)).sum();
    let bags: f64 = regimen
        .doses
        .iter()
        .filter(|dose| dose.way != Way::Oral && (from_s..to_s).contains(&dose.at_s))
        .map(|dose| dose.ml)
        .sum();
    let filtrate: f64 = regimen
        .losses
        .iter()
        .filter(|loss| loss.way == Way::Ultrafiltrate)
        .map(|loss| loss.ml_h * within(loss.from_s, loss.to_s))
        .sum();
    let day = end - hours_long(AHEAD_H);
    let last_day = |direction, wanted: fn(Route) -> bool| -> f64 {
        let counts = |e: &&Entry| e.time > day && e.direction == direction && wanted(e.route);
        entries.iter().filter(counts).map(|e| e.volume_ml).sum()
    };
    let cups = last_day(Direction::Intake, |route| route == Route::Oral);
    let out = last_day(Direction::Output, |route| route != Route::Ultrafiltrate);
    let a_h = AHEAD_H as f64;
    Plan { intake_ml_h: (pumps + bags + cups) / a_h, output_ml_h: out / a_h, ultrafiltration_ml_h: filtrate / a_h }
}

fn weigh(course: &Course, deck: Deck, care_s: &[f64], start: Timestamp, chance: &mut Chance) -> Vec<Weight> {
    let every_h = WEIGHT_EVERY_MIN as f64 / 60.0;
    let keep = (-every_h / POSTURE_H).exp();
    let (mut posture_g, mut drift_g) = (deck.posture_g * chance.normal(), 0.0);
    let mut out = Vec::new();
    for minute in (0..=HOURS * 60).step_by(WEIGHT_EVERY_MIN) {
        let t_s = 60.0 * minute as f64;
        posture_g = keep * posture_g + deck.posture_g * (1.0 - keep * keep).sqrt() * chance.normal();
        drift_g += deck.drift_g_sqrt_h * every_h.sqrt() * chance.normal();
        let fast_g = deck.fast_g * chance.normal();
        // Care holds the weight from ten minutes before the pads go to ten after; other hands come now and then.
        let cared_for = care_s.iter().any(|at| (t_s - at).abs() <= 600.0) | chance.happens(0.04);
        let shown_kg = course.patient_kg_at(t_s) + course.pad_kg_at(t_s) + (posture_g + drift_g + fast_g) / 1000.0;
        let u_g = deck.u_g.hypot(deck.drift_g_sqrt_h * (t_s / 3600.0).sqrt());
        out.push(Weight {
            time: Some(start + SignedDuration::from_secs(t_s as i64)),
            t_s,
            patient_kg: Some((1000.0 * shown_kg).round() / 1000.0),
            u_kg: Some(u_g / 1000.0),
            state: if cared_for { State::Held } else { State::Settled },
        });
    }
    out
}

struct Truth {
    uncharted_g: Vec<f64>,
    missing_g: Vec<f64>,
}

impl Truth {
    fn of(course: &Course, regimen: &Regimen, charted: &Charted) -> Self {
        let n = course.patient_kg.len();
        let mut uncharted_g: Vec<f64> =
            course.patient_kg.iter().map(|kg| 1000.0 * (kg - course.patient_kg[0])).collect();
        for stream in course.streams.iter().filter(|stream| stream.source != Source::Hidden) {
            let sign = if stream.intake { -1.0 } else { 1.0 };
            for (sum, total) in uncharted_g.iter_mut().zip(&stream.total_ml) {
                *sum += sign * total * stream.way.density_g_ml();
            }
        }
        for dose in &regimen.doses {
            let over_s = dose.over_s.max(STEP_S);
            for (i, sum) in uncharted_g.iter_mut().enumerate() {
                let share = ((i as f64 * STEP_S - dose.at_s) / over_s).clamp(0.0, 1.0);
                *sum -= share * dose.ml * dose.way.density_g_ml();
            }
        }
        for slip in charted.slips.iter().filter(|slip| slip.kind == SlipKind::Forgotten) {
            add_over(&mut uncharted_g, (slip.from_s, slip.t_s), signed_g(slip));
        }
        let mut missing_g: Vec<f64> = uncharted_g.clone();
        for slip in &charted.slips {
            let factor = match slip.kind {
                SlipKind::Forgotten => continue,
                SlipKind::Twice => -1.0,
                SlipKind::WrongSide => 2.0,
                SlipKind::SlippedPoint => -9.0,
            };
            add_from(&mut missing_g, slip.t_s, factor * signed_g(slip));
        }
        let steady_g_h = course.insensible_g_h;
        for (i, sum) in missing_g.iter_mut().enumerate() {
            *sum += steady_g_h * i as f64 / STEPS_AN_HOUR as f64;
        }
        debug_assert_eq!(uncharted_g.len(), n);
        Self { uncharted_g, missing_g }
    }
}

fn signed_g(slip: &Slip) -> f64 {
    let intake = matches!(slip.way, Way::Iv | Way::Oral | Way::Enteral | Way::Blood);
    if intake { slip.ml * slip.way.density_g_ml() } else { -slip.ml * slip.way.density_g_ml() }
}

/// Adds what flowed evenly over a time: it is uncharted from when it flows.
fn add_over(series: &mut [f64], (from_s, to_s): (f64, f64), g: f64) {
    let over_s = (to_s - from_s).max(STEP_S);
    for (i, sum) in series.iter_mut().enumerate() {
        *sum += ((i as f64 * STEP_S - from_s) / over_s).clamp(0.0, 1.0) * g;
    }
}

fn add_from(series: &mut [f64], t_s: f64, g: f64) {
    let from = (t_s / STEP_S - 1e-9).ceil().max(0.0) as usize;
    for sum in series.iter_mut().skip(from) {
        *sum += g;
    }
}

/// Whole hours as a span of the calendar.
fn hours_long(hours: usize) -> SignedDuration {
    SignedDuration::from_secs_f64(hours as f64 * 3600.0)
}
