//! What is kept of a plateau, and how the next one differs from it.

use super::{Change, Memory, SignalPath, any_apart};
use crate::config::Config;
use crate::doubt::{self, Parts, Plateau};
use crate::load::{CENTRE_LEAST_KG, Line, Load};
use crate::stand_in::{Neighbour, drifting, stand_in};
use crate::trust::Trust;
use crate::watch::Motion;

/// Every so often the shares of a plateau are noted, so that those before a change are not touched by it, s.
const NOTE_S: f64 = 6.0;

impl<const C: usize, const P: usize, const S: usize> SignalPath<C, P, S> {
    /// What must outlive a power cut.
    #[must_use]
    pub fn memory(&self, temperature_c: Option<f64>) -> Memory<C, S> {
        let last = match self.watch.motion() {
            Motion::Settled => Some(self.now(temperature_c)),
            Motion::Moving => self.before,
        };
        Memory { last, known_kg: self.known_kg, drifts: self.drifts }
    }

    /// A path that goes on from a memory as after a pause of the samples: the first plateau it finds is compared with the last one kept.
    #[must_use]
    pub fn resume(config: Config<C, P, S>, memory: &Memory<C, S>) -> Self {
        let Memory { last, known_kg, drifts } = *memory;
        // The cells are as warm as they were when the temperature was last known.
        let warm_c = last.and_then(|last| last.temperature_c);
        let lines = config.cells.each_ref().map(|cell| Line::at(warm_c, cell));
        Self { before: last, known_kg, drifts, warm_c, lined_c: warm_c, lines, failed: drifts, ..Self::new(config) }
    }

    /// Keeps the shares of the plateau, the older note at least [`NOTE_S`] back.
    pub(super) fn note(&mut self, t_s: f64) {
        let [_, newer] = self.noted;
        if t_s - newer.level.t_s >= NOTE_S {
            self.noted = [newer, self.now(self.temperature_c)];
            let now_kg = self.noted_kg();
            let newer_kg = core::mem::replace(&mut self.steady_kg, now_kg);
            if !self.rested {
                // When a plateau is found its cells' averages still hold what moved before: it begins here to who looks for drift.
                self.rested = true;
                self.begun_kg = now_kg;
                self.begun_s = t_s;
                self.note_trust(t_s, true);
                return;
            }
            self.note_trust(t_s, false);
            // The newer note is judged only now that the plateau has outlived it: what ends a plateau is no drift.
            self.note_drift(&newer_kg, newer.level.t_s);
        }
    }

    /// Takes the shares at a block into the next note.
    pub(super) fn gather_note(&mut self) {
        let (sum_kg, n) = &mut self.noting;
        for (sum, share) in sum_kg.iter_mut().zip(&self.share_kg) {
            *sum += share;
        }
        *n += 1.0;
    }

    /// Mean shares since the last note: a breath moves a tenth of a kilogram between two cells and back, which is no drift of either.
    fn noted_kg(&mut self) -> [f64; C] {
        let (sum_kg, n) = core::mem::replace(&mut self.noting, ([0.0; C], 0.0));
        if n > 0.0 { sum_kg.map(|sum| sum / n) } else { self.share_kg }
    }

    /// Follows what drifting cells say beside what stands in for them, on a plateau that `begins` or goes on.
    fn note_trust(&mut self, t_s: f64, begins: bool) {
        if !self.has_drifting() {
            return;
        }
        let (u_kg, floor_kg) = (self.reading.stand_in_u_kg, self.config.limits.channel.drift_floor_kg);
        for ((drifts, trust), kg) in self.drifts.iter_mut().zip(&mut self.trusts).zip(&self.share_kg) {
            let Some(off_kg) = trust.own_kg.map(|own_kg| own_kg - kg).filter(|_| *drifts) else { continue };
            if begins {
                trust.begin(t_s, off_kg);
            } else if trust.follow(t_s, off_kg, u_kg, floor_kg) {
                *drifts = false;
                *trust = Trust::default();
            }
        }
    }

    /// Compares the plateau with its beginning: does one cell wander alone? What all cells bore when all were good is kept for the day one fails.
    fn note_drift(&mut self, noted_kg: &[f64; C], noted_s: f64) {
        let n = self.config.n_cells;
        let begun = self.begun_kg.get(..n).unwrap_or(&[]);
        let bears = noted_kg.get(..n).unwrap_or(&[]);
        let failed = self.failed.get(..n).unwrap_or(&[]);
        match drifting(self.config.cells(), begun, bears, failed, self.config.limits.channel.drift_floor_kg) {
            Some(cell_idx) => {
                if let Some((drifts, trust)) = self.drifts.get_mut(cell_idx).zip(self.trusts.get_mut(cell_idx)) {
                    *drifts = true;
                    *trust = Trust::default();
                }
                let wandered = bears.get(cell_idx).zip(begun.get(cell_idx)).map(|(is, was)| (cell_idx, is - was));
                self.wandered = wandered;
                self.wander_kg_s = wandered.map(|(_, kg)| kg / (noted_s - self.begun_s).max(NOTE_S));
                if !failed.contains(&true) {
                    self.known_kg = Some(self.begun_kg);
                }
            }
            None if failed.contains(&true) => {}
            None => self.known_kg = Some(*noted_kg),
        }
    }

