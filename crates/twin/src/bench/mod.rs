//! A built deck on a workbench: loads are put on, left to settle, and read.
//!
//! Time runs: cells creep and lag between readings as they would by hand, and the room warms and cools a little.
//!
//! * [`run`]: a calibration run with few masses and a water can;
//! * [`planned`]: a run by a plan's rows;
//! * [`touch`]: a hand that presses one place after the other;
//! * [`live`]: counts sample by sample, for a page that watches;
//! * [`acceptance`]: the tests of a calibrated deck, and its weights beside a standard's.

pub mod acceptance;
pub mod fault;
pub mod live;
pub mod planned;
pub mod run;
pub mod touch;

use crate::built::{BuiltDeck, Footprint};
use crate::cell::{CellState, REFERENCE_C, mean_counts};
use crate::chance::Chance;

/// The deck on the bench at one moment.
pub(crate) struct Workbench<'a> {
    built: &'a BuiltDeck,
    gravity_m_s2: f64,
    states: Vec<CellState>,
    forces: Vec<f64>,
    outputs: Vec<f64>,
    dead: Vec<f64>,
    cos: Vec<f64>,
    /// Temperature of the cells, °C.
    pub(crate) temperature_c: f64,
    pub(crate) chance: Chance,
}

/// Step while a load settles, s.
const SETTLE_STEP_S: f64 = 1.0;

impl<'a> Workbench<'a> {
    pub(crate) fn new(built: &'a BuiltDeck, gravity_m_s2: f64, mut chance: Chance) -> Self {
        let states = built.cells.iter().map(|c| CellState::at_rest(c, 0.0, &mut chance)).collect();
        let n = built.n_cells();
        Self {
            built,
            gravity_m_s2,
            states,
            forces: vec![0.0; n],
            outputs: vec![0.0; n],
            dead: built.dead_newton(),
            cos: vec![1.0; built.plates.len()],
            temperature_c: REFERENCE_C,
            chance,
        }
    }

    /// Tilts all plates of a section, °.
    pub(crate) fn tilt(&mut self, section: usize, degrees: f64) {
        for (plate, cos) in self.built.plates.iter().zip(&mut self.cos) {
            if plate.section == section {
                *cos = degrees.to_radians().cos();
            }
        }
    }

    /// Loads the deck with bodies (kg, footprint) and waits.
    pub(crate) fn load(&mut self, bodies: &[(f64, &Footprint)], seconds: f64) {
        self.forces.fill(0.0);
        for (kg, footprint) in bodies {
            for (force, share) in self.forces.iter_mut().zip(footprint.iter()) {
                *force += kg * self.gravity_m_s2 * share;
            }
        }
        for (plate, cos) in self.built.plates.iter().zip(&self.cos) {
            for force in &mut self.forces[plate.first_cell..plate.first_cell + plate.n_cells()] {
                *force *= cos;
            }
        }
        self.built.lift(&mut self.forces, &self.dead);
        self.wait(seconds);
    }

    /// Waits under the load that lies there.
    pub(crate) fn wait(&mut self, seconds: f64) {
        let n_steps = (seconds / SETTLE_STEP_S).ceil().max(1.0) as usize;
        let dt_s = seconds.max(SETTLE_STEP_S) / n_steps as f64;
        let above_k = self.temperature_c - REFERENCE_C;
        for _ in 0..n_steps {
            for (i, cell) in self.built.cells.iter().enumerate() {
                self.outputs[i] = self.states[i].advance(cell, self.forces[i], above_k, dt_s, &mut self.chance);
            }
        }
    }

    /// Mean counts of every cell over `seconds`.
    pub(crate) fn read(&mut self, seconds: f64) -> Vec<f64> {
        self.wait(seconds);
        let cells = self.built.cells.iter().zip(&self.outputs);
        cells.map(|(c, y)| mean_counts(c, *y, (seconds * c.rate_hz).max(1.0), &mut self.chance)).collect()
    }
}
