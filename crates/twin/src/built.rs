//! One built deck: its real cells, and how any load on the bed reaches them.
//!
//! A *footprint* says which share of a body's weight each cell carries, lying flat; the shares add up to 1. The force on
//! cell c of a plate at angle θ is then F_c = m g cos θ · share_c: what lies still presses with a vertical reaction, of which
//! the plate feels the normal part.
//!
//! Places are in bed coordinates, mm: x from the head end to the foot along the mattress, y from the patient's right to
//! left. What lies beside all plates (over a gap) is borne by the nearest plate, as the mattress bridges the gap.

use deck::chain::cell_type;
use deck::geometry::section_of;
use deck::{gravity_m_s2, stack};
use formats::deck::Deck;

use crate::cell::{Batch, CellSpread, CellTruth};
use crate::chance::Chance;
use crate::contact::POINTS;
use crate::error::TwinError;
use crate::sharing::Sharing;

/// Distance of the points by which a rectangle is felt, mm.
const POINT_MM: f64 = 20.0;

/// A rectangle of even pressure in bed coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// From and to along the bed, mm.
    pub x_mm: [f64; 2],
    /// From and to across it, mm.
    pub y_mm: [f64; 2],
    /// Part of the body's weight.
    pub weight: f64,
}

impl Patch {
    /// The whole weight on a rectangle about a middle.
    #[must_use]
    pub fn about(middle_mm: [f64; 2], size_mm: [f64; 2]) -> Self {
        let span = |axis: usize| [middle_mm[axis] - size_mm[axis] / 2.0, middle_mm[axis] + size_mm[axis] / 2.0];
        Self { x_mm: span(0), y_mm: span(1), weight: 1.0 }
    }
}

/// Share of a body's weight that each cell carries, then the deflection that it makes at each point where a plate may touch
/// its base, mm/N, plate by plate.
pub type Footprint = Vec<f64>;

/// A deck as it was really built.
#[derive(Debug, Clone)]
pub struct BuiltDeck {
    /// What each cell is really like, in the order of the deck.
    pub cells: Vec<CellTruth>,
    /// Gravity where it weighs, m/s².
    pub gravity_m_s2: f64,
    /// Gravity where it is calibrated, m/s².
    pub calibration_gravity_m_s2: f64,
    /// The plates.
    pub(crate) plates: Vec<BuiltPlate>,
    /// From and to of each section along the bed, mm.
    pub(crate) sections_mm: Vec<[f64; 2]>,
    /// Width of the bed that carries, mm.
    pub(crate) width_mm: f64,
}

/// A plate in its place.
#[derive(Debug, Clone)]
pub(crate) struct BuiltPlate {
    pub(crate) name: String,
    pub(crate) section: usize,
    origin_mm: [f64; 2],
    pub(crate) size_mm: [f64; 2],
    pub(crate) first_cell: usize,
    pub(crate) sharing: Sharing,
    /// Reactions to the plate's own weight, lying flat, a unit of gravity each (kg).
    dead_kg: Vec<f64>,
}

impl BuiltDeck {
    /// Builds a deck: solves its plates and draws its cells.
    ///
    /// # Errors
    /// A deck that cannot be computed.
    pub fn build(deck: &Deck, spread: &CellSpread, seed: u64) -> Result<Self, TwinError> {
        let cells = draw_cells(deck, spread, &mut Chance::stream(seed, "cells"))?;
        let mut plates = Vec::with_capacity(deck.plates.len());
        let mut first_cell = 0;
        for plate in &deck.plates {
            let sharing = Sharing::of(deck, plate)?;
            let mass_kg: f64 = stack::pieces(deck, plate)?.iter().map(|p| p.mass_kg).sum();
            // The gap is that under the plate as it lies there by its own weight: only the cells feel it.
            let mut dead_kg = vec![0.0; sharing.n_cells()];
            let whole = Patch { x_mm: [0.0, plate.size_mm[0]], y_mm: [0.0, plate.size_mm[1]], weight: mass_kg };
            for (at_mm, weight) in points(&whole) {
                sharing.add(at_mm, weight, &mut dead_kg, &mut []);
            }
            plates.push(BuiltPlate {
                name: plate.name.clone(),
                section: section_of(deck, plate)?,
                origin_mm: plate.origin_mm,
                size_mm: plate.size_mm,
                first_cell,
                sharing,
                dead_kg,
            });
            first_cell += plate.cells.len();
        }
        let here = gravity_m_s2(&deck.site);
        Ok(Self {
            cells,
            gravity_m_s2: here,
            calibration_gravity_m_s2: deck.calibration_site.as_ref().map_or(here, gravity_m_s2),
            plates,
            sections_mm: deck::geometry::section_spans_mm(deck),
            width_mm: deck::geometry::bed_width_mm(deck),
        })
    }

    /// The same plates on other cells, drawn as [`BuiltDeck::build`] draws them: solving plates takes far longer.
    ///
    /// # Errors
    /// A cell type that the deck does not have.
    pub fn with_cells(&self, deck: &Deck, spread: &CellSpread, seed: u64) -> Result<Self, TwinError> {
        Ok(Self { cells: draw_cells(deck, spread, &mut Chance::stream(seed, "cells"))?, ..self.clone() })
    }

    /// Number of cells.
    #[must_use]
    pub fn n_cells(&self) -> usize {
        self.cells.len()
    }

    /// Length of a footprint.
    pub(crate) fn n_channels(&self) -> usize {
        self.n_cells() + POINTS * self.plates.len()
    }

