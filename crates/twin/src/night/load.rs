//! What lies on the bed at each sample, in kilograms a cell, and what it presses with, in newtons a cell.

use super::gap::Contact;
use super::lying::{Bedding, Lie, Pose};
use super::programme::{Happening, Item, What};
use super::roll::{Jolt, Roll};
use super::signal::{Vital, Wander};
use crate::built::{BuiltDeck, Footprint, Patch};
use crate::cell::{STANDARD_GRAVITY, Step};
use crate::chance::Chance;
use crate::contact::POINTS;
use crate::error::TwinError;
use crate::scenario::Scenario;

/// Something that goes on for a while.
enum Going {
    /// kg a cell per unit of a ramp from 0 to 1.
    Ramp {
        cells: Footprint,
        kg: f64,
        item: Option<usize>,
        from_s: f64,
        over_s: f64,
    },
    Press {
        cells: Footprint,
        kg: f64,
        unsteady: f64,
        from_s: f64,
        to_s: f64,
    },
    Rhythm {
        cells: Footprint,
        kg: f64,
        hz: f64,
        from_s: f64,
        to_s: f64,
    },
    Stir {
        sway_mm: f64,
        heave: f64,
        to_s: f64,
    },
    Tilt {
        section: Option<usize>,
        from_deg: f64,
        to_deg: f64,
        from_s: f64,
        over_s: f64,
    },
    Board {
        on: bool,
        from_s: f64,
        over_s: f64,
    },
}

/// Noises that all happenings share.
struct Noises {
    sway: [Wander; 2],
    heave: Wander,
    hand: Wander,
    floor: Wander,
}

/// Part of a change of pose that the mattress takes its time for, and that time, s.
const MATTRESS: (f64, f64) = (0.04, 25.0);
/// Rise and fall of hands on the bed, s.
const HAND_S: f64 = 0.8;

/// What a cable takes off a plate.
pub(crate) struct Taken {
    pub(crate) plate: usize,
    pub(crate) cells: Footprint,
    pub(crate) newton: f64,
}

/// The bed and everything on it.
pub(crate) struct BedLoad<'a> {
    built: &'a BuiltDeck,
    scenario: &'a Scenario,
    bedding: Bedding,
    step: Step,
    plate_of: Vec<usize>,
    /// Mattress, linen and things at rest, kg a cell.
    still_kg: Vec<f64>,
    still_total_kg: f64,
    pub(crate) items_kg: f64,
    pub(crate) untold_kg: f64,
    pub(crate) tare_kg: f64,
    pub(crate) aboard: f64,
    pose: Pose,
    lie: Lie,
    /// Where the weight is now: most of it follows at once, a part with the mattress.
    quick: Footprint,
    slow: Footprint,
    move_s: f64,
    going: Vec<Going>,
    roll: Option<Roll>,
    vital: Vital,
    noises: Noises,
    /// Angle of each section and of the whole bed, °.
    pub(crate) section_deg: Vec<f64>,
    pub(crate) bed_deg: f64,
    /// Slope of the floor, and what a rolling bed's angle sensors show beside angles, °.
    floor_deg: f64,
    pub(crate) apparent_deg: f64,
    cos: Vec<f64>,
    sin: Vec<f64>,
    /// Force of each plate's own weight on its cells, N, at its angle and flat.
    dead: Vec<f64>,
    dead_flat: Vec<f64>,
    kg: Vec<f64>,
    /// Forces on the cells, N, then free deflections at the contact points, mm.
    channels: Vec<f64>,
    pub(crate) contact: Contact,
    /// What cables take off at this sample.
    pub(crate) taken: Vec<Taken>,
}

