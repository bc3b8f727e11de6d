//! From a deck and its calibration to the signal path's configuration.
//!
//! The calibration's covariance is split in two: what all gains share (the reference mass: the mean covariance between
//! different cells) is a scale common to all, the rest is each cell's own. A cell's data sheet adds to its own share as a part
//! of its *load*: rated percentages hold near rated load, and a straight line fitted through the calibration's loads leaves
//! that share of a smaller one. What goes with temperature is taken from the calibration where it kept such terms, see `warmth`; else the sheet bounds it. Bounds are taken as rectangular, u = a/√3 (JCGM 100:2008, 4.3.7).

use deck::chain::{self, Channel};
use deck::{geometry, gravity_m_s2};
use formats::calibration::{Calibration, CellCalibration};
use formats::deck::{CellType, Deck};
use signal::config::{CellConfig, Limits};
use signal::{Change, Config, Ledger, Plateau, SignalPath};

use crate::WeighError;
use crate::warmth::Warmth;

/// Most cells of a deck.
pub const CELLS: usize = 48;
/// Most plates of a deck.
pub const PLATES: usize = 16;
/// Most sections of a bed.
pub const SECTIONS: usize = 8;

/// The signal path of a deck.
pub type Path = SignalPath<CELLS, PLATES, SECTIONS>;
/// Its configuration.
pub type PathConfig = Config<CELLS, PLATES, SECTIONS>;
/// Who bears what of the load.
pub type Accounts = Ledger<CELLS, SECTIONS>;
/// The deck at rest.
pub type Rest = Plateau<CELLS, SECTIONS>;
/// A difference of two rests.
pub type Step = Change<CELLS, SECTIONS>;

/// What judgement knows of a plate.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sheet {
    /// Its name.
    pub name: String,
    /// Its middle on the bed lying flat, mm.
    pub middle_mm: [f64; 2],
    /// Free gap to its base, mm.
    pub clearance_mm: f64,
    /// Largest deflection under an even kilogram, mm; `None` for a plate that the solver refuses.
    pub bend_mm_per_kg: Option<f64>,
}

/// The plates of a deck, each solved once under an even load on the mesh that the solver starts with: to some per cent, far better than a load is even.
pub(crate) fn sheets(deck: &Deck) -> Vec<Sheet> {
    let gravity = gravity_m_s2(&deck.site);
    let bend = |plate: &formats::deck::Plate| {
        let solver = deck::model::model(deck, plate).ok()?.plate;
        let even = plates::Load::patch_of([0.0; 2], solver.size_m, gravity);
        let n_elements = plates::usual_mesh(&solver);
        let solved = plates::solve_on(&solver, &[even.into()], plates::Bearing::Bilateral, n_elements).ok()?;
        solved.first().map(|solution| 1e3 * solution.max.deflection_m)
    };
    let sheet = |plate: &formats::deck::Plate| Sheet {
        name: plate.name.clone(),
        middle_mm: geometry::middle_in_bed_mm(plate),
        clearance_mm: plate.clearance_mm,
        bend_mm_per_kg: bend(plate),
    };
    deck.plates.iter().map(sheet).collect()
}

/// Frequency below which a bridge amplifier's flicker exceeds its white noise, Hz: a choice of this project on the side of caution, no source (an
/// amplifier that chops stays white far below it; `noise` shows a deck's own).
const FLICKER_HZ: f64 = 1.0;

/// Makes the configuration.
///
/// # Errors
/// A calibration of another deck or with open cells, a deck too large for the path.
pub fn configure(deck: &Deck, calibration: &Calibration) -> Result<PathConfig, WeighError> {
    if calibration.deck != deck.name {
        return Err(WeighError::OtherDeck { found: calibration.deck.clone(), expected: deck.name.clone() });
    }
    let scale_rel = common_scale(calibration);
    let warmth = Warmth::of(calibration);
    let mut cells = Vec::new();
    for ((plate_idx, cell), channel) in deck.cells().zip(chain::channels(deck)?) {
        let cell_type = chain::cell_type(deck, cell)?;
        let line = calibration
            .cells
            .iter()
            .find(|line| line.name == cell.name)
            .ok_or_else(|| WeighError::NoCell { cell: cell.name.clone() })?;
        let Some((zero_counts, kg_per_count)) = line.zero_counts.zip(line.kg_per_count) else {
            return Err(WeighError::Undetermined { cell: cell.name.clone() });
        };
        let at_mm = deck.plates.get(plate_idx).map_or([0.0; 2], |plate| geometry::cell_in_bed_mm(plate, cell));
        cells.push(CellConfig {
            noise_counts: channel.noise_counts,
            counts_min: -full_scale(deck),
            counts_max: full_scale(deck),
            u_gain_rel: own_gain(line, cell_type, &channel, scale_rel),
            zero_counts_per_c: warmth.zero(&cell.name).map_or(0.0, |(counts_per_c, _)| counts_per_c),
            span_per_c: warmth.span().map_or(0.0, |(per_c, _)| per_c),
            reference_c: warmth.reference_c().unwrap_or(20.0),
            ..CellConfig::straight(plate_idx, at_mm, zero_counts, kg_per_count, cell_type.capacity_kg)
        });
    }
    let sections = deck.plates.iter().map(|plate| geometry::section_of(deck, plate)).collect::<Result<Vec<_>, _>>()?;
    let ratio = calibration.gravity_m_s2 / gravity_m_s2(&deck.site);
    let mut limits = limits(deck, scale_rel)?;
    warmth.doubt(deck, calibration, &mut limits.doubt)?;
    Config::new(&cells, &sections, deck.sections.len(), ratio, limits).map_err(WeighError::Path)
}

