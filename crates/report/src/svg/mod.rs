//! Drawings for a page, as SVG whose colours the page's style sheet gives by class.

mod deck_plan;

pub(crate) use deck_plan::escape;
pub use deck_plan::{CellMark, DeckPlan, Field, PlatePlan, SectionPlan};