impl<'a> BedLoad<'a> {
    pub(crate) fn new(
        built: &'a BuiltDeck,
        scenario: &'a Scenario,
        step: Step,
        chance: &mut Chance,
    ) -> Result<Self, TwinError> {
        let bedding = Bedding::new(built, &scenario.patient)?;
        let pose = Pose::default();
        let lie = bedding.lie(built, pose)?;
        let whole = Patch { x_mm: [0.0, built.length_mm()], y_mm: [0.0, built.width_mm], weight: 1.0 };
        let tare_kg = scenario.bed.mattress_kg + scenario.bed.linen_kg;
        let still_kg: Vec<f64> = built.footprint(&[whole]).iter().map(|s| s * tare_kg).collect();
        let ventilated = scenario.patient.ventilated != crate::scenario::Gas::No;
        let vital = Vital::new(scenario.patient.breaths_min, scenario.patient.pulse_min, ventilated, step, chance);
        let mut noise = |tau_s| Wander::new(tau_s, step.dt_s, chance);
        let noises =
            Noises { sway: [noise(0.8), noise(0.8)], heave: noise(0.25), hand: noise(0.6), floor: noise(0.05) };
        let dead_flat = built.dead_newton();
        let mut load = Self {
            built,
            scenario,
            bedding,
            step,
            plate_of: built.plate_of_channels(),
            contact: Contact::new(built),
            taken: Vec::new(),
            still_total_kg: tare_kg,
            still_kg,
            items_kg: 0.0,
            untold_kg: 0.0,
            tare_kg,
            aboard: 0.0,
            pose,
            quick: lie.share.clone(),
            slow: lie.share.clone(),
            lie,
            move_s: 5.0,
            going: Vec::new(),
            roll: None,
            vital,
            noises,
            section_deg: vec![0.0; built.sections_mm.len()],
            bed_deg: 0.0,
            floor_deg: 0.0,
            apparent_deg: 0.0,
            cos: Vec::new(),
            sin: Vec::new(),
            dead: dead_flat.clone(),
            dead_flat,
            kg: vec![0.0; built.n_channels()],
            channels: vec![0.0; built.n_channels()],
        };
        load.face();
        Ok(load)
    }

    /// Angle of a section to the horizontal, °.
    pub(crate) fn angle_deg(&self, section: usize) -> f64 {
        self.section_deg[section] + self.bed_deg + self.floor_deg
    }

    /// How far a plate stood down at the contact point nearest to a place of it at the last sample, mm.
    pub(crate) fn down_mm(&self, plate: usize, at_mm: [f64; 2]) -> f64 {
        let point = self.built.plates[plate].sharing.nearest_point(at_mm);
        self.channels[self.built.n_cells() + POINTS * plate + point]
    }

    /// What cables took off at the last sample, kg by plate.
    pub(crate) fn taken(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.taken.iter().map(|taken| (taken.plate, taken.newton / STANDARD_GRAVITY))
    }

    /// Share of the patient's weight on each plate.
    pub(crate) fn patient_on_plate(&self, plate: usize) -> f64 {
        let cells = self.plate_of.iter().zip(&self.quick).take(self.built.n_cells());
        cells.filter(|(p, _)| **p == plate).map(|(_, s)| s).sum::<f64>() * self.aboard
    }

    /// Begins a happening.
    ///
    /// # Errors
    /// A patient who cannot be laid on the bed.
    pub(crate) fn begin(&mut self, happening: &Happening, items: &[Item]) -> Result<(), TwinError> {
        let t_s = happening.t_s;
        match &happening.what {
            What::Item { item, on, over_s } => {
                let Item { kg, patch, .. } = &items[*item];
                let kg = if *on { *kg } else { -kg };
                let cells = self.built.footprint(std::slice::from_ref(patch));
                self.going.push(Going::Ramp { cells, kg, item: Some(*item), from_s: t_s, over_s: *over_s });
            }
            What::Patient { on, over_s } => {
                self.going.push(Going::Board { on: *on, from_s: t_s, over_s: *over_s });
            }
            What::Lie { pose, over_s } => self.lay(*pose, *over_s)?,
            What::Shift { by, over_s } => {
                let pose = Pose {
                    down_mm: (self.pose.down_mm + by.down_mm).clamp(-80.0, 80.0),
                    across_mm: self.pose.across_mm + by.across_mm,
                };
                self.lay(pose, *over_s)?;
            }
            What::Tilt { section, deg, over_s } => {
                let from_deg = section.map_or(self.bed_deg, |s| self.section_deg[s]);
                let going = Going::Tilt { section: *section, from_deg, to_deg: *deg, from_s: t_s, over_s: *over_s };
                self.going.push(going);
            }
            What::Press { kg, unsteady, at_mm, size_mm, for_s } => {
                let cells = self.built.footprint(&[Patch::about(*at_mm, *size_mm)]);
                self.going.push(Going::Press { cells, kg: *kg, unsteady: *unsteady, from_s: t_s, to_s: t_s + for_s });
            }
            What::Rhythm { kg, hz, at_mm, for_s } => {
                let cells = self.built.footprint(&[Patch::about(*at_mm, [150.0, 150.0])]);
                self.going.push(Going::Rhythm { cells, kg: *kg, hz: *hz, from_s: t_s, to_s: t_s + for_s });
            }
            What::Stir { sway_mm, heave, for_s } => {
                self.going.push(Going::Stir { sway_mm: *sway_mm, heave: *heave, to_s: t_s + for_s });
            }
            What::Roll { seed, slope_deg, for_s } => {
                let ends_deg = [self.floor_deg, *slope_deg];
                self.roll = Some(Roll::new(*seed, [t_s, t_s + for_s], ends_deg, self.step.dt_s));
            }
        }
        Ok(())
    }

