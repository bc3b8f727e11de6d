//! The low-pass: four equal one-pole stages in a row, right for any spacing of samples.
//!
//! Solves y' = (x − y) / τ four times over, each stage fed by the one before. A sample that comes `dt` after the
//! last one moves every stage by `g = 1 − exp(−dt/τ)` of its distance, so a late sample counts for the time
//! it stood for and no spacing makes the filter unstable. For even samples H(z) = ((1 − a) / (1 − a z⁻¹))⁴, a = exp(−dt/τ).
//!
//! | symbol | name     | unit |
//! |--------|----------|------|
//! | τ      | `tau_s`  | s    |
//! | dt     | `dt_s`   | s    |
//! | g      | `gain`   | –    |
//!
//! Response of the continuous filter (T = t/τ): the step is 1 − e⁻ᵀ (1 + T + T²/2 + T³/6), monotonic, never past its end;
//! |H| = (1 + (2πfτ)²)⁻². Samples at dt arrive earlier by less than 4 dt:
//!
//! | what                           | in τ    | at the default τ = 0.45 s |
//! |--------------------------------|---------|---------------------------|
//! | delay at low frequency         | 4       | 1.8 s                     |
//! | −3 dB                          | 0.0692/τ | 0.154 Hz                 |
//! | step within 1 %                | 10.05   | 4.5 s                     |
//! | step within 0.1 %              | 13.06   | 5.9 s                     |
//! | step within 0.01 %             | 15.91   | 7.2 s                     |
//! | noise bandwidth (one-sided)    | 0.0781/τ | 0.174 Hz                 |
//!
//! Why not a sharper one: at the same −3 dB a fourth-order Bessel filter overshoots by 0.8 % and is within 0.1 % only at
//! 16.9 τ, and its poles have no plain form for uneven samples.
//! Not here: spikes (see [`crate::channel`]) and the judgement of stillness (see [`crate::still`]).

/// Stages of the low-pass.
pub const STAGES: usize = 4;

/// Share of its distance that each stage goes in `dt_s`; 0 for a time that does not run forward.
#[must_use]
pub fn gain(dt_s: f64, tau_s: f64) -> f64 {
    if dt_s > 0.0 && tau_s > 0.0 { -libm::expm1(-dt_s / tau_s) } else { 0.0 }
}

/// State of one low-pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowPass {
    stages: [f64; STAGES],
    primed: bool,
}

impl LowPass {
    /// A filter that starts at its first sample.
    #[must_use]
    pub const fn new() -> Self {
        Self { stages: [0.0; STAGES], primed: false }
    }

    /// Takes a sample; `gain` is [`gain`] of the time since the last. A sample that is not finite is passed over.
    pub fn push(&mut self, x: f64, gain: f64) -> f64 {
        if x.is_finite() {
            if self.primed {
                let mut from = x;
                for stage in &mut self.stages {
                    *stage += gain * (from - *stage);
                    from = *stage;
                }
            } else {
                self.stages = [x; STAGES];
                self.primed = true;
            }
        }
        self.value()
    }

    /// The filter's output; 0 before the first sample.
    #[must_use]
    pub const fn value(&self) -> f64 {
        let [.., last] = self.stages;
        last
    }
}

impl Default for LowPass {
    fn default() -> Self {
        Self::new()
    }
}
