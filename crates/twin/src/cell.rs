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

use formats::deck::{CellType, Converter};
use serde::Serialize;

use crate::chance::Chance;

/// Standard gravity, m/s² (CGPM 1901): a rated capacity in kilograms is this many newtons a kilogram.
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// Temperature at which zero and span are as calibrated, °C.
pub const REFERENCE_C: f64 = 20.0;

/// What one built cell is really like.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellTruth {
    /// Name.
    pub name: String,
    /// Counts without load at the reference temperature.
    pub zero_counts: f64,
    /// Counts a newton.
    pub counts_per_newton: f64,
    /// Rated force, N.
    pub rated_newton: f64,
    /// Largest bow of the characteristic, half way, N.
    pub bow_newton: f64,
    /// Width of the loop half way, N.
    pub hysteresis_newton: f64,
    /// Creep at infinite time, share of the load.
    pub creep_share: f64,
    /// Time constant of creep, s.
    pub creep_tau_s: f64,
    /// Standard deviation of the share of load that is drawn anew with travel.
    pub repeatability_share: f64,
    /// Change of zero, N/K.
    pub zero_newton_per_k: f64,
    /// Change of span, 1/K.
    pub span_per_k: f64,
    /// Wander of the zero, N per √s.
    pub wander_newton_sqrt_s: f64,
    /// Noise of a single conversion, counts rms.
    pub noise_counts: f64,
    /// Amplitude of mains pick-up at the input, counts.
    pub hum_counts: f64,
    /// Phase of the pick-up, rad.
    pub hum_phase: f64,
    /// Largest count of the converter.
    pub count_max: f64,
    /// Conversions a second.
    pub rate_hz: f64,
}

/// What the sheet leaves out, with our own choices as defaults (no source: common practice or plain guess).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellSpread {
    /// Spread of sensitivity between cells of one type, ± share. Structure reference table 5 has ±10–15 % for bar cells.
    pub gain: f64,
    /// Spread of the zero, ± share of rated output. The same table's sheet example has ±5 %.
    pub zero: f64,
    /// Wander of the zero, g per √h.
    pub wander_g_sqrt_h: f64,
    /// Mains pick-up at the converter's input, nV amplitude.
    pub hum_nv: f64,
    /// How much of its sheet's limits a cell uses; 1: drawn over the whole of them, 0: an ideal cell.
    pub sheet: f64,
}

impl Default for CellSpread {
    fn default() -> Self {
        Self { gain: 0.10, zero: 0.05, wander_g_sqrt_h: 0.3, hum_nv: 400.0, sheet: 1.0 }
    }
}

impl CellSpread {
    /// Straight, steady cells: noise and quantization only.
    #[must_use]
    pub fn ideal() -> Self {
        Self { wander_g_sqrt_h: 0.0, hum_nv: 0.0, sheet: 0.0, ..Self::default() }
    }
}

/// What the cells of one type have in common, each within ± 1 of the sheet's limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Batch {
    creep: f64,
    span: f64,
}

/// Part of a cell's creep and span coefficient that its batch decides (own choice).
const OF_BATCH: f64 = 0.7;

impl Batch {
    /// Draws a batch.
    #[must_use]
    pub fn draw(chance: &mut Chance) -> Self {
        Self { creep: chance.within(1.0), span: chance.within(1.0) }
    }

    fn mixed(of_batch: f64, chance: &mut Chance) -> f64 {
        OF_BATCH * of_batch + chance.within(1.0 - OF_BATCH)
    }
}

impl CellTruth {
    /// Draws a cell of a batch within its sheet.
    #[must_use]
    pub fn draw(
        name: &str,
        kind: &CellType,
        batch: Batch,
        converter: &Converter,
        spread: &CellSpread,
        chance: &mut Chance,
    ) -> Self {
        let rated_newton = kind.capacity_kg * STANDARD_GRAVITY;
        let volt_per_newton =
            kind.output_mv_v * 1e-3 * converter.excitation_v / rated_newton * (1.0 + chance.within(spread.gain));
        let count_max = 2f64.powi(i32::try_from(converter.bits).unwrap_or(24) - 1);
        let counts_per_volt = count_max / (converter.reference_v / converter.gain / 2.0);
        let limit = |pct: f64| pct / 100.0 * spread.sheet;
        let creep_tau_s = chance.between(360.0, 900.0);
        // The sheet's figure is reached at 30 min: c(1800) = a (1 − exp(−1800/τ)).
        let creep_share =
            Batch::mixed(batch.creep, chance) * limit(kind.creep_pct_30min) / (1.0 - (-1800.0 / creep_tau_s).exp());
        Self {
            name: name.to_owned(),
            zero_counts: (chance.within(spread.zero) * rated_newton * volt_per_newton * counts_per_volt).round(),
            counts_per_newton: volt_per_newton * counts_per_volt,
            rated_newton,
            bow_newton: chance.within(limit(kind.nonlinearity_pct)) * rated_newton,
            hysteresis_newton: chance.between(0.0, limit(kind.hysteresis_pct)) * rated_newton,
            creep_share,
            creep_tau_s,
            repeatability_share: limit(kind.repeatability_pct) / 3f64.sqrt(),
            zero_newton_per_k: chance.within(limit(kind.zero_tc_pct_10c)) * rated_newton / 10.0,
            span_per_k: Batch::mixed(batch.span, chance) * limit(kind.span_tc_pct_10c) / 10.0,
            wander_newton_sqrt_s: spread.wander_g_sqrt_h * 1e-3 * STANDARD_GRAVITY / 3600f64.sqrt(),
            noise_counts: converter.noise_nv_rms * 1e-9 * counts_per_volt,
            hum_counts: spread.hum_nv * 1e-9 * counts_per_volt,
            hum_phase: chance.between(0.0, std::f64::consts::TAU),
            count_max,
            rate_hz: converter.rate_hz,
        }
    }

