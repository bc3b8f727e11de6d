//! The fluids of a virtual patient: what truly goes in and out, and what the chart makes of it.
//!
//! * [`regimen`]: what is ordered and what the body loses, as plain data;
//! * [`story`]: regimens of typical courses (resuscitation then diuresis, dialysis, a child, …), drawn from a seed;
//! * [`course`]: the regimen lived through minute by minute: two ledgers, mass and water, and every stream;
//! * [`metabolism`]: what burns and what evaporates;
//! * [`charting`]: how people write it down: rounded, late, twice, or not at all;
//! * [`trial`]: many such patients, and how an engine does on them.
//!
//! The estimator that is tested with these courses knows none of this: it has its own, simpler model.

pub mod charting;
pub mod course;
mod flows;
pub mod metabolism;
pub mod regimen;
pub mod story;
pub mod trial;

pub use charting::{Habits, chart};
pub use course::{Course, live};
pub use regimen::Regimen;
pub use story::{Story, tell};
