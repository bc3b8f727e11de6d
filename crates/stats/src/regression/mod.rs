//! Weighted linear least squares, and what belongs to it: polynomials, lack of fit, inverse prediction, outliers.
//!
//! Find β that minimizes Σᵢ wᵢ (yᵢ − Σⱼ xᵢⱼ βⱼ)².
//!
//! | symbol | name            | shape           | unit                |
//! |--------|-----------------|-----------------|---------------------|
//! | X      | `design`        | n_rows × n_cols | y per coefficient   |
//! | y      | `y`             | n_rows          | of the observation  |
//! | w      | `weights`       | n_rows          | 1/y² (1/variance), or free of unit; absent: all 1 |
//! | β      | `coefficients`  | n_cols          |                     |
//! | C      | `covariance`    | n_cols × n_cols | (XᵀWX)⁻¹, times s² where the variances are only relative |
//! | s      | `residual_sd`   |                 | √(Σ w r² / ν)       |
//! | ν      | `degrees_of_freedom` |            | rows of positive weight − rank |
//! | h      | `leverages`     | n_rows          | –, 0 to 1, sum = rank |
//!
//! Signs: residual r = observed − fitted.
//! Solved by Householder reflections (rows into a triangle, band by band; then a QR with column scaling and pivoting), never
//! by normal equations: on the NIST StRD sets those lose three of fourteen digits. A design of deficient rank is no error:
//! [`Fit::determined`] says which coefficients the data settle, and those are estimated; the others are NaN, never a guess.
//! The last bits of a fit may differ from machine to machine, as it uses the vector instructions that the machine has.
//! Source: Golub & Van Loan, Matrix Computations, 4th ed., ch. 5; Draper & Smith, Applied Regression Analysis, 3rd ed.
//! (both from memory). Tested against NIST StRD and JCGM 100 H.3.
//! Not here: errors in x (see [`crate::agreement`]), models nonlinear in their coefficients.

mod blocks;
mod extremes;
mod fit;
mod inverse;
mod lack_of_fit;
mod leverages;
mod outliers;
mod polynomial;
mod qr;
mod reduce;
mod robust;
mod vector;

pub use blocks::{Block, BlockFit, condense, fit_blocks};
pub use fit::{Anova, Estimate, Fit, FitOptions, Variance, fit, fit_rows, fit_with};
pub use inverse::{InverseError, InversePrediction, inverse_prediction};
pub use lack_of_fit::{LackOfFit, lack_of_fit, replicate_groups};
pub use outliers::{Outlier, OutlierSearch, externally_studentized, find_outliers};
pub use polynomial::{Polynomial, fit_polynomial};
pub use robust::{RobustFit, RobustLoss, fit_robust};

/// Why a least-squares problem could not be posed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// The design has no row or no column.
    #[error("the design has {n_rows} rows and {n_cols} columns, both must be at least 1")]
    Empty {
        /// Rows found.
        n_rows: usize,
        /// Columns found.
        n_cols: usize,
    },
    /// A vector is not as long as the design has rows, or a row not as wide as the first.
    #[error("{what} has {found} entries, expected {expected}")]
    Length {
        /// What is too long or too short.
        what: &'static str,
        /// Entries found.
        found: usize,
        /// Entries expected.
        expected: usize,
    },
    /// An input is NaN or infinite.
    #[error("{what} {index} is not a finite number")]
    NotFinite {
        /// Which input.
        what: &'static str,
        /// Its row, from 0.
        index: usize,
    },
    /// A weight below zero.
    #[error("weight {index} is {value}, expected 0 or more")]
    NegativeWeight {
        /// Its row, from 0.
        index: usize,
        /// The weight found.
        value: f64,
    },
    /// Residuals carry no information on the scale: as many unknowns as rows.
    #[error("{n_rows} rows of positive weight leave no degree of freedom beside {rank} determined coefficients")]
    NoFreedom {
        /// Rows of positive weight.
        n_rows: usize,
        /// Rank of the design.
        rank: usize,
    },
    /// A polynomial of this degree needs more distinct abscissae.
    #[error("degree {degree} needs {} distinct x, found {found}", degree + 1)]
    TooFewDistinct {
        /// Degree asked for.
        degree: usize,
        /// Distinct abscissae found.
        found: usize,
    },
}

#[cfg(test)]
mod tests;
