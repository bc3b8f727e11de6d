//! How heavy someone may be who sits on the edge of a plate.
//!
//! Far from the middle a plate may lift off cells and come down on its base, so that cells and layers are not strained in
//! proportion to the load: the plate is solved anew at each trial, on the mesh that was found fine enough for the ward's loads.

use deck::loads;
use deck::model::Model;
use deck::units::MM;
use formats::deck::Deck;
use plates::{Bearing, PlateError};

use crate::DesignError;
use crate::bending::{Solved, describe};
use crate::lift::SAFETY;
use crate::report::{CaseReport, PlateReport, SafeEdge};
use crate::ward::{SITTING, SITTING_SHARE, sitting};

/// Trials at most; a few are enough, as what is strained grows nearly in proportion.
const TRIALS: usize = 12;
/// How near to its limit the load is found, below it.
const NEAR: f64 = 0.005;

/// The largest load on the edge of plate `index` that keeps every cell within its capacity and every layer within
/// 1/[`SAFETY`] of its strength; `None` where the ward's loads do not hold the case.
pub(crate) fn safe_edge(
    deck: &Deck,
    index: usize,
    model: &Model,
    on_ward: &PlateReport,
) -> Result<Option<SafeEdge>, DesignError> {
    let Some(first) = on_ward.cases.iter().find(|c| c.case == SITTING) else { return Ok(None) };
    // Loads with the share of the limit that they use: the largest safe one, and the last that was too much.
    let (mut safe, mut too_much) = ((0.0, 0.0), None);
    let (mut kg, mut case) = (SITTING_SHARE * deck.max_kg, (!first.tips).then(|| first.clone()));
    let mut best = first.clone();
    for _ in 0..TRIALS {
        // A load that tips the plate off its cells is beyond any limit.
        let share = case.as_ref().map_or(f64::INFINITY, use_of_limit);
        if share <= 1.0 {
            safe = (kg, share);
            // What is said beside the safe load is of the plate under that load, not under a trial that was too much.
            best = case.unwrap_or(best);
        } else {
            too_much = Some((kg, share));
        }
        if share <= 0.0 || (1.0 - NEAR..=1.0).contains(&share) {
            break;
        }
        kg = next_kg(kg, share, safe, too_much);
        case = solved(deck, index, model, first.mesh_elements, kg)?;
    }
    let limited_by = limit_of(&best, &on_ward.name);
    Ok(Some(SafeEdge { plate: on_ward.name.clone(), load_kg: safe.0, limited_by, touches: best.touches }))
}

/// The next trial, aimed at just below the limit.
fn next_kg(kg: f64, share: f64, safe: (f64, f64), too_much: Option<(f64, f64)>) -> f64 {
    let aim = 1.0 - 0.5 * NEAR;
    match too_much {
        None => kg * aim / share,
        Some((high, above)) if above.is_finite() => safe.0 + (high - safe.0) * (aim - safe.1) / (above - safe.1),
        Some((high, _)) => 0.5 * (safe.0 + high),
    }
}

/// The plate with that load on its edge; `None` where it tips off its cells.
fn solved(
    deck: &Deck,
    index: usize,
    model: &Model,
    mesh: [usize; 2],
    kg: f64,
) -> Result<Option<CaseReport>, DesignError> {
    let plate = &deck.plates[index];
    let case = sitting(plate, kg);
    let spread = loads::spread(deck, &case)?;
    let load = &spread.plates[index];
    let bearing = Bearing::Pressed { clearance_m: Some(plate.clearance_mm * MM) };
    match plates::solve_on(&model.plate, std::slice::from_ref(&load.loads), bearing, mesh) {
        Err(PlateError::Tips { .. }) => Ok(None),
        Err(source) => Err(deck::DeckError::Plate { plate: plate.name.clone(), source }.into()),
        Ok(mut solutions) => {
            let Some(solution) = solutions.pop() else { return Ok(None) };
            describe(deck, plate, model, &case, load, &Solved { solution, tips: false }).map(Some)
        }
    }
}

/// The larger of what cells and layers use of their limits; 1 is the limit.
fn use_of_limit(case: &CaseReport) -> f64 {
    of_cells(case).max(of_layers(case))
}

fn of_cells(case: &CaseReport) -> f64 {
    case.cells.iter().map(|c| c.load_pct_of_capacity / 100.0).fold(0.0, f64::max)
}

fn of_layers(case: &CaseReport) -> f64 {
    case.safety_factor.map_or(0.0, |factor| SAFETY / factor)
}

fn limit_of(case: &CaseReport, plate: &str) -> String {
    let most = case.cells.iter().max_by(|a, b| a.load_pct_of_capacity.total_cmp(&b.load_pct_of_capacity));
    match most {
        Some(cell) if of_cells(case) >= of_layers(case) => format!("capacity of cell {}", cell.name),
        _ => format!("strength of plate {plate}"),
    }
}
