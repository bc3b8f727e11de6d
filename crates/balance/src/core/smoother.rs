//! The fixed-interval smoother: backward sums r and N (Durbin & Koopman 2012, 4.4).

use super::filter::Filtered;
use super::grid::{Grid, Transition};
use super::{C, M0, Matrix, N, POOL, R, U, Vector, WEEP, observed};

/// Smoothed state of one node: mean in full, variance on demand.
///
/// It is formed from the state after the node's own weight: before the first weight that of the mass is
/// diffuse, and its digits would be lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Smoothed {
    /// Smoothed state.
    pub(crate) mean: Vector,
    /// Variance after the node's weight.
    p: Matrix,
    /// Backward sum of what came later.
    n: Matrix,
}

impl Smoothed {
    /// Covariance of two linear functions of the state: g'Vh = g'Ph − g'P N P h.
    pub(crate) fn cov(&self, g: &Vector, h: &Vector) -> f64 {
        let pg = self.p * g;
        let ph = self.p * h;
        pg.dot(h) - pg.dot(&(self.n * ph))
    }

    /// Standard deviation of a linear function of the state.
    pub(crate) fn sd(&self, g: &Vector) -> f64 {
        self.cov(g, g).max(0.0).sqrt()
    }
}

/// Smoothed states of the `wanted` nodes, which ascend, in order of time.
pub(crate) fn smooth(grid: &Grid, filtered: &[Filtered], wanted: &[usize]) -> Vec<Smoothed> {
    let z = observed();
    let mut r = Vector::zeros();
    let mut n = Matrix::zeros();
    let mut out = Vec::with_capacity(wanted.len());
    let mut left = wanted.iter().rev().peekable();
    for (idx, (node, state)) in grid.nodes.iter().zip(filtered).enumerate().rev() {
        if left.next_if(|&&want| want == idx).is_some() {
            let (a, p) = state.updated();
            out.push(Smoothed { mean: a + p * r, p, n });
        }
        if let Some(update) = state.update {
            // L = I − K Z': r ← Z v/F + L' r, N ← Z Z'/F + L' N L.
            let kr = update.k.dot(&r);
            r += z * (update.v / update.f - kr);
            let nk = n * update.k;
            let knk = update.k.dot(&nk);
            n += z * z.transpose() * (1.0 / update.f + knk) - z * nk.transpose() - nk * z.transpose();
        }
        transpose_vector(&mut r, &node.into);
        transpose_matrix(&mut n, &node.into);
    }
    out.reverse();
    out
}

/// Covariance of g'x at the node `early` and g'x at the later node `late`, given all weights
/// (Durbin & Koopman 2012, 4.7): g'P T' L' … L' (I − N P) g, with P after the node's own weight.
/// No anchor may lie between them.
pub(crate) fn lag_cov(
    grid: &Grid,
    filtered: &[Filtered],
    early: usize,
    (late, smoothed_late): (usize, &Smoothed),
    g: &Vector,
) -> f64 {
    let mut h = g - smoothed_late.n * (smoothed_late.p * g);
    for idx in (early + 1..=late).rev() {
        if let Some(update) = filtered[idx].update {
            h -= observed() * update.k.dot(&h);
        }
        transpose_vector(&mut h, &grid.nodes[idx].into);
    }
    (filtered[early].updated().1 * g).dot(&h)
}

/// T' r.
fn transpose_vector(r: &mut Vector, into: &Transition) {
    if into.anchor {
        r[U] = r[M0];
        r[C] = r[M0];
    }
    for (idx, keep) in into.keeps() {
        r[idx] *= keep;
    }
    r[R] -= into.dt_h * r[U];
    r[WEEP] += into.dt_h * (r[POOL] - r[U]);
}

/// T' N T, in place.
fn transpose_matrix(n: &mut Matrix, into: &Transition) {
    if into.anchor {
        for idx in [U, C] {
            let row = n.row(M0).into_owned();
            n.set_row(idx, &row);
        }
        for idx in [U, C] {
            let column = n.column(M0).into_owned();
            n.set_column(idx, &column);
        }
    }
    for (idx, keep) in into.keeps() {
        for j in 0..N {
            n[(idx, j)] *= keep;
        }
        for i in 0..N {
            n[(i, idx)] *= keep;
        }
    }
    for j in 0..N {
        n[(R, j)] -= into.dt_h * n[(U, j)];
        n[(WEEP, j)] += into.dt_h * (n[(POOL, j)] - n[(U, j)]);
    }
    for i in 0..N {
        n[(i, R)] -= into.dt_h * n[(i, U)];
        n[(i, WEEP)] += into.dt_h * (n[(i, POOL)] - n[(i, U)]);
    }
}
