//! Broken cells, placements that leave cells open, and runs that cannot be fitted.

mod common;

use calibrate::{CalibrateError, Options, calibrate};
use common::{Simulation, World};
use formats::calibration::{Calibration, CellStatus, FindingKind};
use formats::run::{Load, Run};

fn fit(sim: &Simulation, run: &Run) -> Calibration {
    calibrate(&sim.deck, run, &Options::new("2030-01-01T00:00:00Z")).unwrap()
}

fn kinds_of<'a>(result: &'a Calibration, cell: &'a str) -> Vec<FindingKind> {
    result.findings.iter().filter(|f| f.cell.as_deref() == Some(cell)).map(|f| f.kind).collect()
}

/// Mirrors a channel's counts about its zero: the cell pulls where it should press.
fn reverse(sim: &mut Simulation, run: &mut Run, channel: usize) {
    let zero = sim.truth.zero[channel];
    for row in &mut run.rows {
        row.counts[channel] = 2.0 * zero - row.counts[channel];
    }
    sim.truth.gain[channel] = -sim.truth.gain[channel];
}

#[test]
fn a_reversed_cell_is_named_alone_and_its_gain_still_found() {
    for seed in 0..100 {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let mut run = sim.run();
        let channel = seed as usize % run.cells.len();
        reverse(&mut sim, &mut run, channel);
        let result = fit(&sim, &run);
        let name = &run.cells[channel];
        assert_eq!(result.findings.len(), 1, "seed {seed}: {:?}", result.findings);
        assert_eq!(kinds_of(&result, name), [FindingKind::Reversed], "seed {seed}");
        let cell = &result.cells[channel];
        assert_eq!(cell.status, CellStatus::Suspect);
        let (k, u) = (cell.kg_per_count.unwrap(), cell.u_kg_per_count.unwrap());
        assert!(k < 0.0 && (k - sim.truth.gain[channel]).abs() < 5.0 * u, "seed {seed}");
    }
}

#[test]
fn a_dead_cell_is_named_and_spoils_no_other_plate() {
    for seed in 0..100 {
        let mut sim = Simulation::random(seed, World::PLAIN);
        let mut run = sim.run();
        let channel = seed as usize * 7 % run.cells.len();
        for row in &mut run.rows {
            row.counts[channel] = sim.truth.zero[channel] + common::normal(&mut sim.rng, 12.0);
        }
        let result = fit(&sim, &run);
        let name = run.cells[channel].clone();
        assert_eq!(kinds_of(&result, &name), [FindingKind::Dead], "seed {seed}: {:?}", result.findings);
        assert_eq!(result.cells[channel].kg_per_count, None);
        assert_eq!(result.cells[channel].status, CellStatus::NotDetermined);
        let plate = sim.deck.cells().nth(channel).unwrap().0;
        for (c, (p, cell)) in sim.deck.cells().enumerate() {
            if p != plate {
                assert_eq!(kinds_of(&result, &cell.name), [], "seed {seed}");
                let (k, u) = (result.cells[c].kg_per_count.unwrap(), result.cells[c].u_kg_per_count.unwrap());
                assert!((k - sim.truth.gain[c]).abs() < 5.0 * u, "seed {seed}");
            }
        }
    }
}

#[test]
fn a_plate_without_load_is_reported_not_guessed() {
    let mut sim = Simulation::random(3, World::PLAIN);
    let mut run = sim.run();
    let bare = sim.deck.plates[1].clone();
    run.rows.retain(|r| match &r.load {
        Load::Known { at, .. } | Load::Unknown { at, .. } => at.plate != bare.name,
        Load::Zero => true,
    });
    let result = fit(&sim, &run);
    assert_eq!(result.findings.len(), bare.cells.len());
    for cell in &bare.cells {
        assert_eq!(kinds_of(&result, &cell.name), [FindingKind::NotDetermined]);
        let line = result.cells.iter().find(|c| c.name == cell.name).unwrap();
        assert_eq!((line.kg_per_count, line.u_kg_per_count), (None, None));
        assert!(line.zero_counts.is_some(), "its zero was read all the same");
    }
    let text = &result.findings[0].text;
    assert!(text.contains(&bare.name) && text.contains("no row loads"), "{text}");
}

