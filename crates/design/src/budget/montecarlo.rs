//! The budget by the propagation of distributions, side by side with the sum of variances.
//!
//! The adaptive procedure of JCGM 101:2008, 7.9: blocks of M draws until twice the standard deviations of the blocks' mean,
//! standard deviation and interval ends are below the numerical tolerance δ of u at two significant digits; and the
//! validation of 8.1: the interval of the sum of variances, y ± k u with k = 1.960, agrees with the drawn one when both ends
//! differ by no more than δ. Clause 8.2 advises to draw to δ/5 for that; we draw to δ, as 25 times the draws of a `check`
//! would buy only the borderline cases.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::model::Model;
use super::sampler::Sampler;
use crate::report::MonteCarloRow;

/// Draws of a block: J = 100/(1 − p), but 10 000 at least (7.9.4 b).
const BLOCK: usize = 10_000;
/// Coverage probability.
const COVERAGE: f64 = 0.95;
/// Standard normal quantile at 97.5 %.
const Z_975: f64 = 1.959_963_985;
/// Significant digits of u that are meaningful.
const DIGITS: i32 = 2;
/// Blocks after which the procedure gives up on the tolerance: 10⁶ draws.
const BLOCKS_MAX: usize = 100;

/// Numerical tolerance of a standard uncertainty at two significant digits (7.9.2): half of the last digit.
pub fn tolerance(u: f64) -> f64 {
    if u <= 0.0 {
        return 0.0;
    }
    let mut exponent = u.log10().floor() as i32 - (DIGITS - 1);
    // Rounding may carry into a digit more: 9.96 is 10.
    if (u / 10f64.powi(exponent)).round() >= 10f64.powi(DIGITS) {
        exponent += 1;
    }
    0.5 * 10f64.powi(exponent)
}

/// Draws a model's error until its figures stand, or 10⁶ draws are made.
pub fn monte_carlo(model: &Model, load_kg: f64, seed: u64) -> MonteCarloRow {
    let sampler = Sampler::new(model);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut draws: Vec<f64> = Vec::new();
    let mut blocks: Vec<[f64; 4]> = Vec::new();
    let mut stable = false;
    while !stable && blocks.len() < BLOCKS_MAX {
        let begun = draws.len();
        draws.resize(begun + BLOCK, 0.0);
        sampler.fill(&mut rng, &mut draws[begun..]);
        blocks.push(figures(&mut draws[begun..].to_vec()));
        stable = blocks.len() >= 2 && settled(&blocks, tolerance(pooled(&blocks)));
    }
    let n = draws.len();
    let [mean_g, u_g, low_g, high_g] = figures(&mut draws);
    let expanded = Z_975 * model.u_g();
    let tolerance_g = tolerance(u_g);
    let ends = [(-expanded - low_g).abs(), (expanded - high_g).abs()];
    MonteCarloRow {
        load_kg,
        draws: n,
        mean_g,
        u_g,
        interval_g: [low_g, high_g],
        tolerance_g,
        agrees: ends.iter().all(|d| *d <= tolerance_g),
        settled: stable,
    }
}

/// Mean, standard deviation and ends of the probabilistically symmetric interval. Sorts the draws.
fn figures(draws: &mut [f64]) -> [f64; 4] {
    let n = draws.len();
    let mean = draws.iter().sum::<f64>() / n as f64;
    let u = deviation(draws);
    // Clause 7.7: q = pM covered, r = (M − q)/2 below; order statistics count from 1.
    let covered = (COVERAGE * n as f64).round() as usize;
    let below = (n - covered).div_ceil(2);
    let place = |draws: &mut [f64], i: usize| *draws.select_nth_unstable_by(i, f64::total_cmp).1;
    let low = place(draws, below.saturating_sub(1));
    let high = place(draws, (below + covered).min(n) - 1);
    [mean, u, low, high]
}

