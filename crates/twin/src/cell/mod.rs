//! One load cell with its bridge and converter channel: force in, counts out.
//!
//! A cell is drawn once from its data sheet ([`CellTruth::draw`]) and then lives through time ([`CellState`]).
//! The output in newtons is
//!
//! y = (F + n(F) + h + c + s) · (1 + α ΔT) + z_T ΔT + d,   counts = zero + y · counts_per_newton + noise,
//!
//! | symbol | name                | meaning                                                                      | unit |
//! |--------|---------------------|------------------------------------------------------------------------------|------|
//! | F      | `force_newton`      | force on the cell, down positive                                             | N    |
//! | n      | `bow_newton`        | 4 b u (1 − u), u = F / rated: end points exact, largest error b half way     | N    |
//! | h      | hysteresis          | lag of a play operator whose half width is h 4 u (1 − u) / 2                 | N    |
//! | c      | creep               | a · x, dx/dt = (F − x) / τ, first order and recovering                       | N    |
//! | s      | repeatability       | share of load that is drawn anew as the load travels                         | N    |
//! | α, z_T | temperature         | span and zero per kelvin                                                     | 1/K, N/K |
//! | d      | wander of the zero  | random walk                                                                  | N    |
//!
//! Every effect is drawn evenly within ± the sheet's figure: a sheet states limits, not standard deviations. Creep and the
//! span's temperature come from gauge and adhesive, which cells of one batch share: their draw is mostly the batch's.
//! The noise of a reading that is the mean of several conversions falls with the root of their number.
//! Not here: how load reaches the cell, and what is made of the counts.

mod state;
mod truth;

pub use state::CellState;
pub use truth::{Batch, CellSpread, CellTruth};

use crate::chance::Chance;

/// A rated capacity in kilograms is this many newtons a kilogram, m/s².
pub use deck::gravity::STANDARD_M_S2 as STANDARD_GRAVITY;

/// Temperature at which zero and span are as calibrated, °C.
pub const REFERENCE_C: f64 = 20.0;

/// What all cells of a deck share for a step of constant length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Time from one sample to the next, s.
    pub dt_s: f64,
    /// Conversions whose mean makes one sample.
    pub n_conversions: f64,
}

impl Step {
    /// Samples every `dt_s` from a converter that makes `rate_hz` conversions a second.
    #[must_use]
    pub fn new(dt_s: f64, rate_hz: f64) -> Self {
        Self { dt_s, n_conversions: (dt_s * rate_hz).max(1.0) }
    }

    /// What is left of an oscillation after the converter has averaged over one sample: |sin πfT / πfT|.
    #[must_use]
    pub fn averaged(&self, frequency_hz: f64) -> f64 {
        let x = std::f64::consts::PI * frequency_hz * self.dt_s;
        if x.abs() < 1e-9 { 1.0 } else { (x.sin() / x).abs() }
    }
}

/// Counts of one sample: output to counts, noise, hum, rounding and the ends of the converter's range.
#[must_use]
pub fn counts(cell: &CellTruth, output_newton: f64, hum: f64, step: Step, chance: &mut Chance) -> f64 {
    // A mean of several conversions is written as a whole count too: the file holds what a converter would send.
    let raw = mean_counts(cell, output_newton, step.n_conversions, chance) + cell.hum_counts * hum;
    raw.round().clamp(-cell.count_max, cell.count_max - 1.0)
}

/// Mean of several conversions, not rounded: what a person at the bench writes down.
#[must_use]
pub fn mean_counts(cell: &CellTruth, output_newton: f64, n_conversions: f64, chance: &mut Chance) -> f64 {
    let noise = cell.noise_counts / n_conversions.sqrt() * chance.normal();
    cell.zero_counts + output_newton * cell.counts_per_newton + noise
}

#[cfg(test)]
pub(crate) mod tests {
    use formats::deck::{CellType, Converter};

    use super::*;

    pub(crate) fn pad() -> CellType {
        CellType {
            name: "pad".into(),
            capacity_kg: 50.0,
            output_mv_v: 1.0,
            stiffness_n_mm: 2000.0,
            nonlinearity_pct: 0.05,
            hysteresis_pct: 0.04,
            repeatability_pct: 0.03,
            creep_pct_30min: 0.05,
            zero_tc_pct_10c: 0.05,
            span_tc_pct_10c: 0.05,
            cost: 3.0,
            mass_kg: None,
            approval: Default::default(),
        }
    }

    pub(crate) fn converter() -> Converter {
        Converter {
            excitation_v: 4.2,
            gain: 128.0,
            reference_v: 4.2,
            bits: 24,
            noise_nv_rms: 90.0,
            rate_hz: 10.0,
            cost_per_channel: 1.5,
            approval: Default::default(),
        }
    }

    fn only(spread: &CellSpread, seed: u64) -> CellTruth {
        let mut chance = Chance::stream(seed, "cell");
        let batch = Batch::draw(&mut chance);
        CellTruth::draw("c", &pad(), batch, &converter(), spread, &mut chance)
    }

