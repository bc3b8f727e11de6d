//! The budget by the propagation of distributions, side by side with the sum of variances.
//!
//! The adaptive procedure and the validation are `stats::uncertainty`'s (JCGM 101:2008, 7.9 and 8): the interval of the sum of
//! variances, y ± k u with k = 1.960, agrees with the drawn one when both ends differ by no more than δ, half of the second
//! digit of u.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;
use stats::distribution::normal_quantile;
use stats::uncertainty::Adaptive;

use super::model::{Model, Source};
use super::sampler::Sampler;
use crate::report::MonteCarloRow;

/// Two digits of u are meaningful; a verdict that a million draws do not settle stays open.
const PROCEDURE: Adaptive = Adaptive { coverage: 0.95, digits: 2, draws_max: 1_000_000 };

/// Draws a model's error until its figures stand and the verdict on the sum of variances is sure, or 10⁶ draws are made.
pub fn monte_carlo(model: &Model, load_kg: f64, seed: u64) -> MonteCarloRow {
    let sampler = Sampler::new(model);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let expanded = normal_quantile((1.0 + PROCEDURE.coverage) / 2.0) * model.u_g();
    let (drawn, verdict) = PROCEDURE.validate([-expanded, expanded], |row| sampler.fill(&mut rng, row));
    MonteCarloRow {
        load_kg,
        draws: drawn.draws.len(),
        mean_g: drawn.mean,
        u_g: drawn.u,
        interval_g: drawn.interval,
        tolerance_g: drawn.tolerance,
        ends_differ_g: verdict.differences,
        agrees: verdict.agrees,
        agreement_sure: verdict.certain,
        settled: drawn.settled,
    }
}

/// Draws of one source alone. u scatters by √((κ − 1)/(4 N)) of itself: 0.3 % for a normal source, 0.6 % for a product of two.
const DRAWS_OF_A_SOURCE: usize = 50_000;

/// Standard uncertainty of one source alone by drawing from its distributions, g; 0 where it has no term.
pub fn u_of_g(model: &Model, source: Source, seed: u64) -> f64 {
    let alone = model.only(source);
    if alone.terms.is_empty() {
        return 0.0;
    }
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut draws = vec![0.0; DRAWS_OF_A_SOURCE];
    Sampler::new(&alone).fill(&mut rng, &mut draws);
    // All factors have zero mean.
    (draws.iter().map(|g| g * g).sum::<f64>() / draws.len() as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::budget::model::{Factor, Source};

    fn sum_of(half_widths: &[f64], factor: Factor) -> Model {
        let mut model = Model::default();
        half_widths.iter().for_each(|&g| model.own(Source::Noise, g, factor));
        model
    }

    /// Source: JCGM 101:2008, 9.2.3: the sum of four rectangular quantities of unit variance has u = 2.00 and the 95 % interval
    /// ± 2√3 (2 − (3/5)^¼) = ± 3.88. The sum of variances is off by 0.04 of 0.05: so near to δ the verdict would need 1.14 million
    /// draws, and is said to be open.
    #[test]
    fn four_rectangles() {
        let row = monte_carlo(&sum_of(&[3f64.sqrt(); 4], Factor::Rectangular), 0.0, 1);
        assert!(row.settled && row.agrees && !row.agreement_sure, "{row:?}");
        // A million draws: twice the scatter of the ends is δ/5 = 0.01.
        assert!((row.u_g - 2.0).abs() < 0.01, "{}", row.u_g);
        assert!((row.interval_g[1] - 3.879_407).abs() < 0.01 && (row.interval_g[0] + 3.879_407).abs() < 0.01);
    }

    /// Source: JCGM 101:2008, 9.2.2: four unit normals: u = 2.00, ± 3.92; the sum of variances is valid.
    #[test]
    fn four_normals_validate() {
        let row = monte_carlo(&sum_of(&[1.0; 4], Factor::Normal), 0.0, 2);
        assert!((row.u_g - 2.0).abs() < 0.05 && (row.interval_g[1] - 3.92).abs() < 0.05);
        assert!(row.agrees && row.agreement_sure);
    }

    /// Source: JCGM 101:2008, 9.2.4: one rectangle of ten times the standard deviation: u = 10.1, ± 17.0 against ± 19.9 of the
    /// sum of variances, which is not valid.
    #[test]
    fn one_wide_rectangle_does_not_validate() {
        let widths = [1.0, 1.0, 1.0, 10.0].map(|sd| sd * 3f64.sqrt());
        let row = monte_carlo(&sum_of(&widths, Factor::Rectangular), 0.0, 3);
        assert!((row.u_g - 10.149).abs() < 0.5, "{}", row.u_g);
        assert!((row.interval_g[1] - 17.0).abs() < 0.5, "{:?}", row.interval_g);
        assert!(!row.agrees && row.agreement_sure);
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
