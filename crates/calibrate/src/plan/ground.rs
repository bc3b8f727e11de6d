//! The deck's plates as ground to put bodies on: places, and how each place's load is shared by the cells.
//!
//! R_c(x): part of a body's weight at place x that cell c bears, by the deck's plate model on its cells' springs, the body
//! standing on a square foot, on springs that press and pull. Cells bear compression only: where one would pull more than
//! the plate's own weight presses, the plate lifts off. A force X at the cell's place takes its reaction to zero,
//! R_c + Σ_l X_l S_lc − X_c = 0 over the lifted cells, S_cj the part of a unit force at cell c that cell j bears; exact for
//! the same plate without those springs. The equations of statics hold as before. The plate must not touch its base;
//! `candidates` keeps to that.
//!
//! | symbol | name        | shape             | unit  |
//! |--------|-------------|-------------------|-------|
//! | R      | `shares`    | cells of a plate  | –     |
//! | S      | `at_cells`  | cells × cells     | –     |
//! | –      | `sag_mm_kg` | one a place       | mm/kg |
//! | –      | `dead_kg`   | cells of a plate  | kg    |

use super::options::{PlanError, PlanOptions};
use deck::chain::channels;
use deck::geometry::{area_m2, deck_area_m2};
use deck::gravity::gravity_m_s2;
use deck::model::model;
use deck::units::{MM, m2};
use deck::{DeckError, stack};
use formats::deck::{Deck, Plate};
use nalgebra::{DMatrix, DVector, Vector3};
use plates::{Accuracy, Bearing, Load, LoadCase, solve_to};
use std::ops::Range;

/// A place where a body may stand.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Place {
    /// From the plate's corner, whole mm: what a hand can mark.
    pub(crate) at_mm: [f64; 2],
    /// R; adds up to 1.
    pub(crate) shares: Vec<f64>,
    /// Deepest deflection of the plate.
    pub(crate) sag_mm_kg: f64,
}

/// A plate.
#[derive(Debug, Clone)]
pub(crate) struct PlateGround {
    pub(crate) name: String,
    /// Names of its cells.
    pub(crate) cells: Vec<String>,
    /// Its cells in the deck's order.
    pub(crate) channels: Range<usize>,
    /// (1, x, y) of each cell, m from the middle of the plate.
    pub(crate) arms: Vec<Vector3<f64>>,
    pub(crate) capacity_kg: Vec<f64>,
    pub(crate) size_mm: [f64; 2],
    pub(crate) clearance_mm: f64,
    /// The first is the middle of the cells, then those half way from there to each cell, then all others.
    pub(crate) places: Vec<Place>,
    /// R of a load spread evenly over the plate.
    pub(crate) even: Vec<f64>,
    /// The plate's own weight on each cell.
    pub(crate) dead_kg: Vec<f64>,
    /// S: row c, what each cell bears of a unit force at cell c.
    at_cells: DMatrix<f64>,
    /// Its part of the deck's area.
    pub(crate) area_share: f64,
}

/// All plates.
#[derive(Debug, Clone)]
pub(crate) struct Ground {
    pub(crate) plates: Vec<PlateGround>,
    /// Repeatability of each cell, standard deviation in proportion to its load.
    pub(crate) scatter: Vec<f64>,
    /// Noise of each cell's settled reading, kg.
    pub(crate) noise_kg: Vec<f64>,
    /// Standard uncertainty of a place along each axis, m.
    pub(crate) u_position_m: f64,
}

/// Length of a reading, s: what the checklist asks for.
pub(crate) const READING_S: f64 = 10.0;
/// Parts of the way from the middle of the cells to a cell, and to the middle between two.
const TO_CELL: [f64; 3] = [0.5, 0.75, 1.0];
const TO_BETWEEN: [f64; 2] = [0.5, 1.0];

impl Ground {
    pub(crate) fn new(deck: &Deck, options: &PlanOptions) -> Result<Self, PlanError> {
        let mut plates = Vec::with_capacity(deck.plates.len());
        let mut first = 0;
        for plate in &deck.plates {
            let ground = PlateGround::new(deck, plate, first, options)?;
            first = ground.channels.end;
            plates.push(ground);
        }
        let kinds = deck.cells().map(|(_, cell)| deck::chain::cell_type(deck, cell)).collect::<Result<Vec<_>, _>>()?;
        let n_conversions = (READING_S * deck.converter.rate_hz).max(1.0);
        let channels = channels(deck)?;
        Ok(Self {
            plates,
            u_position_m: options.u_position_mm * MM,
            // A sheet states a limit; evenly drawn within it, as in the error budget.
            scatter: kinds.iter().map(|k| k.repeatability_pct / 100.0 / 3f64.sqrt()).collect(),
            // A count is a whole number at best.
            noise_kg: channels
                .iter()
                .map(|c| (c.noise_counts.powi(2) / n_conversions + 1.0 / 12.0).sqrt() / c.counts_per_kg)
                .collect(),
        })
    }

