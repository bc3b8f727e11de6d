//! How far the difference of two plateaus may be off: everything that does not cancel between them.
//!
//! Every weight is a difference: patient on the bed less the tare, after a step less before it. What is common to both
//! plateaus cancels; what differs between them is taken up, in quadrature:
//!
//! | part      | standard uncertainty |
//! |-----------|----------------------|
//! | gain      | √Σ (u_i ΔF_i)², each cell by the change of its own load, so a mere turn in bed counts too |
//! | scale     | u_s ΔW |
//! | lean      | u_κ Δ(W sin²θ) for each section: a push that friction does not take up, structure of the inclined plane |
//! | angle     | u_θ Δ(W tan θ) for each section |
//! | creep     | √((ρ u_c ΔW)² + (1 − ρ²) u_c² Σ ΔF²) (1 − exp(−t/τ_c)), with its half hour as the creep test has it |
//! | zero      | u_f √ln(1 + t/τ_f), flicker of bridge and amplifier |
//! | warmth    | u_zT ΔT and u_sT ΔT W, with ΔT as measured and what the calibration's terms leave open, or with the whole effect and u_T √(1 − exp(−t/τ_T)) where nobody measures it |
//! | noise     | both plateaus' own scatter |
//! | stand-in  | of failed cells, on both plateaus; of a change that the path finds: by what moved on their plates in between |
//!
//! Symbols: F a cell's load and W a section's (in the creep the deck's), kg; θ the section's angle; t the time between; ρ² the part of the cells' creep variance that all share. Creep belongs to each cell with its sign: what cells have in common
//! (gauge, adhesive, age) follows the sum of the changes, so a turn in bed, which leaves the sum, costs nothing of it; what is each
//! cell's own adds up in squares.
//! A zero that is free of warmth and creep flickers: power density S(f) = K/f. The difference of two averages over τ_f that lie t apart has the variance
//! 2 K ∫ (1 − cos 2πft)/f df from 1/t to 1/τ_f, to within its constant 2 K ln(1 + t/τ_f): it grows for ever, but slowly, unlike a random walk.
//! Sources: JCGM 100:2008, 5.1.2 (uncorrelated inputs); flicker noise: NIST SP 1065, section on power-law noise (the integral is elementary); lean: error (1 − κ) N sin²θ/cos θ of ΣN/cos θ, N = W cos θ.

use crate::config::Config;
use crate::plateau::Level;

/// Time constant of creep, chosen so that 95 % has come after half an hour, s.
pub const CREEP_S: f64 = 600.0;
/// Time over which a plateau averages, from which on flicker counts, s.
const FLICKER_S: f64 = 30.0;
/// Time in which a room takes on another temperature, s: a quarter of a day.
const ROOM_S: f64 = 21_600.0;
/// Part ρ² of the variance of creep that the cells of a deck share. A data sheet bounds a cell and does not say how a lot spreads within the bound: equal
/// parts (a choice of this project, no source) are wrong by at most √2 either way.
const CREEP_SHARED: f64 = 0.5;

/// The deck at rest: its level, what each cell bears and how the sections stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plateau<const C: usize, const S: usize> {
    /// Total and its scatter.
    pub level: Level,
    /// What each cell bears, kg (vertical).
    pub cells_kg: [f64; C],
    /// Angle of each section, degrees.
    pub tilt_deg: [f64; S],
    /// Temperature, where it is known, °C.
    pub temperature_c: Option<f64>,
    /// Standard uncertainty of what stands in for failed cells, kg.
    pub stand_in_u_kg: f64,
}

/// Standard uncertainty of a difference, by its parts, kg.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Parts {
    /// Gains of single cells.
    pub gain_kg: f64,
    /// Scale common to all.
    pub scale_kg: f64,
    /// Lean of the reaction under tilt.
    pub lean_kg: f64,
    /// Error of the angles.
    pub angle_kg: f64,
    /// Creep.
    pub creep_kg: f64,
    /// Drift of zero with time and temperature, and of the span with temperature.
    pub drift_kg: f64,
    /// Scatter.
    pub noise_kg: f64,
    /// What stands in for failed cells.
    pub stand_in_kg: f64,
}

