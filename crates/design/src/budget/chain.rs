//! The terms of a weight's error, source by source.
//!
//! Each cell bears its share of the load by the usual load's reactions, and its part of the tare. Percentages of data
//! sheets are bounds, so half-widths of rectangular distributions. Data-sheet bounds of the same type that come from the
//! same gauges and springs (creep, temperature on span) are taken to err together in all cells of the type, the others
//! each for itself: an engineering choice, no source.
//!
//! | source | half-width or standard deviation of the cell's or deck's error |
//! |---|---|
//! | nonlinearity | NL · E · 4x(1−x) up to half of the capacity E, NL · E above; x the gross load over E |
//! | hysteresis, repeatability, creep | share of rated output, in proportion to the net load of the cell |
//! | temperature on zero | E · TC/10 °C · (T − T_zero); both temperatures anywhere in the ambient range |
//! | temperature on span | gross load · TC/10 °C · (T − T_cal) |
//! | noise | rms / √(rate · averaging time), of the weight and of the zero |
//! | step | half a count, of the weight and of the zero |
//! | tilt | W_s tan θ σ(θ); flat: W (δ₂² − δ₁²)/2 with two small angles of σ(θ) |
//! | lean | W_s sin²θ: from no friction to a vertical reaction |
//! | gravity | both sites' normal gravity against their true one |
//! | buoyancy | |1/ρ_body − 1/8000| times what the air's density leaves 1.2 kg/m³ by |
//! | calibration | scatter of one placement over calibration mass and √placements, in proportion to the cell's load |
//! | shunt | load past the cells |
//! | position | slope of the plate at the cell: 1 − cos φ, and side force times the cell's side sensitivity |

use deck::DeckError;
use deck::air::{density_kg_m3, pressure_at_pa};
use deck::buoyancy::{AIR_DENSITY_KG_M3, BODY_DENSITY_KG_M3, WEIGHT_DENSITY_KG_M3};
use deck::chain::{Channel, cell_type};
use deck::gravity::u_relative;
use formats::deck::{CellType, Deck, Site};

use super::Assumptions;
use super::model::{Factor, Model, Source};
use crate::lying::Lying;

/// Humidity at which air density is taken; from dry to moist it changes by under 1 % of 1.2 kg/m³ at room temperature.
const HUMIDITY: f64 = 0.5;

/// A cell in the budget.
struct InChain<'a> {
    kind: &'a CellType,
    channel: Channel,
    net_kg: f64,
    gross_kg: f64,
    slope_rad: f64,
}

/// The error of a weight of `load_kg`, lying flat.
///
/// # Errors
/// Unknown cell type.
pub fn model(deck: &Deck, usual: &Lying, assumptions: &Assumptions, load_kg: f64) -> Result<Model, DeckError> {
    let n_cells = usual.shares.len() as f64;
    let cells = deck
        .cells()
        .zip(usual.shares.iter().zip(&usual.slopes_rad))
        .map(|((_, cell), (share, slope))| {
            let kind = cell_type(deck, cell)?;
            let net_kg = share * load_kg;
            Ok(InChain {
                kind,
                channel: Channel::new(kind, &deck.converter),
                net_kg,
                gross_kg: net_kg + assumptions.tare_kg / n_cells,
                slope_rad: slope * load_kg / usual.mass_kg,
            })
        })
        .collect::<Result<Vec<_>, DeckError>>()?;
    let mut model = Model::default();
    own_of_cells(&mut model, deck, &cells, assumptions);
    common_of_types(&mut model, deck, &cells);
    of_the_place(&mut model, deck, assumptions, load_kg);
    of_the_posture(&mut model, assumptions, load_kg);
    model.own(Source::Shunt, 1e3 * load_kg * usual.shunted, Factor::Rectangular);
    Ok(model)
}

/// Bow of a cell's characteristic at a load, kg: a parabola through zero and capacity to its top, and no less beyond.
fn nonlinearity_kg(kind: &CellType, gross_kg: f64) -> f64 {
    let x = (gross_kg / kind.capacity_kg).clamp(0.0, 0.5);
    kind.nonlinearity_pct / 100.0 * kind.capacity_kg * 4.0 * x * (1.0 - x)
}

