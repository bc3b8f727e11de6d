//! The slope of the log-likelihood in the logarithms of the noise levels, by one pass forward and one back.
//!
//! With r and N the smoother's backward sums, e = v/F − K'r and D = 1/F + K'N K (r, N as they stand after the weight),
//!
//! ∂ ln L/∂θ = ½ Σ (e² − D) ∂H/∂θ + ½ Σ tr((r r' − N) ∂Q/∂θ) + ½ tr((r₀ r₀' − N₀) ∂P₀/∂θ),
//!
//! where r, N stand before the weight in the second sum and at the origin in the last term (Koopman & Shephard, Biometrika
//! 1992;79:823; Durbin & Koopman 2012, 7.3.3). Central differences of four levels would take eight passes forward. The term of the
//! first weight, which the likelihood leaves out, is left in: over a diffuse start its slope is 1e-7 of the others' terms.

use super::filter::{Filter, Update};
use super::grid::{Node, Observation};
use super::smoother::{before_anchor, over_transition, over_update};
use super::{C, Matrix, POSTURE, Params, R, U, Vector};

/// ∂ ln L/∂ ln of (white, posture, chart, rate walk) over these nodes, for a filter that starts before the first of them.
pub(crate) fn score(nodes: &[Node], params: Params, first: Observation, var_posture_g2: f64) -> [f64; 4] {
    let mut filter = Filter::new(params, first, var_posture_g2);
    let updates: Vec<Option<Update>> = nodes.iter().map(|node| filter.advance(node)).collect();
    let (mut r, mut n) = (Vector::zeros(), Matrix::zeros());
    let mut slope = [0.0; 4];
    for (node, update) in nodes.iter().zip(&updates).rev() {
        if let (Some(update), Some(observation)) = (update, node.observation) {
            let kr = update.k.dot(&r);
            let knk = over_update(&mut r, &mut n, update);
            let e = update.v / update.f - kr;
            slope[0] += (e * e - 1.0 / update.f - knk) * params.white.powi(2) * observation.var_g2;
        }
        before_anchor(&mut r, &mut n, &node.into);
        let into = &node.into;
        let free = |i: usize, j: usize| r[i] * r[j] - n[(i, j)];
        let lost = 1.0 - into.keep_posture.powi(2);
        slope[1] += free(POSTURE, POSTURE) * lost * params.posture.powi(2) * into.var_posture_g2;
        slope[2] += free(C, C) * params.chart.powi(2) * into.var_through_g2;
        let dt = into.dt_h;
        let walked = free(R, R) * dt - free(U, R) * dt * dt + free(U, U) * dt.powi(3) / 3.0;
        slope[3] += 0.5 * walked * params.rate_q;
        over_transition(&mut r, &mut n, into);
    }
    // A level is a deviation: half of the derivative by its variance, times 2 σ².
    slope[1] += (r[POSTURE] * r[POSTURE] - n[(POSTURE, POSTURE)]) * params.posture.powi(2) * var_posture_g2;
    slope
}

#[cfg(test)]
mod tests {
    use super::super::tests::{PARAMS, grid};
    use super::*;

    /// Against central differences of the likelihood itself, over a grid with gaps, pads, a step and an anchor.
    #[test]
    fn the_slope_is_that_of_the_likelihood() {
        let grid = grid();
        let first = grid.nodes[0].observation.unwrap();
        let likelihood = |i: usize, step: f64| {
            let mut params = PARAMS;
            let level =
                [&mut params.white, &mut params.posture, &mut params.chart, &mut params.rate_q].into_iter().nth(i);
            *level.unwrap() *= step.exp();
            let mut filter = Filter::new(params, first, 900.0);
            for node in &grid.nodes {
                filter.advance(node);
            }
            filter.log_likelihood()
        };
        let found = score(&grid.nodes, PARAMS, first, 900.0);
        for (i, slope) in found.into_iter().enumerate() {
            let h = 1e-3;
            let expected = (likelihood(i, h) - likelihood(i, -h)) / (2.0 * h);
            // Differences err by h² of a third derivative of some tens.
            assert!((slope - expected).abs() < 1e-4, "level {i}: {slope} is not {expected}");
            assert!(expected.abs() > 1e-2, "level {i} tells nothing: {expected}");
        }
    }
}
