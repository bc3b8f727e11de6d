//! The watch over the total: settled on a plateau, or moving between two.
//!
//! Blocks of samples come in. Moving, the watch waits for a still window and then calls a new plateau, and says
//! how it differs from the last one. Settled, it leaves the plateau at once when the window is no longer still, when the likelihood
//! ratio finds a change against blocks that are older than the window, or when the plateau slopes faster than fluid can run.
//! The level before a change never rests on blocks from after it.
//!
//! Not here: what a change was (a blanket, a hand, a turn) — that takes actions and a patient, which this crate does not know.

use crate::change::glr;
use crate::config::StillLimits;
use crate::plateau::{Level, Line};
use crate::still::{BLOCKS, BLOCKS_MIN, Block, Judged, Window, count};

/// Weight in blocks after which a plateau's own slope is judged.
const SLOPE_BLOCKS: f64 = 24.0;
/// Scatter of a block mean that is assumed until the load's own is known, kg: quiet breathing.
const FIRST_SD_KG: f64 = 0.02;
/// No block mean is trusted to scatter less, kg.
const LEAST_SD_KG: f64 = 0.002;
/// Part of the smallest step that the oldest blocks of a new plateau may be off by: what went before dies away.
pub const TAIL: f64 = 1.0 / 3.0;
/// Share that a new residual has in the running scatter.
const SCATTER_SHARE: f64 = 0.05;

/// Whether the load is at rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Motion {
    /// It moves, or too little was seen.
    #[default]
    Moving,
    /// It rests on a plateau.
    Settled,
}

/// What a block brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// Nothing new.
    None,
    /// A plateau was found.
    Found,
    /// The plateau was left.
    Left,
}

/// State of the watch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    window: Window,
    base: Line,
    fresh: usize,
    variance: f64,
    sloping: bool,
    motion: Motion,
    left: Level,
    steady: Level,
}

