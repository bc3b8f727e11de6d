//! Intervals hold the truth as often as they say: many invented samples with fixed seeds.

use bedplate_stats::agreement::{bland_altman, concordance, deming, repeated, repeated_varying};
use bedplate_stats::allan::Record;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

const COVERAGE: f64 = 0.95;
const SAMPLES: usize = 2000;
/// A share of 95 % of 2000 samples has a standard error of 0.49 %; four of them.
const CHANCE: f64 = 4.0 * 0.004_9;

struct Normal(Xoshiro256PlusPlus);

impl Normal {
    fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    fn draw(&mut self, mean: f64, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        mean + sd * z
    }
}

/// Shares of samples in which each interval holds its truth.
fn shares<const K: usize>(mut sample: impl FnMut() -> [([f64; 2], f64); K]) -> [f64; K] {
    let mut hits = [0_u32; K];
    for _ in 0..SAMPLES {
        for (hits, ([low, high], truth)) in hits.iter_mut().zip(sample()) {
            *hits += u32::from(low <= truth && truth <= high);
        }
    }
    hits.map(|h| f64::from(h) / SAMPLES as f64)
}

fn share(mut sample: impl FnMut() -> ([f64; 2], f64)) -> f64 {
    shares(|| [sample()])[0]
}

/// The exact intervals of bias and limits hold 95 % even with six pairs; the √(3 s²/n) form holds less.
#[test]
fn exact_intervals_of_agreement_hold_their_share() {
    let (bias, sd, z) = (0.4, 1.5, 1.959_963_984_540_054);
    let upper = bias + z * sd;
    let mut normal = Normal::new(1);
    let [of_bias, of_limit, of_approximate] = shares(|| {
        let method: Vec<f64> = (0..6).map(|_| normal.draw(bias, sd)).collect();
        let a = bland_altman(&[0.0; 6], &method, COVERAGE).unwrap();
        [(a.bias_ci, bias), (a.limits_ci_exact[1], upper), (a.limits_ci[1], upper)]
    });
    assert!((of_bias - COVERAGE).abs() < CHANCE, "{of_bias}");
    assert!((of_limit - COVERAGE).abs() < CHANCE, "{of_limit}");
    // By how much is not ours to say, but it is no interval of 95 %.
    assert!(of_approximate < COVERAGE - CHANCE, "{of_approximate}");
}

/// Intervals by recovery of variance are approximate, but with twelve subjects not by more than chance shows.
#[test]
fn intervals_with_repeats_hold_about_their_share() {
    let z = 1.959_963_984_540_054;
    let (between, within) = (0.8, 0.5);
    let mut normal = Normal::new(2);
    let varying = share(|| {
        let subjects: Vec<(Vec<f64>, Vec<f64>)> = (0..12)
            .map(|i| {
                let own = normal.draw(0.3, between);
                let n = 2 + i % 4;
                (vec![0.0; n], (0..n).map(|_| normal.draw(own, within)).collect())
            })
            .collect();
        let a = repeated_varying(&subjects, COVERAGE).unwrap();
        (a.limits_ci[1], 0.3 + z * f64::hypot(between, within))
    });
    assert!((varying - COVERAGE).abs() < CHANCE, "{varying}");
    // Each method scatters by itself about a true value that keeps still; the methods differ by subject.
    let constant = share(|| {
        let subjects: Vec<(Vec<f64>, Vec<f64>)> = (0..12)
            .map(|_| {
                let (truth, own) = (normal.draw(70.0, 10.0), normal.draw(-0.2, between));
                let x = (0..3).map(|_| normal.draw(truth, 0.3)).collect();
                (x, (0..2).map(|_| normal.draw(truth + own, within)).collect())
            })
            .collect();
        let a = repeated(&subjects, COVERAGE).unwrap();
        (a.limits_ci[0], -0.2 - z * (between * between + within * within + 0.3 * 0.3).sqrt())
    });
    assert!((constant - COVERAGE).abs() < CHANCE, "{constant}");
}

/// Jackknife and Fisher's z are for large samples: with forty pairs both come within chance.
#[test]
fn intervals_of_line_and_concordance_hold_about_their_share() {
    let mut normal = Normal::new(3);
    let mut sample = || -> (Vec<f64>, Vec<f64>) {
        (0..40)
            .map(|_| {
                let truth = normal.draw(70.0, 15.0);
                (normal.draw(truth, 3.0), normal.draw(2.0 + 1.1 * truth, 3.0))
            })
            .unzip()
    };
    let rho = 2.0 * 1.1 * 225.0 / (234.0 + (1.21 * 225.0 + 9.0) + (2.0 + 0.1 * 70.0f64).powi(2));
    let [slope, concordant] = shares(|| {
        let (x, y) = sample();
        [
            (deming(&x, &y, 1.0, COVERAGE).unwrap().slope_ci, 1.1),
            (concordance(&x, &y, COVERAGE).unwrap().ci.unwrap(), rho),
        ]
    });
    assert!((slope - COVERAGE).abs() < CHANCE, "{slope}");
    assert!((concordant - COVERAGE).abs() < CHANCE, "{concordant}");
}

/// White readings of standard deviation 1 averaged over m have an Allan deviation of 1/√m. The distribution of the
/// overlapping variance is χ² in its first two moments only, which costs some of the share at large m.
#[test]
fn intervals_of_the_overlapping_deviation_hold_about_their_share() {
    for (factor, slack) in [(1, CHANCE), (8, CHANCE), (24, 0.03)] {
        let mut normal = Normal::new(4);
        let held = share(|| {
            let readings: Vec<f64> = (0..128).map(|_| normal.draw(3.0, 1.0)).collect();
            let record = Record::from_frequency(&readings, 1.0).unwrap();
            let edf = record.white_edf(factor).unwrap();
            (record.overlapping(factor).unwrap().interval(edf, COVERAGE).unwrap(), 1.0 / (factor as f64).sqrt())
        });
        assert!((held - COVERAGE).abs() < slack, "factor {factor}: {held}");
    }
}
