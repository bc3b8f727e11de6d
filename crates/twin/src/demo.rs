//! The invented examples: a deck, three days of a patient on it, and nights of other kinds. Nobody and nothing here exists.

use crate::error::TwinError;
use crate::scenario::Scenario;

/// The deck, as a file.
pub const DECK_TOML: &str = include_str!("../data/deck.toml");
/// The scenario of the demo, as a file.
pub const SCENARIO_TOML: &str = include_str!("../data/scenario.toml");

/// The other scenarios, on the same deck: file name and text.
pub const SCENARIOS: [(&str, &str); 9] = [
    ("infant.toml", include_str!("../data/scenarios/infant.toml")),
    ("child.toml", include_str!("../data/scenarios/child.toml")),
    ("dialysis.toml", include_str!("../data/scenarios/dialysis.toml")),
    ("sepsis.toml", include_str!("../data/scenarios/sepsis.toml")),
    ("burns.toml", include_str!("../data/scenarios/burns.toml")),
    ("articulated.toml", include_str!("../data/scenarios/articulated.toml")),
    ("power_cuts.toml", include_str!("../data/scenarios/power_cuts.toml")),
    ("faulty_cells.toml", include_str!("../data/scenarios/faulty_cells.toml")),
    ("weeks.toml", include_str!("../data/scenarios/weeks.toml")),
];

/// The demo's scenario.
///
/// # Errors
/// None: the file is part of the program, and a test reads it.
pub fn scenario() -> Result<Scenario, TwinError> {
    Scenario::read("scenario.toml", SCENARIO_TOML)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_example_is_a_deck_and_a_scenario_that_fits_it() {
        let deck = formats::deck::read("deck.toml", DECK_TOML).unwrap();
        let scenario = scenario().unwrap();
        let built = crate::BuiltDeck::build(&deck, &scenario.cell_spread(), 1).unwrap();
        assert!(crate::Night::new(&deck, &built, &scenario, 1).is_ok());
        assert_ne!(deck.plates.len(), 6);
    }
}
