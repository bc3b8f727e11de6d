//! The invented example: a deck, and three days of a patient on it. Nobody and nothing here exists.

/// The deck, as a file.
pub const DECK_TOML: &str = include_str!("../data/deck.toml");