    pub(crate) fn n_cells(&self) -> usize {
        self.scatter.len()
    }

    /// The same ground with one scatter for all cells.
    pub(crate) fn with_scatter(&self, scatter: f64) -> Self {
        Self { scatter: vec![scatter; self.n_cells()], ..self.clone() }
    }

    /// Part of a load that each cell bears, the plates loaded by their areas and each as `on_plate` says.
    pub(crate) fn spread<'a>(&'a self, on_plate: impl Fn(&'a PlateGround) -> &'a [f64]) -> Vec<f64> {
        self.plates.iter().flat_map(|p| on_plate(p).iter().map(|share| share * p.area_share)).collect()
    }

    /// The same of a load spread evenly over the deck.
    pub(crate) fn even(&self) -> Vec<f64> {
        self.spread(|p| &p.even)
    }
}

impl PlateGround {
    fn new(deck: &Deck, plate: &Plate, first: usize, options: &PlanOptions) -> Result<Self, DeckError> {
        let wrap = |source| DeckError::Plate { plate: plate.name.clone(), source };
        let solver_plate = model(deck, plate)?.plate;
        let marks = marks(plate, options.foot_mm);
        let foot = plate.size_mm.map(|side| options.foot_mm.min(side));
        let on_foot = |at_mm: &[f64; 2]| {
            let corner = [0, 1].map(|i| at_mm[i] - foot[i] / 2.0);
            LoadCase { loads: vec![Load::patch_of(m2(corner), m2(foot), 1.0)] }
        };
        let evenly = LoadCase { loads: vec![Load::Uniform { pressure_pa: 1.0 / area_m2(plate) }] };
        let n = solver_plate.springs.len();
        let on_cells = solver_plate
            .springs
            .iter()
            .map(|s| LoadCase { loads: vec![Load::Point { at_m: s.at_m, force_newton: 1.0 }] });
        let cases: Vec<LoadCase> = std::iter::once(evenly).chain(on_cells).chain(marks.iter().map(on_foot)).collect();
        let solutions = solve_to(&solver_plate, &cases, Bearing::Bilateral, Accuracy::default()).map_err(wrap)?;
        // The discretization leaves the sum a little beside 1; a load must not gain or lose weight by it.
        let shares = |s: &plates::Solution| -> Vec<f64> {
            let sum: f64 = s.reactions_newton.iter().sum();
            s.reactions_newton.iter().map(|r| r / sum).collect()
        };
        let gravity = gravity_m_s2(deck.calibration_site.as_ref().unwrap_or(&deck.site));
        let even = shares(&solutions[0]);
        let mass_kg: f64 = stack::pieces(deck, plate)?.iter().map(|p| p.mass_kg).sum();
        let at_cells: Vec<f64> = solutions[1..=n].iter().flat_map(&shares).collect();
        let places = marks.iter().zip(&solutions[n + 1..]).map(|(at_mm, solution)| Place {
            at_mm: *at_mm,
            shares: shares(solution),
            sag_mm_kg: solution.max.deflection_m / MM * gravity,
        });
        let middle = plate.size_mm.map(|side| side / 2.0);
        let arm = |at: [f64; 2]| Vector3::new(1.0, (at[0] - middle[0]) * MM, (at[1] - middle[1]) * MM);
        let kinds = plate.cells.iter().map(|c| deck::chain::cell_type(deck, c)).collect::<Result<Vec<_>, _>>()?;
        Ok(Self {
            name: plate.name.clone(),
            cells: plate.cells.iter().map(|c| c.name.clone()).collect(),
            channels: first..first + plate.cells.len(),
            arms: plate.cells.iter().map(|c| arm(c.at_mm)).collect(),
            capacity_kg: kinds.iter().map(|k| k.capacity_kg).collect(),
            size_mm: plate.size_mm,
            clearance_mm: plate.clearance_mm,
            places: places.collect(),
            dead_kg: even.iter().map(|share| share * mass_kg).collect(),
            at_cells: DMatrix::from_row_slice(n, n, &at_cells),
            even,
            area_share: area_m2(plate) / deck_area_m2(deck),
        })
    }

