//! Rank-revealing Householder QR with column scaling and column pivoting.
//!
//! A D⁻¹ P = Q R, where D holds the column norms (so that units do not decide the rank), P the pivots (largest
//! remaining norm first; Businger & Golub 1965) and Q is kept as its reflectors. Column-major throughout: every inner
//! loop runs down contiguous columns.
//! Source: Golub & Van Loan, Matrix Computations, 4th ed., algorithms 5.1.1, 5.2.1 and 5.4.1; from memory.

use super::vector::{add_scaled, dot, reflect_columns};
use pulp::{Arch, Simd, WithSimd};

/// The factors of a scaled matrix of `n_rows` ≥ 1 rows and `n_cols` ≥ 1 columns.
#[derive(Debug, Clone)]
pub(super) struct PivotedQr {
    n_rows: usize,
    n_cols: usize,
    /// Upper triangle: R; below and on the diagonal of column k: reflector k (its diagonal is in `diagonal`).
    packed: Vec<f64>,
    /// Diagonal of R.
    diagonal: Vec<f64>,
    /// 2/vᵀv of each reflector, 0 where it is the identity.
    reflector_scale: Vec<f64>,
    /// `pivots[k]` is the original column in place k.
    pivots: Vec<usize>,
    /// Norms of the original columns.
    norms: Vec<f64>,
    rank: usize,
}

impl PivotedQr {
    /// Factors `columns` (column-major, `n_rows` each) that were scaled by 1/`norms`. A diagonal below `tolerance` times
    /// the first is taken as 0.
    pub(super) fn new(columns: Vec<f64>, n_rows: usize, norms: Vec<f64>, tolerance: f64) -> Self {
        let n_cols = norms.len();
        let mut qr = Self {
            n_rows,
            n_cols,
            packed: columns,
            diagonal: Vec::with_capacity(n_cols),
            reflector_scale: Vec::with_capacity(n_cols),
            pivots: (0..n_cols).collect(),
            norms,
            rank: 0,
        };
        Arch::new().dispatch(Factor { qr: &mut qr, tolerance });
        qr
    }

    #[inline(always)]
    fn factor<S: Simd>(&mut self, simd: S, tolerance: f64) {
        let mut remaining: Vec<f64> = self.packed.chunks_exact(self.n_rows).map(|c| dot(c, c).sqrt()).collect();
        let mut reference = remaining.clone();
        for k in 0..self.n_cols.min(self.n_rows) {
            let best = (k..self.n_cols).fold(k, |b, j| if remaining[j] > remaining[b] { j } else { b });
            self.swap_columns(k, best);
            remaining.swap(k, best);
            reference.swap(k, best);
            let first = self.diagonal.first().map_or(1.0, |d: &f64| d.abs());
            if !self.reflect_rest(simd, k, tolerance * first) {
                break;
            }
            self.rank = k + 1;
            self.downdate(k, &mut remaining, &mut reference);
        }
    }

    #[inline(always)]
    fn swap_columns(&mut self, i: usize, j: usize) {
        if i != j {
            let (left, right) = self.packed.split_at_mut(j * self.n_rows);
            left[i * self.n_rows..(i + 1) * self.n_rows].swap_with_slice(&mut right[..self.n_rows]);
            self.pivots.swap(i, j);
        }
    }

    /// Makes reflector `k` and applies it to the columns right of it; false where the column is as good as zero.
    #[inline(always)]
    fn reflect_rest<S: Simd>(&mut self, simd: S, k: usize, smallest: f64) -> bool {
        let m = self.n_rows;
        let (left, right) = self.packed.split_at_mut((k + 1) * m);
        let v = &mut left[k * m + k..];
        let size = dot(v, v).sqrt();
        if size <= smallest || size == 0.0 {
            return false;
        }
        // v = x ± ‖x‖ e₁ with the sign that adds; vᵀv = 2 ‖x‖ (‖x‖ + |x₁|).
        let signed = size.copysign(v[0]);
        let scale = 1.0 / (size * (size + v[0].abs()));
        v[0] += signed;
        self.diagonal.push(-signed);
        self.reflector_scale.push(scale);
        reflect_columns(simd, right, m, k, scale, v);
        true
    }

    /// Norms of what remains of the columns right of `k`, recomputed where the update would lose digits.
    #[inline(always)]
    fn downdate(&self, k: usize, remaining: &mut [f64], reference: &mut [f64]) {
        for j in k + 1..self.n_cols {
            let head = self.packed[j * self.n_rows + k];
            let share = if remaining[j] > 0.0 { head / remaining[j] } else { 0.0 };
            let left = (1.0 - share * share).max(0.0);
            let lost = left * (remaining[j] / reference[j]).powi(2);
            if lost <= f64::EPSILON.sqrt() {
                let tail = &self.packed[j * self.n_rows + k + 1..(j + 1) * self.n_rows];
                remaining[j] = dot(tail, tail).sqrt();
                reference[j] = remaining[j];
            } else {
                remaining[j] *= left.sqrt();
            }
        }
    }

