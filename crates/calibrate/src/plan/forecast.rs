//! What is to be expected of the calibration: uncertainty of every gain and of the summed weight.

use super::DETERMINED_U;
use super::design::Design;
use super::ground::Ground;
use super::options::PlanOptions;
use crate::analysis::MIN_LOAD_FREEDOM;
use formats::deck::Deck;
use serde::Serialize;

/// What a cell's gain will be known to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellForecast {
    /// Name.
    pub name: String,
    /// Relative standard uncertainty of its gain, %.
    pub u_pct: f64,
    /// Whether the plan determines it.
    pub determined: bool,
    /// Part of a load spread evenly over the deck that it bears, %.
    pub even_pct: f64,
}

/// Standard uncertainty that the gains give the summed weight of a load.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WeightForecast {
    /// The load, kg.
    pub kg: f64,
    /// On the middle of each plate's cells, the plates loaded by their areas, g.
    pub centres_u_g: f64,
    /// Spread evenly over the deck, g.
    pub even_u_g: f64,
    /// The plates loaded by their areas, but each half way from the middle of its cells to one of them; the worst, g.
    pub uneven_u_g: f64,
}

/// Quality against the number of placements, before exchanges.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Quality {
    /// Placements.
    pub lifts: usize,
    /// Cells that they leave open.
    pub open_cells: usize,
    /// Largest relative standard uncertainty of a gain, %.
    pub worst_u_pct: f64,
    /// Equations of load to spare.
    pub spare: f64,
    /// The summed weight of 80 kg spread evenly, g.
    pub u_80kg_g: f64,
}

/// Equations to spare beyond the fewest that show a scatter: a row or two may not belong.
const MORE_SPARE: f64 = 2.0;
/// The load that a plan is judged at, kg.
pub(crate) const JUDGED_KG: f64 = 80.0;
/// Loads of the forecast, kg; the deck's largest comes last.
const LOADS_KG: [f64; 4] = [10.0, 40.0, JUDGED_KG, 120.0];

impl Quality {
    /// Whether every cell is known well enough, and the run shows how well.
    pub(crate) fn is_enough(&self, options: &PlanOptions) -> bool {
        self.worst_u_pct <= options.u_pct && self.spare >= MIN_LOAD_FREEDOM + MORE_SPARE
    }

    pub(crate) fn of(ground: &Ground, design: &Design, lifts: usize, spare: f64) -> Self {
        Self {
            lifts,
            open_cells: design.open_cells(),
            worst_u_pct: 100.0 * design.u_of_cells().fold(0.0, f64::max),
            spare,
            u_80kg_g: 1e3 * JUDGED_KG * design.u_of_load(&ground.even()),
        }
    }
}

pub(crate) fn cells(deck: &Deck, ground: &Ground, design: &Design) -> Vec<CellForecast> {
    let of_cell = |(((_, cell), u), even): (((_, &formats::deck::Cell), f64), f64)| CellForecast {
        name: cell.name.clone(),
        u_pct: 100.0 * u,
        determined: u <= DETERMINED_U,
        even_pct: 100.0 * even,
    };
    deck.cells().zip(design.u_of_cells()).zip(ground.even()).map(of_cell).collect()
}

pub(crate) fn weights(ground: &Ground, design: &Design, max_kg: f64) -> Vec<WeightForecast> {
    let centres = design.u_of_load(&ground.spread(|p| &p.places[0].shares));
    let even = design.u_of_load(&ground.even());
    let most = ground.plates.iter().map(|p| p.channels.len()).max().unwrap_or(0);
    let uneven = (0..most).map(|k| design.u_of_load(&ground.spread(|p| p.half_way(k)))).fold(0.0, f64::max);
    let loads = LOADS_KG.into_iter().filter(|kg| *kg < max_kg).chain([max_kg]);
    loads
        .map(|kg| WeightForecast {
            kg,
            centres_u_g: 1e3 * kg * centres,
            even_u_g: 1e3 * kg * even,
            uneven_u_g: 1e3 * kg * uneven,
        })
        .collect()
}