    pub(super) fn leave(&mut self) {
        let [older, _] = self.noted;
        let mut before = Plateau { level: self.watch.left(), ..older };
        if let Some((cell_idx, kg)) = self.wandered.take() {
            // What the cell wandered is no load: what comes after is compared with the plateau without it.
            before.level.kg -= kg;
            if let Some(cell_kg) = before.cells_kg.get_mut(cell_idx) {
                *cell_kg -= kg;
            }
        }
        self.before = Some(before);
        self.excursion = (0.0, 0.0);
        self.swing_deg = [0.0; 2];
    }

    pub(super) fn find(&mut self, t_s: f64) {
        self.reading.level = self.watch.level(t_s, &self.config.limits.still);
        let after = self.now(self.temperature_c);
        self.noted = [after; 2];
        self.steady_kg = self.share_kg;
        self.noting = ([0.0; C], 0.0);
        self.rested = false;
        self.tilt_ref_deg = self.tilt_deg;
        self.reading.change = Some(self.compare(after));
        self.wander_kg_s = None;
        self.rewired = false;
    }

    /// Uncertainty of a change. What stands in for a failed cell is off by the same on both sides but for what moved on its plate in between.
    fn doubt_between(&self, before: &Plateau<C, S>, after: &Plateau<C, S>) -> Parts {
        let parts = doubt::between(&self.config, before, after);
        if self.rewired || !self.failed.contains(&true) {
            return parts;
        }
        let mut u2 = 0.0;
        for (failed_idx, (cell, _)) in self.config.cells().zip(&self.failed).enumerate().filter(|(_, (_, bad))| **bad) {
            let moved = self.config.cells().zip(before.cells_kg.iter().zip(&after.cells_kg)).enumerate();
            let beside = moved.filter(|(i, (other, _))| *i != failed_idx && other.plate == cell.plate);
            let neighbours = beside.map(|(_, (other, (was, is)))| Neighbour { at_mm: other.at_mm, gain_kg: is - was });
            // Without a stand-in there is no weight and no change.
            let elsewhere = self.config.cells().zip(before.cells_kg.iter().zip(&after.cells_kg));
            let elsewhere_kg =
                elsewhere.filter(|(other, _)| other.plate != cell.plate).map(|(_, (was, is))| (is - was).abs()).sum();
            let u_kg = stand_in(cell.at_mm, 0.0, neighbours, elsewhere_kg).map_or(0.0, |found| found.u_kg);
            u2 += u_kg * u_kg;
        }
        Parts { stand_in_kg: libm::sqrt(u2), ..parts }
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
                swung_deg: 0.0,
                rewired: self.rewired,
                wander_kg_s: self.wander_kg_s,
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
            parts: self.doubt_between(&before, &after),
            place_mm: difference.centre_mm(self.config.limits.still.step_kg),
            shift_mm: shift_mm.map(|([x0, y0], [x1, y1])| libm::hypot(x1 - x0, y1 - y0)),
            excursion_kg: if time_s > 0.0 { area / time_s } else { 0.0 },
            articulated: any_apart(&before.tilt_deg, &after.tilt_deg, self.config.limits.still.tilt_deg),
            swung_deg: self.swung_deg(&before, &after),
            rewired: self.rewired,
            wander_kg_s: self.wander_kg_s,
        }
    }

    /// By how far all sections stand otherwise than before, degrees: the least of their moves where all went one way.
    pub(super) fn together_deg(&self, before: &Plateau<C, S>, tilt_deg: &[f64; S]) -> f64 {
        let moves = tilt_deg.iter().zip(&before.tilt_deg).take(self.config.n_sections).map(|(is, was)| is - was);
        let [least, most] =
            moves.fold([f64::INFINITY, f64::NEG_INFINITY], |[least, most], by| [least.min(by), most.max(by)]);
        if least > 0.0 { least } else { most.min(0.0) }
    }

    /// See [`Change::swung_deg`].
    fn swung_deg(&self, before: &Plateau<C, S>, after: &Plateau<C, S>) -> f64 {
        if self.config.n_sections < 2 {
            return 0.0;
        }
        let ends = self.together_deg(before, &after.tilt_deg);
        let [back, forth] = self.swing_deg;
        (forth - ends.max(0.0)).max(ends.min(0.0) - back)
    }
}
