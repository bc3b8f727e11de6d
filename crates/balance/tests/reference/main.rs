//! Published and computed check values of every clinical formula, each with its source beside it.
//!
//! "Clinical reference" is the project's own collection of figures; values marked computed there follow
//! from the printed coefficients and stated inputs, and hold to the last printed digit.

mod body_data;
mod dose_limbs;
mod dose_weight;
mod kidney_and_overload;
