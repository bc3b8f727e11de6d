//! Every plate under every load case: deflection, reactions, stress.
//!
//! Besides the deck's own cases each plate bears the usual load, from which the error budget takes how a weight is shared
//! among the cells: the first patient of the deck's cases lying flat without a mattress, or an even load where there is none.

use deck::chain::{capacity_newton, cell_type};
use deck::loads::{self, CaseLoad, PlateLoad};
use deck::model::{Model, model};
use deck::stack::{demand_pa, material};
use deck::units::{MM, MPA};
use formats::deck::{Deck, LoadCase, PatientLoad, Plate};
use plates::Solution;

use crate::DesignError;
use crate::report::{CaseReport, CellReport, LayerReport, PlateReport};

/// Points of a heat map along x and y.
const MAP_POINTS: [usize; 2] = [37, 23];

/// How a weight lies on the cells of the deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// Mass of the load, kg.
    pub mass_kg: f64,
    /// Share of each cell, in the order of the file; they add up to 1 less what is shunted.
    pub shares: Vec<f64>,
    /// Slope of the plate at each cell under that load, rad.
    pub slopes_rad: Vec<f64>,
    /// Mass on each section, kg.
    pub section_kg: Vec<f64>,
    /// Share of the load that passes the cells by.
    pub shunted: f64,
}

/// All plates under all cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Bent {
    /// A report a plate; their masses are filled in by the bill.
    pub plates: Vec<PlateReport>,
    /// The usual load.
    pub usual: Usual,
    /// What was found while the loads were spread.
    pub notes: Vec<String>,
}

/// Bends all plates.
///
/// # Errors
/// A deck that cannot be turned into physics.
pub fn bend(deck: &Deck) -> Result<Bent, DesignError> {
    let mut cases: Vec<CaseLoad> =
        deck.load_cases.iter().map(|case| loads::spread(deck, case)).collect::<Result<_, _>>()?;
    let notes = deck.load_cases.iter().zip(&cases).flat_map(|(case, load)| notes(case, load)).collect();
    cases.push(loads::spread(deck, &usual_case(deck))?);
    let mut plates = Vec::with_capacity(deck.plates.len());
    let mut usual = Usual::empty(deck, cases.last());
    for (index, plate) in deck.plates.iter().enumerate() {
        let on_plate: Vec<&PlateLoad> = cases.iter().map(|c| &c.plates[index]).collect();
        let model = model(deck, plate)?;
        let solver_cases: Vec<plates::LoadCase> = on_plate.iter().map(|l| l.loads.clone()).collect();
        let solutions = plates::solve(&model.plate, &solver_cases)
            .map_err(|source| deck::DeckError::Plate { plate: plate.name.clone(), source })?;
        let reports = deck
            .load_cases
            .iter()
            .zip(&on_plate)
            .zip(&solutions)
            .map(|((case, load), solution)| describe(deck, plate, &model, case, load, solution))
            .collect::<Result<Vec<_>, DesignError>>()?;
        if let Some(solution) = solutions.last() {
            usual.add(solution, deck::gravity_m_s2(&deck.site));
        }
        plates.push(PlateReport { name: plate.name.clone(), mass_kg: 0.0, cases: reports });
    }
    Ok(Bent { plates, usual, notes })
}

impl Usual {
    fn empty(deck: &Deck, load: Option<&CaseLoad>) -> Self {
        let mut section_kg = vec![0.0; deck.sections.len()];
        let on_plates = load.map_or(&[][..], |l| &l.plates);
        for (plate, on) in deck.plates.iter().zip(on_plates) {
            if let Some(section) = deck.sections.iter().position(|s| s.name == plate.section) {
                section_kg[section] += on.mass_kg;
            }
        }
        Usual {
            mass_kg: load.map_or(0.0, CaseLoad::mass_kg),
            shares: Vec::new(),
            slopes_rad: Vec::new(),
            section_kg,
            shunted: 0.0,
        }
    }

    fn add(&mut self, solution: &Solution, gravity_m_s2: f64) {
        let weight_newton = self.mass_kg * gravity_m_s2;
        self.shares.extend(solution.reactions_newton.iter().map(|r| r / weight_newton));
        self.slopes_rad.extend(solution.spring_slopes.iter().map(|[x, y]| x.hypot(*y)));
    }
}

