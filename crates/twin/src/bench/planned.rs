//! A planned run, made on the bench: the rows of a run without counts, filled in as a person would.

use std::collections::BTreeMap;

use formats::deck::Deck;
use formats::run::{Load, Run};

use super::run::{BenchOptions, BenchRun, Taker};
use crate::built::BuiltDeck;
use crate::error::TwinError;

/// Makes the run that `planned` asks for, row by row. `unknown_kg`: true mass of each body whose row states none.
/// Of `options` masses and can are not used: the rows say what is put where.
///
/// # Errors
/// A deck that cannot be computed, a plate or cell that it does not have, a body of unknown mass that is not given.
pub fn planned_run(
    deck: &Deck,
    seed: u64,
    options: &BenchOptions,
    planned: &Run,
    unknown_kg: &BTreeMap<String, f64>,
) -> Result<BenchRun, TwinError> {
    let built = BuiltDeck::build(deck, &options.spread, seed)?;
    Taker::make(&built, seed, options, |taker| {
        // One error for each body, within its permissible error, in all rows that bear it.
        let mut true_kg: BTreeMap<String, f64> = unknown_kg.clone();
        for row in &planned.rows {
            match &row.load {
                Load::Zero => taker.reading(Load::Zero, &[]),
                Load::Known { at, mass_kg, u_mass_g, label } => {
                    let body = label.clone().unwrap_or_else(|| format!("{mass_kg} kg"));
                    let kg = *true_kg.entry(body).or_insert_with(|| mass_kg + taker.error_kg(*u_mass_g));
                    taker.put(plate_index(deck, &at.plate)?, [at.x_mm, at.y_mm], kg, row.load.clone());
                }
                Load::Unknown { at, label } => {
                    let kg = *true_kg.get(label).ok_or_else(|| unknown("the planned run", "mass of body", label))?;
                    taker.put(plate_index(deck, &at.plate)?, [at.x_mm, at.y_mm], kg, row.load.clone());
                }
            }
        }
        Ok(true_kg.into_iter().collect())
    })
}

fn plate_index(deck: &Deck, name: &str) -> Result<usize, TwinError> {
    deck.plates.iter().position(|p| p.name == name).ok_or_else(|| unknown("the planned run", "plate", name))
}

fn unknown(owner: &str, kind: &'static str, name: &str) -> TwinError {
    TwinError::Unknown { owner: owner.into(), kind, name: name.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cell::CellSpread;
    use formats::run::{Placement, Row};

    #[test]
    fn rows_are_filled_in_as_asked_for() {
        let deck = formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap();
        let at = Placement { plate: "seat".into(), x_mm: 215.0, y_mm: 430.0 };
        let loads = [Load::Zero, Load::Unknown { at, label: "can 1".into() }];
        let row = |(i, load): (usize, &Load)| Row {
            line: i + 2,
            step: (i + 1).to_string(),
            load: load.clone(),
            temperature_c: None,
            counts: Vec::new(),
        };
        let planned = Run {
            cells: deck.cells().map(|(_, c)| c.name.clone()).collect(),
            rows: loads.iter().enumerate().map(row).collect(),
        };
        let options = BenchOptions { spread: CellSpread::ideal(), ..BenchOptions::default() };
        let masses = BTreeMap::from([("can 1".to_owned(), 17.25)]);
        let made = planned_run(&deck, 5, &options, &planned, &masses).unwrap();
        assert_eq!(made.run.rows.len(), 2);
        let cells = made.truth.cells.iter().zip(&made.run.rows[1].counts);
        let kg: f64 = cells.map(|(c, counts)| (counts - c.zero_counts) * c.kg_per_count).sum();
        // Noise of 18 cells is 0.3 g; four of these.
        assert!((kg - 17.25).abs() < 1.4e-3, "{kg}");
        assert!(planned_run(&deck, 5, &options, &planned, &BTreeMap::new()).is_err());
    }
}
