//! The table of options: each stack on each layout with each cell type under each plate, solved once.

use deck::chain::{capacity_newton, cell_type};
use deck::loads::CaseLoad;
use deck::model::model;
use deck::stack::pieces;
use deck::units::MM;
use formats::deck::{Cell, Deck, Plate};
use plates::{Bearing, LoadCase, PlateError, Solution};

use super::ExploreError;
use super::table::{ExploreTable, Layout, Stack};
use crate::DesignError;
use crate::bending::{layers, least_gap_mm};
use crate::budget::{self, Assumptions, Model, Source};
use crate::lying::Lying;

/// Elements over the shorter side of a plate. A conforming cubic plate is then within 1 % (`check` judges the final design).
const ELEMENTS: usize = 6;

/// What one option of a plate brings to the deck.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateOption {
    /// Place in the table's list of stacks.
    pub stack: usize,
    /// Place in the table's list of layouts.
    pub layout: usize,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Price of material and cells, without channels.
    pub cost: f64,
    /// Cells.
    pub n_cells: usize,
    /// Allowed deflection less the largest, mm.
    pub margin_mm: f64,
    /// Variance of the sources in which cells err for themselves, without the converter's: of a change over a day, g².
    pub change_g2: f64,
    /// The same of a weight at max, g².
    pub weight_g2: f64,
}

/// All options of one plate with one cell type that a deck could stand on.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    pub(super) unit: usize,
    pub(super) options: Vec<PlateOption>,
    /// Plates solved.
    pub n_solved: usize,
}

/// What all options share: the loads.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// Loads of the deck's cases, then the usual one.
    pub(super) loads: Vec<CaseLoad>,
}

/// Sources whose variance is the sum over cells, whatever the converter.
const OWN: [Source; 6] = [
    Source::Nonlinearity,
    Source::Hysteresis,
    Source::Repeatability,
    Source::TemperatureZero,
    Source::Calibration,
    Source::Position,
];

pub(super) fn own_g2(model: &Model) -> f64 {
    OWN.iter().map(|&s| model.u_of_g(s).powi(2)).sum()
}

/// A plate of the deck with another stack, layout and cell type.
pub(super) fn varied(plate: &Plate, stack: &Stack, layout: &Layout, cell_type: &str) -> Plate {
    let cells = layout.places_mm(plate.size_mm).into_iter().enumerate().map(|(i, at_mm)| Cell {
        name: format!("{} {}", plate.name, i + 1),
        cell_type: cell_type.to_owned(),
        at_mm,
    });
    Plate { bond: stack.bond, layers: stack.layers.clone(), cells: cells.collect(), ..plate.clone() }
}

/// Solves all options of plate `plate` with cell type `kind` of the table.
pub(super) fn prepare(
    deck: &Deck,
    table: &ExploreTable,
    ground: &Ground,
    assumptions: &Assumptions,
    unit: usize,
) -> Result<Prepared, ExploreError> {
    let (plate_idx, type_idx) = (unit / table.cell_types.len(), unit % table.cell_types.len());
    let plate = &deck.plates[plate_idx];
    let kind = &deck.cell_types[table.cell_types[type_idx]];
    let mut options = Vec::new();
    let mut n_solved = 0;
    // One plate at a time in a deck of its own: what it brings does not depend on the others.
    let mut alone = Deck { plates: vec![plate.clone()], load_cases: Vec::new(), ..deck.clone() };
    for (stack_idx, stack) in table.stacks.iter().enumerate() {
        for (layout_idx, layout) in table.layouts.iter().enumerate() {
            alone.plates[0] = varied(plate, stack, layout, &kind.name);
            n_solved += 1;
            if let Some(option) = solve(&alone, deck, ground, assumptions, plate_idx)? {
                options.push(PlateOption { stack: stack_idx, layout: layout_idx, ..option });
            }
        }
    }
    Ok(Prepared { unit, options, n_solved })
}

