//! The error of a change: the difference of two weights of a patient who stays on the deck, some hours apart.
//!
//! What is the same in both weights cancels: gravity, masses, the gain of the whole. What moves does not: zero and span with
//! the temperature, noise, the load that a turn in bed moves from some cells to others, what creep is left, the air.
//!
//! | source | half-width or standard deviation |
//! |---|---|
//! | temperature on zero, on span | as of a weight, times √(1 − ρ) of the change of temperature; ρ = e^(−t/τ) |
//! | creep | the share still to come after half an hour, 0.15/0.7 of the bound (OIML R 60-1, 5.5.1), by the cells' load |
//! | repeatability, hysteresis, calibration, position | of the load that a turn moves |
//! | nonlinearity | slope of the bow, 4 NL |1 − 2x|, times the load that a turn moves |
//! | noise, step | of two readings |
//! | tilt | level of the bed, and how well it is found again |
//! | buoyancy | air pressure and temperature, as far as they move in the time |
//!
//! Long-term drift of zero with age is not in a cell's data sheet and not here: see `budget::chain` for the rest.
//!
//! What counts as resolvable: `stats::resolvable`.

use deck::DeckError;
use formats::deck::Deck;
use stats::resolvable::{CRITERION, PER_U};

use super::chain::{self, Cells};
use super::model::{Factor, Model, Source};
use super::{Assumptions, BudgetRow, montecarlo};
use crate::lying::Lying;
use crate::report::{ByLoad, ChangeDrawn, ChangeReport};

/// Hours between the two weights.
const HOURS: [f64; 3] = [1.0, 8.0, 24.0];
/// Share of the 30-minute creep bound that may still come after it.
const CREEP_LEFT: f64 = 0.15 / 0.7;

/// The budget of a change over 1, 8 and 24 h.
///
/// # Errors
/// Unknown cell type.
pub fn change(deck: &Deck, lying: &Lying, assumptions: &Assumptions) -> Result<ChangeReport, DeckError> {
    let models = HOURS
        .iter()
        .map(|&hours| Ok((hours, model(deck, lying, assumptions, hours)?)))
        .collect::<Result<Vec<_>, DeckError>>()?;
    let by_hours = |of: &dyn Fn(&Model) -> f64| ByLoad(models.iter().map(|(h, m)| (*h, of(m))).collect());
    let longest = &models[models.len() - 1].1;
    let rows = Source::ALL.iter().map(|&source| BudgetRow {
        source: source.name(),
        kind: longest.kind(source),
        u_g: by_hours(&|m| m.u_of_g(source)),
        drawn_u_g: by_hours(&|m| montecarlo::u_of_g(m, source, assumptions.seed)),
    });
    let rows = rows.filter(|row| row.u_g.largest() > 0.0).collect();
    let resolvable_g = by_hours(&|m| PER_U * m.u_g());
    Ok(ChangeReport {
        patient_kg: lying.net_kg,
        rows,
        u_g: by_hours(&Model::u_g),
        monte_carlo: models
            .iter()
            .map(|(hours, m)| ChangeDrawn {
                hours: *hours,
                drawn: montecarlo::monte_carlo(m, lying.net_kg, assumptions.seed),
            })
            .collect(),
        resolvable_24h_g: resolvable_g.0.last().map_or(0.0, |(_, g)| *g),
        resolvable_g,
        criterion: CRITERION,
    })
}

/// The error of the difference of two weights, `hours` apart.
///
/// # Errors
/// Unknown cell type.
pub fn model(deck: &Deck, lying: &Lying, assumptions: &Assumptions, hours: f64) -> Result<Model, DeckError> {
    let cells = Cells::new(deck, lying, assumptions, lying.net_kg)?;
    let mut model = Model::default();
    let fresh = assumptions.fresh(hours);
    own_of_cells(&mut model, deck, &cells, assumptions);
    with_temperature(&mut model, deck, &cells, fresh);
    let load_g = 1e3 * lying.net_kg;
    let level = assumptions.angle_u_deg.to_radians();
    let found_again = 2f64.sqrt() * assumptions.angle_again_deg.to_radians();
    let [a, b] = [(); 2].map(|()| model.factor(Factor::Normal));
    model.push(Source::Tilt, load_g * level * found_again, a, Some(b));
    let air = chain::air_half_width_kg_m3(deck, assumptions) * (2.0 * fresh).sqrt();
    model.own(Source::Buoyancy, load_g * chain::volume_difference_m3_kg() * air, Factor::Rectangular);
    model.own(Source::Shunt, load_g * lying.shunted * assumptions.moved_share, Factor::Rectangular);
    Ok(model)
}

fn own_of_cells(model: &mut Model, deck: &Deck, cells: &Cells<'_>, assumptions: &Assumptions) {
    let two = 2f64.sqrt();
    let moved = assumptions.moved_share;
    for cell in &cells.0 {
        let moved_g = 1e3 * moved * cell.net_kg;
        let pct = |value: f64| value / 100.0;
        let rectangular = |model: &mut Model, source, g| model.own(source, g, Factor::Rectangular);
        let x = cell.gross_kg / cell.kind.capacity_kg;
        let bow = 4.0 * pct(cell.kind.nonlinearity_pct) * (1.0 - 2.0 * x).abs().min(1.0);
        rectangular(model, Source::Nonlinearity, bow * moved_g);
        rectangular(model, Source::Hysteresis, pct(cell.kind.hysteresis_pct) * moved_g);
        rectangular(model, Source::Repeatability, two * pct(cell.kind.repeatability_pct) * moved_g);
        model.own(Source::Noise, two * chain::noise_g(deck, cell, assumptions), Factor::Normal);
        rectangular(model, Source::Step, two * cell.channel.step_g() / 2.0);
        rectangular(model, Source::Position, two * moved_g * chain::slope_error(cell, assumptions));
        let gain = chain::gain_error(cell, assumptions);
        model.own(Source::Calibration, moved_g * gain.coefficient, gain.factor);
    }
}

/// `fresh` is the share of the variance that a later temperature does not have in common with an earlier one.
fn with_temperature(model: &mut Model, deck: &Deck, cells: &Cells<'_>, fresh: f64) {
    // T₂ − T₁ has the variance 2 (1 − ρ) Var T; a factor of its own stands for it.
    let moved = model.factor(Factor::Rectangular);
    let per_10c = chain::half_range_c(deck) / 10.0 * (2.0 * fresh).sqrt();
    for (kind, on) in cells.by_type() {
        let [creep, span] = [(); 2].map(|()| model.factor(Factor::Rectangular));
        let (net_g, gross_g) = on.iter().fold((0.0, 0.0), |(n, g), c| (n + 1e3 * c.net_kg, g + 1e3 * c.gross_kg));
        model.push(Source::Creep, CREEP_LEFT * kind.creep_pct_30min / 100.0 * net_g, creep, None);
        model.push(Source::TemperatureSpan, kind.span_tc_pct_10c / 100.0 * per_10c * gross_g, span, Some(moved));
        for cell in on {
            let zero = model.factor(Factor::Rectangular);
            let g = 1e3 * cell.kind.zero_tc_pct_10c / 100.0 * per_10c * cell.kind.capacity_kg;
            model.push(Source::TemperatureZero, g, zero, Some(moved));
        }
    }
}
