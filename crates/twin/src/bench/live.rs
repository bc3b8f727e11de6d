//! A bench that runs along: counts sample by sample, while bodies are put on, taken off, a hand presses, a section is raised, or the
//! room is warmed and cooled.
//!
//! A plate at an angle feels the normal part of what stands on it; its own weight is its zero at that angle, as in [`super::acceptance`].

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
pub const BENCH_C: f64 = 21.0;
/// Standard deviation of where a motor stops beside the angle asked for, °, and what a chamber leaves, °C (common practice, no source).
const STOP_SD_DEG: f64 = 0.3;
const CHAMBER_SD_C: f64 = 0.15;
/// Angles and temperatures asked for that differ by less are the same.
const SAME: f64 = 1e-9;
/// Digits that an inclinometer and a thermometer show.
const SHOWN_PER_DEG: f64 = 100.0;
const SHOWN_PER_C: f64 = 10.0;

/// The bench at one moment.
pub struct LiveBench {
    built: BuiltDeck,
    states: Vec<CellState>,
    dead: Vec<f64>,
    /// Force on each cell from what stands there with the bed flat, N, and at the angles of the sections.
    flat: Vec<f64>,
    forces: Vec<f64>,
    /// The section of each cell.
    section_of: Vec<usize>,
    /// Angle asked for and true one of each section, °.
    angles_deg: Vec<[f64; 2]>,
    /// Temperature asked for and true one, °C.
    room_c: [f64; 2],
    chance: Chance,
    seed: u64,
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
        let section_of = built.plates.iter().flat_map(|p| std::iter::repeat_n(p.section, p.n_cells())).collect();
        let angles_deg = vec![[0.0; 2]; deck.sections.len()];
        let (flat, room_c) = (forces.clone(), [BENCH_C; 2]);
        Ok(Self { built, states, dead, flat, forces, section_of, angles_deg, room_c, chance, seed })
    }

    /// Moves a section near an angle, °, and gives what an inclinometer shows; flat is a stop. Asked for the angle at which it stands
    /// already it does not move, and it stops at the same place each time. `None`: the deck has no such section.
    pub fn raise(&mut self, section: usize, deg: f64) -> Option<f64> {
        let [asked, true_deg] = self.angles_deg.get_mut(section)?;
        if (*asked - deg).abs() > SAME {
            *asked = deg;
            *true_deg = if deg == 0.0 {
                0.0
            } else {
                deg + STOP_SD_DEG * Chance::stream(self.seed, &format!("stop of section {section} at {deg}")).normal()
            };
        }
        let shown = (*true_deg * SHOWN_PER_DEG).round() / SHOWN_PER_DEG;
        self.press_on_cells();
        Some(shown)
    }

    /// Brings the room near a temperature, °C, hours in a moment, and gives what a thermometer shows; [`BENCH_C`] is what it is by itself.
    pub fn bring_to(&mut self, celsius: f64) -> f64 {
        let [asked, true_c] = &mut self.room_c;
        if (*asked - celsius).abs() > SAME {
            *asked = celsius;
            *true_c = if (celsius - BENCH_C).abs() < SAME {
                celsius
            } else {
                celsius + CHAMBER_SD_C * Chance::stream(self.seed, &format!("chamber at {celsius}")).normal()
            };
        }
        (*true_c * SHOWN_PER_C).round() / SHOWN_PER_C
    }

    /// Puts a body on a plate, some millimetres beside the mark; what stood there before is off.
    pub fn put(&mut self, plate: usize, at_mm: [f64; 2], kg: f64) {
        self.put_all(&[(plate, at_mm, kg)]);
    }

    /// Puts bodies on plates, each some millimetres beside its mark; what stood there before is off.
    pub fn put_all(&mut self, bodies: &[(usize, [f64; 2], f64)]) {
        self.flat.fill(0.0);
        for (plate, at_mm, kg) in bodies {
            let beside = [0, 1].map(|axis| at_mm[axis] + PLACE_SD_MM * self.chance.normal());
            let footprint = self.built.footprint_on(*plate, beside);
            self.add(&footprint, *kg);
        }
        self.press_on_cells();
    }

    /// A hand presses on a place of a plate.
    pub fn press(&mut self, plate: usize, at_mm: [f64; 2], kg: f64) {
        let middle = self.built.plates[plate].in_bed_mm(at_mm);
        let footprint = self.built.footprint(&[Patch::about(middle, [HAND_MM, HAND_MM])]);
        self.flat.fill(0.0);
        self.add(&footprint, kg);
        self.press_on_cells();
    }

    /// Everything is off.
    pub fn take_off(&mut self) {
        self.flat.fill(0.0);
        self.press_on_cells();
    }

    /// What the cells feel of what stands there.
    fn press_on_cells(&mut self) {
        for ((force, flat), section) in self.forces.iter_mut().zip(&self.flat).zip(&self.section_of) {
            *force = flat * self.angles_deg[*section][1].to_radians().cos();
        }
        self.built.lift(&mut self.forces, &self.dead);
    }

    fn add(&mut self, footprint: &crate::built::Footprint, kg: f64) {
        let newton = kg * self.built.calibration_gravity_m_s2;
        self.flat.iter_mut().zip(footprint).for_each(|(f, share)| *f += newton * share);
    }

    /// Counts of all cells, `dt_s` later.
    pub fn next_counts(&mut self, dt_s: f64) -> Vec<f64> {
        let step = Step::new(dt_s, self.built.cells.first().map_or(1.0 / dt_s, |c| c.rate_hz));
        let above_k = self.room_c[1] - REFERENCE_C;
        let cells = self.built.cells.iter().zip(&mut self.states).zip(&self.forces);
        let chance = &mut self.chance;
        cells
            .map(|((cell, state), force)| {
                let output = state.advance(cell, *force, above_k, step.dt_s, chance);
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

    fn mean(bench: &mut LiveBench) -> Vec<f64> {
        let rows: Vec<Vec<f64>> = (0..100).map(|_| bench.next_counts(0.1)).collect();
        (0..rows[0].len()).map(|c| rows.iter().map(|r| r[c]).sum::<f64>() / 100.0).collect()
    }

    /// Statics of the inclined plane: at θ the cells feel cos θ of what they feel flat. The hand's 1.5 mm, creep and hysteresis are some 0.1 %.
    #[test]
    fn a_raised_section_presses_with_its_cosine_and_lies_as_before_once_it_is_down() {
        let deck = formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap();
        let mut bench = LiveBench::new(&deck, 5).unwrap();
        let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| y - x).sum::<f64>();
        let empty = mean(&mut bench);
        let back = deck.sections.iter().position(|s| s.name == "back").unwrap();
        let plate = deck.plates.iter().position(|p| p.section == "back").unwrap();
        bench.put(plate, [375.0, 212.0], 20.0);
        let flat = sum(&empty, &mean(&mut bench));
        let shown = bench.raise(back, 60.0).unwrap();
        assert!((0.005..1.5).contains(&(shown - 60.0).abs()), "a motor stops beside the angle: {shown}");
        assert_eq!(bench.raise(back, 60.0), Some(shown), "it stands there already");
        let raised = sum(&empty, &mean(&mut bench));
        assert!((raised / flat - shown.to_radians().cos()).abs() < 2e-3, "{raised} of {flat} at {shown}°");
        assert_eq!(bench.raise(back, 0.0), Some(0.0));
        let again = sum(&empty, &mean(&mut bench));
        assert!((again / flat - 1.0).abs() < 2e-3, "{again} of {flat}");
        let another = LiveBench::new(&deck, 5).unwrap().raise(back, 60.0);
        assert_eq!(
            (bench.raise(back, 60.0), another),
            (Some(shown), Some(shown)),
            "a stop is a stop, after a power cut too"
        );
        assert_eq!(bench.raise(deck.sections.len(), 10.0), None);
    }

    /// The demo's cells are drawn within their data sheet; a warmer room moves some of their zeros, and coming back brings them back.
    #[test]
    fn a_warmer_room_moves_the_zeros_and_the_usual_one_brings_them_back() {
        let deck = formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap();
        let mut bench = LiveBench::new(&deck, 5).unwrap();
        let usual = mean(&mut bench);
        let shown = bench.bring_to(35.0);
        assert!((shown - 35.0).abs() < 1.0, "{shown}");
        let warm = mean(&mut bench);
        bench.bring_to(BENCH_C);
        let again = mean(&mut bench);
        let most = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| (x - y).abs()).fold(0.0, f64::max);
        assert!(most(&usual, &warm) > 10.0 * most(&usual, &again), "{} {}", most(&usual, &warm), most(&usual, &again));
    }
}