/// Loads in the middle alone say what the cells weigh together and no more, where the plate always shares them alike.
/// (A play of 2 mm, or self-stress, already tells cells apart to some per cent.)
#[test]
fn loads_in_the_middle_alone_leave_the_cells_open() {
    let mut sim = Simulation::random(5, World { self_stress: 0.0, position_mm: 0.0, ..World::PLAIN });
    let mut run = Run { cells: sim.deck.cells().map(|(_, c)| c.name.clone()).collect(), rows: vec![] };
    for _ in 0..6 {
        sim.zero(&mut run);
        for p in 0..sim.deck.plates.len() {
            sim.known(&mut run, p, (0.5, 0.5));
        }
    }
    let result = fit(&sim, &run);
    for (plate, _) in sim.deck.cells().filter(|(p, _)| sim.deck.plates[*p].cells.len() > 3) {
        for cell in &sim.deck.plates[plate].cells {
            assert_eq!(kinds_of(&result, &cell.name), [FindingKind::NotDetermined], "{:?}", sim.deck.plates[plate]);
        }
    }
}

#[test]
fn an_unknown_body_alone_on_its_plate_is_not_found() {
    let mut sim = Simulation::random(8, World::PLAIN);
    let mut run = sim.run();
    run.rows.retain(|r| match &r.load {
        Load::Known { at, .. } => at.plate != "p0",
        Load::Unknown { at, .. } => at.plate == "p0",
        Load::Zero => true,
    });
    let result = fit(&sim, &run);
    assert!(result.loads.is_empty(), "{:?}", result.loads);
    assert!(result.findings.iter().any(|f| f.cell.is_none() && f.text.contains("\"can\"")));
}

fn error(change: impl FnOnce(&mut Simulation, &mut Run)) -> CalibrateError {
    let mut sim = Simulation::random(1, World::PLAIN);
    let mut run = sim.run();
    change(&mut sim, &mut run);
    calibrate(&sim.deck, &run, &Options::new("2030-01-01T00:00:00Z")).unwrap_err()
}

#[test]
fn runs_that_cannot_be_fitted_say_why() {
    let no_zero = error(|_, run| run.rows.retain(|r| r.load != Load::Zero));
    assert_eq!(no_zero, CalibrateError::NoZeroReading);
    let no_mass = error(|_, run| run.rows.retain(|r| !matches!(r.load, Load::Known { .. })));
    assert_eq!(no_mass, CalibrateError::NoKnownMass);
    let nan = error(|_, run| run.rows[6].counts[2] = f64::NAN);
    assert!(matches!(nan, CalibrateError::BadNumber { line: 8, what: "a count", .. }), "{nan}");
    let other = error(|_, run| run.cells[1] = "stranger".to_owned());
    assert!(other.to_string().contains("stranger"), "{other}");
    let short = error(|_, run| run.rows[3].counts.truncate(1));
    assert!(matches!(short, CalibrateError::OtherCells { .. }), "{short}");
    let negative = error(|_, run| {
        if let Load::Known { mass_kg, .. } = &mut run.rows[4].load {
            *mass_kg = -20.0;
        }
    });
    assert!(negative.to_string().contains("line 6: mass_kg is -20"), "{negative}");
    let plate = error(|sim, _| sim.deck.plates[0].name = "elsewhere".to_owned());
    assert!(matches!(plate, CalibrateError::UnknownPlate { line: 6, .. }), "{plate}");
}

#[test]
fn options_out_of_range_are_refused() {
    let mut sim = Simulation::random(1, World::PLAIN);
    let run = sim.run();
    for options in [
        Options { u_position_mm: Some(-1.0), ..Options::new("") },
        Options { max_relative_u: 0.0, ..Options::new("") },
        Options { max_relative_u: f64::NAN, ..Options::new("") },
    ] {
        assert!(matches!(calibrate(&sim.deck, &run, &options), Err(CalibrateError::BadOption { .. })), "{options:?}");
    }
}
