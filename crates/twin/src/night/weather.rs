//! Temperatures of the room and of the plates: a daily swing, a slow wander, and the body's warmth through the mattress.

use jiff::Timestamp;

use super::load::BedLoad;
use super::signal::Wander;
use crate::chance::Chance;
use crate::scenario::Scenario;

/// Temperatures of room and plates.
pub(crate) struct Weather {
    room: Wander,
    start_clock_h: f64,
    pub(crate) plates_c: Vec<f64>,
    warmth_c: Vec<f64>,
}

/// Time in which a plate follows the room, and in which a body warms it through the mattress, s (own choices).
const PLATE_S: f64 = 1200.0;
const WARMTH_S: f64 = 7200.0;
/// Spread and memory of the room's temperature beside its daily swing.
const ROOM_C: f64 = 0.15;
const ROOM_S: f64 = 1500.0;
/// Warmest hour of the day.
const WARMEST_H: f64 = 15.0;

impl Weather {
    pub(crate) fn new(scenario: &Scenario, n_plates: usize, start: Timestamp, dt_s: f64, chance: &mut Chance) -> Self {
        Self {
            room: Wander::new(ROOM_S, dt_s, chance),
            start_clock_h: start.as_second().rem_euclid(86_400) as f64 / 3600.0,
            plates_c: vec![scenario.room.temperature_c; n_plates],
            warmth_c: vec![0.0; n_plates],
        }
    }

    pub(crate) fn room_c(&self, t_s: f64, scenario: &Scenario) -> f64 {
        let clock_h = self.start_clock_h + t_s / 3600.0;
        let swing = (std::f64::consts::TAU * (clock_h - WARMEST_H) / 24.0).cos();
        scenario.room.temperature_c + scenario.room.swing_c * swing + ROOM_C * self.room.peek()
    }

    pub(crate) fn advance(
        &mut self,
        t_s: f64,
        dt_s: f64,
        scenario: &Scenario,
        load: &BedLoad<'_>,
        chance: &mut Chance,
    ) {
        self.room.next(chance);
        let room_c = self.room_c(t_s, scenario);
        if t_s <= 0.0 {
            self.plates_c.fill(room_c);
        }
        let follows = -(-dt_s / PLATE_S).exp_m1();
        let warms = -(-dt_s / WARMTH_S).exp_m1();
        for (plate, (now_c, warmth_c)) in self.plates_c.iter_mut().zip(&mut self.warmth_c).enumerate() {
            // A plate with a quarter of the patient or more is warmed in full.
            let covered = (4.0 * load.patient_on_plate(plate)).min(1.0);
            *warmth_c += (scenario.room.body_warmth_c * covered - *warmth_c) * warms;
            *now_c += (room_c + *warmth_c - *now_c) * follows;
        }
    }
}
