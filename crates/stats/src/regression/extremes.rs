//! The least and the largest eigenvalue of a symmetric matrix, without those between.
//!
//! Reduced to three diagonals, of which the number of eigenvalues below a value is the number of negative terms of Sturm's
//! sequence; each end is then halved down to. Source: Golub & Van Loan, Matrix Computations, 4th ed., 8.4.1; from memory.
//! Tested against all eigenvalues by a general-purpose library.

use nalgebra::DMatrix;

/// Halvings: from the bounds of Gershgorin down to the last bit.
const HALVINGS: usize = 54;

/// Least and largest eigenvalue of `symmetric`, of at least one row; each to about ε of the largest.
pub(super) fn extreme_eigenvalues(symmetric: DMatrix<f64>) -> [f64; 2] {
    let n = symmetric.nrows();
    if n == 1 {
        return [symmetric[(0, 0)]; 2];
    }
    let (diagonal, beside) = symmetric.symmetric_tridiagonalize().unpack_tridiagonal();
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..n {
        let left = if i > 0 { beside[i - 1].abs() } else { 0.0 };
        let right = if i + 1 < n { beside[i].abs() } else { 0.0 };
        low = low.min(diagonal[i] - left - right);
        high = high.max(diagonal[i] + left + right);
    }
    // The first pair that Sturm's sequence takes has no term before it.
    let terms: Vec<[f64; 2]> = (0..n).map(|i| [diagonal[i], if i > 0 { beside[i - 1].powi(2) } else { 0.0 }]).collect();
    // Both ends side by side: each step waits for a division.
    let mut spans = [[low, high]; 2];
    for _ in 0..HALVINGS {
        let middles = spans.map(|[low, high]| 0.5 * (low + high));
        let below = n_below(&terms, middles);
        for (end, (span, middle)) in spans.iter_mut().zip(middles).enumerate() {
            // The least lies below the middle where any does, the largest where all do.
            let is_below = if end == 0 { below[0] > 0 } else { below[1] == n };
            span[usize::from(is_below)] = middle;
        }
    }
    spans.map(|[low, high]| 0.5 * (low + high))
}

/// How many eigenvalues lie below each of two values.
fn n_below(terms: &[[f64; 2]], values: [f64; 2]) -> [usize; 2] {
    let mut q = [1.0; 2];
    let mut n = [0; 2];
    for [diagonal, square] in terms {
        for end in 0..2 {
            q[end] = diagonal - values[end] - square / q[end];
            // A term of 0 counts as a tiny positive one.
            if q[end] == 0.0 {
                q[end] = f64::MIN_POSITIVE;
            }
            n[end] += usize::from(q[end] < 0.0);
        }
    }
    n
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_are_those_of_all_eigenvalues() {
        let mut state = 12_345_u64;
        let mut next = move || {
            state = state * 16_807 % 2_147_483_647;
            state as f64 / 2_147_483_647.0 - 0.5
        };
        for n in [1, 2, 3, 7, 48] {
            let any = DMatrix::from_fn(n + 3, n, |_, _| next());
            let symmetric = any.tr_mul(&any);
            let all = symmetric.symmetric_eigenvalues();
            let [least, most] = extreme_eigenvalues(symmetric);
            assert!((most / all.max() - 1.0).abs() < 1e-13, "{n}: {most} and {}", all.max());
            assert!((least - all.min()).abs() < 1e-14 * all.max(), "{n}: {least} and {}", all.min());
        }
    }

    #[test]
    fn a_diagonal_matrix_has_its_own_ends() {
        let [least, most] =
            extreme_eigenvalues(DMatrix::from_diagonal(&nalgebra::DVector::from_vec(vec![3.0, 3.0, -1.0, 8.0])));
        assert!((least + 1.0).abs() < 1e-14 && (most - 8.0).abs() < 1e-14, "{least} {most}");
    }
}
