//! The two inner loops of least squares, written so that the compiler turns them into vector instructions.

/// Lanes summed side by side. Fixed, so that the sum has the same bits on every machine.
const LANES: usize = 8;

/// aᵀ b over the shorter of the two.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a, b) = (&a[..n], &b[..n]);
    let mut lanes = [0.0; LANES];
    let (a_blocks, b_blocks) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f64 = a_blocks.remainder().iter().zip(b_blocks.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a_blocks.zip(b_blocks) {
        for lane in 0..LANES {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    let [l0, l1, l2, l3, l4, l5, l6, l7] = lanes;
    ((l0 + l4) + (l2 + l6)) + ((l1 + l5) + (l3 + l7)) + rest
}

/// y ← y + s x over the shorter of the two.
pub(super) fn add_scaled(y: &mut [f64], s: f64, x: &[f64]) {
    y.iter_mut().zip(x).for_each(|(y, x)| *y += s * x);
}