/// The option of the one plate of `alone`; `None` where it tips, touches, pulls at a cell or breaks.
fn solve(
    alone: &Deck,
    deck: &Deck,
    ground: &Ground,
    assumptions: &Assumptions,
    plate_idx: usize,
) -> Result<Option<PlateOption>, ExploreError> {
    let plate = &alone.plates[0];
    let model = match model(alone, plate) {
        Err(deck::DeckError::Plate {
            source: PlateError::CollinearSprings { .. } | PlateError::TooFewSprings { .. },
            ..
        }) => return Ok(None),
        other => other?,
    };
    let cases: Vec<LoadCase> = ground.loads.iter().map(|l| l.plates[plate_idx].loads.clone()).collect();
    let wrap = |source| ExploreError::from(deck::DeckError::Plate { plate: plate.name.clone(), source });
    let solutions = plates::solve_on(&model.plate, &cases, Bearing::Bilateral, mesh(plate)).map_err(wrap)?;
    let Some((usual, own)) = solutions.split_last() else {
        return Ok(None);
    };
    let allowed_mm = deck.target.deflection_mm.unwrap_or(f64::INFINITY);
    let room_mm = |s: &Solution| (allowed_mm - s.max.deflection_m / MM).min(least_gap_mm(plate, s));
    let margin_mm = own.iter().map(room_mm).fold(allowed_mm.min(plate.clearance_mm), f64::min);
    let bears = solutions.iter().all(|s| cells_hold(alone, plate, s)) && layers_hold(alone, plate, &model, own)?;
    if margin_mm < 0.0 || !bears {
        return Ok(None);
    }
    let parts = pieces(alone, plate)?;
    let kind = cell_type(alone, &plate.cells[0])?;
    let lying = lying(deck, ground, plate_idx, usual);
    let change = budget::change::model(alone, &lying, assumptions, 24.0)?;
    let weight = budget::chain::model(alone, &lying, assumptions, deck.max_kg)?;
    Ok(Some(PlateOption {
        stack: 0,
        layout: 0,
        mass_kg: parts.iter().map(|p| p.mass_kg).sum::<f64>()
            + kind.mass_kg.unwrap_or(0.0) * plate.cells.len() as f64
            + plate.base_kg.unwrap_or(0.0),
        cost: parts.iter().filter_map(|p| p.cost).sum::<f64>() + kind.cost * plate.cells.len() as f64,
        n_cells: plate.cells.len(),
        margin_mm,
        change_g2: own_g2(&change),
        weight_g2: own_g2(&weight),
    }))
}

/// How the whole weight lies on the cells of this plate alone.
fn lying(deck: &Deck, ground: &Ground, plate_idx: usize, usual: &Solution) -> Lying {
    let load = &ground.loads[ground.loads.len() - 1];
    let case = crate::lying::usual_case(deck);
    let mut lying = Lying::new(deck, &case, load);
    lying.add(deck, plate_idx, usual, load.plates[plate_idx].angle_rad);
    lying
}

fn mesh(plate: &Plate) -> [usize; 2] {
    let [x, y] = plate.size_mm;
    let side = x.min(y) / ELEMENTS as f64;
    // Sides of a plate are few times its shorter one; a strip of ten times gets ten times the elements.
    [x, y].map(|l| (l / side).round().clamp(ELEMENTS as f64, 16.0 * ELEMENTS as f64) as usize)
}

fn cells_hold(deck: &Deck, plate: &Plate, solution: &Solution) -> bool {
    plate.cells.iter().zip(&solution.reactions_newton).all(|(cell, &reaction)| {
        // A pull of a thousandth of the load is the mesh's.
        let pulls = reaction < -1e-3 * solution.load_newton;
        !pulls && cell_type(deck, cell).is_ok_and(|kind| reaction <= capacity_newton(kind))
    })
}

fn layers_hold(
    deck: &Deck,
    plate: &Plate,
    model: &deck::model::Model,
    solutions: &[Solution],
) -> Result<bool, DesignError> {
    for solution in solutions {
        if layers(deck, plate, model, solution)?.iter().any(|l| l.safety_factor.is_some_and(|factor| factor < 1.0)) {
            return Ok(false);
        }
    }
    Ok(true)
}
