//! A calibration run: zero readings, few masses in many places, and a water can that nobody has weighed.
//!
//! Places lie within the hull of each plate's cells, where a load cannot tip the plate: over the middle of the cells, near
//! each cell, and between neighbours. Loads are put down by hand, some millimetres beside the mark; the file holds the mark.

use formats::deck::{Deck, Plate};
use formats::run::{Load, Placement, Row, Run};
use serde::Serialize;

use super::Workbench;
pub use super::fault::BenchFault;
use super::fault::{cell_index, with_faults};
use crate::built::{BuiltDeck, Patch};
use crate::cell::{CellSpread, CellTruth};
use crate::chance::Chance;
use crate::error::TwinError;

/// A mass at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Mass {
    /// Its name.
    pub label: String,
    /// Conventional mass as stated, kg.
    pub mass_kg: f64,
    /// Standard uncertainty, g.
    pub u_g: f64,
}

/// How a run is made.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchOptions {
    /// The masses, each put on every place of its share; at least one.
    pub masses: Vec<Mass>,
    /// True mass of the water can, kg; `None`: no can.
    pub can_kg: Option<f64>,
    /// Standard deviation of where a load is put down, mm, each way.
    pub place_sd_mm: f64,
    /// Wait before a reading, s.
    pub settle_s: f64,
    /// Length of a reading, s.
    pub reading_s: f64,
    /// Mean temperature of the bench, °C.
    pub temperature_c: f64,
    /// How far the room swings about it during the run, up and down again, °C.
    pub swing_c: f64,
    /// Faults.
    pub faults: Vec<BenchFault>,
    /// What the sheets leave out.
    pub spread: CellSpread,
}

impl Default for BenchOptions {
    /// One 20 kg and one 10 kg mass of class M1 (permissible error 1.0 g and 0.5 g: OIML R 111-1:2004, table 1), a water
    /// can, careful hands.
    fn default() -> Self {
        let m1 =
            |label: &str, mass_kg: f64, limit_g: f64| Mass { label: label.into(), mass_kg, u_g: limit_g / 3f64.sqrt() };
        Self {
            masses: vec![m1("20 kg", 20.0, 1.0), m1("10 kg", 10.0, 0.5)],
            can_kg: Some(18.6),
            place_sd_mm: 1.5,
            settle_s: 25.0,
            reading_s: 10.0,
            temperature_c: 21.0,
            swing_c: 0.15,
            faults: Vec::new(),
            spread: CellSpread::default(),
        }
    }
}

/// A run with its truth.
#[derive(Debug, Clone)]
pub struct BenchRun {
    /// The run.
    pub run: Run,
    /// What is true.
    pub truth: BenchTruth,
}

/// The truth of a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BenchTruth {
    /// Number that all draws follow from.
    pub seed: u64,
    /// Cells, faults included.
    pub cells: Vec<TrueLine>,
    /// True masses by label, kg.
    pub masses_kg: Vec<(String, f64)>,
    /// True mass of the can, kg.
    pub can_kg: Option<f64>,
    /// What is wrong on purpose.
    pub faults: Vec<BenchFault>,
}

/// A cell's true line at small loads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueLine {
    /// Name.
    pub name: String,
    /// Counts without load.
    pub zero_counts: f64,
    /// Kilograms a count at the calibration's gravity and temperature, without bow and creep; 0 of a dead cell.
    pub kg_per_count: f64,
    /// Counts by which the zero rises for a degree.
    pub zero_counts_per_c: f64,
    /// Share by which the counts for a kilogram rise for a degree, 1/°C.
    pub span_per_c: f64,
}

/// Makes a calibration run of a deck; the cells are those that [`BuiltDeck::build`] draws from the same number.
///
/// # Errors
/// A deck that cannot be computed, a fault at a cell that it does not have, no mass.
pub fn bench_run(deck: &Deck, seed: u64, options: &BenchOptions) -> Result<BenchRun, TwinError> {
    let built = BuiltDeck::build(deck, &options.spread, seed)?;
    bench_run_of(deck, &built, seed, options)
}

