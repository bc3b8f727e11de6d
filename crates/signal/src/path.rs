//! The whole path of one sample: counts → channels → load → low-pass → watch.

use crate::channel::{Channel, ChannelState};
use crate::config::Config;
use crate::creep::Creep;
use crate::doubt::{self, Parts, Plateau};
use crate::filter::{LowPass, gain};
use crate::load::{CENTRE_LEAST_KG, Load, TILT_MAX_DEG, cos_deg, normal_kg};
use crate::plateau::Level;
use crate::stand_in::{Neighbour, drifting, stand_in};
use crate::still::Gather;
use crate::watch::{Motion, Turn, Watch};

/// Time constant over which a cell's share of a plateau is averaged, s.
const SHARE_TAU_S: f64 = 1.5;
/// Every so often the shares of a plateau are noted, so that those before a change are not touched by it, s.
const NOTE_S: f64 = 6.0;

/// A temperature past this is none of a ward's; the sensor is disbelieved, °C.
const TEMPERATURE_MOST_C: f64 = 100.0;

/// What arrives at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample<const C: usize, const S: usize> {
    /// Time since any fixed instant, s.
    pub t_s: f64,
    /// Counts of each channel; `None` for a lost sample.
    pub counts: [Option<f64>; C],
    /// Temperature, where it is measured, °C.
    pub temperature_c: Option<f64>,
    /// Angle of each section to the horizontal, degrees; `None` where no angle came, which keeps the last (flat at first).
    pub tilt_deg: [Option<f64>; S],
}

/// A new plateau, and how it differs from the one before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change<const C: usize, const S: usize> {
    /// The plateau before, at the time it was left; `None` for the first.
    pub before: Option<Plateau<C, S>>,
    /// The plateau found.
    pub after: Plateau<C, S>,
    /// After less before, kg; 0 for the first.
    pub delta_kg: f64,
    /// Uncertainty of the difference, by its parts.
    pub parts: Parts,
    /// Where the load that makes the difference would lie, mm; meaningful for a difference well above its uncertainty.
    pub place_mm: Option<[f64; 2]>,
    /// Shift of the centre of load, mm; `None` where too little lies on the deck.
    pub shift_mm: Option<f64>,
    /// Mean excursion of the total from the level before, over the time between the two, kg.
    pub excursion_kg: f64,
    /// Whether a section stands otherwise than before (by more than the stillness limit of angles).
    pub articulated: bool,
    /// Whether a channel failed or came back in between: the two are not of the same cells.
    pub rewired: bool,
}

/// What is known after a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading<const C: usize, const P: usize, const S: usize> {
    /// Time of the sample, s.
    pub t_s: f64,
    /// Whether every channel gave a force, or was stood in for; where not, the numbers below are of the last good sample.
    pub whole: bool,
    /// Standard uncertainty of what stands in for failed cells, kg; 0 where none failed.
    pub stand_in_u_kg: f64,
    /// Total of this sample, spikes removed, kg.
    pub total_kg: f64,
    /// Total after the low-pass, kg.
    pub filtered_kg: f64,
    /// Centre of load after the low-pass, mm.
    pub centre_mm: Option<[f64; 2]>,
    /// Load of each plate after the low-pass, kg.
    pub plate_kg: [f64; P],
    /// Whether the load is at rest.
    pub motion: Motion,
    /// Level of the plateau, while at rest.
    pub level: Level,
    /// A plateau found with this sample.
    pub change: Option<Change<C, S>>,
    /// State of each channel.
    pub channels: [Channel; C],
    /// Whether a cell bears more than its rated load.
    pub overloaded: [bool; C],
}

