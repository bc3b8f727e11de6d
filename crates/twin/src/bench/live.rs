//! A bench that runs along: counts sample by sample, while bodies are put on, taken off, or a hand presses.

use formats::deck::Deck;

use crate::built::{BuiltDeck, Patch};
use crate::cell::{CellSpread, CellState, REFERENCE_C, Step, counts};
use crate::chance::Chance;
use crate::error::TwinError;

/// Width of a hand, mm.
const HAND_MM: f64 = 80.0;
/// Standard deviation of where a body is put down, mm, each way: a careful hand (as in a run on the bench).
const PLACE_SD_MM: f64 = 1.5;
/// Temperature of the bench, °C.
const BENCH_C: f64 = 21.0;

/// The bench at one moment.
pub struct LiveBench {
    built: BuiltDeck,
    states: Vec<CellState>,
    dead: Vec<f64>,
    /// Force on each cell from what stands there, N.
    forces: Vec<f64>,
    chance: Chance,
}

impl LiveBench {
    /// An empty bench; its cells are those that [`BuiltDeck::build`] draws from the same number.
    ///
    /// # Errors
    /// A deck that cannot be computed.
    pub fn new(deck: &Deck, seed: u64) -> Result<Self, TwinError> {
        let built = BuiltDeck::build(deck, &CellSpread::default(), seed)?;
        let mut chance = Chance::stream(seed, "live bench");
        let states = built.cells.iter().map(|c| CellState::at_rest(c, 0.0, &mut chance)).collect();
        let (dead, forces) = (built.dead_newton(), vec![0.0; built.n_cells()]);
        Ok(Self { built, states, dead, forces, chance })
    }

    /// Puts a body on a plate, some millimetres beside the mark; what stood there before is off.
    pub fn put(&mut self, plate: usize, at_mm: [f64; 2], kg: f64) {
        self.put_all(&[(plate, at_mm, kg)]);
    }

    /// Puts bodies on plates, each some millimetres beside its mark; what stood there before is off.
    pub fn put_all(&mut self, bodies: &[(usize, [f64; 2], f64)]) {
        self.forces.fill(0.0);
        for (plate, at_mm, kg) in bodies {
            let beside = [0, 1].map(|axis| at_mm[axis] + PLACE_SD_MM * self.chance.normal());
            let footprint = self.built.footprint_on(*plate, beside);
            self.add(&footprint, *kg);
        }
        self.built.lift(&mut self.forces, &self.dead);
    }

    /// A hand presses on a place of a plate.
    pub fn press(&mut self, plate: usize, at_mm: [f64; 2], kg: f64) {
        let middle = self.built.plates[plate].in_bed_mm(at_mm);
        let footprint = self.built.footprint(&[Patch::about(middle, [HAND_MM, HAND_MM])]);
        self.forces.fill(0.0);
        self.add(&footprint, kg);
        self.built.lift(&mut self.forces, &self.dead);
    }

    /// Everything is off.
    pub fn take_off(&mut self) {
        self.forces.fill(0.0);
        self.built.lift(&mut self.forces, &self.dead);
    }

    fn add(&mut self, footprint: &crate::built::Footprint, kg: f64) {
        let newton = kg * self.built.calibration_gravity_m_s2;
        self.forces.iter_mut().zip(footprint).for_each(|(f, share)| *f += newton * share);
    }

    /// Counts of all cells, `dt_s` later.
    pub fn next_counts(&mut self, dt_s: f64) -> Vec<f64> {
        let step = Step::new(dt_s, self.built.cells.first().map_or(1.0 / dt_s, |c| c.rate_hz));
        let cells = self.built.cells.iter().zip(&mut self.states).zip(&self.forces);
        let chance = &mut self.chance;
        cells
            .map(|((cell, state), force)| {
                let output = state.advance(cell, *force, BENCH_C - REFERENCE_C, step.dt_s, chance);
                counts(cell, output, 0.0, step, chance)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_body_shows_its_mass_while_it_stands_there_and_nothing_after() {
        let deck = formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap();
        let mut bench = LiveBench::new(&deck, 5).unwrap();
        let mean = |bench: &mut LiveBench| {
            let rows: Vec<Vec<f64>> = (0..100).map(|_| bench.next_counts(0.1)).collect();
            (0..rows[0].len()).map(|c| rows.iter().map(|r| r[c]).sum::<f64>() / 100.0).collect::<Vec<f64>>()
        };
        let empty = mean(&mut bench);
        bench.put(2, [215.0, 430.0], 20.0);
        let loaded = mean(&mut bench);
        bench.put_all(&[(2, [215.0, 430.0], 15.0), (0, [375.0, 212.0], 5.0)]);
        let apart = mean(&mut bench);
        bench.take_off();
        let again = mean(&mut bench);
        // By the data sheet, deck::chain: rated output and converter; the cells are drawn about it by some per cent.
        let per_kg = 2.0e-3 / 60.0 * 4.2 * 128.0 / 4.2 * 2f64.powi(24);
        let kg = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| (y - x) / per_kg).sum::<f64>();
        assert!((kg(&empty, &loaded) - 20.0).abs() < 3.0, "{}", kg(&empty, &loaded));
        assert!((kg(&empty, &apart) - 20.0).abs() < 3.0, "{}", kg(&empty, &apart));
        assert!(kg(&empty, &again).abs() < 0.05, "{}", kg(&empty, &again));
    }
}
