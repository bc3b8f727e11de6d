//! Reduction of many weighted rows to a triangle by orthogonal transformations, a band of rows at a time.
//!
//! Householder reflections take each band of rows into the triangle above it: [T; band] = Q [T'; 0]. Q itself is not kept;
//! what is wanted of it is carried along as further columns. The band stays in the nearest caches and nothing as large as
//! the design is copied. Every step is orthogonal, so the result is as sound as one factorization of all rows.
//! Source: Golub & Van Loan, Matrix Computations, 4th ed., 5.2 and 6.5.4 (updating by rows); from memory.

use pulp::{Arch, Simd, WithSimd};

/// Rows taken in together.
const BAND: usize = 104;

/// A sum of squares below this is nothing.
const NOTHING: f64 = 1e-290;

/// What is left of the rows: n_cols × (n_cols + `E`) upper trapezium, row by row; rows that are few are kept as they are.
#[derive(Debug, Clone)]
pub(super) struct Triangle<const E: usize> {
    pub(super) n_rows: usize,
    pub(super) n_cols: usize,
    /// Row k holds columns 0…n_cols + E; of a trapezium they are zero left of the diagonal.
    pub(super) rows: Vec<f64>,
    /// Sums of squares of what the columns carried along keep outside the space of the design.
    pub(super) outside: [f64; E],
}

impl<const E: usize> Triangle<E> {
    /// Reduces `n_rows` × `n_cols` `design` (column-major), each row times `roots` (absent: 1) and each column times
    /// `scales`, with `carried` columns that are already weighted.
    pub(super) fn reduce(
        design: &[f64],
        n_rows: usize,
        roots: Option<&[f64]>,
        scales: &[f64],
        carried: [&[f64]; E],
    ) -> Self {
        Arch::new().dispatch(Reduce { design, n_rows, roots, scales, carried })
    }

    /// As [`Triangle::reduce`], but rows that are hardly more than columns are only weighted and scaled: to make a triangle of
    /// them costs as much as what it saves later.
    pub(super) fn reduce_many(
        design: &[f64],
        n_rows: usize,
        roots: Option<&[f64]>,
        scales: &[f64],
        carried: [&[f64]; E],
    ) -> Self {
        let n_cols = scales.len();
        if n_rows > 2 * n_cols {
            return Self::reduce(design, n_rows, roots, scales, carried);
        }
        let mut rows = vec![0.0; n_rows * (n_cols + E)];
        for (i, row) in rows.chunks_exact_mut(n_cols + E).enumerate() {
            let root = roots.map_or(1.0, |roots| roots[i]);
            for (k, (entry, scale)) in row.iter_mut().zip(scales).enumerate() {
                *entry = design[k * n_rows + i] * scale * root;
            }
            row[n_cols..].iter_mut().zip(carried).for_each(|(entry, column)| *entry = column[i]);
        }
        Self { n_rows, n_cols, rows, outside: [0.0; E] }
    }

    /// The entry of row `i`, column `k`.
    pub(super) fn at(&self, i: usize, k: usize) -> f64 {
        self.rows[i * (self.n_cols + E) + k]
    }

    /// A column carried along, in the space of the rows that are left.
    pub(super) fn carried(&self, e: usize) -> Vec<f64> {
        (0..self.n_rows).map(|i| self.at(i, self.n_cols + e)).collect()
    }
}

struct Reduce<'a, const E: usize> {
    design: &'a [f64],
    n_rows: usize,
    roots: Option<&'a [f64]>,
    scales: &'a [f64],
    carried: [&'a [f64]; E],
}

impl<const E: usize> WithSimd for Reduce<'_, E> {
    type Output = Triangle<E>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Triangle<E> {
        let n_cols = self.scales.len();
        let width = n_cols + E;
        let mut rows = vec![0.0; n_cols * width];
        let mut outside = [0.0; E];
        let mut band = vec![0.0; BAND * width];
        let mut first = 0;
        while first < self.n_rows {
            let n = BAND.min(self.n_rows - first);
            self.load(&mut band, first, n);
            for k in 0..n_cols {
                eliminate(simd, &mut rows[k * width + k..(k + 1) * width], &mut band[k * BAND..]);
            }
            for (outside, left) in outside.iter_mut().zip(band[n_cols * BAND..].chunks_exact(BAND)) {
                *outside += left.iter().map(|x| x * x).sum::<f64>();
            }
            first += n;
        }
        Triangle { n_rows: n_cols, n_cols, rows, outside }
    }
}

