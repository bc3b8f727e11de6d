//! A touch check, recorded: a hand presses one place after the other, and the counts of all cells run along.

use formats::deck::Deck;
use formats::recording::{Header, Sample};

use super::fault::{BenchFault, cell_index, with_faults};
use super::run::BenchOptions;
use crate::built::{BuiltDeck, Footprint, Patch};
use crate::cell::{CellState, REFERENCE_C, Step, counts};
use crate::chance::Chance;
use crate::error::TwinError;

/// A place to be pressed.
#[derive(Debug, Clone, PartialEq)]
pub struct Press {
    /// Index of the plate.
    pub plate: usize,
    /// Place on the plate, mm.
    pub at_mm: [f64; 2],
}

/// Width of a hand, mm.
const HAND_MM: f64 = 80.0;
/// Seconds without a hand before each press, and with it.
const REST_S: f64 = 3.0;
const PRESS_S: f64 = 3.0;
/// Seconds in which a hand comes down and goes.
const RAMP_S: f64 = 0.4;
/// Samples a second.
const RATE_HZ: f64 = 10.0;
/// How hard people press, kg.
const PRESS_KG: [f64; 2] = [6.0, 15.0];

/// Records the presses in their order.
///
/// # Errors
/// A deck that cannot be computed, a fault at a cell that it does not have.
pub fn touch_recording(
    deck: &Deck,
    seed: u64,
    options: &BenchOptions,
    presses: &[Press],
) -> Result<(Header, Vec<Sample>), TwinError> {
    let built = BuiltDeck::build(deck, &options.spread, seed)?;
    let built = BuiltDeck { cells: with_faults(&built.cells, &options.faults)?, ..built };
    let mut swaps = Vec::new();
    for fault in &options.faults {
        if let BenchFault::Swapped { cell, with } = fault {
            swaps.push((cell_index(&built, cell)?, cell_index(&built, with)?));
        }
    }
    let mut chance = Chance::stream(seed, "touch");
    let mut states: Vec<CellState> = built.cells.iter().map(|c| CellState::at_rest(c, 0.0, &mut chance)).collect();
    let dead = built.dead_newton();
    let mut samples = Vec::new();
    let mut record = |footprint: Option<(&Footprint, f64)>, chance: &mut Chance| {
        let mut forces = vec![0.0; built.n_cells()];
        if let Some((footprint, newton)) = footprint {
            forces.iter_mut().zip(footprint).for_each(|(f, share)| *f = newton * share);
        }
        built.lift(&mut forces, &dead);
        let step = Step::new(1.0 / RATE_HZ, built.cells.first().map_or(RATE_HZ, |c| c.rate_hz));
        let mut row: Vec<Option<f64>> = Vec::with_capacity(forces.len());
        for ((cell, state), force) in built.cells.iter().zip(&mut states).zip(&forces) {
            let output = state.advance(cell, *force, options.temperature_c - REFERENCE_C, step.dt_s, chance);
            row.push(Some(counts(cell, output, 0.0, step, chance)));
        }
        swaps.iter().for_each(|(a, b)| row.swap(*a, *b));
        let t_s = samples.len() as f64 / RATE_HZ;
        samples.push(Sample { t_s, temperature_c: None, tilt_deg: Vec::new(), counts: row });
    };
    for press in presses {
        let beside = [0, 1].map(|axis| press.at_mm[axis] + 3.0 * options.place_sd_mm * chance.normal());
        let patch = Patch::about(built.plates[press.plate].in_bed_mm(beside), [HAND_MM, HAND_MM]);
        let footprint = built.footprint(&[patch]);
        let newton = chance.between(PRESS_KG[0], PRESS_KG[1]) * built.calibration_gravity_m_s2;
        let seconds = |s: f64| (s * RATE_HZ * chance_factor(&mut chance)).round() as usize;
        let [rest, held] = [REST_S, PRESS_S].map(seconds);
        (0..rest).for_each(|_| record(None, &mut chance));
        for i in 0..held {
            let edge = (i.min(held - 1 - i) as f64 + 0.5) / (RAMP_S * RATE_HZ);
            // A hand trembles.
            let force = newton * edge.min(1.0) * (1.0 + 0.05 * chance.normal());
            record(Some((&footprint, force)), &mut chance);
        }
    }
    (0..(REST_S * RATE_HZ) as usize).for_each(|_| record(None, &mut chance));
    let cells = built.cells.iter().map(|c| c.name.clone()).collect();
    Ok((Header { cells, tilts: Vec::new(), has_temperature: false }, samples))
}

/// People keep no exact time.
fn chance_factor(chance: &mut Chance) -> f64 {
    chance.between(0.7, 1.4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pressed_cell_moves_most_while_it_is_pressed() {
        let deck = formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap();
        let presses = [Press { plate: 2, at_mm: [70.0, 150.0] }];
        let (header, samples) = touch_recording(&deck, 4, &BenchOptions::default(), &presses).unwrap();
        let s1 = header.cells.iter().position(|c| c == "S1").unwrap();
        let at = |i: usize, c: usize| samples[i].counts[c].unwrap();
        let moved = |c: usize| (0..samples.len()).map(|i| (at(i, c) - at(0, c)).abs()).fold(0.0, f64::max);
        let others = (0..header.cells.len()).filter(|c| *c != s1).map(moved).fold(0.0, f64::max);
        assert!(moved(s1) > 2.0 * others, "{} against {others}", moved(s1));
        assert!((at(samples.len() - 1, s1) - at(0, s1)).abs() < 0.01 * moved(s1));
    }
}
