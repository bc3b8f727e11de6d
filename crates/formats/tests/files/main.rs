//! Reading files: those that are right, and what is said of those that are not.

mod bad_deck;
mod bad_tables;
mod good;
mod live;

use bedplate_formats::deck::{self, Deck};

/// An invented deck of two plates and seven cells that uses every key of the contract.
const DECK: &str = include_str!("../data/deck.toml");

fn test_deck() -> Deck {
    deck::read("deck.toml", DECK).unwrap_or_else(|problems| panic!("{problems}"))
}

/// A text with one passage put in place of another, which must be there.
fn edited(text: &str, edits: &[(&str, &str)]) -> String {
    edits.iter().fold(text.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "{old} is not in the text");
        text.replacen(old, new, 1)
    })
}
