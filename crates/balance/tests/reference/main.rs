//! Published and computed check values of every clinical formula, each with its source beside it.
//!
//! "Computed apart" is: from the coefficients as printed and the inputs that stand in the test, by another program than this one; such a
//! value holds to its last digit.

mod body_data;
mod dose_limbs;
mod dose_weight;
mod kidney_and_overload;
