//! The chosen placements in the order that saves carrying, and the run that a person fills in.

use super::Plan;
use super::bodies::Body;
use super::candidates::Candidate;
use super::ground::Ground;
use formats::deck::Deck;
use formats::run::{Load, Placement, Row, Run};
use serde::Serialize;

/// A placement of the plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lift {
    /// Its row in the run to fill in, from 1; readings without load have rows too.
    pub step: usize,
    /// Body, as in the column `load`.
    pub load: String,
    /// Its mass, kg; `None`: unknown.
    pub mass_kg: Option<f64>,
    /// What it weighs roughly, kg.
    pub about_kg: f64,
    /// Standard uncertainty of the known mass, g.
    pub u_mass_g: f64,
    /// Pieces that it is made of.
    pub pieces: u32,
    /// Plate.
    pub plate: String,
    /// Place of its middle from the plate's corner, mm.
    pub x_mm: f64,
    /// Place from the plate's corner, mm.
    pub y_mm: f64,
    /// Cells that the plate lifts off by a hair, as the body presses the others down.
    pub lifts_off: Vec<String>,
    /// What it should add to each cell of the plate, kg: more than a few per cent beside it, and something is wrong.
    pub cells_kg: Vec<f64>,
}

/// Readings without load at the start.
const FIRST_ZEROS: usize = 3;

/// A body is carried along the deck once, from plate to plate; the heaviest first, while people are fresh.
pub(crate) fn in_order(ground: &Ground, bodies: &[Body], candidates: &[Candidate], chosen: &[usize]) -> Vec<Lift> {
    let mut chosen: Vec<&Candidate> = chosen.iter().map(|&i| &candidates[i]).collect();
    chosen.sort_by(|a, b| {
        let heavier = bodies[b.body].nominal_kg.total_cmp(&bodies[a.body].nominal_kg);
        heavier.then((a.body, a.put.plate, a.put.place).cmp(&(b.body, b.put.plate, b.put.place)))
    });
    let mut lifts: Vec<Lift> = Vec::with_capacity(chosen.len());
    for candidate in chosen {
        let (body, plate) = (&bodies[candidate.body], &ground.plates[candidate.put.plate]);
        let [x_mm, y_mm] = plate.places[candidate.put.place].at_mm;
        let mut lift = Lift {
            step: 0,
            load: body.label.clone(),
            mass_kg: body.mass_kg,
            about_kg: body.nominal_kg,
            u_mass_g: body.u_kg * 1e3,
            pieces: body.pieces,
            plate: plate.name.clone(),
            x_mm,
            y_mm,
            lifts_off: candidate.put.lifted.iter().map(|&k| plate.cells[k].clone()).collect(),
            cells_kg: candidate.put.loads_kg.clone(),
        };
        lift.step = match lifts.last() {
            None => FIRST_ZEROS + 1,
            Some(before) => before.step + 1 + usize::from(is_zeroed_between(before, &lift)),
        };
        lifts.push(lift);
    }
    lifts
}

/// The deck is read without load where plate or body change.
fn is_zeroed_between(before: &Lift, lift: &Lift) -> bool {
    before.plate != lift.plate || before.load != lift.load
}

/// The run still to be made: readings without load between the placements, counts to be filled in.
#[must_use]
pub fn run_to_fill(deck: &Deck, plan: &Plan) -> Run {
    let mut rows: Vec<Row> = Vec::new();
    let mut push = |load: Load| {
        let n = rows.len() + 1;
        rows.push(Row { line: n + 1, step: n.to_string(), load, temperature_c: None, counts: Vec::new() });
    };
    let mut next = 1;
    for lift in &plan.lifts {
        (next..lift.step).for_each(|_| push(Load::Zero));
        next = lift.step + 1;
        let at = Placement { plate: lift.plate.clone(), x_mm: lift.x_mm, y_mm: lift.y_mm };
        push(match lift.mass_kg {
            Some(mass_kg) => Load::Known { at, mass_kg, u_mass_g: lift.u_mass_g, label: Some(lift.load.clone()) },
            None => Load::Unknown { at, label: lift.load.clone() },
        });
    }
    push(Load::Zero);
    Run { cells: deck.cells().map(|(_, c)| c.name.clone()).collect(), rows }
}
