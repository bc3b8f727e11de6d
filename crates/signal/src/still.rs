//! Stillness: variance and slope of the total over a short window of blocks.
//!
//! Samples are averaged over blocks of `block_s`; the last [`BLOCKS`] blocks make the window. The load is still when the
//! means lie on a line to within `sd_kg`, the line is level to within `slope_kg_s`, the samples within the blocks
//! scatter by no more than `fast_sd_kg`, and no section moves. Blocks make the cost of a sample fixed and the judgement the
//! same at 5 and at 80 samples a second.
//!
//! | symbol | name         | unit |
//! |--------|--------------|------|
//! | ȳ_j    | `mean_kg`    | kg   |
//! | s_w²   | `within_kg2` | kg²  |
//! | b      | `slope_kg_s` | kg/s |
//!
//! Least squares on the block means; variance about the line with n − 2 degrees of freedom.
//! Not here: what the still load is compared with (see [`crate::plateau`] and [`crate::change`]).

/// Blocks in a full window.
pub const BLOCKS: usize = 12;
/// Fewest blocks that stillness is judged by.
pub const BLOCKS_MIN: usize = 8;

/// Samples averaged over one block.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Block {
    /// Mean time, s.
    pub t_s: f64,
    /// Mean total, kg.
    pub mean_kg: f64,
    /// Variance of samples about the mean, kg²; 0 for one sample.
    pub within_kg2: f64,
    /// Samples.
    pub n: u32,
}

/// Gathers samples into a block.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Gather {
    from_s: f64,
    n: u32,
    t_mean: f64,
    mean: f64,
    squares: f64,
}

impl Gather {
    /// Takes a sample; gives the block before it when that is complete.
    pub fn push(&mut self, t_s: f64, kg: f64, block_s: f64) -> Option<Block> {
        let done = if self.n > 0 && t_s - self.from_s >= block_s { self.take() } else { None };
        if self.n == 0 {
            self.from_s = t_s;
        }
        // Welford's update keeps the squares free of cancellation.
        self.n = self.n.saturating_add(1);
        let n = f64::from(self.n);
        self.t_mean += (t_s - self.t_mean) / n;
        let off = kg - self.mean;
        self.mean += off / n;
        self.squares += off * (kg - self.mean);
        done
    }

    fn take(&mut self) -> Option<Block> {
        let block = Block {
            t_s: self.t_mean,
            mean_kg: self.mean,
            within_kg2: if self.n > 1 { self.squares / f64::from(self.n - 1) } else { 0.0 },
            n: self.n,
        };
        *self = Self::default();
        Some(block)
    }

    /// Throws the unfinished block away.
    pub fn clear(&mut self) {
        *self = Self::default();
    }
}

/// What a window says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Time of the middle of the window, s.
    pub t_s: f64,
    /// Mean over the window, kg.
    pub mean_kg: f64,
    /// Standard deviation of block means about their line, kg.
    pub sd_kg: f64,
    /// Slope of the line, kg/s.
    pub slope_kg_s: f64,
    /// Standard uncertainty of the slope, kg/s.
    pub u_slope_kg_s: f64,
    /// Standard deviation of samples within blocks, kg.
    pub fast_sd_kg: f64,
}

/// The last blocks, oldest first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    blocks: [Block; BLOCKS],
    next: usize,
    filled: usize,
}

impl Window {
    /// An empty window.
    #[must_use]
    pub const fn new() -> Self {
        Self { blocks: [Block { t_s: 0.0, mean_kg: 0.0, within_kg2: 0.0, n: 0 }; BLOCKS], next: 0, filled: 0 }
    }

    /// Takes a block; gives the one that falls out.
    pub fn push(&mut self, block: Block) -> Option<Block> {
        let slot = self.blocks.get_mut(self.next)?;
        let out = core::mem::replace(slot, block);
        self.next = (self.next + 1) % BLOCKS;
        if self.filled == BLOCKS {
            Some(out)
        } else {
            self.filled += 1;
            None
        }
    }

    /// Forgets all blocks.
    pub const fn clear(&mut self) {
        self.filled = 0;
        self.next = 0;
    }

