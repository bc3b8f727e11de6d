//! The terms of a weight's error, source by source.
//!
//! Each cell bears its share of the load by the solved reactions, and its part of the tare. Percentages of data sheets are
//! bounds, so half-widths of rectangular distributions. Bounds that come from the same gauges and springs (creep,
//! temperature on span) are taken to err together in all cells of a type, the others each for itself: an engineering
//! choice, no source.
//!
//! | source | half-width or standard deviation of the cell's or deck's error |
//! |---|---|
//! | nonlinearity | NL · E · 4x(1−x) up to half of the capacity E, NL · E above; x the gross load over E |
//! | hysteresis, repeatability, creep | share of rated output, in proportion to the net load of the cell |
//! | temperature on zero | E · TC/10 °C · (T − T_zero); both temperatures anywhere in the ambient range, times √(1 − ρ), ρ = e^(−t/τ), where the time t since the zero is stated |
//! | temperature on span | gross load · TC/10 °C · (T − T_cal) |
//! | noise | rms / √(rate · averaging time), of the weight and of the zero |
//! | step | half a count, of the weight and of the zero |
//! | tilt | W_s tan θ σ(θ); and of the level W (δ₂² − δ₁²)/2 with two small angles of σ(θ) |
//! | lean | W_s sin²θ: from no friction to a vertical reaction, W = Σ N/cos θ being told either way |
//! | gravity | both sites' normal gravity against their true one |
//! | buoyancy | |1/ρ_body − 1/8000| times what the air's density leaves 1.2 kg/m³ by |
//! | reference mass | all masses of one set |
//! | calibration | scatter of one placement over calibration mass and √placements, in proportion to the cell's load; or the tolerance of the rated output, where cells are not calibrated one by one |
//! | shunt | load past the cells |
//! | position | slope of the plate at the cell: 1 − cos φ, and side force times the cell's side sensitivity |

use deck::DeckError;
use deck::air::{density_kg_m3, pressure_at_pa};
use deck::buoyancy::{AIR_DENSITY_KG_M3, BODY_DENSITY_KG_M3, WEIGHT_DENSITY_KG_M3};
use deck::chain::{Channel, cell_type};
use deck::gravity::u_of_weight;
use formats::deck::{CellType, Deck, Site};

use super::Assumptions;
use super::model::{Factor, Model, Source};
use crate::lying::Lying;

/// Humidity at which air density is taken; from dry to moist it changes by under 1 % of 1.2 kg/m³ at room temperature.
const HUMIDITY: f64 = 0.5;

/// A cell in the budget.
pub(crate) struct InChain<'a> {
    pub(crate) kind: &'a CellType,
    pub(crate) channel: Channel,
    pub(crate) net_kg: f64,
    pub(crate) gross_kg: f64,
    pub(crate) slope_rad: f64,
}

/// All cells in the budget, in the order of the file.
pub(crate) struct Cells<'a>(pub(crate) Vec<InChain<'a>>);

impl<'a> Cells<'a> {
    /// The cells under a load of `load_kg` that lies as `lying` does.
    pub(crate) fn new(
        deck: &'a Deck,
        lying: &Lying,
        assumptions: &Assumptions,
        load_kg: f64,
    ) -> Result<Self, DeckError> {
        deck.cells()
            .zip(lying.shares.iter().zip(&lying.tare_shares).zip(&lying.slopes_rad))
            .map(|((_, cell), ((share, tare_share), slope))| {
                let kind = cell_type(deck, cell)?;
                let net_kg = share * load_kg;
                Ok(InChain {
                    kind,
                    channel: Channel::new(kind, &deck.converter),
                    net_kg,
                    gross_kg: net_kg + tare_share * assumptions.tare_kg,
                    slope_rad: slope * load_kg / lying.mass_kg,
                })
            })
            .collect::<Result<_, _>>()
            .map(Cells)
    }

