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

/// How a section stands by the deck's own sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tilt {
    /// Its mean angle over a reading, °.
    pub(crate) deg: f64,
    /// By how much the second half of the reading differs from the first, °.
    pub(crate) moved_deg: f64,
}

/// What was heard of late.
#[derive(Default)]
pub(crate) struct Listening {
    window: VecDeque<Sample>,
    heard_at: Option<std::time::Instant>,
    /// Sections whose angle the last sample told, also where samples were let go since.
    n_angles: usize,
}

impl Listening {
    /// Takes a sample. Whether the deck's clock began anew with it: what came before is then of another time.
    pub(crate) fn hear(&mut self, sample: Sample) -> bool {
        self.heard_at = Some(std::time::Instant::now());
        let is_anew = self.window.back().is_some_and(|last| sample.t_s <= last.t_s);
        if is_anew {
            self.window.clear();
        }
        self.n_angles = sample.tilt_deg.len();
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

    /// The deck's own thermometer over the seconds of a reading, °C; `None` where it has none.
    pub(crate) fn temperature_c(&self) -> Option<f64> {
        let from_s = self.now_s()? - READING_S;
        let heard = self.samples().iter().filter(|s| s.t_s >= from_s);
        mean(&heard.filter_map(|s| s.temperature_c).collect::<Vec<f64>>())
    }

    /// Whether the deck tells the angle of a section.
    pub(crate) fn tells_tilt(&self, section: usize) -> bool {
        section < self.n_angles
    }

    /// The angle of a section over the seconds of a reading, by the deck's own sensor; `None` where it has none for that section.
    pub(crate) fn tilt(&self, section: usize) -> Option<Tilt> {
        let from_s = self.now_s()? - READING_S;
        let samples = self.samples().iter().filter(|s| s.t_s >= from_s);
        let angles: Vec<f64> = samples.filter_map(|s| s.tilt_deg.get(section).copied()).collect();
        let (before, after) = angles.split_at(angles.len() / 2);
        // Of one sample alone nothing is known to move.
        let moved_deg = mean(before).zip(mean(after)).map_or(0.0, |(before, after)| (after - before).abs());
        Some(Tilt { deg: mean(&angles)?, moved_deg })
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

fn mean(values: &[f64]) -> Option<f64> {
    let n = u32::try_from(values.len()).ok().filter(|n| *n > 0)?;
    Some(values.iter().sum::<f64>() / f64::from(n))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(angles: impl Iterator<Item = f64>) -> Listening {
        let mut listening = Listening::default();
        for (n, deg) in (0..).zip(angles) {
            listening.hear(Sample {
                t_s: 0.1 * f64::from(n),
                temperature_c: None,
                tilt_deg: vec![deg],
                counts: vec![],
            });
        }
        listening
    }

    /// By hand: the last 10 s of 15 s at 20° are 20°; of 5 s at 0° and then 5 s at 60° the mean is near 30° and the halves are 60° apart.
    #[test]
    fn an_angle_is_the_mean_of_a_reading_and_what_moves_is_told() {
        let still = heard((0..150).map(|n| if n % 2 == 0 { 19.9 } else { 20.1 })).tilt(0).unwrap();
        assert!((still.deg - 20.0).abs() < 0.01 && still.moved_deg < 0.01, "{still:?}");
        let raised = heard((0..101).map(|n| if n < 50 { 0.0 } else { 60.0 })).tilt(0).unwrap();
        assert!((raised.deg - 30.0).abs() < 1.0 && raised.moved_deg > 59.0, "{raised:?}");
        let warm = heard((0..3).map(f64::from)).temperature_c();
        assert_eq!(warm, None, "a deck without a thermometer tells no temperature");
        let mut let_go = heard((0..5).map(f64::from));
        assert_eq!(let_go.tilt(1), None);
        let_go.forget();
        assert!(
            let_go.tells_tilt(0) && !let_go.tells_tilt(1) && let_go.tilt(0).is_none(),
            "it is told, though not heard yet"
        );
        assert_eq!(Listening::default().tilt(0), None);
    }
}
