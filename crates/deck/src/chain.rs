//! From force on a cell to counts, and what noise and steps are worth in grams.
//!
//! A bridge cell of rated output S (mV/V at capacity E) under excitation U_exc gives U = S U_exc F / (E g₀); the
//! converter cuts ± U_ref / gain / 2 into 2^bits counts.
//!
//! | symbol | name                    | unit        |
//! |--------|-------------------------|-------------|
//! | –      | `nv_per_count`          | nV          |
//! | –      | `counts_per_kg`         | counts/kg   |
//! | –      | `noise_counts`, `noise_g` | counts, g (rms) |
//!
//! Signs: force that presses the cell gives positive counts. A capacity in kilograms is taken at standard gravity g₀.

use formats::deck::{Cell, CellType, Converter, Deck, Plate};

use crate::error::DeckError;
use crate::gravity::STANDARD_M_S2;
use crate::units::N_PER_MM;

/// Peak-to-peak over rms of Gaussian noise, the usual ± 3.3 σ (a convention of converter data sheets).
pub const PEAK_TO_PEAK: f64 = 6.6;

/// A cell on its converter channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channel {
    /// Width of one count at the input, nV.
    pub nv_per_count: f64,
    /// Counts for a kilogram at standard gravity.
    pub counts_per_kg: f64,
    /// Noise, counts rms.
    pub noise_counts: f64,
    /// Noise, g rms.
    pub noise_g: f64,
    /// Load at which the converter saturates, kg.
    pub saturation_kg: f64,
    /// Load that the cell is rated for, kg.
    pub capacity_kg: f64,
}

impl Channel {
    /// A cell type on a converter.
    pub fn new(cell: &CellType, converter: &Converter) -> Self {
        let half_scale_v = converter.reference_v / converter.gain / 2.0;
        let codes = f64::from(converter.bits).exp2();
        let nv_per_count = 2.0 * half_scale_v / codes * 1e9;
        let nv_per_kg = cell.output_mv_v * converter.excitation_v / cell.capacity_kg * 1e6;
        let noise_g = converter.noise_nv_rms / nv_per_kg * 1e3;
        Channel {
            nv_per_count,
            counts_per_kg: nv_per_kg / nv_per_count,
            noise_counts: converter.noise_nv_rms / nv_per_count,
            noise_g,
            saturation_kg: half_scale_v * 1e9 / nv_per_kg,
            capacity_kg: cell.capacity_kg,
        }
    }

    /// Counts for a newton.
    pub fn counts_per_newton(&self) -> f64 {
        self.counts_per_kg / STANDARD_M_S2
    }

    /// One count, g.
    pub fn step_g(&self) -> f64 {
        1e3 / self.counts_per_kg
    }

    /// Divisions of the rated output that peak-to-peak noise leaves apart.
    pub fn noise_free_divisions(&self) -> f64 {
        self.capacity_kg * 1e3 / (PEAK_TO_PEAK * self.noise_g)
    }
}

/// The type of a cell.
///
/// # Errors
/// The deck has no such type.
pub fn cell_type<'a>(deck: &'a Deck, cell: &Cell) -> Result<&'a CellType, DeckError> {
    deck.cell_types.iter().find(|t| t.name == cell.cell_type).ok_or_else(|| DeckError::Unknown {
        owner: format!("cell `{}`", cell.name),
        kind: "cell type",
        name: cell.cell_type.clone(),
    })
}

/// Channels of all cells in the order of the file.
///
/// # Errors
/// Unknown cell type.
pub fn channels(deck: &Deck) -> Result<Vec<Channel>, DeckError> {
    deck.cells().map(|(_, cell)| Ok(Channel::new(cell_type(deck, cell)?, &deck.converter))).collect()
}

/// Stiffness of a cell type, N/m.
pub fn stiffness_n_per_m(cell: &CellType) -> f64 {
    cell.stiffness_n_mm * N_PER_MM
}

/// Force at which a cell type bears its rated load, N.
pub fn capacity_newton(cell: &CellType) -> f64 {
    cell.capacity_kg * STANDARD_M_S2
}

/// Sum of the capacities under a plate, kg.
///
/// # Errors
/// Unknown cell type.
pub fn plate_capacity_kg(deck: &Deck, plate: &Plate) -> Result<f64, DeckError> {
    plate.cells.iter().map(|cell| Ok(cell_type(deck, cell)?.capacity_kg)).sum()
}
