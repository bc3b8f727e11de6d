//! Changing one figure of a `deck.toml` where it stands: all else, comments too, stays as it was written.

use std::fmt;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::toml_document::without_bom;
use crate::toml_writer::number;

/// One change.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// A cell to another place on its plate.
    Cell {
        /// Name of the cell.
        cell: String,
        /// Place from the plate's own corner, mm.
        at_mm: [f64; 2],
    },
    /// A layer to another thickness.
    Thickness {
        /// Name of the plate.
        plate: String,
        /// Which layer, from 0 at the top.
        layer: usize,
        /// Thickness, mm.
        mm: f64,
    },
    /// A plate to another clearance.
    Clearance {
        /// Name of the plate.
        plate: String,
        /// Clearance, mm.
        mm: f64,
    },
}

/// Why a change could not be made.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum EditError {
    /// The text is no TOML; reading it says where.
    NoToml,
    /// What is to be changed is not there as a number of its own.
    NotThere {
        /// What was looked for.
        what: String,
    },
    /// The new figure is none.
    NotFinite {
        /// What was to be changed.
        what: String,
        /// What was given.
        found: String,
    },
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoToml => f.write_str("the text is no TOML"),
            Self::NotThere { what } => write!(f, "there is no {what} to change"),
            Self::NotFinite { what, found } => write!(f, "{what}: found {found}, expected a finite number"),
        }
    }
}

impl std::error::Error for EditError {}

impl Edit {
    fn what(&self) -> String {
        match self {
            Self::Cell { cell, .. } => format!("place of cell {cell}"),
            Self::Thickness { plate, layer, .. } => {
                format!("thickness of layer {} of plate {plate}", layer.saturating_add(1))
            }
            Self::Clearance { plate, .. } => format!("clearance of plate {plate}"),
        }
    }

    fn values(&self) -> Vec<f64> {
        match self {
            Self::Cell { at_mm, .. } => at_mm.to_vec(),
            Self::Thickness { mm, .. } | Self::Clearance { mm, .. } => vec![*mm],
        }
    }

    /// Where the figures stand, in the order of `values`.
    fn places(&self, deck: &DeTable<'_>) -> Option<Vec<Range<usize>>> {
        let mut plates = tables(deck, "plate");
        match self {
            Self::Cell { cell, .. } => {
                let found = plates.flat_map(|plate| tables(plate, "cells")).find(|c| is_named(c, "name", cell))?;
                match found.get("at_mm")?.get_ref() {
                    DeValue::Array(pair) if pair.len() == 2 => pair.iter().map(figure).collect(),
                    _ => None,
                }
            }
            Self::Thickness { plate, layer, .. } => {
                let found = plates.find(|p| is_named(p, "name", plate))?;
                let layer = tables(found, "layers").nth(*layer)?;
                Some(vec![figure(layer.get("thickness_mm")?)?])
            }
            Self::Clearance { plate, .. } => {
                let found = plates.find(|p| is_named(p, "name", plate))?;
                Some(vec![figure(found.get("clearance_mm")?)?])
            }
        }
    }
}

/// The text with one change. Whether the new deck makes sense is for [`super::read`] to say.
///
/// # Errors
/// A text that is no TOML, something to change that is not there, a figure that is none.
pub fn edit(text: &str, change: &Edit) -> Result<String, EditError> {
    let values = change.values();
    if let Some(found) = values.iter().find(|v| !v.is_finite()) {
        return Err(EditError::NotFinite { what: change.what(), found: found.to_string() });
    }
    let text = without_bom(text);
    let tree = DeTable::parse(text).map_err(|_| EditError::NoToml)?;
    let places = change.places(tree.get_ref()).ok_or_else(|| EditError::NotThere { what: change.what() })?;
    let mut out = text.to_owned();
    // From the end, so that the places before stay where they are.
    let mut at: Vec<(Range<usize>, f64)> = places.into_iter().zip(values).collect();
    at.sort_by_key(|(place, _)| std::cmp::Reverse(place.start));
    for (place, value) in at {
        out.replace_range(place, &number(value));
    }
    Ok(out)
}

