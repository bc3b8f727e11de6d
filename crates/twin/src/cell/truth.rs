//! What a built cell is really like, drawn from its data sheet.

use formats::deck::{CellType, Converter};
use serde::Serialize;

use super::STANDARD_GRAVITY;
use crate::chance::Chance;

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
    /// Spread of sensitivity between cells of one type, ± share. Data sheets of bar cells have ±10–15 % (from memory).
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
    pub(super) creep: f64,
    pub(super) span: f64,
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
    pub(super) fn bow(&self, force_newton: f64) -> f64 {
        4.0 * self.bow_newton * self.loop_shape(force_newton)
    }

    /// u (1 − u), kept at 0 outside 0 … rated: a cell is not described there, and does not run away.
    pub(super) fn loop_shape(&self, force_newton: f64) -> f64 {
        let u = (force_newton / self.rated_newton).clamp(0.0, 1.0);
        u * (1.0 - u)
    }
}
