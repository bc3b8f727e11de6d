//! The error budget of a weight: each source followed to grams at a row of loads.
//!
//! A weight errs by a sum of terms, each a coefficient times one or two standardised random factors (a cell's creep; a
//! cell's temperature coefficient times a change of temperature). [`chain`] writes the terms of a deck down, [`model`] adds
//! them up: the variance of a product of two independent factors of zero mean is the product of their variances, so that
//! the sum is exact and not cut after first order (JCGM 100:2008, 5.1.2, note).
//!
//! What the indication is rounded to for display is not part of it; the weights that the deck hands on are not rounded.

pub mod assumptions;
pub mod chain;
pub mod change;
pub mod model;
pub mod montecarlo;
pub mod sampler;
pub mod tornado;

use deck::DeckError;
use formats::deck::Deck;

pub use assumptions::Assumptions;
pub use model::{Factor, Model, Source, Term};

use crate::lying::Lying;
use crate::report::{BudgetRow, ByLoad, MonteCarloRow, PostureReport, PostureRow};

/// Coverage factor of all expanded uncertainties.
pub const COVERAGE_K: f64 = 2.0;
/// Shares of max at which the budget stands.
const LOAD_SHARES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];

/// The budget of a weight at a row of loads.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// Loads, kg, with the model of the error at each.
    pub models: Vec<(f64, Model)>,
}

/// The budget of a deck for its usual load, lying flat, from nothing to max and at the patient's mass where that is below max.
///
/// # Errors
/// Unknown cell type.
pub fn budget(deck: &Deck, usual: &Lying, assumptions: &Assumptions) -> Result<Budget, DeckError> {
    let mut loads_kg = LOAD_SHARES.map(|share| share * deck.max_kg).to_vec();
    // The sum over plates carries round-off that has no place in a key.
    let patient_kg = (usual.net_kg * 1e6).round() / 1e6;
    let at = loads_kg.partition_point(|&kg| kg < patient_kg);
    if loads_kg.get(at).is_some_and(|&next_kg| next_kg > patient_kg) {
        loads_kg.insert(at, patient_kg);
    }
    let models = loads_kg
        .into_iter()
        .map(|load_kg| Ok((load_kg, chain::model(deck, usual, assumptions, load_kg)?)))
        .collect::<Result<Vec<_>, DeckError>>()?;
    Ok(Budget { models })
}

impl Budget {
    /// Standard uncertainty by source and load, by variances and by draws.
    pub fn rows(&self, seed: u64) -> Vec<BudgetRow> {
        Source::ALL
            .iter()
            .map(|&source| BudgetRow {
                source: source.name(),
                kind: self.models.first().map_or("", |(_, model)| model.kind(source)),
                u_g: ByLoad(self.models.iter().map(|(kg, model)| (*kg, model.u_of_g(source))).collect()),
                drawn_u_g: ByLoad(
                    self.models.iter().map(|(kg, model)| (*kg, montecarlo::u_of_g(model, source, seed))).collect(),
                ),
            })
            .collect()
    }

    /// The same by drawing from the distributions.
    pub fn monte_carlo(&self, seed: u64) -> Vec<MonteCarloRow> {
        self.models.iter().map(|(kg, model)| montecarlo::monte_carlo(model, *kg, seed)).collect()
    }

    /// The model at max.
    pub fn at_max(&self) -> Option<&Model> {
        self.models.last().map(|(_, model)| model)
    }

    /// Expanded uncertainty, k = 2, by load, g.
    pub fn expanded_u_g(&self) -> ByLoad {
        ByLoad(self.models.iter().map(|(kg, model)| (*kg, COVERAGE_K * model.u_g())).collect())
    }
}

/// The budget of a load case with a patient, in its posture.
///
/// # Errors
/// Unknown cell type.
pub fn posture(deck: &Deck, lying: &Lying, assumptions: &Assumptions) -> Result<PostureReport, DeckError> {
    let model = chain::model(deck, lying, assumptions, lying.net_kg)?;
    Ok(PostureReport {
        case: lying.case.clone(),
        load_kg: lying.net_kg,
        rows: Source::ALL.iter().map(|&s| PostureRow { source: s.name(), u_g: model.u_of_g(s) }).collect(),
        expanded_u_g: COVERAGE_K * model.u_g(),
    })
}
