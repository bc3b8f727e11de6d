//! Search for the non-dominated designs over cost, mass, deflection margin and smallest resolvable change.
//!
//! The `[explore]` table of a deck file ([`table`]) says what may vary. A candidate takes one option for each plate, a stack
//! of layers on a layout of cells, and one cell type and converter for the deck. What a plate's option costs, weighs,
//! bends and errs does not depend on the other plates, so that each option is solved once ([`options`]) and a candidate is a
//! sum over a table ([`candidate`]): this is how thousands a second are tried. [`search`] goes through the candidates by
//! rounds, first all those with one option everywhere, then random ones and neighbours of the best.
//!
//! The search is a sequence of units of work, which a caller runs as it likes: [`Explorer::step`] one by one, with a
//! progress bar between; or [`Explorer::prepare`] and [`Explorer::evaluate`], which only read, on threads of its own. The
//! same deck file gives the same designs, however many threads and wherever it was interrupted.
//!
//! Not here: contact and lift-off. A candidate that touches its base or pulls at a cell is dropped; `check` of the deck that
//! [`Explorer::deck`] writes is the last word on a design.

pub mod candidate;
pub mod front;
pub mod options;
pub mod report;
pub mod search;
pub mod table;

use formats::deck::Deck;

use crate::DesignError;
use crate::budget::Assumptions;

pub use candidate::{Candidate, Scored, Scores};
pub use options::Prepared;
pub use report::{DesignReport, ExploreReport};
pub use search::{Explorer, Progress};
pub use table::{ExploreTable, Stack};

/// Why a design space cannot be searched.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ExploreError {
    /// The deck file has no `[explore]` table.
    #[error("the deck file has no [explore] table, expected one that says what may vary")]
    NoTable,
    /// The table cannot be read.
    #[error("[explore]: {message}")]
    Table {
        /// What was found and expected.
        message: String,
    },
    /// A key holds something that makes no sense.
    #[error("explore.{key}: found {found}, expected {expected}")]
    Key {
        /// The key.
        key: String,
        /// What stands there.
        found: String,
        /// What should stand there.
        expected: String,
    },
    /// The deck itself cannot be computed.
    #[error(transparent)]
    Design(#[from] DesignError),
}

impl From<deck::DeckError> for ExploreError {
    fn from(error: deck::DeckError) -> Self {
        ExploreError::Design(error.into())
    }
}

/// Opens the design space of a deck with the usual assumptions.
///
/// # Errors
/// No or a wrong `[explore]` table, or a deck that cannot be computed.
pub fn explore(deck: &Deck) -> Result<Explorer, ExploreError> {
    Explorer::new(deck, &Assumptions::of(deck))
}
