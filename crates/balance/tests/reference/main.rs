//! Published and computed check values of every clinical formula, each with its source beside it.
//!
//! "Clinical reference" is the project's own collection of figures; values marked computed there follow
//! from the printed coefficients and stated inputs, and hold to the last printed digit.

mod dose_limbs;
mod dose_weight;
mod kidney_and_overload;

/// Half of the last printed place.
#[track_caller]
fn printed(found: f64, expected: f64, decimals: i32) {
    let half = 0.5 * 10f64.powi(-decimals);
    assert!((found - expected).abs() <= half * 1.000_001, "{found} is not {expected} to {decimals} places");
}