    fn lay(&mut self, pose: Pose, over_s: f64) -> Result<(), TwinError> {
        self.pose = pose;
        self.lie = self.bedding.lie(self.built, pose)?;
        self.move_s = (over_s / 4.0).max(0.3);
        Ok(())
    }

    /// Forces on the cells at one sample, N. `patient_kg` is the patient's mass, `pad_kg` what lies in wet pads.
    pub(crate) fn forces(
        &mut self,
        t_s: f64,
        patient_kg: f64,
        pad_kg: f64,
        items: &[Item],
        chance: &mut Chance,
        out: &mut [f64],
    ) {
        self.follow_pose();
        self.kg.copy_from_slice(&self.still_kg);
        let mut sway = [0.0; 2];
        let mut upward = 0.0;
        let mut shake = self.scenario.room.floor_mm_s2 * 1e-3 / STANDARD_GRAVITY * self.noises.floor.next(chance);
        let hand = self.noises.hand.next(chance);
        let heave = self.noises.heave.next(chance);
        let swaying = [self.noises.sway[0].next(chance), self.noises.sway[1].next(chance)];
        let mut turned = self.roll.is_some();
        let jolt = self.rolls(t_s);
        shake += jolt.share;
        sway.iter_mut().zip(jolt.sway_mm).for_each(|(sway, by)| *sway += by);
        let mut i = 0;
        while i < self.going.len() {
            let over = match &self.going[i] {
                Going::Ramp { cells, kg, from_s, over_s, .. } => {
                    let part = ((t_s - from_s) / over_s).clamp(0.0, 1.0);
                    add(&mut self.kg, cells, kg * part);
                    part >= 1.0
                }
                Going::Press { cells, kg, unsteady, from_s, to_s } => {
                    let rise = ((t_s - from_s) / HAND_S).min((to_s - t_s) / HAND_S).clamp(0.0, 1.0);
                    // A smooth start and end: hands do not fall.
                    let smooth = rise * rise * (3.0 - 2.0 * rise);
                    add(&mut self.kg, cells, kg * smooth * (1.0 + unsteady * hand));
                    t_s >= *to_s
                }
                Going::Rhythm { cells, kg, hz, from_s, to_s } => {
                    let phase = std::f64::consts::TAU * hz * (t_s - from_s);
                    let beat = 0.5 * kg * (1.0 - phase.cos() * self.step.averaged(*hz));
                    add(&mut self.kg, cells, if t_s < *to_s { beat } else { 0.0 });
                    t_s >= *to_s
                }
                Going::Stir { sway_mm, heave: size, to_s } => {
                    sway[0] += sway_mm * swaying[0];
                    sway[1] += sway_mm * swaying[1];
                    upward += size * heave;
                    t_s >= *to_s
                }
                Going::Tilt { section, from_deg, to_deg, from_s, over_s } => {
                    let part = ((t_s - from_s) / over_s.max(0.1)).clamp(0.0, 1.0);
                    let deg = from_deg + (to_deg - from_deg) * part;
                    match section {
                        Some(s) => self.section_deg[*s] = deg,
                        None => self.bed_deg = deg,
                    }
                    turned = true;
                    part >= 1.0
                }
                Going::Board { on, from_s, over_s } => {
                    let part = ((t_s - from_s) / over_s).clamp(0.0, 1.0);
                    self.aboard = if *on { part } else { 1.0 - part };
                    part >= 1.0
                }
            };
            if over {
                let done = self.going.swap_remove(i);
                self.rest(&done, items);
            } else {
                i += 1;
            }
        }
        if turned {
            self.face();
        }
        let mass = patient_kg * self.aboard;
        self.patient(mass, pad_kg, upward, sway, chance);
        self.press(mass, shake, out);
    }

    /// What a bed on its way does; it is none on a bed that stands.
    fn rolls(&mut self, t_s: f64) -> Jolt {
        let Some(roll) = &mut self.roll else { return Jolt::default() };
        let jolt = roll.next(t_s);
        (self.floor_deg, self.apparent_deg) = (jolt.floor_deg, jolt.apparent_deg);
        if roll.is_over(t_s) {
            self.roll = None;
        }
        jolt
    }

