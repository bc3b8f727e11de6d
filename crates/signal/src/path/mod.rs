//! The whole path of one sample: counts → channels → load → low-pass → watch.

mod cells;
mod gains;
mod reading;
mod rest;

pub use reading::{Change, Memory, Reading, Sample};

use crate::channel::{Channel, ChannelState};
use crate::config::Config;
use crate::creep::Creep;
use crate::doubt::Plateau;
use crate::filter::LowPass;
use crate::load::{Line, Slant, TILT_MAX_DEG};
use crate::plateau::Level;
use crate::still::Gather;
use crate::trust::Trust;
use crate::watch::{Motion, Turn, Watch};
use gains::Gains;

/// What a thermometer in a deck can show, °C; one that shows more or less is disbelieved.
pub const TEMPERATURE_C: core::ops::RangeInclusive<f64> = -60.0..=100.0;

/// The cells' lines are worked out anew when they are warmer or colder by so much, °C: some 0.1 g of a deck whose zero goes by 50 g for a degree.
const LINED_C: f64 = 2e-3;

/// The signal path of one deck.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalPath<const C: usize, const P: usize, const S: usize> {
    config: Config<C, P, S>,
    channels: [ChannelState; C],
    creeps: [Creep; C],
    /// Temperature that the cells are taken to have, °C: it follows the thermometer; `None` as long as there was none.
    warm_c: Option<f64>,
    /// Temperature that the lines are of, °C; `None` for that of the reference.
    lined_c: Option<f64>,
    lines: [Line; C],
    slants: [Slant; S],
    gains: Gains,
    temperature_c: Option<f64>,
    started: bool,
    usual_dt_s: f64,
    tilt_deg: [f64; S],
    tilt_ref_deg: [f64; S],
    share_kg: [f64; C],
    /// Sum of the shares at the blocks since the last note, and how many.
    noting: ([f64; C], f64),
    total: LowPass,
    moment_x: LowPass,
    moment_y: LowPass,
    plates: [LowPass; P],
    gather: Gather,
    watch: Watch,
    noted: [Plateau<C, S>; 2],
    /// Mean shares up to the newer note.
    steady_kg: [f64; C],
    before: Option<Plateau<C, S>>,
    excursion: (f64, f64),
    /// How far all sections swung together since the plateau was left, back and forth, degrees.
    swing_deg: [f64; 2],
    begun_kg: [f64; C],
    /// When that was, s.
    begun_s: f64,
    /// Whether the present plateau has lasted long enough for `begun_kg` to be its own.
    rested: bool,
    known_kg: Option<[f64; C]>,
    drifts: [bool; C],
    trusts: [Trust; C],
    /// What a drifting cell has wandered on the present plateau, kg, and which; it is taken off when the plateau is left.
    wandered: Option<(usize, f64)>,
    failed: [bool; C],
    rewired: bool,
    /// How fast a cell wandered that was named as drifting, until the next plateau is found, kg/s.
    wander_kg_s: Option<f64>,
    reading: Reading<C, P, S>,
}

impl<const C: usize, const P: usize, const S: usize> SignalPath<C, P, S> {
    /// A path that has seen nothing.
    #[must_use]
    pub fn new(config: Config<C, P, S>) -> Self {
        let nothing = Plateau {
            level: Level::default(),
            cells_kg: [0.0; C],
            tilt_deg: [0.0; S],
            temperature_c: None,
            stand_in_u_kg: 0.0,
        };
        let lines = config.cells.each_ref().map(|cell| Line::at(None, cell));
        Self {
            config,
            channels: [ChannelState::new(); C],
            creeps: [Creep::new(); C],
            warm_c: None,
            lined_c: None,
            lines,
            slants: [Slant::flat(); S],
            gains: Gains::first(),
            temperature_c: None,
            started: false,
            usual_dt_s: 0.0,
            tilt_deg: [0.0; S],
            tilt_ref_deg: [0.0; S],
            share_kg: [0.0; C],
            noting: ([0.0; C], 0.0),
            total: LowPass::new(),
            moment_x: LowPass::new(),
            moment_y: LowPass::new(),
            plates: [LowPass::new(); P],
            gather: Gather::default(),
            watch: Watch::new(),
            noted: [nothing; 2],
            steady_kg: [0.0; C],
            before: None,
            excursion: (0.0, 0.0),
            swing_deg: [0.0; 2],
            begun_kg: [0.0; C],
            begun_s: 0.0,
            wander_kg_s: None,
            rested: false,
            known_kg: None,
            drifts: [false; C],
            trusts: [Trust::default(); C],
            wandered: None,
            failed: [false; C],
            rewired: false,
            reading: Reading {
                t_s: 0.0,
                whole: false,
                stand_in_u_kg: 0.0,
                total_kg: 0.0,
                filtered_kg: 0.0,
                centre_mm: None,
                plate_kg: [0.0; P],
                motion: Motion::Moving,
                level: Level::default(),
                change: None,
                channels: [Channel::Silent; C],
                overloaded: [false; C],
            },
        }
    }

    /// The configuration.
    #[must_use]
    pub const fn config(&self) -> &Config<C, P, S> {
        &self.config
    }

    /// The last reading.
    #[must_use]
    pub const fn reading(&self) -> &Reading<C, P, S> {
        &self.reading
    }

    /// Whether a cell is named as drifting.
    #[must_use]
    pub fn has_drifting(&self) -> bool {
        self.drifts.contains(&true)
    }

    /// Believes cells again that drifted, as their zeros are taken anew: the load has to come to rest once more.
    pub fn forget_drifts(&mut self) {
        self.drifts = [false; C];
        self.trusts = [Trust::default(); C];
    }