    /// Newtons' worth of bow at a force.
    fn bow(&self, force_newton: f64) -> f64 {
        4.0 * self.bow_newton * self.loop_shape(force_newton)
    }

    /// u (1 − u), kept at 0 outside 0 … rated: a cell is not described there, and does not run away.
    fn loop_shape(&self, force_newton: f64) -> f64 {
        let u = (force_newton / self.rated_newton).clamp(0.0, 1.0);
        u * (1.0 - u)
    }
}

/// How a cell stands at one moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CellState {
    play_newton: f64,
    creep_newton: f64,
    travel_newton: f64,
    seat_share: f64,
    wander_newton: f64,
}

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

/// Share of rated force that a cell must travel before its seat settles anew.
const SEAT_PLAY: f64 = 0.01;
/// Travel over which the seat forgets, share of rated force.
const SEAT_TRAVEL: f64 = 0.2;

impl CellState {
    /// The cell at rest under a constant force for a long time.
    #[must_use]
    pub fn at_rest(cell: &CellTruth, force_newton: f64, chance: &mut Chance) -> Self {
        Self {
            play_newton: force_newton,
            creep_newton: force_newton,
            travel_newton: force_newton,
            seat_share: cell.repeatability_share * chance.normal(),
            wander_newton: 0.0,
        }
    }

    /// One sample later: the output in newtons, before noise.
    pub fn advance(
        &mut self,
        cell: &CellTruth,
        force_newton: f64,
        above_reference_k: f64,
        dt_s: f64,
        chance: &mut Chance,
    ) -> f64 {
        let half = 2.0 * cell.hysteresis_newton * cell.loop_shape(force_newton);
        self.play_newton = self.play_newton.clamp(force_newton - half, force_newton + half);
        // Exact for a force held over the step, so that coarse steps are as right as fine ones.
        self.creep_newton += (force_newton - self.creep_newton) * -(-dt_s / cell.creep_tau_s).exp_m1();
        self.settle_seat(cell, force_newton, chance);
        if cell.wander_newton_sqrt_s > 0.0 {
            self.wander_newton += cell.wander_newton_sqrt_s * dt_s.sqrt() * chance.normal();
        }
        let loaded = force_newton
            + cell.bow(force_newton)
            + (self.play_newton - force_newton)
            + cell.creep_share * self.creep_newton
            + self.seat_share * force_newton;
        loaded * (1.0 + cell.span_per_k * above_reference_k)
            + cell.zero_newton_per_k * above_reference_k
            + self.wander_newton
    }

    /// As the load travels, the way it sits on the cell is drawn anew (an Ornstein-Uhlenbeck process in travel).
    fn settle_seat(&mut self, cell: &CellTruth, force_newton: f64, chance: &mut Chance) {
        let play = SEAT_PLAY * cell.rated_newton;
        let before = self.travel_newton;
        self.travel_newton = before.clamp(force_newton - play, force_newton + play);
        let travelled = (self.travel_newton - before).abs();
        if travelled > 0.0 && cell.repeatability_share > 0.0 {
            let kept = (-travelled / (SEAT_TRAVEL * cell.rated_newton)).exp();
            self.seat_share =
                kept * self.seat_share + cell.repeatability_share * (1.0 - kept * kept).sqrt() * chance.normal();
        }
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
        }
    }

    fn only(spread: &CellSpread, seed: u64) -> CellTruth {
        let mut chance = Chance::stream(seed, "cell");
        let batch = Batch::draw(&mut chance);
        CellTruth::draw("c", &pad(), batch, &converter(), spread, &mut chance)
    }

    /// Source: structure reference, section 8: 24 bit, gain 128, input ±½·5 V/128, 2 mV/V, 100 kg, 5 V:
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