/// The load of the error budget.
fn usual_case(deck: &Deck) -> LoadCase {
    let patient = deck.load_cases.iter().find_map(|c| c.patient.as_ref()).map(|p| PatientLoad {
        mattress_kg: 0.0,
        angles_deg: Vec::new(),
        ..p.clone()
    });
    let even_kg = patient.is_none().then_some(deck.max_kg);
    LoadCase { name: "usual".to_owned(), even_kg, patches: Vec::new(), patient }
}

fn notes(case: &LoadCase, load: &CaseLoad) -> Vec<String> {
    let mut notes = Vec::new();
    if load.beside_kg > 0.0 {
        notes.push(format!(
            "{}: {:.1} kg lie on sections without a plate; the deck does not weigh them",
            case.name, load.beside_kg
        ));
    }
    if load.overhang_m > 0.0 {
        notes.push(format!("{}: the patient is {:.0} mm longer than the bed", case.name, load.overhang_m / MM));
    }
    notes
}

fn describe(
    deck: &Deck,
    plate: &Plate,
    model: &Model,
    case: &LoadCase,
    load: &PlateLoad,
    solution: &Solution,
) -> Result<CaseReport, DesignError> {
    let max_deflection_mm = solution.max.deflection_m / MM;
    let touches = max_deflection_mm >= plate.clearance_mm;
    let layers = layers(deck, plate, model, solution)?;
    let worst = |pick: fn(&LayerReport) -> Option<f64>, better: fn(f64, f64) -> f64| {
        layers.iter().filter_map(pick).reduce(better)
    };
    let estimate = solution.estimate.unwrap_or_default();
    Ok(CaseReport {
        case: case.name.clone(),
        load_kg: load.mass_kg,
        load_newton: solution.load_newton,
        angle_deg: load.angle_rad.to_degrees(),
        max_deflection_mm,
        at_mm: solution.max.at_m.map(|m| m / MM),
        clearance_left_mm: (plate.clearance_mm - max_deflection_mm).max(0.0),
        touches,
        shunted_pct: (!touches).then_some(0.0),
        max_stress_mpa: worst(|l| Some(l.stress_mpa), f64::max).unwrap_or(0.0),
        safety_factor: worst(|l| l.safety_factor, f64::min),
        layers,
        cells: cells(deck, plate, solution)?,
        mesh_deflection_pct: 100.0 * estimate.deflection,
        mesh_reaction_pct: 100.0 * estimate.reaction,
        deflection_mm: solution
            .sample_m(MAP_POINTS[0], MAP_POINTS[1])
            .into_iter()
            .map(|row| row.into_iter().map(|w| w / MM).collect())
            .collect(),
    })
}

fn cells(deck: &Deck, plate: &Plate, solution: &Solution) -> Result<Vec<CellReport>, DesignError> {
    plate
        .cells
        .iter()
        .zip(solution.reactions_newton.iter().zip(&solution.spring_slopes))
        .map(|(cell, (&reaction_newton, [sx, sy]))| {
            let capacity = capacity_newton(cell_type(deck, cell)?);
            Ok(CellReport {
                name: cell.name.clone(),
                reaction_newton,
                load_pct_of_capacity: 100.0 * reaction_newton / capacity,
                lifts: reaction_newton < 0.0,
                slope_permille: 1e3 * sx.hypot(*sy),
            })
        })
        .collect()
}

fn layers(deck: &Deck, plate: &Plate, model: &Model, solution: &Solution) -> Result<Vec<LayerReport>, DesignError> {
    let samples = model.laminate.worst_stresses(solution.moment_samples(), |_, stress| demand_pa(stress));
    let owner = format!("plate `{}`", plate.name);
    plate
        .layers
        .iter()
        .zip(samples.unwrap_or_default())
        .map(|(layer, worst)| {
            let strength_mpa = material(deck, &owner, &layer.material)?.strength_mpa;
            let stress_mpa = demand_pa(&worst.stress) / MPA;
            Ok(LayerReport {
                material: layer.material.clone(),
                stress_mpa,
                safety_factor: (stress_mpa > 0.0).then(|| strength_mpa / stress_mpa),
                at_mm: worst.at_m.map(|m| m / MM),
                face: if worst.at_top { "upper" } else { "lower" },
            })
        })
        .collect()
}
