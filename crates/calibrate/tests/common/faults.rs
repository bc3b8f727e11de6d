//! Faults injected into simulated runs, and what must be found of each. Everything is invented.

use crate::common::{Simulation, World, normal};
use calibrate::{Options, calibrate};
use formats::calibration::{Finding, FindingKind};
use formats::run::{Load, Run};

/// What a finding must be: its kind and, where one is to be named, its cell.
pub(crate) type Expected = Vec<(FindingKind, Option<String>)>;

/// A fault: its name, what it does to a run, and findings besides that are no false alarm.
pub(crate) struct Fault {
    pub(crate) name: &'static str,
    inject: fn(u64, &mut Simulation, &mut Run) -> Expected,
    forgive: &'static [FindingKind],
}

/// Runs in which something expected was not found, and runs in which something else was found besides.
pub(crate) struct Tally {
    pub(crate) missed: Vec<u64>,
    pub(crate) besides: Vec<u64>,
}

impl Fault {
    pub(crate) const fn new(name: &'static str, inject: fn(u64, &mut Simulation, &mut Run) -> Expected) -> Self {
        Self { name, inject, forgive: &[] }
    }

    /// Injects into the runs of seeds 0 to `n_runs`, each on a deck of its own.
    pub(crate) fn tally(&self, n_runs: u64) -> Tally {
        let mut tally = Tally { missed: vec![], besides: vec![] };
        for seed in 0..n_runs {
            let mut sim = Simulation::random(seed, World::PLAIN);
            let mut run = sim.full_run();
            let expected = (self.inject)(seed, &mut sim, &mut run);
            let found = calibrate(&sim.deck, &run, &Options::new("2030-01-01T00:00:00Z"))
                .expect("a run that can be fitted")
                .findings;
            let is = |f: &Finding, (kind, cell): &(FindingKind, Option<String>)| f.kind == *kind && f.cell == *cell;
            if !expected.iter().all(|e| found.iter().any(|f| is(f, e))) {
                tally.missed.push(seed);
            }
            if found.iter().any(|f| !expected.iter().any(|e| is(f, e)) && !self.forgive.contains(&f.kind)) {
                tally.besides.push(seed);
            }
        }
        tally
    }
}

/// A run with nothing wrong.
pub(crate) const SOUND: Fault = Fault::new("nothing", |_, _, _| vec![]);

/// A dead cell takes an equation from each row of its plate, so that fellows may truly be left open.
const OPEN_FELLOWS: &[FindingKind] = &[FindingKind::NotDetermined];

/// All faults.
pub(crate) const FAULTS: [Fault; 11] = [
    Fault::new("reversed", reversed),
    Fault { forgive: OPEN_FELLOWS, ..Fault::new("dead", dead) },
    Fault { forgive: OPEN_FELLOWS, ..Fault::new("stuck at one count", stuck_at_one_count) },
    Fault::new("swapped within a plate", swapped_within_a_plate),
    Fault::new("swapped between plates", swapped_between_plates),
    Fault::new("noisy, 5 times", noisy),
    Fault::new("not straight, 3 % of rated", nonlinear),
    Fault::new("0.2 kg more on the plate", outlier_by_mass),
    Fault::new("20 kg typed as 5 kg", outlier_by_a_wrong_entry),
    Fault::new("30 mm off its place", outlier_by_place),
    Fault::new("a jump of one cell by 3000 counts", outlier_by_a_jump_of_one_cell),
];

fn named(kind: FindingKind, run: &Run, channel: usize) -> (FindingKind, Option<String>) {
    (kind, Some(run.cells[channel].clone()))
}

fn any_channel(seed: u64, run: &Run) -> usize {
    seed as usize % run.cells.len()
}

/// Index in the run of one of the rows with a known mass.
fn any_known_row(seed: u64, run: &Run) -> usize {
    let known: Vec<usize> = (0..run.rows.len()).filter(|&i| matches!(run.rows[i].load, Load::Known { .. })).collect();
    known[seed as usize * 5 % known.len()]
}

fn reversed(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let c = any_channel(seed, run);
    run.rows.iter_mut().for_each(|r| r.counts[c] = 2.0 * sim.truth.zero[c] - r.counts[c]);
    vec![named(FindingKind::Reversed, run, c)]
}

