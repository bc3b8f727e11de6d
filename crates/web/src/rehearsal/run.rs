//! A night on a thread of its own: the twin's counts through the calibration and the weigher that a ward has.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::Sample;
use formats::weights::{State, Weight};
use serde_json::{Value, json};
use twin::trial::{Judge, ReportCard, Tally};
use twin::{BenchOptions, BuiltDeck, Night, Scenario, bench_run};
use weigh::{Options, Weigher};

use super::curve::Curve;
use crate::words::Reader;

/// Events that the page shows, newest last.
const EVENTS_MOST: usize = 30;
/// The page is told anew at most so often.
const TELL_EVERY: Duration = Duration::from_millis(100);
/// Seconds between rows of weights, by the night's clock: those of the trial, whose rules ask how soon a row is settled.
const ROW_S: f64 = 1.0;
/// The patient lies there whole from this share of his weight on.
const ABOARD: f64 = 0.999_999;

/// What the page sees of a night.
#[derive(Default)]
pub(super) struct Shared {
    scenario: String,
    hours: f64,
    t_s: f64,
    row: Option<Weight>,
    true_kg: Option<f64>,
    tilt_deg: Vec<f64>,
    plates_kg: Vec<f64>,
    /// Number, time and words of an event: one that is put right comes again under its number.
    events: VecDeque<(usize, f64, String)>,
    happened: usize,
    curve: Curve,
    /// What the rows so far are worth, by the rules of the trial.
    judged: Option<ReportCard>,
    problem: Option<String>,
    finished: bool,
}

/// A night under way; it ends when this is dropped.
pub(super) struct Running {
    pub(super) shared: Arc<Mutex<Shared>>,
    speed: Arc<AtomicU32>,
    over: Arc<AtomicBool>,
}

impl Drop for Running {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Release);
    }
}

impl Running {
    /// Begins a night; `speed` times as fast as ours, 0 as fast as it can be computed.
    pub(super) fn start(deck: Deck, scenario: Scenario, seed: u64, speed: u32) -> Self {
        let shared = Arc::new(Mutex::new(Shared {
            scenario: scenario.name.clone(),
            hours: scenario.hours,
            plates_kg: vec![0.0; deck.plates.len()],
            ..Shared::default()
        }));
        let running = Self { shared, speed: Arc::new(AtomicU32::new(speed)), over: Arc::new(AtomicBool::new(false)) };
        let (shared, speed, over) =
            (Arc::clone(&running.shared), Arc::clone(&running.speed), Arc::clone(&running.over));
        std::thread::spawn(move || {
            let lived = live(&deck, &scenario, seed, &shared, &speed, &over);
            let mut shared = locked(&shared);
            shared.problem = lived.err();
            shared.finished = true;
        });
        running
    }

    pub(super) fn set_speed(&self, speed: u32) {
        self.speed.store(speed, Ordering::Relaxed);
    }
}

fn locked(shared: &Mutex<Shared>) -> std::sync::MutexGuard<'_, Shared> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A calibration of the virtual deck, made on the virtual bench: the night is weighed with what a run would have found.
fn calibration(deck: &Deck, scenario: &Scenario, seed: u64) -> Result<Calibration, String> {
    let options = BenchOptions { spread: scenario.cell_spread(), ..BenchOptions::default() };
    let made = bench_run(deck, seed, &options).map_err(|e| e.to_string())?;
    let options = calibrate::Options::new("2031-01-01T00:00:00Z");
    calibrate::calibrate(deck, &made.run, &options).map_err(|e| e.to_string())
}

fn live(
    deck: &Deck,
    scenario: &Scenario,
    seed: u64,
    shared: &Mutex<Shared>,
    speed: &AtomicU32,
    over: &AtomicBool,
) -> Result<(), String> {
    let calibration = calibration(deck, scenario, seed)?;
    let built = BuiltDeck::build(deck, &scenario.cell_spread(), seed).map_err(|e| e.to_string())?;
    let mut night = Night::new(deck, &built, scenario, seed).map_err(|e| e.to_string())?;
    let options = Options { every_s: ROW_S, start: None };
    let mut weigher =
        Weigher::new(deck, &calibration, night.header(), night.actions(), options).map_err(|e| e.to_string())?;
    let of_plate: Vec<usize> = deck.cells().map(|(plate, _)| plate).collect();
    let mut judge = Judge::new(&night);
    let mut sample = Sample::default();
    let (mut paced, mut told) = ((Instant::now(), 0.0), Instant::now());
    while night.next_sample(&mut sample).map_err(|e| e.to_string())? {
        if over.load(Ordering::Acquire) {
            return Ok(());
        }
        if let Some(row) = weigher.push(&sample) {
            let judged_kg = judge.row(&night, &sample, &row);
            let truth = (night.now().aboard > ABOARD).then_some(judged_kg);
            let mut shared = locked(shared);
            shared.curve.add(row.t_s, row.patient_kg.filter(|_| row.state == State::Settled), truth);
            (shared.row, shared.true_kg) = (Some(row), truth);
            let news = weigher.news();
            shared.take(news.events);
            shared.happened = night.truth().events.iter().filter(|e| e.t_s <= sample.t_s).count();
        }
        if told.elapsed() >= TELL_EVERY {
            told = Instant::now();
            let mut shared = locked(shared);
            shared.t_s = sample.t_s;
            shared.tilt_deg.clone_from(&sample.tilt_deg);
            shared.plates_kg = plates_kg(deck, &calibration, &of_plate, &sample);
            shared.judged = Some(judged(&judge, scenario, seed));
        }
        pace(&mut paced, sample.t_s, speed);
    }
    let mut shared = locked(shared);
    shared.t_s = 3600.0 * scenario.hours;
    shared.judged = Some(judged(&judge, scenario, seed));
    Ok(())
}

