//! A virtual deck for the guided calibration and verification: its counts run along, and invented hands do what the page asks.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use formats::deck::Deck;
use formats::recording::Sample;
use twin::LiveBench;
use twin::bench::live::BENCH_C;
use web::guide::{Body, Hands, Seen};

use super::hearers::Hearers;
use crate::failure::Failure;

/// Seconds between samples, by the deck's own clock.
const DT_S: f64 = 0.1;
/// How hard the invented hand presses, kg, and how many samples long.
const PRESS_KG: f64 = 10.0;
const PRESS_SAMPLES: u32 = 30;
/// True mass of a body whose mass nobody stated, kg: the water can of the twin's bench.
const UNKNOWN_KG: f64 = 18.6;

/// The deck and what stands on it.
pub(crate) struct VirtualDeck {
    bench: Mutex<State>,
    speed: f64,
}

struct State {
    bench: LiveBench,
    n_sections: usize,
    /// Samples that a press still lasts.
    pressed_for: u32,
}

impl VirtualDeck {
    /// A deck whose cells are drawn from a number; its clock runs `speed` times as fast as ours.
    pub(crate) fn new(deck: &Deck, seed: u64, speed: f64) -> Result<Arc<Self>, Failure> {
        let bench = LiveBench::new(deck, seed).map_err(|e| Failure::Stage(e.to_string()))?;
        Ok(Arc::new(Self {
            bench: Mutex::new(State { bench, n_sections: deck.sections.len(), pressed_for: 0 }),
            speed,
        }))
    }

    /// Sends samples on a thread of its own, as long as somebody guides.
    pub(crate) fn run_for(self: Arc<Self>, hearers: &Hearers) {
        let hearers = hearers.downgraded();
        std::thread::spawn(move || {
            for n in 0_u64.. {
                let counts = self.next_counts().into_iter().map(Some).collect();
                if !hearers.hear(Sample { t_s: n as f64 * DT_S, temperature_c: None, tilt_deg: Vec::new(), counts }) {
                    return;
                }
                std::thread::sleep(Duration::from_secs_f64(DT_S / self.speed));
            }
        });
    }

    fn locked(&self) -> std::sync::MutexGuard<'_, State> {
        self.bench.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn next_counts(&self) -> Vec<f64> {
        let mut state = self.locked();
        if state.pressed_for > 0 {
            state.pressed_for -= 1;
            if state.pressed_for == 0 {
                state.bench.take_off();
            }
        }
        state.bench.next_counts(DT_S)
    }
}

impl Hands for VirtualDeck {
    fn put(&self, bodies: &[Body]) {
        let mut state = self.locked();
        state.pressed_for = 0;
        let bodies: Vec<_> = bodies.iter().map(|b| (b.plate, b.at_mm, b.mass_kg.unwrap_or(UNKNOWN_KG))).collect();
        state.bench.put_all(&bodies);
    }

    fn press(&self, plate: usize, at_mm: [f64; 2]) {
        let mut state = self.locked();
        state.pressed_for = PRESS_SAMPLES;
        state.bench.press(plate, at_mm, PRESS_KG);
    }

    fn take_off(&self) {
        let mut state = self.locked();
        state.pressed_for = 0;
        state.bench.take_off();
    }

    fn stand(&self, angles_deg: &[f64], room_c: Option<f64>) -> Seen {
        let mut state = self.locked();
        let asked = |section: usize| angles_deg.get(section).copied().unwrap_or(0.0);
        let angles_deg = (0..state.n_sections).map(|s| state.bench.raise(s, asked(s)).unwrap_or(0.0)).collect();
        let shown_c = state.bench.bring_to(room_c.unwrap_or(BENCH_C));
        Seen { angles_deg, room_c: room_c.map(|_| shown_c) }
    }
}