fn deviation(draws: &[f64]) -> f64 {
    let n = draws.len() as f64;
    let mean = draws.iter().sum::<f64>() / n;
    (draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

/// Standard deviation of all draws from the means and standard deviations of blocks of one size.
fn pooled(blocks: &[[f64; 4]]) -> f64 {
    let h = blocks.len() as f64;
    let within = blocks.iter().map(|b| b[1].powi(2)).sum::<f64>() / h;
    let mean = blocks.iter().map(|b| b[0]).sum::<f64>() / h;
    let between = blocks.iter().map(|b| (b[0] - mean).powi(2)).sum::<f64>() / h;
    (within + between).sqrt()
}

/// Whether twice the standard deviation of each figure's mean over the blocks is within the tolerance.
fn settled(blocks: &[[f64; 4]], tolerance: f64) -> bool {
    let h = blocks.len() as f64;
    (0..4).all(|i| {
        let column: Vec<f64> = blocks.iter().map(|b| b[i]).collect();
        2.0 * deviation(&column) / h.sqrt() <= tolerance
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::budget::model::{Factor, Source};

    /// Source: JCGM 101:2008, 7.9.2, examples: 0.000 35 → 5e-6 at two digits; 2 K at one digit would be 0.5, at two 0.05.
    #[test]
    fn tolerance_is_half_of_the_last_digit() {
        assert!((tolerance(0.000_35) - 5e-6).abs() < 1e-18);
        assert!((tolerance(2.0) - 0.05).abs() < 1e-15);
        assert!((tolerance(9.96) - 0.5).abs() < 1e-15);
    }

    /// Source: JCGM 101:2008, 9.2.3: the sum of four rectangular quantities of unit variance has u = 2.00 and the 95 % interval
    /// ± 2√3 (2 − (3/5)^¼) = ± 3.88.
    #[test]
    fn four_rectangles() {
        let mut model = Model::default();
        for _ in 0..4 {
            model.own(Source::Noise, 3f64.sqrt(), Factor::Rectangular);
        }
        let row = monte_carlo(&model, 0.0, 1);
        assert!(row.settled);
        assert!((row.u_g - 2.0).abs() < 0.05, "{}", row.u_g);
        // δ is 0.05, and the draws settled to it.
        assert!((row.interval_g[1] - 3.879_407).abs() < 0.05 && (row.interval_g[0] + 3.879_407).abs() < 0.05);
    }

    /// Source: JCGM 101:2008, 9.2.2: four unit normals: u = 2.00, ± 3.92; the sum of variances is valid.
    #[test]
    fn four_normals_validate() {
        let mut model = Model::default();
        for _ in 0..4 {
            model.own(Source::Noise, 1.0, Factor::Normal);
        }
        let row = monte_carlo(&model, 0.0, 2);
        assert!((row.u_g - 2.0).abs() < 0.05 && (row.interval_g[1] - 3.92).abs() < 0.05);
        assert!(row.agrees);
    }

    /// Source: JCGM 101:2008, 9.2.4: one rectangle of ten times the standard deviation: u = 10.1, ± 17.0 against ± 19.9 of the
    /// sum of variances, which is not valid.
    #[test]
    fn one_wide_rectangle_does_not_validate() {
        let mut model = Model::default();
        for sd in [1.0, 1.0, 1.0, 10.0] {
            model.own(Source::Noise, sd * 3f64.sqrt(), Factor::Rectangular);
        }
        let row = monte_carlo(&model, 0.0, 3);
        assert!((row.u_g - 10.149).abs() < 0.5, "{}", row.u_g);
        assert!((row.interval_g[1] - 17.0).abs() < 0.5, "{:?}", row.interval_g);
        assert!(!row.agrees);
    }

    /// Two ways to one answer: products, shared partners, a factor alone and with a partner.
    #[test]
    fn draws_have_the_variance_of_the_sum() {
        let mut model = Model::default();
        let [a, b, c, d] =
            [Factor::Rectangular, Factor::Normal, Factor::Rectangular, Factor::Normal].map(|f| model.factor(f));
        model.push(Source::Tilt, 3.0, a, Some(b));
        model.push(Source::Tilt, -2.0, a, Some(c));
        model.push(Source::Noise, 4.0, b, None);
        model.push(Source::Step, 1.5, d, Some(c));
        model.push(Source::Step, 2.5, d, None);
        let row = monte_carlo(&model, 0.0, 4);
        assert!((row.u_g / model.u_g() - 1.0).abs() < 0.01, "{} {}", row.u_g, model.u_g());
        assert!(row.mean_g.abs() < 0.02 * model.u_g());
    }
}
