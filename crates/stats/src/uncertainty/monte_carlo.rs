//! The adaptive Monte Carlo procedure and the validation of a propagated interval against it.
//!
//! JCGM 101:2008, 7.9: blocks of M draws until twice the standard deviations of the blocks' averages of mean, standard
//! deviation and both interval ends are below the numerical tolerance δ of u; the figures are those of all draws.
//!
//! Clause 8.1: an interval found otherwise is valid when both ends differ from the drawn ones by no more than δ. Clause 8.2
//! asks for δ/5 there, so that the draws' own scatter does not make the verdict. [`Adaptive::validate`] draws to δ, and then
//! on until the scatter is below δ/5 **or** the verdict is beyond it by four standard deviations of the ends: a difference of
//! ten δ needs no more draws. Four, not two, as the verdict is looked at after each block.

use super::intervals::symmetric_interval;
use crate::moments::{deviation_ss, mean};

/// Draws of a block at least (7.9.4 b).
const BLOCK_MIN: usize = 10_000;
/// Share of δ to which a validation draws (8.2).
const VALIDATION_SHARE: f64 = 0.2;
/// Standard deviations of an end by which a difference must lie off δ to be called without drawing further (our choice).
const BEYOND_DOUBT: f64 = 4.0;
/// The same once the draws are made: the ends of all draws lie a little off the blocks' averages.
const BEYOND_DOUBT_AT_LAST: f64 = 3.0;

/// Numerical tolerance of a standard uncertainty at so many significant digits (7.9.2): half of the last digit.
pub fn tolerance(u: f64, digits: u32) -> f64 {
    if !(u > 0.0 && u.is_finite()) {
        return 0.0;
    }
    let digits = digits.clamp(1, 15).cast_signed();
    let mut exponent = u.log10().floor() as i32 - (digits - 1);
    // Rounding may carry into a digit more: 9.96 is 10.
    if (u / 10f64.powi(exponent)).round() >= 10f64.powi(digits) {
        exponent += 1;
    }
    0.5 * 10f64.powi(exponent)
}

/// How the procedure runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adaptive {
    /// Coverage probability of the interval, between 0 and 1.
    pub coverage: f64,
    /// Significant digits of u that are meaningful, 1 or 2.
    pub digits: u32,
    /// Draws after which it gives up; whole blocks are drawn, and two at least.
    pub draws_max: usize,
}

/// What the draws tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// All draws, in no order.
    pub draws: Vec<f64>,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub u: f64,
    /// Probabilistically symmetric interval.
    pub interval: [f64; 2],
    /// δ of that u.
    pub tolerance: f64,
    /// Standard deviations of the block averages of mean, u and both ends.
    pub scatter: [f64; 4],
    /// Whether twice these came below what was asked for before the draws ran out.
    pub settled: bool,
}

/// Verdict on an interval that was found otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Validation {
    /// Differences of both ends, d_low and d_high (8.1).
    pub differences: [f64; 2],
    /// Whether neither is above δ.
    pub agrees: bool,
    /// Whether the draws' own scatter was small enough for that verdict; if not, it is a guess.
    pub certain: bool,
}

/// Mean, standard deviation, low and high end of each block.
struct Blocks(Vec<[f64; 4]>);

impl Blocks {
    fn average(&self) -> [f64; 4] {
        [0, 1, 2, 3].map(|i| self.0.iter().map(|b| b[i]).sum::<f64>() / self.0.len() as f64)
    }

    /// s of 7.9.4 f: √(Σ (y_r − ȳ)² / (h (h − 1))).
    fn scatter(&self) -> [f64; 4] {
        let h = self.0.len() as f64;
        [0, 1, 2, 3].map(|i| {
            let column: Vec<f64> = self.0.iter().map(|b| b[i]).collect();
            (deviation_ss(&column) / (h * (h - 1.0))).sqrt()
        })
    }

    /// Standard deviation of all draws, from those of blocks of one size.
    fn pooled(&self) -> f64 {
        let [centre, ..] = self.average();
        let square = |b: &[f64; 4]| b[1].powi(2) + (b[0] - centre).powi(2);
        (self.0.iter().map(square).sum::<f64>() / self.0.len() as f64).sqrt()
    }
}

impl Adaptive {
    /// Draws until the figures stand to δ (7.9). `fill` writes fresh draws of y over the whole row it is given.
    pub fn draw(&self, fill: impl FnMut(&mut [f64])) -> Drawn {
        self.draw_to(1.0, fill)
    }

    /// Draws until the figures stand to a share of δ.
    pub fn draw_to(&self, share: f64, fill: impl FnMut(&mut [f64])) -> Drawn {
        let within = |blocks: &Blocks, delta: f64| below(&blocks.scatter(), share * delta);
        let mut drawn = self.gather(fill, within);
        drawn.settled = below(&drawn.scatter, share * drawn.tolerance);
        drawn
    }