    /// Cells of each type together.
    pub(crate) fn by_type(&self) -> Vec<(&'a CellType, Vec<&InChain<'a>>)> {
        let mut groups: Vec<(&CellType, Vec<&InChain<'_>>)> = Vec::new();
        for cell in &self.0 {
            match groups.iter_mut().find(|(kind, _)| kind.name == cell.kind.name) {
                Some((_, group)) => group.push(cell),
                None => groups.push((cell.kind, vec![cell])),
            }
        }
        groups
    }
}

/// The error of a weight of `load_kg` that lies as `lying` does.
///
/// # Errors
/// Unknown cell type.
pub fn model(deck: &Deck, lying: &Lying, assumptions: &Assumptions, load_kg: f64) -> Result<Model, DeckError> {
    let cells = Cells::new(deck, lying, assumptions, load_kg)?;
    let mut model = Model::default();
    own_of_cells(&mut model, deck, &cells, assumptions);
    common_of_types(&mut model, deck, &cells, assumptions);
    of_the_place(&mut model, deck, assumptions, load_kg);
    of_the_posture(&mut model, lying, assumptions, load_kg);
    model.own(Source::Shunt, 1e3 * load_kg * lying.shunted, Factor::Rectangular);
    Ok(model)
}

/// Bow of a cell's characteristic at a load, kg: a parabola through zero and capacity to its top, and no less beyond.
fn nonlinearity_kg(kind: &CellType, gross_kg: f64) -> f64 {
    let x = (gross_kg / kind.capacity_kg).clamp(0.0, 0.5);
    kind.nonlinearity_pct / 100.0 * kind.capacity_kg * 4.0 * x * (1.0 - x)
}

/// Sources in which each cell errs for itself.
fn own_of_cells(model: &mut Model, deck: &Deck, cells: &Cells<'_>, assumptions: &Assumptions) {
    // Two readings, the weight and the zero.
    let two = 2f64.sqrt();
    for cell in &cells.0 {
        let net_g = 1e3 * cell.net_kg;
        let rectangular = |model: &mut Model, source, g| model.own(source, g, Factor::Rectangular);
        rectangular(model, Source::Nonlinearity, 1e3 * nonlinearity_kg(cell.kind, cell.gross_kg));
        rectangular(model, Source::Hysteresis, cell.kind.hysteresis_pct / 100.0 * net_g);
        rectangular(model, Source::Repeatability, cell.kind.repeatability_pct / 100.0 * net_g);
        model.own(Source::Noise, two * noise_g(deck, cell, assumptions), Factor::Normal);
        rectangular(model, Source::Step, two * cell.channel.step_g() / 2.0);
        rectangular(model, Source::Position, net_g * slope_error(cell, assumptions));
        let gain = gain_error(cell, assumptions);
        model.own(Source::Calibration, net_g * gain.coefficient, gain.factor);
    }
}

/// Noise of an averaged reading of a cell, g.
pub(crate) fn noise_g(deck: &Deck, cell: &InChain<'_>, assumptions: &Assumptions) -> f64 {
    let samples = (deck.converter.rate_hz * assumptions.averaging_s).max(1.0);
    cell.channel.noise_g / samples.sqrt()
}

/// Relative error of a cell that stands on a plate's slope.
pub(crate) fn slope_error(cell: &InChain<'_>, assumptions: &Assumptions) -> f64 {
    let phi = cell.slope_rad;
    phi * phi / 2.0 + assumptions.side_sensitivity * phi
}

/// A relative error: coefficient times factor.
pub(crate) struct Relative {
    pub(crate) coefficient: f64,
    pub(crate) factor: Factor,
}

/// Error of a cell's gain: scatter of a placement against the calibration mass, or the tolerance of the rated output.
pub(crate) fn gain_error(cell: &InChain<'_>, assumptions: &Assumptions) -> Relative {
    if let Some(pct) = assumptions.output_tolerance_pct {
        return Relative { coefficient: pct / 100.0, factor: Factor::Rectangular };
    }
    let kg = assumptions.calibration_kg.min(cell.kind.capacity_kg / 2.0);
    let bound = |pct: f64| pct / 100.0 / 3f64.sqrt();
    let noise = cell.channel.noise_g / 1e3 / kg;
    let scatter = bound(cell.kind.repeatability_pct).hypot(bound(cell.kind.hysteresis_pct)).hypot(noise);
    Relative { coefficient: scatter / assumptions.placements.sqrt(), factor: Factor::Normal }
}

/// Half of the ambient range, °C.
pub(crate) fn half_range_c(deck: &Deck) -> f64 {
    (deck.ambient_c[1] - deck.ambient_c[0]).abs() / 2.0
}

/// Sources in which all cells of a type err together, and temperature, which all cells share.
fn common_of_types(model: &mut Model, deck: &Deck, cells: &Cells<'_>, assumptions: &Assumptions) {
    let [now, at_zero, at_calibration] = [(); 3].map(|()| model.factor(Factor::Rectangular));
    let per_10c = half_range_c(deck) / 10.0;
    // T − T_zero has the variance 2 (1 − ρ) Var T.
    let since_zero = assumptions.zero_h.map_or(1.0, |hours| assumptions.fresh(hours).sqrt());
    for (kind, on) in cells.by_type() {
        let [creep, span] = [(); 2].map(|()| model.factor(Factor::Rectangular));
        let (net_g, gross_g) = on.iter().fold((0.0, 0.0), |(n, g), c| (n + 1e3 * c.net_kg, g + 1e3 * c.gross_kg));
        model.push(Source::Creep, kind.creep_pct_30min / 100.0 * net_g, creep, None);
        let span_g = kind.span_tc_pct_10c / 100.0 * per_10c * gross_g;
        model.push(Source::TemperatureSpan, span_g, span, Some(now));
        model.push(Source::TemperatureSpan, -span_g, span, Some(at_calibration));
        for cell in on {
            let zero = model.factor(Factor::Rectangular);
            let zero_g = since_zero * 1e3 * cell.kind.zero_tc_pct_10c / 100.0 * per_10c * cell.kind.capacity_kg;
            model.push(Source::TemperatureZero, zero_g, zero, Some(now));
            model.push(Source::TemperatureZero, -zero_g, zero, Some(at_zero));
        }
    }
}

/// Volume that a kilogram of body has more than a kilogram of weights, m³/kg.
pub(crate) fn volume_difference_m3_kg() -> f64 {
    1.0 / BODY_DENSITY_KG_M3 - 1.0 / WEIGHT_DENSITY_KG_M3
}

/// Gravity, air and masses.
fn of_the_place(model: &mut Model, deck: &Deck, assumptions: &Assumptions, load_kg: f64) {
    let load_g = 1e3 * load_kg;
    model.own(Source::Gravity, load_g * u_of_weight(deck), Factor::Normal);
    let air = air_leaves_kg_m3(deck, assumptions);
    model.own(Source::Buoyancy, load_g * volume_difference_m3_kg() * air, Factor::Rectangular);
    // The factor is rectangular of variance 1/3: the masses' standard uncertainty is its √3-th part.
    let masses = load_g * assumptions.masses_u_relative * 3f64.sqrt();
    model.own(Source::ReferenceMass, masses, Factor::Rectangular);
}

/// Densities of air at the ends of the site's temperature and pressure, kg/m³.
fn air_at_the_ends_kg_m3(deck: &Deck, assumptions: &Assumptions) -> [f64; 4] {
    let altitude_m = match deck.site {
        Site::Place { altitude_m, .. } => altitude_m,
        // Where only gravity is stated, sea level is as good a guess as any.
        Site::Gravity { .. } => 0.0,
    };
    let mean_pa = pressure_at_pa(altitude_m);
    let [cold, warm] = deck.ambient_c;
    let [low, high] = [mean_pa - assumptions.pressure_pa, mean_pa + assumptions.pressure_pa];
    [(cold, low), (cold, high), (warm, low), (warm, high)].map(|(t, p)| density_kg_m3(t, p, HUMIDITY))
}

/// How far the density of air at the site may lie from 1.2 kg/m³.
fn air_leaves_kg_m3(deck: &Deck, assumptions: &Assumptions) -> f64 {
    let ends = air_at_the_ends_kg_m3(deck, assumptions);
    ends.iter().map(|rho| (rho - AIR_DENSITY_KG_M3).abs()).fold(0.0, f64::max)
}

/// Half of the range of the air's density at the site, kg/m³.
pub(crate) fn air_half_width_kg_m3(deck: &Deck, assumptions: &Assumptions) -> f64 {
    let ends = air_at_the_ends_kg_m3(deck, assumptions);
    let (low, high) = ends.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &rho| (l.min(rho), h.max(rho)));
    (high - low) / 2.0
}

/// Tilt of each section, lean on it, and the level of the whole.
fn of_the_posture(model: &mut Model, lying: &Lying, assumptions: &Assumptions, load_kg: f64) {
    // δ₂² − δ₁² = (δ₂ − δ₁)(δ₂ + δ₁): two independent normals, each of √2 σ.
    let sigma = assumptions.angle_u_deg.to_radians();
    let [sum, difference] = [(); 2].map(|()| model.factor(Factor::Normal));
    model.push(Source::Tilt, 1e3 * load_kg * sigma * sigma, sum, Some(difference));
    for (kg, theta) in lying.section_kg.iter().zip(&lying.section_rad) {
        let on_section_g = 1e3 * load_kg * kg / lying.mass_kg;
        if theta.abs() > 0.0 {
            model.own(Source::Tilt, on_section_g * theta.tan().abs() * sigma, Factor::Normal);
            // From 0 to all of it is as far from the true weight, in the root mean square, as evenly on both sides.
            model.own(Source::Lean, on_section_g * theta.sin().powi(2), Factor::Rectangular);
        }
    }
}
