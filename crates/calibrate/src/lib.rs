//! Stage calibrate: every cell's zero and gain from a run, with covariance and findings.
//!
//! [`calibrate`] solves one weighted least-squares problem over all rows and cells of a run. A plate of n cells is
//! statically indeterminate from four cells on, so the reactions are no unknowns: what holds whatever the plate's
//! stiffness are its three equations of statics, the load and its two moments. What the run does
//! not determine is reported, never filled in.
//!
//! The way of a run (`analysis`): `problem` (deck and run as numbers) → `swap` (exchanged channels) → `zeros`, `noisy` →
//! `screen` (dead cells) → `fit` (with `equations`, `model`, `trial`, `variance`) → `curvature`, `temperature`, `outlier` → `lack_of_fit` →
//! `findings`, `report`.
//!
//! [`mod@plan`] says beforehand which body to put where, and how well each cell will then be known; [`mod@touch`] judges
//! a hand's presses over each cell before anything is put on, [`mod@settle`] whether a reading may be taken, [`mod@meant`] whether
//! what lies there may be what a step asks for; [`mod@checks`] charts a body that is weighed again and again between calibrations.
//!
//! What a stated uncertainty holds: noise of counts, scatter of cells, play of places, masses. Not what a data sheet allows
//! every cell alike in each run, bow, hysteresis and creep: the gain is that of the loads and times of the run, and where
//! other loads lie for other times those belong to the budget of use.
//!
//! Limits: the places of the cells count as exact; a plate that touches its base or its neighbour breaks the equations
//! and shows in residuals; zeros that drift during the run other than with temperature count as noise of the zeros.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod advice;
mod analysis;
pub mod certificate;
pub mod checks;
mod compare;
mod curvature;
mod detail;
mod equations;
mod findings;
mod fit;
mod lack_of_fit;
pub mod meant;
mod model;
mod noisy;
mod options;
mod outlier;
pub mod plan;
mod prior;
mod problem;
mod report;
mod screen;
pub mod settle;
mod swap;
mod temperature;
pub mod touch;
mod trial;
mod variance;
mod zeros;

pub use analysis::calibrate;
pub use options::{CalibrateError, Earlier, Options};
