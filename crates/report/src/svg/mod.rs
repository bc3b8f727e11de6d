//! Drawings for a page, as SVG whose colours the page's style sheet gives by class.

mod deck_plan;

pub use deck_plan::{CellMark, DeckPlan, Field, PlatePlan, SectionPlan};
