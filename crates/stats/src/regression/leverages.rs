//! Leverages: squared norms of the rows of Q₁ = X P R₁₁⁻¹, a band of rows at a time.
//!
//! Forward substitution R₁₁ᵀ Z = (X P)ᵀ costs half of what Q₁ from its reflectors would, and keeps about 16 digits less the
//! decimal logarithm of the condition number.

use super::qr::PivotedQr;
use pulp::{Arch, Simd, WithSimd};

/// Rows solved side by side.
const BAND: usize = 64;

/// The leverages of the rows of `design` (column-major), each weighted by `roots` (absent: 1).
pub(super) fn leverages(design: &[f64], n_rows: usize, roots: Option<&[f64]>, qr: &PivotedQr) -> Vec<f64> {
    Arch::new().dispatch(Leverages { design, n_rows, roots, qr })
}

struct Leverages<'a> {
    design: &'a [f64],
    n_rows: usize,
    roots: Option<&'a [f64]>,
    qr: &'a PivotedQr,
}

impl WithSimd for Leverages<'_> {
    type Output = Vec<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Vec<f64> {
        let rank = self.qr.rank();
        let mut leverages = vec![0.0; self.n_rows];
        let mut solved = vec![0.0; rank * BAND];
        let mut weights = [1.0; BAND];
        for (band, out) in leverages.chunks_mut(BAND).enumerate() {
            let first = band * BAND;
            if let Some(roots) = self.roots {
                weights[..out.len()].copy_from_slice(&roots[first..first + out.len()]);
            }
            let mut squares = [0.0; BAND];
            for k in 0..rank {
                let (before, current) = solved.split_at_mut(k * BAND);
                let z = &mut current[..BAND];
                let pivot = self.qr.pivots()[k];
                let scale = self.qr.column_scale(pivot);
                let column = &self.design[pivot * self.n_rows + first..][..out.len()];
                let (filled, rest) = z.split_at_mut(out.len());
                rest.fill(0.0);
                filled.iter_mut().zip(column).zip(&weights).for_each(|((z, x), w)| *z = x * scale * w);
                substitute(simd, z, before, self.qr.r_column(k), self.qr.r(k, k));
                squares.iter_mut().zip(&*z).for_each(|(square, z)| *square += z * z);
            }
            out.copy_from_slice(&squares[..out.len()]);
        }
        leverages
    }
}

/// z ← (z − Σ rᵢ zᵢ)/r_kk over the columns `before`.
#[inline(always)]
fn substitute<S: Simd>(simd: S, z: &mut [f64], before: &[f64], r: &[f64], r_kk: f64) {
    /// Vectors under way at once.
    const K: usize = 8;
    let inverse = 1.0 / r_kk;
    let lanes = S::F64_LANES;
    for (part, z) in z.chunks_exact_mut(lanes * K).enumerate() {
        let (z, _) = S::as_mut_simd_f64s(z);
        let mut sums = [simd.splat_f64s(0.0); K];
        for (r, earlier) in r.iter().zip(before.chunks_exact(BAND)) {
            let r = simd.splat_f64s(*r);
            let (earlier, _) = S::as_simd_f64s(&earlier[part * lanes * K..(part + 1) * lanes * K]);
            for (sum, earlier) in sums.iter_mut().zip(earlier) {
                *sum = simd.mul_add_e_f64s(r, *earlier, *sum);
            }
        }
        let inverse = simd.splat_f64s(inverse);
        for (z, sum) in z.iter_mut().zip(sums) {
            *z = simd.mul_f64s(simd.sub_f64s(*z, sum), inverse);
        }
    }
}
