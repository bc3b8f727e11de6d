//! Drawings for a page, as SVG whose colours the page's style sheet gives by class.
//!
//! [`xy_chart`] and [`bars`] are charts for paper and page, the rest is the deck as a picture.

mod axis;
pub mod bars;
mod bed_side;
mod deck_plan;
mod labels;
mod marks;
pub mod xy_chart;

pub use axis::{Axis, Scale};
pub use bed_side::BedSide;
pub(crate) use deck_plan::escape;
pub use deck_plan::{BodyMark, CellMark, DeckPlan, Field, PlanWords, PlatePlan, SectionPlan};
pub use marks::{Ink, Mark};
