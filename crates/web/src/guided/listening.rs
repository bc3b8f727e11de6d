//! The newest samples of a deck, and what they settle to.

use std::collections::VecDeque;

use calibrate::settle::{self, READING_S, Settling};
use formats::deck::Deck;
use formats::recording::Sample;
use report::number::fixed;
use serde_json::{Value, json};

use super::against;
use crate::workbench::Refusal;

/// Samples older than this are let go, s.
const WINDOW_S: f64 = 15.0;
/// No sample for so long: the link is down, s.
const SILENT_S: f64 = 3.0;

/// What was heard of late.
#[derive(Default)]
pub(crate) struct Listening {
    window: VecDeque<Sample>,
    heard_at: Option<std::time::Instant>,
}

impl Listening {
    /// Takes a sample. Whether the deck's clock began anew with it: what came before is then of another time.
    pub(crate) fn hear(&mut self, sample: Sample) -> bool {
        self.heard_at = Some(std::time::Instant::now());
        let is_anew = self.window.back().is_some_and(|last| sample.t_s <= last.t_s);
        if is_anew {
            self.window.clear();
        }
        let from_s = sample.t_s - WINDOW_S;
        while self.window.front().is_some_and(|s| s.t_s < from_s) {
            self.window.pop_front();
        }
        self.window.push_back(sample);
        self.window.make_contiguous();
        is_anew
    }

    /// The newest samples, the oldest first.
    pub(crate) fn samples(&self) -> &[Sample] {
        // Made contiguous where a sample comes in.
        self.window.as_slices().0
    }

    /// The deck's clock, s.
    pub(crate) fn now_s(&self) -> Option<f64> {
        self.window.back().map(|s| s.t_s)
    }

    /// The angle of a section over the seconds of a reading, °, by the deck's own sensor; `None` where it has none for that section.
    pub(crate) fn tilt_deg(&self, section: usize) -> Option<f64> {
        let from_s = self.now_s()? - READING_S;
        let angles: Vec<f64> = self
            .samples()
            .iter()
            .filter(|s| s.t_s >= from_s)
            .filter_map(|s| s.tilt_deg.get(section).copied())
            .collect();
        let n = u32::try_from(angles.len()).ok().filter(|n| *n > 0)?;
        Some(angles.iter().sum::<f64>() / f64::from(n))
    }

    /// Lets go of what was heard: a reading holds for one step, the next one begins with the next load.
    pub(crate) fn forget(&mut self) {
        self.window.clear();
    }

    pub(crate) fn is_silent(&self) -> bool {
        self.heard_at.is_none_or(|at| at.elapsed().as_secs_f64() > SILENT_S)
    }

    pub(crate) fn settling(&self, deck: &Deck) -> Option<Settling> {
        settle::settle(deck, self.samples()).ok()
    }

    /// How far the reading is, for the page.
    pub(crate) fn told(&self, deck: &Deck) -> Value {
        let settling = self.settling(deck);
        let drift = settling.as_ref().map(|s| s.drift_g.iter().flatten().map(|g| g.abs()).fold(0.0, f64::max));
        json!({
            "silent": self.is_silent(),
            "seconds": settling.as_ref().map(|s| s.seconds),
            "of_seconds": READING_S,
            "settled": settling.as_ref().is_some_and(|s| s.settled) && !self.is_silent(),
            "drift_g": drift,
            "unsettled": settling.as_ref().map(|s| s.unsettled.clone()),
            "counts": settling.map(|s| s.counts),
        })
    }

    /// The settled counts, or why there are none.
    pub(crate) fn reading(&self, deck: &Deck) -> Result<Vec<f64>, Refusal> {
        if self.is_silent() {
            return Err(against("nothing comes from the deck: look at plug and cable"));
        }
        let settling = settle::settle(deck, self.samples()).map_err(|e| against(&e.to_string()))?;
        if !settling.settled {
            let words = if settling.unsettled.is_empty() {
                format!("the reading is {} s long, expected {READING_S} s at rest", fixed(settling.seconds, 1))
            } else {
                format!("not settled yet: {}", settling.unsettled.join(", "))
            };
            return Err(against(&words));
        }
        Ok(settling.counts.into_iter().flatten().collect())
    }
}
