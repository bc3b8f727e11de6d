//! Uncertainty of a result from that of its inputs: by propagation, and by drawing.
//!
//! | symbol | name | meaning | unit |
//! |---|---|---|---|
//! | y = f(x) | `model` | result | y |
//! | xᵢ, u(xᵢ) | `x`, `u` | best estimate of an input and its standard uncertainty | xᵢ |
//! | cᵢ | `sensitivities` | ∂f/∂xᵢ | y/xᵢ |
//! | ν, ν_eff | `dof` | degrees of freedom, not only whole ones | > 0, may be ∞ |
//! | p | `coverage` | coverage probability | 0 to 1 |
//! | δ | `tolerance` | numerical tolerance of u(y) | y |
//!
//! Source: JCGM 100:2008 (GUM) for [`propagate`], [`second_order_variance`], [`effective_dof`]; JCGM 101:2008 (Supplement 1)
//! for [`Adaptive`]. Chance comes in from the caller, who fills rows with draws of y.
//! Not here: which distribution an input has; what a budget is made of.

mod intervals;
mod monte_carlo;
mod propagation;

pub use intervals::{shortest_interval, symmetric_interval};
pub use monte_carlo::{Adaptive, Drawn, Validation, tolerance};
pub use propagation::{
    Component, Propagated, UncertaintyError, combined, coverage_factor, dof_of_reliability, effective_dof, propagate,
    second_order_variance,
};