/// Sources in which each cell errs for itself.
fn own_of_cells(model: &mut Model, deck: &Deck, cells: &[InChain<'_>], assumptions: &Assumptions) {
    let samples = (deck.converter.rate_hz * assumptions.averaging_s).max(1.0);
    for cell in cells {
        let pct_g = |pct: f64, kg: f64| 1e3 * pct / 100.0 * kg;
        let own = |model: &mut Model, source, g| model.own(source, g, Factor::Rectangular);
        own(model, Source::Nonlinearity, 1e3 * nonlinearity_kg(cell.kind, cell.gross_kg));
        own(model, Source::Hysteresis, pct_g(cell.kind.hysteresis_pct, cell.net_kg));
        own(model, Source::Repeatability, pct_g(cell.kind.repeatability_pct, cell.net_kg));
        // Two readings, the weight and the zero.
        let two = 2f64.sqrt();
        model.own(Source::Noise, two * cell.channel.noise_g / samples.sqrt(), Factor::Normal);
        own(model, Source::Step, two * cell.channel.step_g() / 2.0);
        let phi = cell.slope_rad;
        let slope = phi * phi / 2.0 + assumptions.side_sensitivity * phi;
        own(model, Source::Position, 1e3 * cell.net_kg * slope);
        model.own(Source::Calibration, 1e3 * cell.net_kg * calibration_u(cell, assumptions), Factor::Normal);
    }
}

/// Relative standard uncertainty of a cell's gain after calibration: scatter of a placement against the calibration mass.
fn calibration_u(cell: &InChain<'_>, assumptions: &Assumptions) -> f64 {
    let kg = assumptions.calibration_kg.min(cell.kind.capacity_kg / 2.0);
    let bound = |pct: f64| pct / 100.0 / 3f64.sqrt();
    let noise = cell.channel.noise_g / 1e3 / kg;
    let scatter = bound(cell.kind.repeatability_pct).hypot(bound(cell.kind.hysteresis_pct)).hypot(noise);
    scatter / assumptions.placements.sqrt()
}

/// Sources in which all cells of a type err together, and temperature, which all cells share.
fn common_of_types(model: &mut Model, deck: &Deck, cells: &[InChain<'_>]) {
    let half_range_c = (deck.ambient_c[1] - deck.ambient_c[0]).abs() / 2.0;
    let [now, at_zero, at_calibration] = [(); 3].map(|()| model.factor(Factor::Rectangular));
    let mut types: Vec<(&str, usize, usize)> = Vec::new();
    for cell in cells {
        let name = cell.kind.name.as_str();
        let known = types.iter().find(|t| t.0 == name).copied();
        let (_, creep, span) = known.unwrap_or_else(|| {
            let new = (name, model.factor(Factor::Rectangular), model.factor(Factor::Rectangular));
            types.push(new);
            new
        });
        model.push(Source::Creep, 1e3 * cell.kind.creep_pct_30min / 100.0 * cell.net_kg, creep, None);
        let per_10c = half_range_c / 10.0;
        let span_g = 1e3 * cell.kind.span_tc_pct_10c / 100.0 * per_10c * cell.gross_kg;
        model.push(Source::TemperatureSpan, span_g, span, Some(now));
        model.push(Source::TemperatureSpan, -span_g, span, Some(at_calibration));
        let zero = model.factor(Factor::Rectangular);
        let zero_g = 1e3 * cell.kind.zero_tc_pct_10c / 100.0 * per_10c * cell.kind.capacity_kg;
        model.push(Source::TemperatureZero, zero_g, zero, Some(now));
        model.push(Source::TemperatureZero, -zero_g, zero, Some(at_zero));
    }
}

/// Gravity, air and masses.
fn of_the_place(model: &mut Model, deck: &Deck, assumptions: &Assumptions, load_kg: f64) {
    let load_g = 1e3 * load_kg;
    let u_gravity = deck.calibration_site.as_ref().map_or(0.0, |site| u_relative(site).hypot(u_relative(&deck.site)));
    model.own(Source::Gravity, load_g * u_gravity, Factor::Normal);
    let volume_difference = 1.0 / BODY_DENSITY_KG_M3 - 1.0 / WEIGHT_DENSITY_KG_M3;
    model.own(Source::Buoyancy, load_g * volume_difference * air_leaves_kg_m3(deck, assumptions), Factor::Rectangular);
    // The factor is rectangular of variance 1/3: the masses' standard uncertainty is its √3-th part.
    let masses = load_g * assumptions.masses_u_relative * 3f64.sqrt();
    model.own(Source::ReferenceMass, masses, Factor::Rectangular);
}

/// How far the density of air at the site may lie from 1.2 kg/m³: at the ends of its temperature and pressure.
fn air_leaves_kg_m3(deck: &Deck, assumptions: &Assumptions) -> f64 {
    let altitude_m = match deck.site {
        Site::Place { altitude_m, .. } => altitude_m,
        // Where only gravity is stated, sea level is as good a guess as any.
        Site::Gravity { .. } => 0.0,
    };
    let mean_pa = pressure_at_pa(altitude_m);
    deck.ambient_c
        .iter()
        .flat_map(|&t| [-1.0, 1.0].map(|side| density_kg_m3(t, mean_pa + side * assumptions.pressure_pa, HUMIDITY)))
        .map(|rho| (rho - AIR_DENSITY_KG_M3).abs())
        .fold(0.0, f64::max)
}

/// Tilt of a bed that is meant to lie flat; lean is none there.
fn of_the_posture(model: &mut Model, assumptions: &Assumptions, load_kg: f64) {
    // δ₂² − δ₁² = (δ₂ − δ₁)(δ₂ + δ₁): two independent normals, each of √2 σ.
    let sigma = assumptions.angle_u_deg.to_radians();
    let [sum, difference] = [(); 2].map(|()| model.factor(Factor::Normal));
    model.push(Source::Tilt, 1e3 * load_kg * sigma * sigma, sum, Some(difference));
}
