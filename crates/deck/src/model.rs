//! A plate of the deck as the solver takes it.

use formats::deck::{Deck, Plate};
use plates::Spring;
use plates::laminate::Laminate;

use crate::chain::{cell_type, stiffness_n_per_m};
use crate::error::DeckError;
use crate::stack;
use crate::units::m2;

/// A plate ready to be solved, with the laminate that turns its moments into stresses.
#[derive(Debug, Clone)]
pub struct Model {
    /// The solver's plate: size, bending stiffness, springs in the order of the plate's cells.
    pub plate: plates::Plate,
    /// Its layers.
    pub laminate: Laminate,
}

/// The solver's model of a plate.
///
/// # Errors
/// Unknown material or cell type, or a plate that the solver refuses (cells on one line, say).
pub fn model(deck: &Deck, plate: &Plate) -> Result<Model, DeckError> {
    let laminate = stack::laminate(deck, plate)?;
    let springs = plate
        .cells
        .iter()
        .map(|cell| Ok(Spring::point(m2(cell.at_mm), stiffness_n_per_m(cell_type(deck, cell)?))))
        .collect::<Result<Vec<_>, DeckError>>()?;
    let solver = plates::Plate::new(m2(plate.size_mm), laminate.bending(), springs);
    solver.check().map_err(|source| DeckError::Plate { plate: plate.name.clone(), source })?;
    Ok(Model { plate: solver, laminate })
}