    /// Whole length of the bed, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.sections_mm.last().map_or(0.0, |span| span[1])
    }

    /// Footprint of a body that presses on rectangles; weights add up to 1.
    #[must_use]
    pub fn footprint(&self, patches: &[Patch]) -> Footprint {
        let mut shares = vec![0.0; self.n_channels()];
        for patch in patches {
            for (at_mm, weight) in points(patch) {
                let plate = self.plate_under(at_mm);
                self.add(plate, self.plates[plate].own_mm(at_mm), weight, &mut shares);
            }
        }
        shares
    }

    /// Footprint of a load at one place of one plate, mm from the plate's corner.
    pub(crate) fn footprint_on(&self, plate: usize, at_mm: [f64; 2]) -> Footprint {
        let mut shares = vec![0.0; self.n_channels()];
        self.add(plate, at_mm, 1.0, &mut shares);
        shares
    }

    fn add(&self, plate: usize, own_mm: [f64; 2], weight: f64, channels: &mut [f64]) {
        let (cells, points) = channels.split_at_mut(self.n_cells());
        let built = &self.plates[plate];
        let first = POINTS * plate;
        built.sharing.add(own_mm, weight, &mut cells[built.cells()], &mut points[first..first + POINTS]);
    }

    /// Force of the plates' own weight on each cell, lying flat, N.
    pub(crate) fn dead_newton(&self) -> Vec<f64> {
        self.plates.iter().flat_map(|p| p.dead_kg.iter().map(|kg| kg * self.gravity_m_s2)).collect()
    }

    /// Lets cells go that would pull: `forces` of the load, over all cells or whole footprints, and `dead` of the plates' own
    /// weight, N.
    pub(crate) fn lift(&self, forces: &mut [f64], dead: &[f64]) {
        let (cells, points) = forces.split_at_mut(self.n_cells());
        for (i, plate) in self.plates.iter().enumerate() {
            let range = plate.cells();
            let points = points.get_mut(POINTS * i..POINTS * (i + 1)).unwrap_or_default();
            plate.sharing.lift(&mut cells[range.clone()], &dead[range], points);
        }
    }

    /// The plate at a place of the bed, or the nearest one of its section, or the nearest one.
    fn plate_under(&self, at_mm: [f64; 2]) -> usize {
        let section = self.sections_mm.iter().position(|s| at_mm[0] < s[1]).unwrap_or(self.sections_mm.len() - 1);
        // A plate of another section is farther by the length of the bed: it is taken only when its own section has none.
        let far = |p: &BuiltPlate| p.distance_mm(at_mm) + if p.section == section { 0.0 } else { self.length_mm() };
        let mut best = 0;
        for plate in 1..self.plates.len() {
            if far(&self.plates[plate]) < far(&self.plates[best]) {
                best = plate;
            }
        }
        best
    }

    /// Index of the plate of each cell, then of each contact point.
    pub(crate) fn plate_of_channels(&self) -> Vec<usize> {
        let cells = self.plates.iter().enumerate().flat_map(|(i, p)| std::iter::repeat_n(i, p.n_cells()));
        cells.chain((0..self.plates.len()).flat_map(|i| std::iter::repeat_n(i, POINTS))).collect()
    }
}

fn draw_cells(deck: &Deck, spread: &CellSpread, chance: &mut Chance) -> Result<Vec<CellTruth>, TwinError> {
    let batches: Vec<(&str, Batch)> = deck.cell_types.iter().map(|t| (t.name.as_str(), Batch::draw(chance))).collect();
    deck.cells()
        .map(|(_, cell)| {
            let kind = cell_type(deck, cell)?;
            let batch =
                batches.iter().find(|(name, _)| *name == kind.name).map_or_else(|| Batch::draw(chance), |b| b.1);
            Ok(CellTruth::draw(&cell.name, kind, batch, &deck.converter, spread, chance))
        })
        .collect()
}

impl BuiltPlate {
    /// From the plate's own corner.
    fn own_mm(&self, at_mm: [f64; 2]) -> [f64; 2] {
        [at_mm[0] - self.origin_mm[0], at_mm[1] - self.origin_mm[1]]
    }

    pub(crate) fn n_cells(&self) -> usize {
        self.sharing.n_cells()
    }

    /// In bed coordinates.
    pub(crate) fn in_bed_mm(&self, own_mm: [f64; 2]) -> [f64; 2] {
        [own_mm[0] + self.origin_mm[0], own_mm[1] + self.origin_mm[1]]
    }

    /// Where its cells stand among those of the deck.
    pub(crate) fn cells(&self) -> std::ops::Range<usize> {
        self.first_cell..self.first_cell + self.n_cells()
    }

    /// How far a place lies outside.
    fn distance_mm(&self, at_mm: [f64; 2]) -> f64 {
        let own = self.own_mm(at_mm);
        let beyond = |axis: usize| (-own[axis]).max(own[axis] - self.size_mm[axis]).max(0.0);
        beyond(0).hypot(beyond(1))
    }
}

/// Middles of the small squares that a rectangle falls into, with their weights.
fn points(patch: &Patch) -> impl Iterator<Item = ([f64; 2], f64)> + use<> {
    let sides = [patch.x_mm, patch.y_mm].map(|s| (s[0], (s[1] - s[0]).max(0.0)));
    let n = sides.map(|(_, length)| (length / POINT_MM).ceil().max(1.0) as usize);
    let weight = patch.weight / (n[0] * n[1]) as f64;
    let middle = move |axis: usize, i: usize| sides[axis].0 + sides[axis].1 * (i as f64 + 0.5) / n[axis] as f64;
    (0..n[1]).flat_map(move |iy| (0..n[0]).map(move |ix| ([middle(0, ix), middle(1, iy)], weight)))
}