fn tables<'d>(of: &'d DeTable<'d>, key: &str) -> impl Iterator<Item = &'d DeTable<'d>> {
    let items = match of.get(key).map(Spanned::get_ref) {
        Some(DeValue::Array(items)) => Some(items),
        _ => None,
    };
    items.into_iter().flat_map(|items| items.iter()).filter_map(|item| match item.get_ref() {
        DeValue::Table(table) => Some(table),
        _ => None,
    })
}

fn is_named(table: &DeTable<'_>, key: &str, name: &str) -> bool {
    table.get(key).and_then(|v| v.get_ref().as_str()).is_some_and(|found| found.trim() == name)
}

fn figure(value: &Spanned<DeValue<'_>>) -> Option<Range<usize>> {
    matches!(value.get_ref(), DeValue::Integer(_) | DeValue::Float(_)).then(|| value.span())
}

#[cfg(test)]
mod unit {
    use super::*;

    const TEXT: &str = "# mine\n[[plate]]\nname = \"a\"   # left\nclearance_mm = 6\nlayers = [ { material = \"m\", thickness_mm = 1.50 }, { material = \"n\", thickness_mm = 9 } ]\n\
        cells = [\n  { name = \"A1\", at_mm = [ 40, 50.0 ] }, # near the hinge\n  { at_mm = [1,2], name = \"A2\" },\n]\n";

    #[test]
    fn one_figure_changes_and_all_else_stays() {
        let moved = edit(TEXT, &Edit::Cell { cell: "A1".into(), at_mm: [42.5, 60.0] }).unwrap();
        assert_eq!(moved, TEXT.replace("[ 40, 50.0 ]", "[ 42.5, 60.0 ]"));
        let moved = edit(TEXT, &Edit::Cell { cell: "A2".into(), at_mm: [3.0, 4.0] }).unwrap();
        assert_eq!(moved, TEXT.replace("[1,2]", "[3.0,4.0]"));
        let thicker = edit(TEXT, &Edit::Thickness { plate: "a".into(), layer: 1, mm: 12.0 }).unwrap();
        assert_eq!(thicker, TEXT.replace("thickness_mm = 9 ", "thickness_mm = 12.0 "));
        let lower = edit(TEXT, &Edit::Clearance { plate: "a".into(), mm: 4.0 }).unwrap();
        assert_eq!(lower, TEXT.replace("clearance_mm = 6", "clearance_mm = 4.0"));
    }

    #[test]
    fn what_cannot_be_changed_is_named() {
        let none = edit(TEXT, &Edit::Cell { cell: "B9".into(), at_mm: [1.0, 2.0] }).unwrap_err();
        assert_eq!(none.to_string(), "there is no place of cell B9 to change");
        let deep = edit(TEXT, &Edit::Thickness { plate: "a".into(), layer: 2, mm: 1.0 }).unwrap_err();
        assert_eq!(deep.to_string(), "there is no thickness of layer 3 of plate a to change");
        assert_eq!(edit("[[", &Edit::Clearance { plate: "a".into(), mm: 1.0 }), Err(EditError::NoToml));
        assert!(edit(TEXT, &Edit::Clearance { plate: "a".into(), mm: f64::NAN }).is_err());
    }

    #[test]
    fn a_deck_read_after_a_change_differs_in_that_figure_alone() {
        let text = include_str!("../../data/examples/deck.toml");
        let mut deck = super::super::read("deck.toml", text).unwrap();
        let (plate, cell) = deck.cells().map(|(p, c)| (p, c.name.clone())).next().unwrap();
        let cell_idx = deck.plates[plate].cells.iter().position(|c| c.name == cell).unwrap();
        let [x, y] = deck.plates[plate].cells[cell_idx].at_mm;
        let changed = edit(text, &Edit::Cell { cell, at_mm: [x + 1.0, y] }).unwrap();
        deck.plates[plate].cells[cell_idx].at_mm[0] += 1.0;
        assert_eq!(super::super::read("deck.toml", &changed).unwrap(), deck);
    }
}