    pub(super) fn rank(&self) -> usize {
        self.rank
    }

    pub(super) fn pivots(&self) -> &[usize] {
        &self.pivots
    }

    /// Norm of original column `j`: coefficients of the scaled problem are divided by it.
    pub(super) fn norm(&self, j: usize) -> f64 {
        self.norms[j]
    }

    /// What original column `j` was multiplied by: 1/norm, 0 for a column of zeros.
    pub(super) fn column_scale(&self, j: usize) -> f64 {
        scale_of(self.norms[j])
    }

    /// R[0…k, k], above the diagonal.
    pub(super) fn r_column(&self, k: usize) -> &[f64] {
        &self.packed[k * self.n_rows..k * self.n_rows + k]
    }

    /// R[i, k] of the scaled and pivoted matrix.
    pub(super) fn r(&self, i: usize, k: usize) -> f64 {
        if i == k { self.diagonal[k] } else { self.packed[k * self.n_rows + i] }
    }

    /// y ← Qᵀ y.
    pub(super) fn apply_q_transposed(&self, y: &mut [f64]) {
        for k in 0..self.rank {
            self.apply_reflector(k, y);
        }
    }

    fn apply_reflector(&self, k: usize, y: &mut [f64]) {
        let v = self.reflector(k);
        let along = -self.reflector_scale[k] * dot(v, &y[k..]);
        add_scaled(&mut y[k..], along, v);
    }

    #[inline(always)]
    fn reflector(&self, k: usize) -> &[f64] {
        &self.packed[k * self.n_rows + k..(k + 1) * self.n_rows]
    }

    /// R₁₁⁻¹, column-major, rank × rank.
    pub(super) fn inverse_r(&self) -> Vec<f64> {
        let r = self.rank;
        let mut inverse = vec![0.0; r * r];
        for j in 0..r {
            // Column j of the inverse by back substitution, a column of R at a time.
            let column = &mut inverse[j * r..(j + 1) * r];
            column[j] = 1.0;
            for k in (0..=j).rev() {
                let solved = column[k] / self.diagonal[k];
                column[k] = solved;
                let above = &self.packed[k * self.n_rows..k * self.n_rows + k];
                add_scaled(&mut column[..k], -solved, above);
            }
        }
        inverse
    }

    /// R₁₁ x = b in place, b of length rank.
    pub(super) fn solve_r(&self, b: &mut [f64]) {
        for k in (0..self.rank).rev() {
            b[k] /= self.diagonal[k];
            let solved = b[k];
            add_scaled(&mut b[..k], -solved, &self.packed[k * self.n_rows..k * self.n_rows + k]);
        }
    }

    /// Vectors that the matrix sends to zero, in scaled coordinates of the original columns, one for each column beyond
    /// the rank: P [−R₁₁⁻¹ R₁₂; I], each of norm 1.
    pub(super) fn null_space(&self) -> Vec<Vec<f64>> {
        (self.rank..self.n_cols)
            .map(|k| {
                let mut head: Vec<f64> = (0..self.rank).map(|i| -self.packed[k * self.n_rows + i]).collect();
                self.solve_r(&mut head);
                let mut vector = vec![0.0; self.n_cols];
                for (i, value) in head.into_iter().enumerate() {
                    vector[self.pivots[i]] = value;
                }
                vector[self.pivots[k]] = 1.0;
                let size = norm(&vector);
                vector.iter_mut().for_each(|v| *v /= size);
                vector
            })
            .collect()
    }
}

/// The factorization, compiled for each set of vector instructions.
struct Factor<'a> {
    qr: &'a mut PivotedQr,
    tolerance: f64,
}

impl WithSimd for Factor<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        self.qr.factor(simd, self.tolerance);
    }
}

/// 1/`norm`, or 0 for a column of zeros.
pub(super) fn scale_of(norm: f64) -> f64 {
    if norm > 0.0 { 1.0 / norm } else { 0.0 }
}

/// Euclidean norm, safe against overflow and underflow of the squares.
pub(super) fn norm(x: &[f64]) -> f64 {
    let square = dot(x, x);
    if square.is_normal() && square < 1e300 {
        return square.sqrt();
    }
    let largest = x.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
    if largest == 0.0 {
        return 0.0;
    }
    largest * x.iter().map(|v| (v / largest).powi(2)).sum::<f64>().sqrt()
}