    /// What a body of `kg` on a place adds to each cell, kg, and which cells the plate lifts off. `None` where a cell would
    /// still have to pull with three left.
    pub(crate) fn loads_kg(&self, place: &Place, kg: f64) -> Option<(Vec<f64>, Vec<usize>)> {
        let pressed: Vec<f64> = place.shares.iter().map(|share| share * kg).collect();
        let mut loads = pressed.clone();
        let mut lifted: Vec<usize> = Vec::new();
        loop {
            let total = |c: usize| loads[c] + self.dead_kg[c];
            let worst =
                (0..loads.len()).filter(|c| !lifted.contains(c)).min_by(|a, b| total(*a).total_cmp(&total(*b)))?;
            if total(worst) >= -LIFT_KG {
                return Some((loads, lifted));
            }
            // Each round lets go of the one that pulls most: all at once would turn the plate loose.
            lifted.push(worst);
            if loads.len() - lifted.len() < 3 {
                return None;
            }
            let matrix = DMatrix::from_fn(lifted.len(), lifted.len(), |i, j| {
                f64::from(u8::from(i == j)) - self.at_cells[(lifted[j], lifted[i])]
            });
            let aim = DVector::from_fn(lifted.len(), |i, _| pressed[lifted[i]] + self.dead_kg[lifted[i]]);
            let forces = matrix.lu().solve(&aim)?;
            for (j, load) in loads.iter_mut().enumerate() {
                *load = pressed[j] + lifted.iter().zip(&forces).map(|(&l, x)| x * self.at_cells[(l, j)]).sum::<f64>();
            }
            lifted.iter().for_each(|&l| loads[l] = -self.dead_kg[l]);
        }
    }

    /// (1, x, y) of a place, m from the middle of the plate.
    pub(crate) fn arm(&self, place: &Place) -> Vector3<f64> {
        let [x, y] = [0, 1].map(|i| (place.at_mm[i] - self.size_mm[i] / 2.0) * MM);
        Vector3::new(1.0, x, y)
    }

    /// Shares of a load half way from the middle of the cells to cell `k` of the plate.
    pub(crate) fn half_way(&self, k: usize) -> &[f64] {
        let n = self.channels.len();
        // A foot as wide as the plate leaves one place alone.
        &self.places[(1 + k % n).min(self.places.len() - 1)].shares
    }
}

/// Marks on a plate: the middle of its cells, on the way to each cell, and to the middle between each two.
fn marks(plate: &Plate, foot_mm: f64) -> Vec<[f64; 2]> {
    let at: Vec<[f64; 2]> = plate.cells.iter().map(|c| c.at_mm).collect();
    let middle = [0, 1].map(|i| at.iter().map(|a| a[i]).sum::<f64>() / at.len() as f64);
    let mut marks: Vec<[f64; 2]> = Vec::new();
    let mut add = |to: [f64; 2], part: f64| {
        let mark = [0, 1].map(|i| {
            let x = middle[i] + part * (to[i] - middle[i]);
            // The foot stays on the plate.
            let margin = (foot_mm / 2.0).min(plate.size_mm[i] / 2.0);
            x.round().clamp(margin.ceil(), (plate.size_mm[i] - margin).floor().max(margin.ceil()))
        });
        let mark = [0, 1].map(|i| if plate.size_mm[i] <= foot_mm + 2.0 { plate.size_mm[i] / 2.0 } else { mark[i] });
        if marks.iter().all(|m| (m[0] - mark[0]).hypot(m[1] - mark[1]) >= NEAR_MM) {
            marks.push(mark);
        }
    };
    add(middle, 0.0);
    for part in TO_CELL {
        at.iter().for_each(|&a| add(a, part));
    }
    for part in TO_BETWEEN {
        for (i, a) in at.iter().enumerate() {
            for b in &at[i + 1..] {
                add([0, 1].map(|k| f64::midpoint(a[k], b[k])), part);
            }
        }
    }
    marks
}

/// A cell's load may be this much below zero before it counts as lifted, kg: round-off.
const LIFT_KG: f64 = 1e-3;
/// Marks nearer than this to another tell nothing new, mm.
const NEAR_MM: f64 = 15.0;