/// The same for a deck that is built already.
///
/// # Errors
/// A fault at a cell that the deck does not have, no mass.
pub fn bench_run_of(deck: &Deck, built: &BuiltDeck, seed: u64, options: &BenchOptions) -> Result<BenchRun, TwinError> {
    if options.masses.is_empty() {
        return Err(TwinError::Range { what: "number of masses".into(), found: 0.0, expected: "1 or more".into() });
    }
    Taker::make(built, seed, options, |taker| {
        // A mass lies within its permissible error.
        let masses_kg: Vec<f64> = options.masses.iter().map(|m| m.mass_kg + taker.error_kg(m.u_g)).collect();
        taker.whole_run(deck, &masses_kg);
        Ok(options.masses.iter().map(|m| m.label.clone()).zip(masses_kg).collect())
    })
}

fn true_line(cell: &CellTruth, gravity_m_s2: f64, temperature_c: f64) -> TrueLine {
    let above_k = temperature_c - crate::cell::REFERENCE_C;
    let per_kg = cell.counts_per_newton * gravity_m_s2 * (1.0 + cell.span_per_k * above_k);
    TrueLine {
        name: cell.name.clone(),
        zero_counts: cell.zero_counts + cell.zero_newton_per_k * above_k * cell.counts_per_newton,
        kg_per_count: if per_kg.abs() > 0.0 { 1.0 / per_kg } else { 0.0 },
        zero_counts_per_c: cell.zero_newton_per_k * cell.counts_per_newton,
        span_per_c: cell.span_per_k,
    }
}

/// The person who takes the readings.
pub(super) struct Taker<'a> {
    built: &'a BuiltDeck,
    bench: Workbench<'a>,
    options: &'a BenchOptions,
    chance: Chance,
    rows: Vec<Row>,
    n_loaded: usize,
}

/// Size of a load's foot, mm.
const FOOT_MM: f64 = 150.0;
/// Zero readings at the start.
const FIRST_ZEROS: usize = 4;

impl Taker<'_> {
    /// A run on a deck with the faults of `options`; `readings` takes them and says what each body truly weighs.
    pub(super) fn make(
        built: &BuiltDeck,
        seed: u64,
        options: &BenchOptions,
        readings: impl FnOnce(&mut Taker) -> Result<Vec<(String, f64)>, TwinError>,
    ) -> Result<BenchRun, TwinError> {
        let faulty = BuiltDeck { cells: with_faults(&built.cells, &options.faults)?, ..built.clone() };
        let chance = Chance::stream(seed, "bench");
        let bench = Workbench::new(&faulty, built.calibration_gravity_m_s2, Chance::stream(seed, "bench cells"));
        let mut taker = Taker { built: &faulty, bench, options, chance, rows: Vec::new(), n_loaded: 0 };
        let masses_kg = readings(&mut taker)?;
        let mut rows = taker.rows;
        for fault in &options.faults {
            if let BenchFault::Swapped { cell, with } = fault {
                let (a, b) = (cell_index(built, cell)?, cell_index(built, with)?);
                rows.iter_mut().for_each(|row| row.counts.swap(a, b));
            }
        }
        let line = |c| true_line(c, built.calibration_gravity_m_s2, options.temperature_c);
        let truth = BenchTruth {
            seed,
            cells: faulty.cells.iter().map(line).collect(),
            masses_kg,
            can_kg: options.can_kg,
            faults: options.faults.clone(),
        };
        Ok(BenchRun { run: Run { cells: built.cells.iter().map(|c| c.name.clone()).collect(), rows }, truth })
    }

    /// Error of a mass of standard uncertainty `u_g`, drawn evenly within its permissible error, kg.
    pub(super) fn error_kg(&mut self, u_g: f64) -> f64 {
        self.chance.within(u_g * 3f64.sqrt()) / 1000.0
    }

    fn whole_run(&mut self, deck: &Deck, masses_kg: &[f64]) {
        for _ in 0..FIRST_ZEROS {
            self.reading(Load::Zero, &[]);
        }
        for (index, plate) in deck.plates.iter().enumerate() {
            for (mass, stated) in self.options.masses.iter().enumerate() {
                for at_mm in places(plate) {
                    let load = Load::Known {
                        at: placement(plate, at_mm),
                        mass_kg: stated.mass_kg,
                        u_mass_g: round_to(stated.u_g, 1e3),
                        label: Some(stated.label.clone()),
                    };
                    self.put(index, at_mm, masses_kg[mass], load);
                }
            }
            if let Some(can_kg) = self.options.can_kg {
                for at_mm in places(plate).into_iter().take(3) {
                    let load = Load::Unknown { at: placement(plate, at_mm), label: "water can".into() };
                    self.put(index, at_mm, can_kg, load);
                }
            }
            self.reading(Load::Zero, &[]);
        }
    }

    pub(super) fn put(&mut self, plate: usize, mark_mm: [f64; 2], kg: f64, load: Load) {
        let sd = self.options.place_sd_mm;
        let beside = [0, 1].map(|axis| mark_mm[axis] + sd * self.chance.normal());
        let built = &self.built.plates[plate];
        let patch = Patch::about(built.in_bed_mm(beside), [FOOT_MM, FOOT_MM]);
        let footprint = self.built.footprint(&[patch]);
        let mut bodies = vec![(kg, &footprint)];
        for fault in &self.options.faults {
            if let BenchFault::Outlier { reading, kg } = fault
                && *reading == self.n_loaded
            {
                bodies.push((*kg, &footprint));
            }
        }
        self.n_loaded += 1;
        self.reading(load, &bodies);
    }

    pub(super) fn reading(&mut self, load: Load, bodies: &[(f64, &crate::built::Footprint)]) {
        // The room swings slowly; the sensor shows tenths.
        let drift = self.options.swing_c * (self.rows.len() as f64 / 25.0).sin();
        self.bench.temperature_c = self.options.temperature_c + drift;
        self.bench.load(bodies, self.options.settle_s);
        let counts = self.bench.read(self.options.reading_s).into_iter().map(|c| round_to(c, 10.0)).collect();
        let n = self.rows.len() + 1;
        self.rows.push(Row {
            line: n + 1,
            step: n.to_string(),
            load,
            temperature_c: Some(round_to(self.bench.temperature_c, 10.0)),
            counts,
        });
    }
}