/// Counts at which the converter saturates, less one for the end itself.
fn full_scale(deck: &Deck) -> f64 {
    (f64::from(deck.converter.bits) - 1.0).exp2() - 1.0
}

/// Relative standard uncertainty that all gains share.
fn common_scale(calibration: &Calibration) -> f64 {
    let covariance = &calibration.covariance;
    let gains: Vec<(usize, f64)> = calibration
        .cells
        .iter()
        .filter_map(|cell| {
            let name = format!("gain:{}", cell.name);
            let at = covariance.parameters.iter().position(|parameter| *parameter == name)?;
            Some((at, cell.kg_per_count?))
        })
        .collect();
    let (mut sum, mut n) = (0.0, 0.0);
    for &(row, gain_row) in &gains {
        for &(column, gain_column) in gains.iter().filter(|(column, _)| *column != row) {
            let entry = covariance.matrix.get(row).and_then(|line| line.get(column)).copied().unwrap_or(0.0);
            sum += entry / (gain_row * gain_column);
            n += 1.0;
        }
    }
    if n > 0.0 { (sum / n).max(0.0).sqrt() } else { 0.0 }
}

/// A cell's own relative standard uncertainty.
fn own_gain(line: &CellCalibration, cell_type: &CellType, channel: &Channel, scale_rel: f64) -> f64 {
    let fitted = match (line.u_kg_per_count, line.kg_per_count) {
        (Some(u), Some(gain)) => (u / gain).abs(),
        _ => 0.0,
    };
    let own = (fitted * fitted - scale_rel * scale_rel).max(0.0);
    let bound = |pct: f64| pct / 100.0 / 3f64.sqrt();
    let sheet = [
        bound(cell_type.nonlinearity_pct),
        bound(cell_type.hysteresis_pct),
        bound(cell_type.repeatability_pct),
        channel.step_g() / 1e3 / channel.capacity_kg,
    ];
    (own + sheet.iter().map(|u| u * u).sum::<f64>()).sqrt()
}

fn limits(deck: &Deck, scale_rel: f64) -> Result<Limits, WeighError> {
    let mut limits = Limits::default();
    let mut creep = 0.0_f64;
    for (_, cell) in deck.cells() {
        let cell_type = chain::cell_type(deck, cell)?;
        let bound = |pct: f64| pct / 100.0 / 3f64.sqrt();
        creep = creep.max(bound(cell_type.creep_pct_30min));
    }
    limits.doubt.scale_rel = scale_rel.hypot(deck::gravity::u_of_weight(deck));
    limits.doubt.creep_rel = creep;
    let [coldest_c, warmest_c] = deck.ambient_c;
    // Each of two temperatures lies anywhere in the range, of variance range²/12: what lies between them has twice that.
    limits.doubt.unknown_c = (warmest_c - coldest_c).max(0.0) / 6f64.sqrt();
    // A deck whose own noise fills the limits could never be still: they give way to four times its noise.
    let noise_kg = chain::channels(deck)?.iter().map(|c| (c.noise_g / 1e3).powi(2)).sum::<f64>().sqrt();
    // S(f) = f_c/f · σ²/(rate/2) and Var = 2 f S(f) ln(…), see `signal::doubt`.
    limits.doubt.zero_flicker_kg = noise_kg * (4.0 * FLICKER_HZ / deck.converter.rate_hz).sqrt();
    let per_block = (deck.converter.rate_hz * limits.still.block_s).max(1.0).sqrt();
    limits.still.sd_kg = limits.still.sd_kg.max(4.0 * noise_kg / per_block);
    limits.still.fast_sd_kg = limits.still.fast_sd_kg.max(4.0 * noise_kg);
    Ok(limits)
}
