//! The inner loops of least squares.
//!
//! `dot` and `add_scaled` are plain and have the same bits everywhere. The reflections, where the time goes, use the vector
//! instructions that the machine has, through `pulp`; their sums run in another order on another machine, so the last
//! bits of a fit may differ from machine to machine.

use pulp::Simd;

/// Lanes that [`dot`] sums side by side.
const LANES: usize = 8;

/// Columns reflected at once: as many sums under way as hide the time that one addition takes.
pub(super) const AT_ONCE: usize = 8;

/// aᵀ b of slices of one length.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    debug_assert_eq!(a.len(), b.len());
    let mut lanes = [0.0; LANES];
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<LANES>(), b.as_chunks::<LANES>());
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    let [l0, l1, l2, l3, l4, l5, l6, l7] = lanes;
    let sum = ((l0 + l4) + (l2 + l6)) + ((l1 + l5) + (l3 + l7));
    a_rest.iter().zip(b_rest).fold(sum, |sum, (a, b)| sum + a * b)
}

/// y ← y + s x of slices of one length.
pub(super) fn add_scaled(y: &mut [f64], s: f64, x: &[f64]) {
    debug_assert_eq!(y.len(), x.len());
    y.iter_mut().zip(x).for_each(|(y, x)| *y += s * x);
}

/// x ← x − scale (vᵀx) v for `K` slices of the length of v, which is read once for all of them.
#[inline(always)]
pub(super) fn reflect<S: Simd, const K: usize>(simd: S, x: [&mut [f64]; K], scale: f64, v: &[f64]) {
    let (v_blocks, v_rest) = S::as_simd_f64s(v);
    let n = v_blocks.len();
    let mut sums = [simd.splat_f64s(0.0); K];
    let mut parts = x.map(|x| S::as_mut_simd_f64s(x));
    for (i, v) in v_blocks.iter().enumerate() {
        for (sum, (blocks, _)) in sums.iter_mut().zip(&parts) {
            *sum = simd.mul_add_e_f64s(*v, blocks[i], *sum);
        }
    }
    let mut along = [0.0; K];
    for ((along, sum), (_, rest)) in along.iter_mut().zip(sums).zip(&parts) {
        let sum = v_rest.iter().zip(&**rest).fold(simd.reduce_sum_f64s(sum), |sum, (v, x)| sum + v * x);
        *along = -scale * sum;
    }
    let splats = along.map(|a| simd.splat_f64s(a));
    for (i, v) in v_blocks.iter().enumerate().take(n) {
        for (along, (blocks, _)) in splats.iter().zip(&mut parts) {
            blocks[i] = simd.mul_add_e_f64s(*along, *v, blocks[i]);
        }
    }
    for (along, (_, rest)) in along.iter().zip(&mut parts) {
        rest.iter_mut().zip(v_rest).for_each(|(x, v)| *x += along * v);
    }
}

/// Reflects every column of `columns` (of `m` rows) from row `k` on, with a reflector `v` of those rows.
#[inline(always)]
pub(super) fn reflect_columns<S: Simd>(simd: S, columns: &mut [f64], m: usize, k: usize, scale: f64, v: &[f64]) {
    let mut groups = columns.chunks_exact_mut(AT_ONCE * m);
    for group in &mut groups {
        let mut tails = group.chunks_exact_mut(m).map(|column| &mut column[k..]);
        let tails: [&mut [f64]; AT_ONCE] = std::array::from_fn(|_| tails.next().unwrap_or_default());
        reflect(simd, tails, scale, v);
    }
    for column in groups.into_remainder().chunks_exact_mut(m) {
        reflect(simd, [&mut column[k..]], scale, v);
    }
}