fn round_to(x: f64, per_unit: f64) -> f64 {
    (x * per_unit).round() / per_unit
}

fn placement(plate: &Plate, at_mm: [f64; 2]) -> Placement {
    Placement { plate: plate.name.clone(), x_mm: at_mm[0], y_mm: at_mm[1] }
}

/// Marks on a plate: the middle of its cells, near each of them, and between neighbours, rounded to 5 mm.
pub(crate) fn places(plate: &Plate) -> Vec<[f64; 2]> {
    let n = plate.cells.len();
    let middle = [0, 1].map(|axis| plate.cells.iter().map(|c| c.at_mm[axis]).sum::<f64>() / n as f64);
    let mark = |to: [f64; 2], share: f64| {
        [0, 1].map(|axis| {
            let x = middle[axis] + share * (to[axis] - middle[axis]);
            // The foot stays on the plate.
            ((x / 5.0).round() * 5.0).clamp(FOOT_MM / 2.0, (plate.size_mm[axis] - FOOT_MM / 2.0).max(FOOT_MM / 2.0))
        })
    };
    let mut around: Vec<[f64; 2]> = plate.cells.iter().map(|c| c.at_mm).collect();
    let angle = |p: &[f64; 2]| (p[1] - middle[1]).atan2(p[0] - middle[0]);
    around.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    let mut marks = vec![mark(middle, 0.0)];
    marks.extend(around.iter().map(|c| mark(*c, 0.85)));
    marks.extend((0..n).map(|i| {
        let (a, b) = (around[i], around[(i + 1) % n]);
        mark([0, 1].map(|axis| f64::midpoint(a[axis], b[axis])), 0.9)
    }));
    marks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn deck() -> Deck {
        formats::deck::read("deck.toml", crate::demo::DECK_TOML).unwrap()
    }

    fn ideal() -> BenchOptions {
        BenchOptions { spread: CellSpread::ideal(), place_sd_mm: 0.0, ..BenchOptions::default() }
    }

    /// Loads as the true lines of the cells give them, row by row.
    fn weighed_kg(run: &BenchRun) -> Vec<f64> {
        run.run
            .rows
            .iter()
            .map(|row| {
                let cells = run.truth.cells.iter().zip(&row.counts);
                cells.map(|(c, counts)| (counts - c.zero_counts) * c.kg_per_count).sum()
            })
            .collect()
    }

    fn true_kg(run: &BenchRun, row: &Row) -> f64 {
        match &row.load {
            Load::Zero => 0.0,
            Load::Known { label, .. } => {
                run.truth.masses_kg.iter().find(|m| Some(&m.0) == label.as_ref()).map_or(f64::NAN, |m| m.1)
            }
            Load::Unknown { .. } => run.truth.can_kg.unwrap_or(f64::NAN),
        }
    }

    #[test]
    fn ideal_cells_add_up_to_the_load_in_every_row() {
        let run = bench_run(&deck(), 3, &ideal()).unwrap();
        assert!(run.run.rows.len() > 60);
        for (row, kg) in run.run.rows.iter().zip(weighed_kg(&run)) {
            // Noise: 60 nV over 100 conversions is 0.08 g a cell, 0.3 g for 18; four of these.
            assert!((kg - true_kg(&run, row)).abs() < 1.4e-3, "step {}: {kg}", row.step);
        }
    }

    #[test]
    fn real_cells_stay_within_their_sheets() {
        let run = bench_run(&deck(), 3, &BenchOptions::default()).unwrap();
        for (row, kg) in run.run.rows.iter().zip(weighed_kg(&run)) {
            // 20 kg on 60 kg cells of 0.02 %: a bow of up to 4·12 g·u(1−u), u ≤ 1/3, 11 g, and 4 g each of the others.
            assert!((kg - true_kg(&run, row)).abs() < 0.025, "step {}: {kg}", row.step);
        }
    }

    #[test]
    fn masses_lie_within_their_permissible_errors_and_vary() {
        let errors: Vec<f64> =
            (0..20).map(|seed| bench_run(&deck(), seed, &ideal()).unwrap().truth.masses_kg[0].1 - 20.0).collect();
        assert!(errors.iter().all(|e| e.abs() <= 1.0e-3) && errors.iter().any(|e| e.abs() > 2e-4));
    }

    #[test]
    fn faults_show_in_the_counts() {
        let faults = vec![
            BenchFault::Reversed { cell: "B2".into() },
            BenchFault::Dead { cell: "S1".into() },
            BenchFault::Swapped { cell: "L1".into(), with: "L4".into() },
        ];
        let sound = bench_run(&deck(), 3, &ideal()).unwrap();
        let faulty = bench_run(&deck(), 3, &BenchOptions { faults, ..ideal() }).unwrap();
        let index = |name: &str| sound.run.cells.iter().position(|c| c == name).unwrap();
        let swing = |run: &BenchRun, name: &str| {
            let counts: Vec<f64> = run.run.rows.iter().map(|r| r.counts[index(name)]).collect();
            let zero = counts[0];
            counts.iter().map(|c| c - zero).fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a })
        };
        assert!(swing(&sound, "B2") > 1e4 && swing(&faulty, "B2") < -1e4);
        assert!(swing(&faulty, "S1").abs() < 1e3);
        let row = |run: &BenchRun, name: &str| run.run.rows.iter().map(|r| r.counts[index(name)]).collect::<Vec<_>>();
        assert_eq!(row(&sound, "L1"), row(&faulty, "L4"));
        let wrong =
            bench_run(&deck(), 3, &BenchOptions { faults: vec![BenchFault::Dead { cell: "X".into() }], ..ideal() });
        assert!(matches!(wrong, Err(TwinError::Unknown { .. })));
    }

    #[test]
    fn a_run_is_read_back_as_it_was_written() {
        let (deck, run) = (deck(), bench_run(&deck(), 5, &BenchOptions::default()).unwrap().run);
        let text = formats::run::write(&run);
        assert_eq!(formats::run::read("run.csv", &text, &deck).unwrap(), run);
    }
}
