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

/// Fails unless `found` is within `share` of `expected`.
#[track_caller]
fn assert_rel(found: f64, expected: f64, share: f64) {
    let error = (found / expected - 1.0).abs();
    assert!(error <= share, "found {found}, expected {expected}: off by {error:.3e}, allowed {share:.1e}");
}

/// Fails unless `found` is within `slack` of `expected`.
#[track_caller]
fn assert_abs(found: f64, expected: f64, slack: f64) {
    let error = (found - expected).abs();
    assert!(error <= slack, "found {found}, expected {expected}: off by {error:.3e}, allowed {slack:.1e}");
}