    /// By hand: 24 bit, gain 128, input ±½·5 V/128, 2 mV/V, 100 kg, 5 V:
    /// 2.3283 nV a count, 42 949.7 counts a kilogram of a cell on its own channel.
    #[test]
    fn counts_per_kilogram_follow_the_bridge_and_converter() {
        let kind = CellType { capacity_kg: 100.0, output_mv_v: 2.0, ..pad() };
        let sheet = Converter { excitation_v: 5.0, reference_v: 5.0, ..converter() };
        let spread = CellSpread { gain: 0.0, ..CellSpread::ideal() };
        let cell = CellTruth::draw(
            "c",
            &kind,
            Batch { creep: 0.0, span: 0.0 },
            &sheet,
            &spread,
            &mut Chance::stream(1, "cell"),
        );
        let per_kg = cell.counts_per_newton * STANDARD_GRAVITY;
        assert!((per_kg - 42_949.7).abs() < 0.05, "{per_kg}");
        assert!((cell.noise_counts - 90.0 / 2.3283).abs() < 0.01, "{}", cell.noise_counts);
    }

    #[test]
    fn bow_is_largest_half_way_and_none_at_the_ends() {
        let mut cell = only(&CellSpread::ideal(), 1);
        cell.bow_newton = 0.2;
        let rated = cell.rated_newton;
        let at = |f: f64| CellState::default().advance(&cell, f, 0.0, 1.0, &mut Chance::stream(1, "x")) - f;
        assert!(at(0.0).abs() < 1e-12 && at(rated).abs() < 1e-9);
        assert!((at(rated / 2.0) - 0.2).abs() < 1e-9);
    }

    #[test]
    fn loop_is_as_wide_as_stated_half_way_and_closes_at_zero() {
        let mut cell = only(&CellSpread::ideal(), 1);
        cell.hysteresis_newton = 0.25;
        let rated = cell.rated_newton;
        let mut chance = Chance::stream(1, "x");
        let mut state = CellState::default();
        let mut up = 0.0;
        for i in 0..=1000 {
            let y = state.advance(&cell, rated * f64::from(i) / 1000.0, 0.0, 1.0, &mut chance);
            if i == 500 {
                up = y;
            }
        }
        let mut down = 0.0;
        for i in (0..=1000).rev() {
            let y = state.advance(&cell, rated * f64::from(i) / 1000.0, 0.0, 1.0, &mut chance);
            if i == 500 {
                down = y;
            }
            if i == 0 {
                assert!(y.abs() < 1e-9, "zero after a full cycle: {y}");
            }
        }
        // The play's half width changes along the way: its lag at half load is met to a step of 0.1 % of rated.
        assert!((down - up - 0.25).abs() < 1e-3, "{}", down - up);
    }

    #[test]
    fn creep_reaches_the_sheet_at_thirty_minutes_and_recovers() {
        let mut cell = only(&CellSpread::ideal(), 1);
        cell.creep_tau_s = 600.0;
        cell.creep_share = 5e-4 / (1.0 - (-3f64).exp());
        let mut chance = Chance::stream(1, "x");
        let mut state = CellState::default();
        let load = 400.0;
        let mut y = 0.0;
        for _ in 0..18_000 {
            y = state.advance(&cell, load, 0.0, 0.1, &mut chance);
        }
        assert!((y - load * (1.0 + 5e-4)).abs() < 1e-6, "{y}");
        for _ in 0..180 {
            y = state.advance(&cell, 0.0, 0.0, 10.0, &mut chance);
        }
        assert!((y - load * 5e-4 * (-3f64).exp()).abs() < 1e-6, "{y}");
    }

    #[test]
    fn noise_of_a_sample_falls_with_the_root_of_its_conversions() {
        let cell = only(&CellSpread::ideal(), 1);
        for (dt, expected) in [(0.1, cell.noise_counts), (1.0, cell.noise_counts / 10f64.sqrt())] {
            let step = Step::new(dt, cell.rate_hz);
            let mut chance = Chance::stream(3, "noise");
            let n = 40_000;
            let sum2: f64 =
                (0..n).map(|_| (counts(&cell, 0.0, 0.0, step, &mut chance) - cell.zero_counts).powi(2)).sum();
            // Rounding adds 1/12; a standard deviation of 4e4 draws is known to 0.35 %: four of these.
            let sd = (sum2 / f64::from(n) - 1.0 / 12.0).sqrt();
            assert!((sd / expected - 1.0).abs() < 0.014, "{sd} against {expected}");
        }
    }

    #[test]
    fn repeatability_has_the_stated_spread_over_loadings() {
        let spread = CellSpread { wander_g_sqrt_h: 0.0, hum_nv: 0.0, sheet: 1.0, ..CellSpread::default() };
        let mut cell = only(&spread, 1);
        (cell.bow_newton, cell.hysteresis_newton, cell.creep_share) = (0.0, 0.0, 0.0);
        let mut chance = Chance::stream(5, "loadings");
        let mut state = CellState::default();
        let load = 0.5 * cell.rated_newton;
        let n = 4000;
        let errors: Vec<f64> = (0..n)
            .map(|_| {
                state.advance(&cell, 0.0, 0.0, 1.0, &mut chance);
                state.advance(&cell, load, 0.0, 1.0, &mut chance) - load
            })
            .collect();
        let mean = errors.iter().sum::<f64>() / f64::from(n);
        let sd = (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / f64::from(n)).sqrt();
        let expected = 3e-4 / 3f64.sqrt() * load;
        // A standard deviation of 4000 nearly free draws is known to 1.1 %: four of these.
        assert!((sd / expected - 1.0).abs() < 0.045, "{sd} against {expected}");
    }

    #[test]
    fn a_mains_period_that_fits_the_sample_leaves_no_hum() {
        let step = Step::new(0.1, 10.0);
        assert!(step.averaged(50.0) < 1e-12);
        assert!(step.averaged(50.3) > 1e-3);
        assert!((step.averaged(0.25) - 1.0).abs() < 1.1e-3);
    }
}
