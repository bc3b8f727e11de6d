//! Chance, by named streams: one number given by the user decides every draw of a virtual run.
//!
//! Each part of the twin draws from a stream of its own, named by what it is for, so that a new draw in one part
//! moves nothing in another, and the same number gives the same bytes on every machine.
//!
//! The generator is xoshiro256++ (Blackman & Vigna 2021), its state filled by SplitMix64, both fixed by their
//! published definitions and therefore the same in every version of the libraries.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// A stream of draws.
#[derive(Debug, Clone)]
pub struct Chance(Xoshiro256PlusPlus);

impl Chance {
    /// The stream `name` of the run `seed`.
    #[must_use]
    pub fn stream(seed: u64, name: &str) -> Self {
        // FNV-1a over the name (offset basis and prime of the 64-bit variant), folded into the run's number.
        let hash = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3));
        Self(Xoshiro256PlusPlus::seed_from_u64(seed.rotate_left(32) ^ hash))
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Even between the two bounds.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Even on ±`half_width`.
    pub fn within(&mut self, half_width: f64) -> f64 {
        self.between(-half_width, half_width)
    }

    /// Exponential with the given mean.
    pub fn waiting(&mut self, mean: f64) -> f64 {
        // 1 − u lies in (0, 1], so the logarithm is finite.
        -mean * (1.0 - self.unit()).ln()
    }

    /// Log-normal with the given mean and standard deviation, both positive.
    pub fn log_normal(&mut self, mean: f64, sd: f64) -> f64 {
        let sigma2 = (1.0 + (sd / mean).powi(2)).ln();
        (mean.ln() - sigma2 / 2.0 + sigma2.sqrt() * self.normal()).exp()
    }

    /// True with the given probability.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// An index below `n`; 0 when `n` is 0.
    pub fn pick(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { self.0.random_range(0..n) }
    }

    /// A number for a stream of its own.
    pub fn number(&mut self) -> u64 {
        self.0.random()
    }

    /// Even on [0, 1).
    fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_number_and_name_give_the_same_draws_and_others_do_not() {
        let draw = |seed, name| {
            let mut chance = Chance::stream(seed, name);
            (0..8).map(|_| chance.normal().to_bits()).collect::<Vec<_>>()
        };
        assert_eq!(draw(7, "cells"), draw(7, "cells"));
        assert_ne!(draw(7, "cells"), draw(8, "cells"));
        assert_ne!(draw(7, "cells"), draw(7, "ward"));
    }

    #[test]
    fn draws_have_the_stated_mean_and_spread() {
        let mut chance = Chance::stream(1, "moments");
        let n = 100_000;
        let moments = |draws: &[f64]| {
            let mean = draws.iter().sum::<f64>() / n as f64;
            (mean, (draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n as f64).sqrt())
        };
        // Four standard errors of a mean of 1e5 draws: 4 · sd / √1e5 = 0.0127 sd.
        let waits: Vec<f64> = (0..n).map(|_| chance.waiting(3.0)).collect();
        assert!((moments(&waits).0 - 3.0).abs() < 0.0127 * 3.0);
        let sizes: Vec<f64> = (0..n).map(|_| chance.log_normal(6.7, 6.1)).collect();
        let (mean, sd) = moments(&sizes);
        assert!((mean - 6.7).abs() < 0.0127 * 6.1, "{mean}");
        // The spread of a skewed sample is itself uncertain: kurtosis ~ 40 gives about 1 % standard error.
        assert!((sd - 6.1).abs() < 0.05 * 6.1, "{sd}");
        let evens: Vec<f64> = (0..n).map(|_| chance.within(2.0)).collect();
        assert!((moments(&evens).1 - 2.0 / 3f64.sqrt()).abs() < 0.01);
    }
}
