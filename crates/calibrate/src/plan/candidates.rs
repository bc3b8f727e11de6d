//! What may be put where: bodies on places, as far as cells, plate and its clearance bear them.

use super::bodies::Body;
use super::ground::{Ground, PlateGround};
use super::options::{PlanError, PlanOptions};
use super::reading::{Put, Reading};

/// A body on a place.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Candidate {
    pub(crate) body: usize,
    pub(crate) put: Put,
    pub(crate) reading: Reading,
}

/// Part of the clearance that a body may use up: a built gap is not exactly as drawn, and a plate that touches is wrong.
const CLEARANCE_SHARE: f64 = 0.8;

/// Why a body may not stand on a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Refusal {
    Bound,
    Capacity,
    Tips,
    Touch,
}

impl Refusal {
    fn words(self) -> &'static str {
        match self {
            Self::Bound => "the bound set for a plate",
            Self::Capacity => "a cell's capacity",
            Self::Tips => "the plate would tip",
            Self::Touch => "its clearance: the plate would touch its base",
        }
    }
}

/// All candidates, plate by plate.
pub(crate) fn candidates(
    ground: &Ground,
    bodies: &[Body],
    options: &PlanOptions,
    notes: &mut Vec<String>,
) -> Result<Vec<Candidate>, PlanError> {
    let n = ground.n_cells();
    let mut all = Vec::new();
    for (p, plate) in ground.plates.iter().enumerate() {
        let before = all.len();
        let mut refusal = Refusal::Bound;
        for (b, body) in bodies.iter().enumerate() {
            for place in 0..plate.places.len() {
                match allowed(ground, p, place, body, options) {
                    Err(why) => refusal = refusal.max(why),
                    Ok(put) => {
                        let reading = Reading::new(ground, &put, n + b);
                        all.extend(reading.map(|reading| Candidate { body: b, put, reading }));
                    }
                }
            }
        }
        if all.len() == before {
            let lightest_kg = bodies.iter().map(|b| b.nominal_kg).fold(f64::INFINITY, f64::min);
            return Err(PlanError::NoPlace { plate: plate.name.clone(), lightest_kg, why: refusal.words() });
        }
    }
    if !all.iter().any(|c| bodies[c.body].mass_kg.is_some()) {
        return Err(PlanError::NoPlaceForKnown);
    }
    let stands = |b: usize| all.iter().any(|c| c.body == b);
    let left_out: Vec<&str> = (0..bodies.len()).filter(|b| !stands(*b)).map(|b| bodies[b].label.as_str()).collect();
    if !left_out.is_empty() {
        notes.push(format!("Too heavy for every plate, so left out: {}.", left_out.join(", ")));
    }
    Ok(all)
}

/// A body on a place, where all bear it.
fn allowed(ground: &Ground, p: usize, place: usize, body: &Body, options: &PlanOptions) -> Result<Put, Refusal> {
    let (plate, kg): (&PlateGround, f64) = (&ground.plates[p], body.nominal_kg);
    if options.plate_kg.is_some_and(|most| kg > most) {
        return Err(Refusal::Bound);
    }
    let put = Put::new(ground, p, place, kg).ok_or(Refusal::Tips)?;
    let totals = put.loads_kg.iter().zip(&plate.dead_kg).map(|(load, dead)| load + dead);
    if totals.zip(&plate.capacity_kg).any(|(total, most)| total > *most) {
        return Err(Refusal::Capacity);
    }
    if plate.places[place].sag_mm_kg * kg > CLEARANCE_SHARE * plate.clearance_mm {
        return Err(Refusal::Touch);
    }
    Ok(put)
}

impl Candidate {
    /// The same placement on other ground.
    pub(crate) fn on(&self, ground: &Ground) -> Self {
        let column = ground.n_cells() + self.body;
        let reading = Reading::new(ground, &self.put, column).unwrap_or_else(|| self.reading.clone());
        Self { reading, ..self.clone() }
    }
}
