//! A design at a glance: what [`check`](crate::check) finds, without its draws, its postures and the loads of the ward.
//!
//! It follows a hand that moves a cell or changes a thickness. Its figures are those of `check` for the same deck, which a
//! test holds it to; what it leaves out stands in `check` alone, and a deck is judged by that before material is cut.

use formats::deck::Deck;

use crate::budget::{self, Assumptions, Source};
use crate::judge::{self, Found};
use crate::report::{BillRow, ByLoad, PlateReport, Requirement};
use crate::{DesignError, bending, bill};

/// Hours of the change that is the headline of a design.
const DAY_H: f64 = 24.0;

/// What there is to see at a glance.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Glance {
    /// Each plate under each load case of the deck.
    pub plates: Vec<PlateReport>,
    /// Standard uncertainty by source.
    pub budget: Vec<SourceGlance>,
    /// Expanded uncertainty (k = 2) of a weight, g, at a row of loads.
    pub expanded_u_g: ByLoad,
    /// Smallest change that the deck resolves over 24 h, g.
    pub resolvable_24h_g: f64,
    /// Mass of all plates with their ribs, kg.
    pub mass_kg: f64,
    /// Price of plates, ribs, cells and channels, in the deck's currency.
    pub cost: f64,
    /// What to buy.
    pub bill: Vec<BillRow>,
    /// Limits and whether they are met.
    pub requirements: Vec<Requirement>,
}

/// One source of error.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SourceGlance {
    /// Source.
    pub source: &'static str,
    /// Standard uncertainty of a weight at max, g.
    pub u_at_max_g: f64,
    /// Standard uncertainty of a change over 24 h, g.
    pub u_change_24h_g: f64,
}

/// Looks at a deck with what it states of its use, and the usual [`Assumptions`] for the rest.
///
/// # Errors
/// As [`check`](crate::check).
pub fn glance(deck: &Deck) -> Result<Glance, DesignError> {
    if deck.plates.is_empty() {
        return Err(DesignError::NoPlates);
    }
    let assumptions = Assumptions::of(deck);
    let bent = bending::bend_under(deck, false)?;
    let bill = bill::bill(deck)?;
    let weight = budget::budget(deck, &bent.usual, &assumptions)?;
    let change = budget::change::model(deck, &bent.usual, &assumptions, DAY_H)?;
    let expanded_u_g = weight.expanded_u_g();
    let plates: Vec<PlateReport> =
        bent.plates.into_iter().zip(&bill.plate_masses_kg).map(|(p, &mass_kg)| PlateReport { mass_kg, ..p }).collect();
    let at_max_g = |source| weight.at_max().map_or(0.0, |m| m.u_of_g(source));
    let budget = Source::ALL
        .iter()
        .map(|&source| SourceGlance {
            source: source.name(),
            u_at_max_g: at_max_g(source),
            u_change_24h_g: change.u_of_g(source),
        })
        .collect();
    let found = Found { plates: &plates, expanded_u_g: &expanded_u_g, mass_kg: bill.mass_kg, cost: bill.cost };
    let requirements = judge::requirements(deck, &found);
    Ok(Glance {
        budget,
        resolvable_24h_g: stats::resolvable::PER_U * change.u_g(),
        mass_kg: bill.mass_kg,
        cost: bill.cost,
        bill: bill.rows,
        requirements,
        expanded_u_g,
        plates,
    })
}
