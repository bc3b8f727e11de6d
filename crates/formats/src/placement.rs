//! The columns `plate`, `x_mm`, `y_mm` of a run or a test: a place on a plate of the deck.

use std::io::BufRead;

use crate::deck::Deck;
use crate::limits::{Limits, quoted};
use crate::run::Placement;
use crate::table::Table;
use crate::words;

/// Where the columns stand, those that there are.
pub(crate) struct Columns {
    pub(crate) plate: Option<usize>,
    pub(crate) x_mm: Option<usize>,
    pub(crate) y_mm: Option<usize>,
}

/// The place, or `None` where the row names no plate or a wrong place, which is noted.
pub(crate) fn read<R: BufRead>(table: &mut Table<R>, columns: &Columns, deck: &Deck) -> Option<Placement> {
    let name = plate_name(table, columns.plate, deck)?;
    let plate = deck.plate(&name)?;
    let [x_mm, y_mm] = [(columns.x_mm, plate.size_mm[0]), (columns.y_mm, plate.size_mm[1])].map(|(column, size)| {
        let value = coordinate(table, column)?;
        if value < 0.0 || value > size {
            let expected = format!("a place on the plate {}, from 0 to {size} mm", quoted(&name));
            table.problem(column, value.to_string(), expected);
            return None;
        }
        Some(value)
    });
    Some(Placement { plate: name, x_mm: x_mm?, y_mm: y_mm? })
}

/// The plate that a row names, or `None` where it names none or one that the deck does not have, which is noted.
pub(crate) fn plate_name<R: BufRead>(table: &mut Table<R>, column: Option<usize>, deck: &Deck) -> Option<String> {
    let name = table.text_opt(column)?;
    if deck.plate(&name).is_none() {
        let plates = deck.plates.iter().map(|p| p.name.as_str());
        table.problem(column, quoted(&name), format!("a plate of the deck: {}", words::one_of(&name, plates)));
        return None;
    }
    Some(name)
}

/// A coordinate, which a row that names a plate must have.
fn coordinate<R: BufRead>(table: &mut Table<R>, column: Option<usize>) -> Option<f64> {
    if table.text(column).is_empty() {
        table.problem(column, "nothing", "the place on the plate, in mm from its own corner");
        return None;
    }
    table.number_opt(column, &Limits::ANY).filter(|value| value.is_finite())
}