    /// The patient, the pads under him, breathing, heart and stirring.
    fn patient(&mut self, mass_kg: f64, pad_kg: f64, upward: f64, sway_mm: [f64; 2], chance: &mut Chance) {
        let beat = self.vital.next(chance);
        let along = mass_kg * (beat.along_mm + sway_mm[0]);
        let across = mass_kg * sway_mm[1];
        let weight = mass_kg * (1.0 + upward + beat.newton_per_kg / STANDARD_GRAVITY) + pad_kg;
        for (c, kg) in self.kg.iter_mut().enumerate() {
            let share = (1.0 - MATTRESS.0) * self.quick[c] + MATTRESS.0 * self.slow[c];
            *kg += weight * share + along * self.lie.per_mm[0][c] + across * self.lie.per_mm[1][c];
        }
    }

    /// Kilograms to newtons (and millimetres at the contact points) at each plate's angle.
    fn press(&mut self, mass_kg: f64, shake: f64, out: &mut [f64]) {
        let gravity = self.built.gravity_m_s2 * (1.0 + shake);
        let mut channels = std::mem::take(&mut self.channels);
        for ((force, kg), &plate) in channels.iter_mut().zip(&self.kg).zip(&self.plate_of) {
            *force = kg * gravity * self.cos[plate];
        }
        self.slide(mass_kg, &mut channels);
        for taken in &self.taken {
            add(&mut channels, &taken.cells, -taken.newton);
        }
        if self.scenario.bed.own_weight_leans {
            for ((force, now), flat) in channels.iter_mut().zip(&self.dead).zip(&self.dead_flat) {
                *force += now - flat;
            }
        }
        self.built.lift(&mut channels, &self.dead);
        if self.contact.touch(self.built, &mut channels) {
            // What the base carries may leave a cell pulling.
            self.built.lift(&mut channels, &self.dead);
        }
        out.copy_from_slice(&channels[..out.len()]);
        self.channels = channels;
    }

    /// What friction on a raised back does not hold is borne by the next section: vertically (1 − κ) W sin²θ and
    /// along the bed (1 − κ) W sinθ cosθ, of which a tilted seat feels N = V cosθ + H sinθ.
    fn slide(&self, mass_kg: f64, out: &mut [f64]) {
        let slip = self.scenario.bed.slip;
        let back = self.angle_deg(0).to_radians();
        if slip <= 0.0 || back.abs() < 1e-3 || self.section_deg.len() < 2 {
            return;
        }
        let n_cells = self.built.n_cells();
        let on = |section: usize| {
            let plates = &self.built.plates;
            self.quick.iter().zip(&self.plate_of).enumerate().filter(move |(_, (_, p))| plates[**p].section == section)
        };
        let cells_on = |section: usize| on(section).filter(|(c, _)| *c < n_cells).map(|(_, (s, _))| s).sum::<f64>();
        let trunk = cells_on(0) * mass_kg * self.built.gravity_m_s2;
        let seat = cells_on(1);
        if seat <= 0.0 {
            return;
        }
        let upright = slip * trunk * back.sin() * back.sin();
        let along = slip * trunk * back.sin() * back.cos();
        for (c, (share, plate)) in on(1) {
            out[c] += share / seat * (upright * self.cos[*plate] + along * self.sin[*plate]);
        }
    }

    fn follow_pose(&mut self) {
        let quick = -(-self.step.dt_s / self.move_s).exp_m1();
        let slow = -(-self.step.dt_s / MATTRESS.1).exp_m1();
        for ((q, s), target) in self.quick.iter_mut().zip(&mut self.slow).zip(&self.lie.share) {
            *q += (target - *q) * quick;
            *s += (target - *s) * slow;
        }
    }

    /// A ramp that is over becomes part of what lies still.
    fn rest(&mut self, done: &Going, items: &[Item]) {
        if let Going::Ramp { cells, kg, item, .. } = done {
            add(&mut self.still_kg, cells, *kg);
            self.still_total_kg += kg;
            self.items_kg += kg;
            if item.is_some_and(|i| !items[i].told) {
                self.untold_kg += kg;
            }
        }
    }

    /// Takes over the angles of the plates.
    fn face(&mut self) {
        let radians: Vec<f64> = self.built.plates.iter().map(|p| self.angle_deg(p.section).to_radians()).collect();
        self.cos = radians.iter().map(|a| a.cos()).collect();
        self.sin = radians.iter().map(|a| a.sin()).collect();
        for ((dead, flat), &plate) in self.dead.iter_mut().zip(&self.dead_flat).zip(&self.plate_of) {
            *dead = flat * self.cos[plate];
        }
    }
}

fn add(cells: &mut [f64], footprint: &[f64], kg: f64) {
    for (cell, share) in cells.iter_mut().zip(footprint) {
        *cell += kg * share;
    }
}