impl Watch {
    /// A watch that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            window: Window::new(),
            base: Line::new(),
            fresh: 0,
            variance: FIRST_SD_KG * FIRST_SD_KG,
            sloping: false,
            motion: Motion::Moving,
            left: Level { t_s: 0.0, kg: 0.0, slope_kg_s: 0.0, u_kg: 0.0, u_slope_kg_s: 0.0 },
            steady: Level { t_s: 0.0, kg: 0.0, slope_kg_s: 0.0, u_kg: 0.0, u_slope_kg_s: 0.0 },
        }
    }

    /// Whether the load is at rest.
    #[must_use]
    pub const fn motion(&self) -> Motion {
        self.motion
    }

    /// Level of the plateau that was left last, at the time it was left.
    #[must_use]
    pub const fn left(&self) -> Level {
        self.left
    }

    /// Level now, from all blocks of the plateau; meaningful while settled.
    #[must_use]
    pub fn level(&self, t_s: f64, limits: &StillLimits) -> Level {
        let mut line = self.base;
        let stale = self.window.len() - self.fresh.min(self.window.len());
        for block in self.window.iter().skip(stale) {
            line.push(block.t_s, block.mean_kg, limits.memory_s);
        }
        // Breath and pulse swing about the level and average out sooner than scatter that knows nothing of itself: that of blocks taken as free of each
        // other bounds what they leave.
        line.at(t_s, self.sd_kg(), limits.fluid_kg_s / 2.0)
    }

    /// Something outside the total broke the rest: a pause, a moving section, a channel that gives nothing.
    pub fn disturb(&mut self, t_s: f64, limits: &StillLimits) -> Turn {
        self.window.clear();
        self.sloping = false;
        self.leave(t_s, limits)
    }

    /// Takes a block.
    pub fn push(&mut self, block: Block, limits: &StillLimits) -> Turn {
        let out = self.window.push(block);
        match self.motion {
            Motion::Settled => self.push_settled(&block, out, limits),
            Motion::Moving => self.push_moving(block, limits),
        }
    }

    fn push_settled(&mut self, block: &Block, out: Option<Block>, limits: &StillLimits) -> Turn {
        if self.fresh == BLOCKS {
            if let Some(old) = out {
                self.base.push(old.t_s, old.mean_kg, limits.memory_s);
            }
        } else {
            self.fresh += 1;
        }
        let fast = 4.0 * limits.fast_sd_kg * limits.fast_sd_kg;
        // Blocks from before the plateau are none of its scatter.
        let own = BLOCKS.min(BLOCKS_MIN + self.fresh);
        let judged = self.window.judge(own).filter(|judged| Self::is_still(judged, 1.25, limits));
        let Some(judged) = judged.filter(|_| block.within_kg2 <= fast && !self.changed(limits)) else {
            self.window.clear();
            return self.leave(block.t_s, limits);
        };
        // Scatter about the window's own line: a slope must not pass for noise.
        self.variance += SCATTER_SHARE * (judged.sd_kg * judged.sd_kg - self.variance);
        let line = self.base.at(block.t_s, self.sd_kg(), limits.fluid_kg_s);
        if self.base.weight() > SLOPE_BLOCKS && too_steep(&line, limits) {
            // The line is kept: the plateau ends, and the next one waits until the slope is over.
            self.sloping = true;
            let turn = self.leave(block.t_s, limits);
            // What ran in before the slope was recognized belongs to the change.
            self.left = self.steady;
            return turn;
        }
        if line.slope_kg_s.abs() <= limits.fluid_kg_s || self.base.weight() <= SLOPE_BLOCKS {
            self.steady = line;
        }
        Turn::None
    }

    fn push_moving(&mut self, block: Block, limits: &StillLimits) -> Turn {
        let Some(judged) = self.window.judge(BLOCKS_MIN) else { return Turn::None };
        if !Self::is_still(&judged, 1.0, limits) || self.has_tail(limits) {
            self.sloping = false;
            return Turn::None;
        }
        if self.sloping {
            self.base.push(block.t_s, block.mean_kg, limits.memory_s);
            if too_steep(&self.base.at(block.t_s, self.sd_kg(), limits.fluid_kg_s), limits) {
                return Turn::None;
            }
            self.sloping = false;
        }
        self.base = Line::new();
        for held in self.window.iter().skip(self.window.len().saturating_sub(BLOCKS_MIN)) {
            self.base.push(held.t_s, held.mean_kg, limits.memory_s);
        }
        self.fresh = 0;
        self.variance = self.variance.max(f64::midpoint(self.variance, judged.sd_kg * judged.sd_kg));
        self.motion = Motion::Settled;
        Turn::Found
    }

    fn leave(&mut self, t_s: f64, limits: &StillLimits) -> Turn {
        if self.motion == Motion::Moving {
            return Turn::None;
        }
        self.left = self.base.at(t_s, self.sd_kg(), limits.fluid_kg_s / 2.0);
        self.motion = Motion::Moving;
        Turn::Left
    }

    fn changed(&self, limits: &StillLimits) -> bool {
        let sd = self.sd_kg();
        let fresh = self.window.newest_first().take(self.fresh);
        let level = self.base.at(fresh.last().map_or(0.0, |oldest| oldest.t_s), sd, limits.fluid_kg_s / 2.0);
        let residuals = self
            .window
            .newest_first()
            .take(self.fresh)
            .map(|block| block.mean_kg - (level.kg + level.slope_kg_s * (block.t_s - level.t_s)));
        let found = glr(residuals, sd, level.u_kg);
        found.ratio > limits.glr && found.mean.abs() > limits.step_kg
    }

    /// Whether the oldest blocks still belong to what went before: the likelihood ratio, seen from the newest half.
    fn has_tail(&self, limits: &StillLimits) -> bool {
        const HALF: usize = BLOCKS_MIN / 2;
        let n = count(HALF);
        let level = self.window.newest_first().take(HALF).map(|block| block.mean_kg).sum::<f64>() / n;
        let sd = self.sd_kg();
        let older = self.window.iter().skip(self.window.len().saturating_sub(BLOCKS_MIN)).take(BLOCKS_MIN - HALF);
        let residuals = older.map(|block| block.mean_kg - level);
        let found = glr(residuals, sd, sd / libm::sqrt(n));
        found.ratio > limits.glr / 2.0 && found.mean.abs() > TAIL * limits.step_kg
    }

    fn is_still(judged: &Judged, slack: f64, limits: &StillLimits) -> bool {
        judged.sd_kg <= slack * limits.sd_kg
            && judged.fast_sd_kg <= slack * limits.fast_sd_kg
            && judged.slope_kg_s.abs() <= slack * limits.slope_kg_s + 2.0 * judged.u_slope_kg_s
    }

    fn sd_kg(&self) -> f64 {
        libm::sqrt(self.variance).max(LEAST_SD_KG)
    }
}

impl Default for Watch {
    fn default() -> Self {
        Self::new()
    }
}

fn too_steep(level: &Level, limits: &StillLimits) -> bool {
    level.slope_kg_s.abs() > limits.fluid_kg_s + 3.0 * level.u_slope_kg_s
}