/// The card of one night so far. What the weigher found is told beside it, and not judged here.
fn judged(judge: &Judge, scenario: &Scenario, seed: u64) -> ReportCard {
    let mut tally = Tally::new(1, scenario.hours, seed);
    tally.add(&[], judge.so_far());
    tally.report()
}

/// Waits so that the night runs at its speed; a new speed counts from where the night stands.
fn pace(paced: &mut (Instant, f64), t_s: f64, speed: &AtomicU32) {
    let speed = speed.load(Ordering::Relaxed);
    if speed == 0 {
        *paced = (Instant::now(), t_s);
        return;
    }
    let ahead = (t_s - paced.1) / f64::from(speed) - paced.0.elapsed().as_secs_f64();
    if ahead > 0.02 {
        // No longer than a moment, so that a change of speed is felt.
        std::thread::sleep(Duration::from_secs_f64(ahead.min(0.2)));
        if ahead > 0.2 {
            *paced = (Instant::now(), t_s);
        }
    } else if ahead < -1.0 {
        // What could not be computed in time is not caught up with.
        *paced = (Instant::now(), t_s);
    }
}

/// What each plate bears now, mattress included, kg; at a right angle to it.
fn plates_kg(deck: &Deck, calibration: &Calibration, of_plate: &[usize], sample: &Sample) -> Vec<f64> {
    let mut kg = vec![0.0; deck.plates.len()];
    for ((cell, counts), plate) in calibration.cells.iter().zip(&sample.counts).zip(of_plate) {
        if let (Some(zero), Some(per_count), Some(counts)) = (cell.zero_counts, cell.kg_per_count, counts) {
            kg[*plate] += (counts - zero) * per_count;
        }
    }
    kg
}

impl Shared {
    fn take(&mut self, events: Vec<(usize, weigh::Event)>) {
        for (number, event) in events {
            // Who leans on the bed and lets go leaves nothing behind, and would fill the list. What was asked about before it turned
            // out to be that is no question any more.
            if event.kind == weigh::EventKind::Contact {
                self.events.retain(|(known, ..)| *known != number);
                continue;
            }
            match self.events.iter_mut().find(|(n, ..)| *n == number) {
                Some(known) => *known = (number, event.t_s, event.text),
                None => self.events.push_back((number, event.t_s, event.text)),
            }
            while self.events.len() > EVENTS_MOST {
                self.events.pop_front();
            }
        }
    }

    /// The night as the page gets it.
    pub(super) fn told(reader: Reader, shared: &Mutex<Self>, deck: &Deck) -> Value {
        let shared = locked(shared);
        let row = shared.row.as_ref();
        json!({
            "begun": true,
            "finished": shared.finished,
            "problem": shared.problem.as_ref().map(|p| reader.stage(p)),
            "scenario": reader.stage(&shared.scenario),
            "hours": shared.hours,
            "t_s": shared.t_s,
            "patient_kg": row.and_then(|r| r.patient_kg),
            "u_kg": row.and_then(|r| r.u_kg),
            "state": row.map(|r| r.state.word()),
            "true_kg": shared.true_kg,
            "card": shared.judged.as_ref().map(|card| json!({
                "rows": card.all,
                "asked": card.limits.iter().filter(|l| l.met.is_some()).map(|l| json!({
                    "text": reader.stage(l.text), "value": l.value })).collect::<Vec<_>>(),
            })),
            "curve": shared.curve.points(),
            "happened": shared.happened,
            "events": shared.events.iter().map(|(_, t_s, text)| json!({ "t_s": t_s, "text": reader.event(text) })).collect::<Vec<_>>(),
            "sections": deck.sections.iter().enumerate().map(|(i, s)| json!({ "name": s.name, "length_mm": s.length_mm,
                "angle_deg": s.angle_deg, "now_deg": shared.tilt_deg.get(i) })).collect::<Vec<_>>(),
            "plates": deck.plates.iter().zip(&shared.plates_kg).map(|(p, kg)| json!({ "name": p.name, "section": p.section,
                "origin_mm": p.origin_mm, "size_mm": p.size_mm, "kg": kg,
                "cells": p.cells.iter().map(|c| json!({ "name": c.name, "at_mm": c.at_mm })).collect::<Vec<_>>() })).collect::<Vec<_>>(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(kind: weigh::EventKind, text: &str) -> weigh::Event {
        weigh::Event { t_s: 60.0, kind, kg: Some(3.0), u_kg: Some(0.1), x_mm: None, y_mm: None, text: text.into() }
    }

    #[test]
    fn a_question_that_turns_out_to_be_a_hand_is_taken_off_the_list() {
        let mut shared = Shared::default();
        let words = |shared: &Shared| shared.events.iter().map(|(_, _, text)| text.clone()).collect::<Vec<_>>();
        shared.take(vec![
            (4, event(weigh::EventKind::Step, "what was it?")),
            (5, event(weigh::EventKind::Added, "a bag")),
        ]);
        shared.take(vec![(6, event(weigh::EventKind::Contact, "somebody leaned on the bed"))]);
        assert_eq!(words(&shared), ["what was it?", "a bag"]);
        shared.take(vec![(4, event(weigh::EventKind::Contact, "somebody leaned on the bed and let go"))]);
        assert_eq!(words(&shared), ["a bag"]);
        shared.take(vec![(5, event(weigh::EventKind::Added, "a bag and a blanket"))]);
        assert_eq!(words(&shared), ["a bag and a blanket"], "what is put right is told in its place");
    }
}
