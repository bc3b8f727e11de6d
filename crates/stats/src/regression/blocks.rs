//! Least squares whose rows come in blocks that each touch only some of the columns.
//!
//! Each block is first condensed by orthogonal transformations to a triangle of its own columns, which has the same sums of
//! squares; the fit is then one of the triangles. The cost of many rows grows with the columns that they touch, not with all.
//! Source: Golub & Van Loan, Matrix Computations, 4th ed., 5.3.3 and 6.5.4; from memory. Tested against [`super::fit`] of the
//! rows laid out in full.

use super::fit::{Fit, fit};
use super::qr::{norm, scale_of};
use super::reduce::Triangle;
use super::{FitError, Variance};
use nalgebra::{DMatrix, RowDVector};

/// Rows that touch some of the columns, already weighted (times the root of their weights).
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Which columns of the whole, in any order, each once.
    pub columns: Vec<usize>,
    /// Rows × `columns`.
    pub design: DMatrix<f64>,
    /// The right side of each row.
    pub y: Vec<f64>,
}

/// A fit of blocks.
#[derive(Debug, Clone)]
pub struct BlockFit {
    /// The fit of what the blocks were condensed to. Coefficients, rank, condition number and `Variance::Known` covariance are those
    /// of all rows; its rows, and with them its residuals and leverages, are not.
    pub condensed: Fit,
    /// Residuals of all rows, block by block.
    pub residuals: Vec<f64>,
    /// Leverages of all rows, block by block.
    pub leverages: Vec<f64>,
}

impl BlockFit {
    /// Rows less the rank.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> usize {
        self.residuals.len().saturating_sub(self.condensed.rank())
    }

    /// √(Σ r²/ν) of all rows; `None` without a degree of freedom.
    #[must_use]
    pub fn residual_sd(&self) -> Option<f64> {
        let nu = self.degrees_of_freedom();
        (nu > 0).then(|| (self.condensed.residual_ss() / nu as f64).sqrt())
    }
}

/// The triangle R with RᵀR = SᵀS, as wide as `stack` and no higher; `stack` itself where it is no higher than wide.
#[must_use]
pub fn condense(stack: DMatrix<f64>) -> DMatrix<f64> {
    let (n_rows, n_cols) = stack.shape();
    if n_rows <= n_cols {
        return stack;
    }
    let norms: Vec<f64> = stack.as_slice().chunks_exact(n_rows).map(norm).collect();
    let scales: Vec<f64> = norms.iter().map(|&n| scale_of(n)).collect();
    let triangle = Triangle::<0>::reduce(stack.as_slice(), n_rows, None, &scales, []);
    DMatrix::from_fn(n_cols, n_cols, |i, k| if k < i { 0.0 } else { triangle.at(i, k) * norms[k] })
}

/// Fits `n_cols` coefficients to all rows of `blocks`.
///
/// # Errors
/// [`FitError::Length`] where a block's parts do not go together or a column is not one of `n_cols`; else as [`super::fit`].
pub fn fit_blocks(n_cols: usize, blocks: &[Block]) -> Result<BlockFit, FitError> {
    let mut triangles = Vec::with_capacity(blocks.len());
    for block in blocks {
        block.check(n_cols)?;
        let width = block.columns.len();
        let mut stack = block.design.clone().resize_horizontally(width + 1, 0.0);
        stack.column_mut(width).copy_from_slice(&block.y);
        triangles.push(condense(stack));
    }
    let n_rows = triangles.iter().map(DMatrix::nrows).sum();
    let mut design = DMatrix::zeros(n_rows, n_cols);
    let mut y = Vec::with_capacity(n_rows);
    for (block, triangle) in blocks.iter().zip(&triangles) {
        for (k, &column) in block.columns.iter().enumerate() {
            design.view_mut((y.len(), column), (triangle.nrows(), 1)).copy_from(&triangle.column(k));
        }
        y.extend(triangle.column(block.columns.len()).iter());
    }
    let condensed = fit(&design, &y, None)?;
    let covariance = condensed.covariance(Variance::Known)?;
    let (mut residuals, mut leverages) = (Vec::new(), Vec::new());
    for block in blocks {
        let local = DMatrix::from_fn(block.columns.len(), block.columns.len(), |i, k| {
            covariance[(block.columns[i], block.columns[k])]
        });
        let of_block = RowDVector::from_fn(block.columns.len(), |_, k| condensed.coefficients()[block.columns[k]]);
        let fitted = &block.design * of_block.transpose();
        residuals.extend(block.y.iter().zip(fitted.iter()).map(|(y, f)| y - f));
        let spread = &block.design * local;
        leverages.extend((0..block.y.len()).map(|i| spread.row(i).dot(&block.design.row(i))));
    }
    Ok(BlockFit { condensed, residuals, leverages })
}