    /// The deck as it is: the plateau while at rest, else the low-passed load with the scatter of one block.
    #[must_use]
    pub fn now(&self, temperature_c: Option<f64>) -> Plateau<C, S> {
        let level = match self.watch.motion() {
            Motion::Settled => self.reading.level,
            Motion::Moving => Level {
                t_s: self.reading.t_s,
                kg: self.reading.filtered_kg,
                u_kg: self.config.limits.still.sd_kg,
                ..Level::default()
            },
        };
        Plateau {
            level,
            cells_kg: self.share_kg,
            tilt_deg: self.tilt_deg,
            temperature_c,
            stand_in_u_kg: self.reading.stand_in_u_kg,
        }
    }

    /// Takes a sample. One that does not come after the last, or has no time, is passed over.
    pub fn push(&mut self, sample: &Sample<C, S>) -> &Reading<C, P, S> {
        self.reading.change = None;
        let dt_s = if self.started { sample.t_s - self.reading.t_s } else { 0.0 };
        if !sample.t_s.is_finite() || (self.started && dt_s <= 0.0) {
            return &self.reading;
        }
        self.reading.t_s = sample.t_s;
        self.temperature_c = sample.temperature_c.filter(|c| TEMPERATURE_C.contains(c));
        self.gains.follow(dt_s, &self.config.limits);
        self.follow_warmth();
        self.started = true;
        self.note_gap(dt_s);
        self.follow_tilt(sample);
        self.reading.whole = self.read_channels(sample);
        if self.reading.whole {
            self.follow_load(sample, dt_s);
        } else {
            self.gather.clear();
            self.disturb(sample.t_s);
        }
        self.reading.motion = self.watch.motion();
        &self.reading
    }

    fn disturb(&mut self, t_s: f64) {
        if self.watch.disturb(t_s, &self.config.limits.still) == Turn::Left {
            self.leave();
        }
    }

    fn note_gap(&mut self, dt_s: f64) {
        let gap_s = self.config.limits.still.gap_s.max(5.0 * self.usual_dt_s);
        if dt_s > gap_s {
            self.gather.clear();
            for channel in &mut self.channels {
                channel.pause(dt_s);
            }
            self.disturb(self.reading.t_s - dt_s);
        } else if dt_s > 0.0 {
            self.usual_dt_s += if self.usual_dt_s > 0.0 { 0.05 * (dt_s - self.usual_dt_s) } else { dt_s };
        }
    }

    /// The cells' temperature follows the thermometer's, so that neither its steps nor its pauses are steps of the load: while it says nothing, the last one stays; where
    /// it begins to speak late, the cells go there from the reference.
    fn follow_warmth(&mut self) {
        let Some(now_c) = self.temperature_c else { return };
        let reference_c = self.config.cells().next().map_or(now_c, |cell| cell.reference_c);
        let from_c = self.warm_c.unwrap_or(if self.started { reference_c } else { now_c });
        let warm_c = from_c + self.gains.warmth * (now_c - from_c);
        self.warm_c = Some(warm_c);
        if self.lined_c.is_none_or(|lined_c| (warm_c - lined_c).abs() > LINED_C) {
            self.lined_c = Some(warm_c);
            for (line, cell) in self.lines.iter_mut().zip(&self.config.cells) {
                *line = Line::at(self.lined_c, cell);
            }
        }
    }

    fn follow_tilt(&mut self, sample: &Sample<C, S>) {
        let step = self.gains.tilt;
        for (held, new) in self.tilt_deg.iter_mut().zip(&sample.tilt_deg) {
            if let Some(new) = new.filter(|deg| deg.abs() <= TILT_MAX_DEG) {
                *held += step * (new - *held);
            }
        }
        if any_apart(&self.tilt_deg, &self.tilt_ref_deg, self.config.limits.still.tilt_deg) {
            self.tilt_ref_deg = self.tilt_deg;
            self.gather.clear();
            self.disturb(sample.t_s);
        }
        if let Some(before) = &self.before
            && self.watch.motion() == Motion::Moving
        {
            let together = self.together_deg(before, &self.tilt_deg);
            let [back, forth] = &mut self.swing_deg;
            (*back, *forth) = (back.min(together), forth.max(together));
        }
    }

    fn follow_load(&mut self, sample: &Sample<C, S>, dt_s: f64) {
        if self.watch.motion() == Motion::Moving
            && let Some(before) = &self.before
        {
            self.excursion.0 += (self.reading.total_kg - before.level.kg) * dt_s;
            self.excursion.1 += dt_s;
        }
        let still = &self.config.limits.still;
        if let Some(block) = self.gather.push(sample.t_s, self.reading.total_kg, still.block_s) {
            match self.watch.push(block, still) {
                Turn::None => {
                    self.reading.level = self.watch.level(sample.t_s, &self.config.limits.still);
                    self.gather_note();
                }
                Turn::Found => self.find(sample.t_s),
                Turn::Left => self.leave(),
            }
        }
        if self.watch.motion() == Motion::Settled {
            // Between blocks the line is known; only the time goes on.
            let ahead_s = sample.t_s - self.reading.level.t_s;
            self.reading.level.t_s = sample.t_s;
            self.reading.level.kg += self.reading.level.slope_kg_s * ahead_s;
            self.note(sample.t_s);
        }
    }
}

fn any_apart<const S: usize>(a: &[f64; S], b: &[f64; S], by: f64) -> bool {
    a.iter().zip(b).any(|(a, b)| (a - b).abs() > by)
}
