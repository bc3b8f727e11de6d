//! Mass and price: what a deck takes to build.

use deck::chain::cell_type;
use deck::stack::pieces;
use formats::deck::Deck;

use crate::DesignError;
use crate::report::BillRow;

/// The bill of a deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Bill {
    /// One row for each kind of thing: sheets and ribs of one description, cells of one type, channels.
    pub rows: Vec<BillRow>,
    /// Mass of each plate as it is carried, kg: layers and ribs, and cells and base where the deck file states theirs.
    pub plate_masses_kg: Vec<f64>,
    /// Mass of all plates, kg.
    pub mass_kg: f64,
    /// Price of everything that has one.
    pub cost: f64,
}

/// Counts the deck.
///
/// # Errors
/// Unknown material or cell type.
pub fn bill(deck: &Deck) -> Result<Bill, DesignError> {
    let mut rows: Vec<BillRow> = Vec::new();
    let mut plate_masses_kg = Vec::with_capacity(deck.plates.len());
    for plate in &deck.plates {
        let parts = pieces(deck, plate)?;
        let cells_kg = plate
            .cells
            .iter()
            .map(|cell| Ok(cell_type(deck, cell)?.mass_kg.unwrap_or(0.0)))
            .sum::<Result<f64, DesignError>>()?;
        let parts_kg: f64 = parts.iter().map(|p| p.mass_kg).sum();
        plate_masses_kg.push(parts_kg + cells_kg + plate.base_kg.unwrap_or(0.0));
        for part in parts {
            add(&mut rows, part.item, Some(part.mass_kg), part.cost);
        }
    }
    for (_, cell) in deck.cells() {
        let cell_type = cell_type(deck, cell)?;
        add(&mut rows, format!("cell {}", cell_type.name), cell_type.mass_kg, Some(cell_type.cost));
    }
    for plate in deck.plates.iter().filter(|p| p.base_kg.is_some()) {
        add(&mut rows, "base, frame and cables of a plate".to_owned(), plate.base_kg, None);
    }
    for _ in deck.cells() {
        add(&mut rows, "converter channel".to_owned(), None, Some(deck.converter.cost_per_channel));
    }
    Ok(Bill {
        mass_kg: plate_masses_kg.iter().sum(),
        cost: rows.iter().filter_map(|r| r.cost).sum(),
        rows,
        plate_masses_kg,
    })
}

/// Adds one piece to the row of its description.
fn add(rows: &mut Vec<BillRow>, item: String, mass_kg: Option<f64>, cost: Option<f64>) {
    let sum = |old: Option<f64>, new: Option<f64>| match (old, new) {
        (Some(a), Some(b)) => Some(a + b),
        (a, b) => a.or(b),
    };
    if let Some(row) = rows.iter_mut().find(|r| r.item == item) {
        row.quantity += 1;
        row.mass_kg = sum(row.mass_kg, mass_kg);
        row.cost = sum(row.cost, cost);
    } else {
        rows.push(BillRow { item, quantity: 1, mass_kg, cost });
    }
}
