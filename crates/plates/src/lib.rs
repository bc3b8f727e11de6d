//! Plate bending by finite elements on unilateral springs over a rigid base; newtons and metres only.
//!
//! [`solve`] takes a [`Plate`] and its [`LoadCase`]s, chooses a mesh, checks it against a coarser one and hands back a
//! [`Solution`] a case. [`laminate`] turns layers into the plate's [`Bending`] stiffness and moments back into stresses.
//!
//! Axes: x along `size_m[0]`, y along `size_m[1]`, both from one corner; z and the deflection w point down, so that loads
//! are positive and a spring that is pressed has a positive reaction. Moments are positive when they sag the plate (tension
//! at its underside).
//!
//! How the pieces fit: [`mesh`] holds the grid lines, [`element`] the shape functions and one element's stiffness,
//! `assembly` and `factor` the sparse matrix and its Cholesky factor, [`panel`] a plate without its springs, ready to
//! answer any load, `supports` the few unknown reactions, `contact` which of them bear, [`solution`] what a caller reads. Nothing here knows of
//! kilograms, cells, decks or files.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod assembly;
mod contact;
mod coupled;
mod dissection;
pub mod element;
mod extremes;
mod factor;
mod fields;
mod functional;
pub mod laminate;
pub mod load;
pub mod mesh;
mod on_mesh;
pub mod panel;
pub mod plate;
pub mod ribs;
pub mod solution;
mod solve;
mod supports;
mod view;

pub use load::{Load, LoadCase};
pub use plate::{Bending, Edge, Edges, Plate, PlateError, Section, Shear, Spring};
pub use ribs::{Along, Rib, RibStress};
pub use solution::{Complementarity, Moments, Solution, Strains, Touch};
pub use solve::{Accuracy, Bearing, solve, solve_on, solve_to, usual_mesh};
