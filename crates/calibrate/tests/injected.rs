//! Injected faults on 200 simulated decks of 3–9 plates with 3–6 cells: each must be found in 99 % of the runs, under its
//! right name and cell, and a clean run must show one in at most 1 %.

mod common;

use calibrate::{Options, calibrate};
use common::{Simulation, World, normal};
use formats::calibration::{Finding, FindingKind};
use formats::run::{Load, Run};

const N_RUNS: u64 = 200;

/// What a finding must be: its kind and, where one is to be named, its cell.
type Expected = Vec<(FindingKind, Option<String>)>;

/// Runs in which something expected was not found, and runs in which something else was found besides.
struct Tally {
    missed: Vec<u64>,
    besides: Vec<u64>,
}

fn tally(mut inject: impl FnMut(u64, &mut Simulation, &mut Run) -> Expected, forgive: &[FindingKind]) -> Tally {
    let mut tally = Tally { missed: vec![], besides: vec![] };
    for seed in 0..N_RUNS {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let mut run = sim.full_run();
        let expected = inject(seed, &mut sim, &mut run);
        let found = calibrate(&sim.deck, &run, &Options::new("2030-01-01T00:00:00Z")).unwrap().findings;
        let is = |f: &Finding, (kind, cell): &(FindingKind, Option<String>)| f.kind == *kind && f.cell == *cell;
        if !expected.iter().all(|e| found.iter().any(|f| is(f, e))) {
            tally.missed.push(seed);
        }
        if found.iter().any(|f| !expected.iter().any(|e| is(f, e)) && !forgive.contains(&f.kind)) {
            tally.besides.push(seed);
        }
    }
    tally
}

/// 99 % of 200 runs: two may miss. Findings besides are held to 2 % each.
fn assert_found(what: &str, tally: &Tally) {
    assert!(tally.missed.len() <= 2, "{what}: missed in runs {:?}", tally.missed);
    assert!(tally.besides.len() <= 4, "{what}: more than injected in runs {:?}", tally.besides);
}

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

#[test]
fn clean_runs_show_nothing() {
    let t = tally(|_, _, _| vec![], &[]);
    assert!(t.besides.len() <= 2, "findings in clean runs {:?}", t.besides);
}

#[test]
fn reversed() {
    let t = tally(
        |seed, sim, run| {
            let c = any_channel(seed, run);
            run.rows.iter_mut().for_each(|r| r.counts[c] = 2.0 * sim.truth.zero[c] - r.counts[c]);
            vec![named(FindingKind::Reversed, run, c)]
        },
        &[],
    );
    assert_found("reversed", &t);
}

/// A dead cell takes an equation from each row of its plate, so that fellows may truly be left open.
#[test]
fn dead() {
    let t = tally(
        |seed, sim, run| {
            let c = any_channel(seed, run);
            for row in &mut run.rows {
                row.counts[c] = sim.truth.zero[c] + normal(&mut sim.rng, 12.0);
            }
            vec![named(FindingKind::Dead, run, c)]
        },
        &[FindingKind::NotDetermined],
    );
    assert_found("dead", &t);
}

#[test]
fn stuck_at_one_count() {
    let t = tally(
        |seed, _, run| {
            let c = any_channel(seed, run);
            run.rows.iter_mut().for_each(|r| r.counts[c] = 8_388_607.0);
            vec![named(FindingKind::Dead, run, c)]
        },
        &[FindingKind::NotDetermined],
    );
    assert_found("stuck", &t);
}

#[test]
fn swapped_within_a_plate() {
    let t = tally(
        |seed, sim, run| {
            let s = seed as usize;
            let p = s % sim.deck.plates.len();
            let first: usize = sim.deck.plates[..p].iter().map(|p| p.cells.len()).sum();
            let n = sim.deck.plates[p].cells.len();
            let a = 3 * s % n;
            let b = (a + 1 + s % (n - 1)) % n;
            run.rows.iter_mut().for_each(|r| r.counts.swap(first + a, first + b));
            vec![named(FindingKind::Swapped, run, first + a), named(FindingKind::Swapped, run, first + b)]
        },
        &[],
    );
    assert_found("swapped within a plate", &t);
}

