//! Stage design: stiffness, load path, error budget, bill and requirements of a deck.
//!
//! [`check`] answers for a deck file, before any material is cut: how far does each plate bend and where, what does each
//! cell carry, does the plate touch its base, how strained are its layers, what does the deck weigh and cost, and how
//! uncertain will a weight be. It judges the limits that the deck file sets and warns of what it finds besides.
//!
//! The plate's own weight, its cells and base are tare: they are left out of the load. Mass counts cells and bases where the
//! file states theirs; the price of base and cables is not in the file.
//!
//! How the pieces fit: [`bending`] asks `plates` about every load case, [`budget`] follows each source of error to grams,
//! [`bill`] counts mass and price, `judge` sets them against the limits, [`report`] holds what comes out.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod bending;
pub mod bill;
pub mod budget;
mod edge;
pub mod explore;
pub mod field;
pub mod glance;
mod judge;
pub mod lift;
pub mod lying;
pub mod modules;
pub mod report;
pub mod ward;
mod warnings;

use formats::deck::Deck;

pub use budget::Assumptions;
pub use glance::{Glance, glance};
pub use report::{CheckReport, PlateReport};

/// Why a deck cannot be checked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DesignError {
    /// The deck cannot be turned into physics.
    #[error(transparent)]
    Deck(#[from] deck::DeckError),
    /// The deck has no plates.
    #[error("the deck has no plates, expected at least one")]
    NoPlates,
}

/// Checks a deck with what it states of its use, and the usual [`Assumptions`] for the rest.
///
/// # Errors
/// A deck that cannot be computed: unknown names, cells on one line, a load case that cannot be laid.
pub fn check(deck: &Deck) -> Result<CheckReport, DesignError> {
    check_with(deck, &Assumptions::of(deck))
}

/// Checks a deck with stated assumptions about its use.
///
/// # Errors
/// As [`check`].
pub fn check_with(deck: &Deck, assumptions: &Assumptions) -> Result<CheckReport, DesignError> {
    if deck.plates.is_empty() {
        return Err(DesignError::NoPlates);
    }
    let bent = bending::bend(deck)?;
    let bill = bill::bill(deck)?;
    let budget = budget::budget(deck, &bent.usual, assumptions)?;
    let with_mass = |plates: Vec<PlateReport>| -> Vec<PlateReport> {
        plates.into_iter().zip(&bill.plate_masses_kg).map(|(p, &mass_kg)| PlateReport { mass_kg, ..p }).collect()
    };
    let (plates, ward_loads) = (with_mass(bent.plates), with_mass(bent.ward));
    let over_a_day = budget::change::model(deck, &bent.usual, assumptions, 24.0)?;
    let on_the_deck = bent.patients.iter().filter(|lying| lying.net_kg > lying::LEAST_KG);
    let postures = on_the_deck.map(|lying| budget::posture(deck, lying, assumptions));
    let mut report = CheckReport {
        budget: budget.rows(assumptions.seed),
        expanded_u_g: budget.expanded_u_g(),
        monte_carlo: budget.monte_carlo(assumptions.seed),
        change: budget::change::change(deck, &bent.usual, assumptions)?,
        postures: postures.collect::<Result<_, _>>()?,
        improvements: budget.at_max().map_or_else(Vec::new, |m| budget::tornado::tornado(m, &over_a_day)),
        modules: modules::modules(deck, assumptions)?,
        lift: lift::lift(deck, &plates, bill.mass_kg),
        safe_load: lift::safe_load(&bent.usual, deck, &bent.usual_plates, &bent.usual_closes),
        safe_edge: bent.edges,
        warnings: warnings::warnings(deck, &plates, &ward_loads, &bent.notes, &bill),
        plates,
        ward_loads,
        mass_kg: bill.mass_kg,
        cost: bill.cost,
        bill: bill.rows,
        requirements: Vec::new(),
    };
    report.warnings.extend(warnings::of_safe_load(deck, &report.safe_load));
    report.requirements = judge::requirements(
        deck,
        &judge::Found {
            plates: &report.plates,
            expanded_u_g: &report.expanded_u_g,
            mass_kg: report.mass_kg,
            cost: report.cost,
        },
    );
    Ok(report)
}
