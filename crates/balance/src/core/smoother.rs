//! The fixed-interval smoother: backward sums r and N (Durbin & Koopman 2012, 4.4).

use super::filter::{Filtered, Update};
use super::grid::{Grid, Transition};
use super::{C, M0, Matrix, OBSERVED, POOL, R, U, Vector, WEEP, observed};

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
    let mut r = Vector::zeros();
    let mut n = Matrix::zeros();
    let mut out = Vec::with_capacity(wanted.len());
    let mut left = wanted.iter().rev().peekable();
    for (idx, (node, state)) in grid.nodes.iter().zip(filtered).enumerate().rev() {
        if left.next_if(|&&want| want == idx).is_some() {
            let (a, p) = state.updated();
            out.push(Smoothed { mean: a + p * r, p, n });
        }
        if let Some(update) = &state.update {
            over_update(&mut r, &mut n, update);
        }
        before_anchor(&mut r, &mut n, &node.into);
        over_transition(&mut r, &mut n, &node.into);
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
        // No anchor lies between: see above.
        transpose_vector(&mut h, &grid.nodes[idx].into);
    }
    (filtered[early].updated().1 * g).dot(&h)
}

/// r and N from after a weight to before it: with L = I − K Z', r ← Z v/F + L' r and N ← Z Z'/F + L' N L. Gives K' N K from before.
pub(super) fn over_update(r: &mut Vector, n: &mut Matrix, update: &Update) -> f64 {
    let add = update.v / update.f - update.k.dot(r);
    let nk = *n * update.k;
    let knk = update.k.dot(&nk);
    let corner = 1.0 / update.f + knk;
    for i in OBSERVED {
        r[i] += add;
        for (j, nk) in nk.iter().enumerate() {
            n[(j, i)] -= nk;
            n[(i, j)] -= nk;
        }
    }
    for j in OBSERVED {
        OBSERVED.iter().for_each(|&i| n[(i, j)] += corner);
    }
    knk
}

/// r and N from after the anchor to before it, where there is one: M0 took in U and C.
pub(super) fn before_anchor(r: &mut Vector, n: &mut Matrix, into: &Transition) {
    if !into.anchor {
        return;
    }
    for idx in [U, C] {
        r[idx] = r[M0];
        let row = n.row(M0).into_owned();
        n.set_row(idx, &row);
    }
    for idx in [U, C] {
        let column = n.column(M0).into_owned();
        n.set_column(idx, &column);
    }
}

/// r ← T' r, N ← T' N T but for the anchor.
pub(super) fn over_transition(r: &mut Vector, n: &mut Matrix, into: &Transition) {
    transpose_vector(r, into);
    let columns = &mut n.data.0;
    for (idx, keep) in into.keeps() {
        if keep < 1.0 {
            columns[idx].iter_mut().for_each(|entry| *entry *= keep);
            columns.iter_mut().for_each(|column| column[idx] *= keep);
        }
    }
    let dt = into.dt_h;
    let (uncharted, pool) = (columns[U], columns[POOL]);
    for (entry, uncharted) in columns[R].iter_mut().zip(uncharted) {
        *entry -= dt * uncharted;
    }
    for ((entry, pool), uncharted) in columns[WEEP].iter_mut().zip(pool).zip(uncharted) {
        *entry += dt * (pool - uncharted);
    }
    for column in columns.iter_mut() {
        column[R] -= dt * column[U];
        column[WEEP] += dt * (column[POOL] - column[U]);
    }
}

/// T' r but for the anchor.
fn transpose_vector(r: &mut Vector, into: &Transition) {
    for (idx, keep) in into.keeps() {
        r[idx] *= keep;
    }
    r[R] -= into.dt_h * r[U];
    r[WEEP] += into.dt_h * (r[POOL] - r[U]);
}