fn dead(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let c = any_channel(seed, run);
    for row in &mut run.rows {
        row.counts[c] = sim.truth.zero[c] + normal(&mut sim.rng, 12.0);
    }
    vec![named(FindingKind::Dead, run, c)]
}

fn stuck_at_one_count(seed: u64, _: &mut Simulation, run: &mut Run) -> Expected {
    let c = any_channel(seed, run);
    run.rows.iter_mut().for_each(|r| r.counts[c] = 8_388_607.0);
    vec![named(FindingKind::Dead, run, c)]
}

fn swapped_within_a_plate(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let s = seed as usize;
    let p = s % sim.deck.plates.len();
    let first: usize = sim.deck.plates[..p].iter().map(|p| p.cells.len()).sum();
    let n = sim.deck.plates[p].cells.len();
    let a = 3 * s % n;
    let b = (a + 1 + s % (n - 1)) % n;
    run.rows.iter_mut().for_each(|r| r.counts.swap(first + a, first + b));
    vec![named(FindingKind::Swapped, run, first + a), named(FindingKind::Swapped, run, first + b)]
}

fn swapped_between_plates(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let n_first = sim.deck.plates[0].cells.len();
    let a = seed as usize % n_first;
    let b = n_first + seed as usize % (run.cells.len() - n_first);
    run.rows.iter_mut().for_each(|r| r.counts.swap(a, b));
    vec![named(FindingKind::Swapped, run, a), named(FindingKind::Swapped, run, b)]
}

fn noisy(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let c = any_channel(seed, run);
    run.rows.iter_mut().for_each(|r| r.counts[c] += normal(&mut sim.rng, 5.0 * 12.0));
    vec![named(FindingKind::Noisy, run, c)]
}

/// 3 % of rated output at mid-range, 60 times the data sheet; at the 5 to 15 kg that a cell bears here it makes 15 to
/// 130 g.
fn nonlinear(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let c = any_channel(seed, run);
    let rated = 50.0 / sim.truth.gain[c];
    for row in &mut run.rows {
        let moved = row.counts[c] - sim.truth.zero[c];
        row.counts[c] += 4.0 * 0.03 * moved * moved / rated;
    }
    vec![named(FindingKind::Nonlinear, run, c)]
}

/// 0.2 kg of something else on the plate.
fn outlier_by_mass(seed: u64, sim: &mut Simulation, run: &mut Run) -> Expected {
    let i = any_known_row(seed, run);
    let Load::Known { at, .. } = run.rows[i].load.clone() else { unreachable!() };
    let plate = sim.deck.plates.iter().position(|p| p.name == at.plate).unwrap();
    let first: usize = sim.deck.plates[..plate].iter().map(|p| p.cells.len()).sum();
    let n = sim.deck.plates[plate].cells.len();
    for c in first..first + n {
        run.rows[i].counts[c] += 0.2 / n as f64 / sim.truth.gain[c];
    }
    vec![(FindingKind::Outlier, None)]
}

/// A 20 kg row typed as 5 kg.
fn outlier_by_a_wrong_entry(seed: u64, _: &mut Simulation, run: &mut Run) -> Expected {
    let i = any_known_row(seed, run);
    if let Load::Known { mass_kg, .. } = &mut run.rows[i].load {
        *mass_kg = 5.0;
    }
    vec![(FindingKind::Outlier, None)]
}

/// 30 mm off, places being good to 2 mm.
fn outlier_by_place(seed: u64, _: &mut Simulation, run: &mut Run) -> Expected {
    let i = any_known_row(seed, run);
    if let Load::Known { at, .. } = &mut run.rows[i].load {
        at.x_mm += 30.0;
    }
    vec![(FindingKind::Outlier, None)]
}

/// One cell jumps by 3000 counts (70 g) in one row, with or without load on its plate.
fn outlier_by_a_jump_of_one_cell(seed: u64, _: &mut Simulation, run: &mut Run) -> Expected {
    let row = seed as usize * 5 % run.rows.len();
    let c = seed as usize * 11 % run.cells.len();
    run.rows[row].counts[c] += 3000.0;
    vec![(FindingKind::Outlier, None)]
}