impl<const E: usize> Reduce<'_, E> {
    /// Rows `first`… of the weighted, scaled design and the carried columns; zeros below the last.
    #[inline(always)]
    fn load(&self, band: &mut [f64], first: usize, n: usize) {
        let (design_part, carried_part) = band.split_at_mut(self.scales.len() * BAND);
        let columns = self.design.chunks_exact(self.n_rows).zip(self.scales);
        for (to, (column, scale)) in design_part.chunks_exact_mut(BAND).zip(columns) {
            let (to, rest) = to.split_at_mut(n);
            rest.fill(0.0);
            let from = &column[first..first + n];
            match self.roots {
                None => to.iter_mut().zip(from).for_each(|(to, x)| *to = x * scale),
                Some(roots) => {
                    let weighted = from.iter().zip(&roots[first..]);
                    to.iter_mut().zip(weighted).for_each(|(to, (x, root))| *to = x * scale * root);
                }
            }
        }
        for (to, from) in carried_part.chunks_exact_mut(BAND).zip(self.carried) {
            let (to, rest) = to.split_at_mut(n);
            rest.fill(0.0);
            to.copy_from_slice(&from[first..first + n]);
        }
    }
}

/// Reflects the band's first column into the first entry of the triangle's `row` and takes the others along.
#[inline(always)]
fn eliminate<S: Simd>(simd: S, row: &mut [f64], band: &mut [f64]) {
    let (v, others) = band.split_at_mut(BAND);
    let v: &[f64] = v;
    let below = square(simd, v);
    // Columns have norm 1: what is smaller is nothing beside them, and its square has no reciprocal.
    if below < NOTHING {
        return;
    }
    // v = (head, column), head = x₀ ± ‖x‖ with the sign that adds; 2/vᵀv = 1/(‖x‖ (‖x‖ + |x₀|)).
    let size = (row[0] * row[0] + below).sqrt().copysign(row[0]);
    let head = row[0] + size;
    let scale = 1.0 / (size * head);
    row[0] = -size;
    let (mut tops, mut columns) = (&mut row[1..], others);
    while !tops.is_empty() {
        let taken = match tops.len() {
            8.. => reflect::<S, 8>(simd, tops, columns, head, scale, v),
            4.. => reflect::<S, 4>(simd, tops, columns, head, scale, v),
            _ => reflect::<S, 1>(simd, tops, columns, head, scale, v),
        };
        tops = &mut tops[taken..];
        columns = &mut columns[taken * BAND..];
    }
}

/// x ← x − scale (uᵀx) u with u = (head, v), for the first `K` columns x = (top, band's column). Returns `K`.
#[inline(always)]
fn reflect<S: Simd, const K: usize>(
    simd: S,
    tops: &mut [f64],
    columns: &mut [f64],
    head: f64,
    scale: f64,
    v: &[f64],
) -> usize {
    let (v, _) = S::as_simd_f64s(v);
    let mut columns = columns.chunks_exact_mut(BAND);
    let mut parts: [&mut [S::f64s]; K] =
        std::array::from_fn(|_| columns.next().map_or(&mut [][..], |column| S::as_mut_simd_f64s(column).0));
    // One length for all, known to the compiler: no check in the loops.
    let n = v.len();
    parts = parts.map(|part| &mut part[..n]);
    let mut sums = [simd.splat_f64s(0.0); K];
    for i in 0..n {
        for (sum, part) in sums.iter_mut().zip(&parts) {
            *sum = simd.mul_add_e_f64s(v[i], part[i], *sum);
        }
    }
    let mut along = [simd.splat_f64s(0.0); K];
    for ((along, sum), top) in along.iter_mut().zip(sums).zip(tops.iter_mut()) {
        let a = -scale * (head * *top + simd.reduce_sum_f64s(sum));
        *top += a * head;
        *along = simd.splat_f64s(a);
    }
    for i in 0..n {
        for (along, part) in along.iter().zip(&mut parts) {
            part[i] = simd.mul_add_e_f64s(*along, v[i], part[i]);
        }
    }
    K
}

#[inline(always)]
fn square<S: Simd>(simd: S, v: &[f64]) -> f64 {
    let (v, _) = S::as_simd_f64s(v);
    simd.reduce_sum_f64s(v.iter().fold(simd.splat_f64s(0.0), |sum, &v| simd.mul_add_e_f64s(v, v, sum)))
}