#[test]
fn swapped_between_plates() {
    let t = tally(
        |seed, sim, run| {
            let n_first = sim.deck.plates[0].cells.len();
            let a = seed as usize % n_first;
            let b = n_first + seed as usize % (run.cells.len() - n_first);
            run.rows.iter_mut().for_each(|r| r.counts.swap(a, b));
            vec![named(FindingKind::Swapped, run, a), named(FindingKind::Swapped, run, b)]
        },
        &[],
    );
    assert_found("swapped between plates", &t);
}

#[test]
fn noisy() {
    let t = tally(
        |seed, sim, run| {
            let c = any_channel(seed, run);
            run.rows.iter_mut().for_each(|r| r.counts[c] += normal(&mut sim.rng, 5.0 * 12.0));
            vec![named(FindingKind::Noisy, run, c)]
        },
        &[],
    );
    assert_found("noisy", &t);
}

/// 3 % of rated output at mid-range, 60 times the data sheet; at the 5 to 15 kg that a cell bears here it makes 15 to
/// 130 g.
#[test]
fn nonlinear() {
    let t = tally(
        |seed, sim, run| {
            let c = any_channel(seed, run);
            let rated = 50.0 / sim.truth.gain[c];
            for row in &mut run.rows {
                let moved = row.counts[c] - sim.truth.zero[c];
                row.counts[c] += 4.0 * 0.03 * moved * moved / rated;
            }
            vec![named(FindingKind::Nonlinear, run, c)]
        },
        &[],
    );
    assert_found("nonlinear", &t);
}

/// 0.2 kg of something else on the plate.
#[test]
fn outlier_by_mass() {
    let t = tally(
        |seed, sim, run| {
            let i = any_known_row(seed, run);
            let Load::Known { at, .. } = run.rows[i].load.clone() else { unreachable!() };
            let plate = sim.deck.plates.iter().position(|p| p.name == at.plate).unwrap();
            let first: usize = sim.deck.plates[..plate].iter().map(|p| p.cells.len()).sum();
            let n = sim.deck.plates[plate].cells.len();
            for c in first..first + n {
                run.rows[i].counts[c] += 0.2 / n as f64 / sim.truth.gain[c];
            }
            vec![(FindingKind::Outlier, None)]
        },
        &[],
    );
    assert_found("outlier by mass", &t);
}

/// A 20 kg row typed as 5 kg.
#[test]
fn outlier_by_a_wrong_entry() {
    let t = tally(
        |seed, _, run| {
            let i = any_known_row(seed, run);
            if let Load::Known { mass_kg, .. } = &mut run.rows[i].load {
                *mass_kg = 5.0;
            }
            vec![(FindingKind::Outlier, None)]
        },
        &[],
    );
    assert_found("outlier by a wrong entry", &t);
}

/// 30 mm off, places being good to 2 mm.
#[test]
fn outlier_by_place() {
    let t = tally(
        |seed, _, run| {
            let i = any_known_row(seed, run);
            if let Load::Known { at, .. } = &mut run.rows[i].load {
                at.x_mm += 30.0;
            }
            vec![(FindingKind::Outlier, None)]
        },
        &[],
    );
    assert_found("outlier by place", &t);
}

/// One cell jumps by 3000 counts (70 g) in one row, with or without load on its plate.
#[test]
fn outlier_by_a_jump_of_one_cell() {
    let t = tally(
        |seed, _, run| {
            let row = seed as usize * 5 % run.rows.len();
            let c = seed as usize * 11 % run.cells.len();
            run.rows[row].counts[c] += 3000.0;
            vec![(FindingKind::Outlier, None)]
        },
        &[],
    );
    assert_found("outlier by a jump", &t);
}