    /// Blocks held.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.filled
    }

    /// Whether no block is held.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.filled == 0
    }

    /// Blocks from the oldest to the newest.
    pub fn iter(&self) -> impl Iterator<Item = &Block> {
        let from = self.next + BLOCKS - self.filled;
        (0..self.filled).filter_map(move |i| self.blocks.get((from + i) % BLOCKS))
    }

    /// Blocks from the newest to the oldest.
    pub fn newest_first(&self) -> impl Iterator<Item = &Block> {
        let from = self.next + BLOCKS;
        (1..=self.filled).filter_map(move |i| self.blocks.get((from - i) % BLOCKS))
    }

    /// Mean, scatter and slope of the newest `newest` blocks (or all); `None` below [`BLOCKS_MIN`] blocks.
    #[must_use]
    pub fn judge(&self, newest: usize) -> Option<Judged> {
        let taken = self.filled.min(newest);
        if taken < BLOCKS_MIN {
            return None;
        }
        let n = count(taken);
        let (mut t_mean, mut mean, mut within, mut samples) = (0.0, 0.0, 0.0, 0.0);
        for block in self.newest_first().take(taken) {
            t_mean += block.t_s / n;
            mean += block.mean_kg / n;
            let freedom = f64::from(block.n.saturating_sub(1));
            within += block.within_kg2 * freedom;
            samples += freedom;
        }
        let (mut stt, mut sty, mut syy) = (0.0, 0.0, 0.0);
        for block in self.newest_first().take(taken) {
            let (t, y) = (block.t_s - t_mean, block.mean_kg - mean);
            stt += t * t;
            sty += t * y;
            syy += y * y;
        }
        let slope = if stt > 0.0 { sty / stt } else { 0.0 };
        let variance = ((syy - slope * sty) / (n - 2.0)).max(0.0);
        Some(Judged {
            t_s: t_mean,
            mean_kg: mean,
            sd_kg: libm::sqrt(variance),
            slope_kg_s: slope,
            u_slope_kg_s: if stt > 0.0 { libm::sqrt(variance / stt) } else { 0.0 },
            fast_sd_kg: if samples > 0.0 { libm::sqrt(within / samples) } else { 0.0 },
        })
    }
}

impl Default for Window {
    fn default() -> Self {
        Self::new()
    }
}

/// A small count as a number.
pub(crate) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(means: impl Iterator<Item = f64>) -> Window {
        let mut window = Window::new();
        for (i, mean_kg) in means.enumerate() {
            window.push(Block { t_s: 0.5 * count(i), mean_kg, within_kg2: 0.04, n: 5 });
        }
        window
    }

    #[test]
    fn a_line_has_its_slope_and_no_scatter() {
        let judged = window((0..20).map(|i| 70.0 + 0.003 * f64::from(i))).judge(BLOCKS).unwrap();
        assert!((judged.slope_kg_s - 0.006).abs() < 1e-12 && judged.sd_kg < 1e-6, "{judged:?}");
        // The newest twelve of twenty: 8 to 19, middle 13.5.
        assert!((judged.mean_kg - (70.0 + 0.003 * 13.5)).abs() < 1e-12);
        assert!((judged.fast_sd_kg - 0.2).abs() < 1e-12);
    }

    /// By hand: +1 −1 −1 +1 four times and a half has no slope over eight blocks, Σy² = 8, so s² = 8/6 and u_b² = s²/Σ(t − t̄)² = (8/6)/10.5.
    #[test]
    fn scatter_and_its_slope_are_those_of_the_textbook() {
        let signs = [1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0];
        let judged = window(signs.into_iter()).judge(BLOCKS_MIN).unwrap();
        assert!(judged.slope_kg_s.abs() < 1e-12 && judged.mean_kg.abs() < 1e-12);
        assert!((judged.sd_kg - libm::sqrt(8.0 / 6.0)).abs() < 1e-12);
        assert!((judged.u_slope_kg_s - libm::sqrt(8.0 / 6.0 / 10.5)).abs() < 1e-12);
    }

    #[test]
    fn too_few_blocks_are_no_judgement() {
        assert_eq!(window([1.0; 7].into_iter()).judge(BLOCKS), None);
    }

    #[test]
    fn blocks_come_out_in_order_after_the_window_has_turned() {
        let window = window((0..17).map(f64::from));
        assert!(window.iter().map(|b| b.mean_kg).eq((5..17).map(f64::from)));
        assert!(window.newest_first().map(|b| b.mean_kg).eq((5..17).rev().map(f64::from)));
    }

    #[test]
    fn a_block_is_the_mean_and_the_variance_of_its_samples() {
        let mut gather = Gather::default();
        for (i, kg) in [2.0, 4.0, 4.0, 6.0].into_iter().enumerate() {
            assert_eq!(gather.push(0.1 * count(i), kg, 0.35), None);
        }
        let block = gather.push(0.4, 9.0, 0.35).unwrap();
        assert!((block.mean_kg - 4.0).abs() < 1e-12 && (block.t_s - 0.15).abs() < 1e-12);
        assert!((block.within_kg2 - 8.0 / 3.0).abs() < 1e-12 && block.n == 4);
    }
}