impl Parts {
    /// All parts together, kg.
    #[must_use]
    pub fn total_kg(&self) -> f64 {
        let Self { gain_kg, scale_kg, lean_kg, angle_kg, creep_kg, drift_kg, noise_kg, stand_in_kg } = *self;
        root_of_squares([gain_kg, scale_kg, lean_kg, angle_kg, creep_kg, drift_kg, noise_kg, stand_in_kg])
    }

    /// All parts but the lean, kg.
    #[must_use]
    pub fn without_lean_kg(&self) -> f64 {
        Self { lean_kg: 0.0, ..*self }.total_kg()
    }

    /// What is left where nothing leans and every cell gives, kg: a larger difference within the whole uncertainty is likelier the
    /// lean's or a stand-in's than mass.
    #[must_use]
    pub fn of_mass_kg(&self) -> f64 {
        Self { lean_kg: 0.0, angle_kg: 0.0, stand_in_kg: 0.0, ..*self }.total_kg()
    }
}

/// Uncertainty of `after − before`.
#[must_use]
pub fn between<const C: usize, const P: usize, const S: usize>(
    config: &Config<C, P, S>,
    before: &Plateau<C, S>,
    after: &Plateau<C, S>,
) -> Parts {
    let doubt = &config.limits().doubt;
    let (mut gain_2, mut moved_2, mut gained_kg) = (0.0, 0.0, 0.0);
    let mut section_kg = [(0.0, 0.0); S];
    for (cell, (was, is)) in config.cells().zip(before.cells_kg.iter().zip(&after.cells_kg)) {
        let change = is - was;
        gain_2 += (cell.u_gain_rel * change) * (cell.u_gain_rel * change);
        moved_2 += change * change;
        gained_kg += change;
        if let Some((sum_was, sum_is)) = section_kg.get_mut(config.section_of(cell.plate)) {
            *sum_was += was;
            *sum_is += is;
        }
    }
    let (mut lean_2, mut angle_2) = (0.0, 0.0);
    for ((was, is), (tilt_was, tilt_is)) in section_kg.iter().zip(before.tilt_deg.iter().zip(&after.tilt_deg)) {
        let lean = doubt.lean * (is * sin_2(*tilt_is) - was * sin_2(*tilt_was));
        let angle = doubt.tilt_deg.to_radians() * (is * tan(*tilt_is) - was * tan(*tilt_was));
        lean_2 += lean * lean;
        angle_2 += angle * angle;
    }
    let change_kg = after.level.kg - before.level.kg;
    let apart_s = (after.level.t_s - before.level.t_s).max(0.0);
    // Where the temperature is known, what a calibration knows of its effect is taken off, and only the rest is open.
    let (warmer_c, zero_kg_c, span_rel_c) = match (before.temperature_c, after.temperature_c) {
        (Some(was), Some(is)) => (is - was, doubt.zero_left_kg_c, doubt.span_left_rel_c),
        _ => (doubt.unknown_c * libm::sqrt(-libm::expm1(-apart_s / ROOM_S)), doubt.zero_kg_c, doubt.span_rel_c),
    };
    Parts {
        gain_kg: libm::sqrt(gain_2),
        scale_kg: doubt.scale_rel * change_kg.abs(),
        lean_kg: libm::sqrt(lean_2),
        angle_kg: libm::sqrt(angle_2),
        creep_kg: doubt.creep_rel
            * libm::sqrt(CREEP_SHARED * gained_kg * gained_kg + (1.0 - CREEP_SHARED) * moved_2)
            * -libm::expm1(-apart_s / CREEP_S),
        drift_kg: root_of_squares([
            doubt.zero_flicker_kg * libm::sqrt(libm::log1p(apart_s / FLICKER_S)),
            zero_kg_c * warmer_c,
            span_rel_c * warmer_c * after.level.kg,
        ]),
        noise_kg: root_of_squares([before.level.u_kg, after.level.u_kg]),
        stand_in_kg: root_of_squares([before.stand_in_u_kg, after.stand_in_u_kg]),
    }
}

fn sin_2(tilt_deg: f64) -> f64 {
    let sin = libm::sin(tilt_deg.to_radians());
    sin * sin
}

fn tan(tilt_deg: f64) -> f64 {
    libm::tan(tilt_deg.clamp(-crate::load::TILT_MAX_DEG, crate::load::TILT_MAX_DEG).to_radians())
}

/// √Σx².
pub(crate) fn root_of_squares<const N: usize>(parts: [f64; N]) -> f64 {
    libm::sqrt(parts.iter().map(|part| part * part).sum())
}
