//! Plates against published and independently computed values.
//!
//! Each test names its source. "Computed" values come from series (50-digit arithmetic), from scikit-fem 12.0.2
//! (Bogner–Fox–Schmit and Argyris elements) extrapolated over meshes, or from the general-purpose solver CalculiX 2.20
//! (shells S8R, solids C3D20R), as said beside them.

mod contact;
mod corner_supports;
mod deck_plate;
mod edges;
mod foundation;
mod layers;
mod random_plates;
mod ribs;
mod shear;