impl Block {
    fn check(&self, n_cols: usize) -> Result<(), FitError> {
        let length = |what, found, expected| {
            if found == expected { Ok(()) } else { Err(FitError::Length { what, found, expected }) }
        };
        length("the columns of a block", self.columns.len(), self.design.ncols())?;
        length("the right side of a block", self.y.len(), self.design.nrows())?;
        match self.columns.iter().find(|&&column| column >= n_cols) {
            Some(&column) => Err(FitError::Length { what: "a column of a block", found: column + 1, expected: n_cols }),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Park and Miller's minimal generator.
    fn numbers() -> impl FnMut() -> f64 {
        let mut state = 12_345_u64;
        move || {
            state = state * 16_807 % 2_147_483_647;
            state as f64 / 2_147_483_647.0 - 0.5
        }
    }

    fn blocks() -> Vec<Block> {
        let mut next = numbers();
        // Two blocks share a column, and one is no higher than wide.
        [(vec![0, 2, 4], 150), (vec![1, 3], 40), (vec![5, 4], 2)]
            .map(|(columns, n_rows): (Vec<usize>, usize)| Block {
                design: DMatrix::from_fn(n_rows, columns.len(), |_, _| next()),
                y: (0..n_rows).map(|_| next()).collect(),
                columns,
            })
            .to_vec()
    }

    fn laid_out(blocks: &[Block]) -> (DMatrix<f64>, Vec<f64>) {
        let y: Vec<f64> = blocks.iter().flat_map(|b| b.y.clone()).collect();
        let mut design = DMatrix::zeros(y.len(), 6);
        let mut first = 0;
        for block in blocks {
            for (k, &column) in block.columns.iter().enumerate() {
                design.view_mut((first, column), (block.y.len(), 1)).copy_from(&block.design.column(k));
            }
            first += block.y.len();
        }
        (design, y)
    }

    #[test]
    fn blocks_give_what_all_rows_in_full_give() {
        let blocks = blocks();
        let found = fit_blocks(6, &blocks).unwrap();
        let (design, y) = laid_out(&blocks);
        let full = fit(&design, &y, None).unwrap();
        let near = |a: &[f64], b: &[f64]| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
        assert!(near(found.condensed.coefficients(), full.coefficients()));
        assert!(near(&found.residuals, full.residuals()));
        assert!(near(&found.leverages, full.leverages()));
        assert!(near(&[found.residual_sd().unwrap()], &[full.residual_sd().unwrap()]));
        assert!(near(&[found.condensed.condition_number()], &[full.condition_number()]));
        let [one, other] = [&found.condensed, &full].map(|f| f.covariance(Variance::Known).unwrap());
        assert!(near(one.as_slice(), other.as_slice()));
        assert_eq!(found.degrees_of_freedom(), full.degrees_of_freedom());
    }

    #[test]
    fn a_triangle_keeps_the_sums_of_squares() {
        let stack = blocks().swap_remove(0).design;
        let triangle = condense(stack.clone());
        assert_eq!(triangle.shape(), (3, 3));
        assert!((triangle.tr_mul(&triangle) - stack.tr_mul(&stack)).amax() < 1e-13);
    }

    #[test]
    fn parts_that_do_not_go_together_are_named() {
        let mut wrong = blocks();
        wrong[1].y.pop();
        let error = fit_blocks(6, &wrong).unwrap_err();
        assert_eq!(error, FitError::Length { what: "the right side of a block", found: 39, expected: 40 });
        let error = fit_blocks(5, &blocks()).unwrap_err();
        assert_eq!(error, FitError::Length { what: "a column of a block", found: 6, expected: 5 });
    }
}