    /// Sets an interval against the drawn one (8.1, 8.2).
    pub fn validate(&self, claimed: [f64; 2], fill: impl FnMut(&mut [f64])) -> (Drawn, Validation) {
        let enough = |blocks: &Blocks, delta: f64| {
            let (scatter, [_, _, low, high]) = (blocks.scatter(), blocks.average());
            below(&scatter, delta) && sure([claimed[0] - low, claimed[1] - high], &scatter, delta, BEYOND_DOUBT)
        };
        let drawn = self.gather(fill, enough);
        let differences = [0, 1].map(|i| (claimed[i] - drawn.interval[i]).abs());
        let agrees = differences.iter().all(|d| *d <= drawn.tolerance);
        let certain = sure(differences, &drawn.scatter, drawn.tolerance, BEYOND_DOUBT_AT_LAST);
        (drawn, Validation { differences, agrees, certain })
    }

    fn gather(&self, mut fill: impl FnMut(&mut [f64]), enough: impl Fn(&Blocks, f64) -> bool) -> Drawn {
        let block = self.block();
        let (mut draws, mut scratch) = (Vec::new(), vec![0.0; block]);
        let mut blocks = Blocks(Vec::new());
        loop {
            let begun = draws.len();
            draws.resize(begun + block, 0.0);
            fill(&mut draws[begun..]);
            scratch.copy_from_slice(&draws[begun..]);
            blocks.0.push(figures(&mut scratch, self.coverage));
            let spent = draws.len() + block > self.draws_max;
            if blocks.0.len() >= 2 && (spent || enough(&blocks, tolerance(blocks.pooled(), self.digits))) {
                break;
            }
        }
        let [mean, u, low, high] = figures(&mut draws, self.coverage);
        let (scatter, tolerance) = (blocks.scatter(), tolerance(u, self.digits));
        Drawn { draws, mean, u, interval: [low, high], tolerance, scatter, settled: below(&scatter, tolerance) }
    }

    /// M = max(J, 10⁴), J the smallest whole number of at least 100/(1 − p) (7.9.4 b).
    fn block(&self) -> usize {
        ((100.0 / (1.0 - self.coverage)).ceil() as usize).clamp(BLOCK_MIN, BLOCK_MIN.max(self.draws_max))
    }
}

fn below(scatter: &[f64; 4], tolerance: f64) -> bool {
    scatter.iter().all(|s| 2.0 * s <= tolerance)
}

/// Whether the scatter of the ends leaves the verdict of 8.1 as it is.
fn sure(differences: [f64; 2], scatter: &[f64; 4], tolerance: f64, times: f64) -> bool {
    let doubt = [times * scatter[2], times * scatter[3]];
    let ends = || differences.iter().map(|d| d.abs()).zip(&doubt);
    below(scatter, VALIDATION_SHARE * tolerance)
        || ends().any(|(d, doubt)| d - doubt > tolerance)
        || ends().all(|(d, doubt)| d + doubt < tolerance)
}

/// Mean, standard deviation and ends of the symmetric interval. Reorders the draws, of which there are thousands.
fn figures(draws: &mut [f64], coverage: f64) -> [f64; 4] {
    let centre = mean(draws).unwrap_or(f64::NAN);
    let u = (deviation_ss(draws) / (draws.len() as f64 - 1.0)).sqrt();
    let [low, high] = symmetric_interval(draws, coverage).unwrap_or([f64::NAN; 2]);
    [centre, u, low, high]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: JCGM 101:2008, 7.9.2, examples: 0.000 35 g at two digits 5e-6 g, 0.000 4 g at one 5e-5 g, 2 K at one 0.5 K.
    #[test]
    fn tolerance_is_half_of_the_last_digit() {
        for (u, digits, expected) in [(0.000_35, 2, 5e-6), (0.000_4, 1, 5e-5), (2.0, 1, 0.5), (9.96, 2, 0.5)] {
            assert!((tolerance(u, digits) / expected - 1.0).abs() < 1e-12, "{u} {digits}");
        }
        assert!(tolerance(0.0, 2).abs() < f64::MIN_POSITIVE && tolerance(f64::NAN, 2).abs() < f64::MIN_POSITIVE);
    }

    const OPTIONS: Adaptive = Adaptive { coverage: 0.95, digits: 2, draws_max: 40_000 };

    #[test]
    fn a_result_without_spread_settles_at_once() {
        let drawn = OPTIONS.draw(|row| row.fill(3.0));
        assert_eq!((drawn.draws.len(), drawn.settled), (20_000, true));
        assert_eq!((drawn.mean, drawn.interval), (3.0, [3.0, 3.0]));
    }

    /// Each block has another mean, by whole units: no number of draws makes that stand to two digits.
    #[test]
    fn draws_that_never_stand_are_called_so() {
        let mut block = 0.0;
        let walk = |row: &mut [f64]| {
            block += 1.0;
            let n = row.len() as f64;
            row.iter_mut().enumerate().for_each(|(i, y)| *y = block + i as f64 / n);
        };
        let (drawn, verdict) = OPTIONS.validate([0.0, 3.0], walk);
        assert_eq!((drawn.draws.len(), drawn.settled, verdict.certain), (40_000, false, false));
    }

    #[test]
    fn two_blocks_are_drawn_whatever_the_limit() {
        for draws_max in [0, 1, 15_000] {
            let drawn = Adaptive { draws_max, ..OPTIONS }.draw(|row| row.fill(1.0));
            assert_eq!(drawn.draws.len(), 20_000);
        }
    }
}
