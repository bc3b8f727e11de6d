//! Small signals of a living body and of the ward, sample by sample.
//!
//! | signal    | size                                                           | source                                       |
//! |-----------|----------------------------------------------------------------|----------------------------------------------|
//! | breathing | 15 kg of 70 moving ± 2.5 mm: m (2πf)² A on the sum             | worked example                               |
//! |           | centre of mass ± 0.7 mm along the bed: the sum stays, cells swap | same, 1 mm is 35 g                         |
//! | heart     | harmonics of the pulse, about 0.5 N from peak to peak at 70 kg | same ("well under 1 N" lying, 1–10 Hz; memory) |
//! | floor     | white acceleration of all that lies there                      | own choice                                   |
//!
//! A recording slower than the converter holds means over its samples: an oscillation of frequency f is left with
//! |sin πfT / πfT|, a noise of memory τ with its mean over T.

use crate::cell::Step;
use crate::chance::Chance;

const TAU: f64 = std::f64::consts::TAU;

/// Noise with a memory, averaged over each sample: spread 1.
#[derive(Debug, Clone)]
pub(crate) struct Wander {
    value: f64,
    kept: f64,
    averaged: f64,
}

impl Wander {
    /// Noise of memory `tau_s`, seen in means over `dt_s`.
    pub(crate) fn new(tau_s: f64, dt_s: f64, chance: &mut Chance) -> Self {
        let r = dt_s / tau_s;
        // Variance of the mean of exp(−|t|/τ) noise over T: 2/r − 2/r² (1 − e^−r).
        let averaged = if r < 1e-6 { 1.0 } else { (2.0 / r - 2.0 / (r * r) * -(-r).exp_m1()).sqrt() };
        Self { value: chance.normal(), kept: (-r).exp(), averaged }
    }

    pub(crate) fn next(&mut self, chance: &mut Chance) -> f64 {
        self.value = self.kept * self.value + (1.0 - self.kept * self.kept).sqrt() * chance.normal();
        self.value * self.averaged
    }
}

impl Wander {
    /// The value last given.
    pub(crate) fn peek(&self) -> f64 {
        self.value * self.averaged
    }
}

/// Breathing and heart of a patient.
#[derive(Debug, Clone)]
pub(crate) struct Vital {
    breath_phase: f64,
    beat_phase: f64,
    breath_hz: f64,
    beat_hz: f64,
    /// Relative wander of both rates: a ventilator is steady.
    breath_jitter: f64,
    pace: Wander,
    step: Step,
}

/// Relative amplitudes of the pulse's first harmonics: a swing of about 1 from peak to peak.
const PULSE: [f64; 5] = [0.12, 0.22, 0.20, 0.12, 0.06];
/// Force of the heart from peak to peak at 70 kg, N.
const HEART_NEWTON: f64 = 0.5;
/// Moving mass of the chest, share of the body, and its way, m.
const CHEST: (f64, f64) = (15.0 / 70.0, 0.0025);
/// Way of the centre of mass along the bed, mm.
const CENTRE_MM: f64 = 0.7;

/// What breathing and heart do at one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Beat {
    /// Vertical force a kilogram of body, N/kg.
    pub(crate) newton_per_kg: f64,
    /// Way of the centre of mass along the bed, mm.
    pub(crate) along_mm: f64,
}

impl Vital {
    pub(crate) fn new(breaths_min: f64, pulse_min: f64, ventilated: bool, step: Step, chance: &mut Chance) -> Self {
        Self {
            breath_phase: chance.between(0.0, TAU),
            beat_phase: chance.between(0.0, TAU),
            breath_hz: breaths_min / 60.0,
            beat_hz: pulse_min / 60.0,
            breath_jitter: if ventilated { 0.005 } else { 0.12 },
            pace: Wander::new(20.0, step.dt_s, chance),
            step,
        }
    }

    /// Force of the heart over its swing.
    fn heart(&self) -> f64 {
        let harmonic =
            |(a, k): (&f64, f64)| a * (k * self.beat_phase + k * k).sin() * self.step.averaged(k * self.beat_hz);
        PULSE.iter().zip([1.0, 2.0, 3.0, 4.0, 5.0]).map(harmonic).sum()
    }

    pub(crate) fn next(&mut self, chance: &mut Chance) -> Beat {
        let pace = self.pace.next(chance);
        let breath_hz = self.breath_hz * (1.0 + self.breath_jitter * pace);
        self.breath_phase = (self.breath_phase + TAU * breath_hz * self.step.dt_s) % TAU;
        self.beat_phase = (self.beat_phase + TAU * self.beat_hz * (1.0 + 0.03 * pace) * self.step.dt_s) % TAU;
        let left = self.step.averaged(breath_hz);
        let breath = CHEST.0 * (TAU * breath_hz).powi(2) * CHEST.1 * self.breath_phase.sin() * left;
        // A heart that stands still has no harmonics, where their sum at a fixed phase would be a weight.
        let heart = if self.beat_hz > 0.0 { self.heart() } else { 0.0 };
        Beat {
            newton_per_kg: breath + heart * HEART_NEWTON / 70.0,
            along_mm: CENTRE_MM * self.breath_phase.sin() * left,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: m (2πf)² A of 15 kg that move by ± 2.5 mm at 0.25 Hz is 0.093 N, 9 g at the peak.
    #[test]
    fn breathing_of_an_adult_is_nine_grams_at_the_peak() {
        let mut chance = Chance::stream(1, "vital");
        let mut vital = Vital::new(15.0, 0.0, true, Step::new(0.1, 10.0), &mut chance);
        let peak = (0..6000).map(|_| vital.next(&mut chance).newton_per_kg * 70.0).fold(0.0, f64::max);
        let grams = peak / 9.81 * 1000.0;
        // 0.093 N is 9.4 g; the ventilator's pace wanders by 0.5 %, squared in the force.
        assert!((grams - 9.4).abs() < 0.4, "{grams}");
    }

    /// From memory: heart well under 1 N vertical when lying, energy in 1–10 Hz.
    #[test]
    fn the_heart_swings_by_about_half_a_newton() {
        let mut chance = Chance::stream(2, "vital");
        let mut vital = Vital::new(0.0, 75.0, true, Step::new(0.01, 100.0), &mut chance);
        let forces: Vec<f64> = (0..3000).map(|_| vital.next(&mut chance).newton_per_kg * 70.0).collect();
        let swing = forces.iter().copied().fold(f64::MIN, f64::max) - forces.iter().copied().fold(f64::MAX, f64::min);
        assert!((0.35..0.8).contains(&swing), "{swing}");
    }

    #[test]
    fn means_of_a_noise_with_memory_have_the_spread_of_the_integral() {
        let mut chance = Chance::stream(3, "wander");
        // Against brute force: 50 fine steps a sample.
        let (tau, dt, n) = (0.3, 1.0, 20_000);
        let mut fine = Wander::new(tau, dt / 50.0, &mut chance);
        let mut coarse = Wander::new(tau, dt, &mut chance);
        let rms = |x: &[f64]| (x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64).sqrt();
        let means: Vec<f64> = (0..n).map(|_| (0..50).map(|_| fine.next(&mut chance)).sum::<f64>() / 50.0).collect();
        let direct: Vec<f64> = (0..n).map(|_| coarse.next(&mut chance)).collect();
        // Each is known to 0.6 %; four of these together.
        assert!((rms(&means) / rms(&direct) - 1.0).abs() < 0.035, "{} {}", rms(&means), rms(&direct));
    }
}