/// The signal path of one deck.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalPath<const C: usize, const P: usize, const S: usize> {
    config: Config<C, P, S>,
    channels: [ChannelState; C],
    creeps: [Creep; C],
    started: bool,
    usual_dt_s: f64,
    tilt_deg: [f64; S],
    tilt_ref_deg: [f64; S],
    share_kg: [f64; C],
    total: LowPass,
    moment_x: LowPass,
    moment_y: LowPass,
    plates: [LowPass; P],
    gather: Gather,
    watch: Watch,
    noted: [Plateau<C, S>; 2],
    before: Option<Plateau<C, S>>,
    excursion: (f64, f64),
    begun: Plateau<C, S>,
    known: Option<Plateau<C, S>>,
    drifts: [bool; C],
    failed: [bool; C],
    rewired: bool,
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
        Self {
            config,
            channels: [ChannelState::new(); C],
            creeps: [Creep::new(); C],
            started: false,
            usual_dt_s: 0.0,
            tilt_deg: [0.0; S],
            tilt_ref_deg: [0.0; S],
            share_kg: [0.0; C],
            total: LowPass::new(),
            moment_x: LowPass::new(),
            moment_y: LowPass::new(),
            plates: [LowPass::new(); P],
            gather: Gather::default(),
            watch: Watch::new(),
            noted: [nothing; 2],
            before: None,
            excursion: (0.0, 0.0),
            begun: nothing,
            known: None,
            drifts: [false; C],
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
        let sample =
            &Sample { temperature_c: sample.temperature_c.filter(|c| c.abs() < TEMPERATURE_MOST_C), ..*sample };
        self.reading.change = None;
        let dt_s = if self.started { sample.t_s - self.reading.t_s } else { 0.0 };
        if !sample.t_s.is_finite() || (self.started && dt_s <= 0.0) {
            return &self.reading;
        }
        self.started = true;
        self.reading.t_s = sample.t_s;
        self.note_gap(dt_s);
        self.follow_tilt(sample, dt_s);
        self.reading.whole = self.read_channels(sample, dt_s);
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

    fn follow_tilt(&mut self, sample: &Sample<C, S>, dt_s: f64) {
        let step = if dt_s > 0.0 { gain(dt_s, self.config.limits.tilt_tau_s) } else { 1.0 };
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
    }

    /// Turns counts into loads; false where a channel gives nothing and nothing can stand in for it.
    fn read_channels(&mut self, sample: &Sample<C, S>, dt_s: f64) -> bool {
        let mut cells_kg = [None; C];
        self.read_cells(sample, &mut cells_kg, gain(dt_s, self.config.limits.creep_tau_s));
        let failed = self.reading.channels.map(Channel::is_bad);
        if failed != self.failed {
            self.failed = failed;
            self.gather.clear();
            self.disturb(sample.t_s);
            self.rewired = true;
        }
        let Some(u_kg) = self.fill_in(&mut cells_kg) else { return false };
        self.reading.stand_in_u_kg = u_kg;
        let step = if dt_s > 0.0 { gain(dt_s, SHARE_TAU_S) } else { 1.0 };
        let first = self.total == LowPass::new();
        let mut load = Load::default();
        let mut plate_kg = [0.0; P];
        for ((cell, kg), share) in self.config.cells().zip(&cells_kg).zip(&mut self.share_kg) {
            let kg = kg.unwrap_or(0.0);
            *share += if first { kg - *share } else { step * (kg - *share) };
            load.add(kg, cell.at_mm);
            if let Some(plate) = plate_kg.get_mut(cell.plate) {
                *plate += kg;
            }
        }
        self.low_pass(&load, &plate_kg, dt_s);
        true
    }

    /// What each cell bears, where its channel gives.
    fn read_cells(&mut self, sample: &Sample<C, S>, cells_kg: &mut [Option<f64>; C], creep_step: f64) {
        let cosines = self.tilt_deg.map(cos_deg);
        let cells = self.config.cells.iter().take(self.config.n_cells);
        let states = self.channels.iter_mut().zip(&sample.counts).zip(self.creeps.iter_mut().zip(&self.drifts));
        let outs = self.reading.channels.iter_mut().zip(&mut self.reading.overloaded).zip(cells_kg);
        for ((cell, ((state, counts), (creep, drifts))), ((channel, overloaded), out)) in cells.zip(states).zip(outs) {
            let (is, used) = state.push(sample.t_s, *counts, cell, &self.config.limits.channel);
            *channel = if is.gives() && *drifts { Channel::Drifting } else { is };
            if channel.gives() {
                let normal = normal_kg(used, sample.temperature_c, self.config.gravity_ratio, cell);
                *overloaded = normal > cell.capacity_kg;
                let section = self.config.plate_section.get(cell.plate).copied().unwrap_or(0);
                let normal = creep.push(normal, cell.creep_rel, creep_step);
                *out = Some(normal / cosines.get(section).copied().unwrap_or(1.0));
            }
        }
    }

    /// Stands in for failed cells, at most one a plate; gives the uncertainty, or `None` where that cannot be.
    fn fill_in(&self, cells_kg: &mut [Option<f64>; C]) -> Option<f64> {
        let given = *cells_kg;
        let mut u2 = 0.0;
        for (index, (cell, out)) in self.config.cells().zip(cells_kg).enumerate() {
            if out.is_some() {
                continue;
            }
            // A channel that was never heard, or is only late, is no failed cell.
            if !self.reading.channels.get(index).is_some_and(|channel| channel.is_bad()) {
                return None;
            }
            let known = self.known.as_ref()?;
            let beside = self.config.cells().zip(given.iter().zip(&known.cells_kg)).enumerate();
            let beside = beside.filter(|(i, (other, _))| *i != index && other.plate == cell.plate);
            if beside.clone().any(|(_, (_, (kg, _)))| kg.is_none()) {
                return None;
            }
            let neighbours = beside
                .map(|(_, (other, (kg, was)))| Neighbour { at_mm: other.at_mm, gain_kg: kg.unwrap_or(0.0) - was });
            let found = stand_in(cell.at_mm, known.cells_kg.get(index).copied()?, neighbours)?;
            *out = Some(found.kg);
            u2 += found.u_kg * found.u_kg;
        }
        Some(libm::sqrt(u2))
    }

    fn low_pass(&mut self, load: &Load, plate_kg: &[f64; P], dt_s: f64) {
        let step = gain(dt_s, self.config.limits.tau_s);
        let smooth = Load {
            total_kg: self.total.push(load.total_kg, step),
            moment_x: self.moment_x.push(load.moment_x, step),
            moment_y: self.moment_y.push(load.moment_y, step),
        };
        for ((filter, kg), out) in self.plates.iter_mut().zip(plate_kg).zip(&mut self.reading.plate_kg) {
            *out = filter.push(*kg, step);
        }
        self.reading.total_kg = load.total_kg;
        self.reading.filtered_kg = smooth.total_kg;
        self.reading.centre_mm = smooth.centre_mm(CENTRE_LEAST_KG);
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
                Turn::None => self.reading.level = self.watch.level(sample.t_s, &self.config.limits.still),
                Turn::Found => self.find(sample),
                Turn::Left => self.leave(),
            }
        }
        if self.watch.motion() == Motion::Settled {
            // Between blocks the line is known; only the time goes on.
            let ahead_s = sample.t_s - self.reading.level.t_s;
            self.reading.level.t_s = sample.t_s;
            self.reading.level.kg += self.reading.level.slope_kg_s * ahead_s;
            self.note(sample);
        }
    }

    /// Keeps the shares of the plateau, the older note at least [`NOTE_S`] back.
    fn note(&mut self, sample: &Sample<C, S>) {
        let [_, newer] = self.noted;
        if sample.t_s - newer.level.t_s >= NOTE_S {
            let now = self.now(sample.temperature_c);
            self.noted = [newer, now];
            // The newer note is judged only now that the plateau has outlived it: what ends a plateau is no drift.
            self.note_drift(&newer);
        }
    }

    /// Compares the plateau with its beginning: does one cell wander alone? What all cells bore when all were good is kept for the day one fails.
    fn note_drift(&mut self, noted: &Plateau<C, S>) {
        if self.failed.contains(&true) {
            return;
        }
        let [older, _] = self.noted;
        let n = self.config.n_cells;
        let begun = self.begun.cells_kg.get(..n).unwrap_or(&[]);
        let bears = noted.cells_kg.get(..n).unwrap_or(&[]);
        match drifting(self.config.cells(), begun, bears, self.config.limits.channel.drift_floor_kg) {
            Some(cell_idx) => {
                if let Some(drifts) = self.drifts.get_mut(cell_idx) {
                    *drifts = true;
                }
                self.known = Some(self.begun);
            }
            None => self.known = Some(older),
        }
    }

    fn leave(&mut self) {
        let [older, _] = self.noted;
        self.before = Some(Plateau { level: self.watch.left(), ..older });
        self.excursion = (0.0, 0.0);
    }

    fn find(&mut self, sample: &Sample<C, S>) {
        self.reading.level = self.watch.level(sample.t_s, &self.config.limits.still);
        let after = self.now(sample.temperature_c);
        self.noted = [after; 2];
        self.begun = after;
        self.tilt_ref_deg = self.tilt_deg;
        self.reading.change = Some(self.compare(after));
        self.rewired = false;
    }

    fn compare(&self, after: Plateau<C, S>) -> Change<C, S> {
        let Some(before) = self.before else {
            return Change {
                before: None,
                after,
                delta_kg: 0.0,
                parts: Parts::default(),
                place_mm: None,
                shift_mm: None,
                excursion_kg: 0.0,
                articulated: false,
                rewired: self.rewired,
            };
        };
        let load = |plateau: &Plateau<C, S>| Load::of(plateau.cells_kg.iter().zip(self.config.cells()));
        let (was, is) = (load(&before), load(&after));
        let difference = Load {
            total_kg: is.total_kg - was.total_kg,
            moment_x: is.moment_x - was.moment_x,
            moment_y: is.moment_y - was.moment_y,
        };
        let shift_mm = was.centre_mm(CENTRE_LEAST_KG).zip(is.centre_mm(CENTRE_LEAST_KG));
        let (area, time_s) = self.excursion;
        Change {
            before: Some(before),
            after,
            delta_kg: after.level.kg - before.level.kg,
            parts: doubt::between(&self.config, &before, &after),
            place_mm: difference.centre_mm(self.config.limits.still.step_kg),
            shift_mm: shift_mm.map(|([x0, y0], [x1, y1])| libm::hypot(x1 - x0, y1 - y0)),
            excursion_kg: if time_s > 0.0 { area / time_s } else { 0.0 },
            articulated: any_apart(&before.tilt_deg, &after.tilt_deg, self.config.limits.still.tilt_deg),
            rewired: self.rewired,
        }
    }
}

fn any_apart<const S: usize>(a: &[f64; S], b: &[f64; S], by: f64) -> bool {
    a.iter().zip(b).any(|(a, b)| (a - b).abs() > by)
}
