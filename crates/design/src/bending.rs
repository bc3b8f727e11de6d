//! Every plate under every load case: deflection, reactions, contact with its base, stress.
//!
//! Cells carry compression only and the base stops the plate at its clearance; both are settled by `plates`, whose
//! complementarity residuals are handed on as the proof. A case that tips a plate off its cells and its base is solved as if
//! they could pull and marked, so that the others still stand.

use deck::chain::{capacity_newton, cell_type};
use deck::loads::{self, CaseLoad, PlateLoad};
use deck::model::{Model, model};
use deck::stack::{demand_pa, material};
use deck::units::{MM, MPA};
use formats::deck::{Axis, Deck, LoadCase, Plate};
use plates::{Accuracy, Bearing, PlateError, Solution};

use crate::DesignError;
use crate::edge::safe_edge;
use crate::lying::{Lying, usual_case};
use crate::report::{CaseReport, CellReport, ContactReport, LayerReport, PlateReport, SafeEdge};
use crate::ward;

/// Points of a heat map along x and y.
const MAP_POINTS: [usize; 2] = [37, 23];
/// Steps along a rib at which the gap below it is looked at.
const ALONG_RIB: usize = 40;

/// All plates under all cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Bent {
    /// A report a plate with the deck's own cases; their masses are filled in by the bill.
    pub plates: Vec<PlateReport>,
    /// A report a plate with the ward's loads on it.
    pub ward: Vec<PlateReport>,
    /// The usual load.
    pub usual: Lying,
    /// Each plate under the usual load, with nothing below it that it could touch.
    pub usual_plates: Vec<CaseReport>,
    /// How many times the usual load brings each plate, or a rib below it, down to its base.
    pub usual_closes: Vec<f64>,
    /// The deck's cases with a patient.
    pub patients: Vec<Lying>,
    /// The largest safe load on the edge of each plate.
    pub edges: Vec<SafeEdge>,
    /// What was found while the loads were spread.
    pub notes: Vec<String>,
}

/// Bends all plates.
///
/// # Errors
/// A deck that cannot be turned into physics.
pub fn bend(deck: &Deck) -> Result<Bent, DesignError> {
    bend_under(deck, true)
}

/// Bends all plates under the deck's own cases, and under the ward's loads where these are asked for.
pub(crate) fn bend_under(deck: &Deck, with_ward: bool) -> Result<Bent, DesignError> {
    let spread = |case: &LoadCase| loads::spread(deck, case);
    let n_own = deck.load_cases.len();
    let mut shared = deck.load_cases.clone();
    shared.push(usual_case(deck));
    let shared_loads: Vec<CaseLoad> = shared.iter().map(spread).collect::<Result<_, _>>()?;
    let mut lying: Vec<Lying> = shared.iter().zip(&shared_loads).map(|(c, load)| Lying::new(deck, c, load)).collect();
    let (mut own, mut of_ward, mut edges) = (Vec::new(), Vec::new(), Vec::new());
    let (mut usual_plates, mut usual_closes) = (Vec::new(), Vec::new());
    for (index, plate) in deck.plates.iter().enumerate() {
        let ward = if with_ward { ward::cases(deck, plate) } else { Vec::new() };
        let ward_loads: Vec<CaseLoad> = ward.iter().map(spread).collect::<Result<_, _>>()?;
        let on_plate: Vec<&PlateLoad> = shared_loads.iter().chain(&ward_loads).map(|c| &c.plates[index]).collect();
        let model = model(deck, plate)?;
        let base = Bearing::Pressed { clearance_m: Some(plate.clearance_mm * MM) };
        let solved = solve(plate, &model, &on_plate, base)?;
        for ((lies, one), load) in lying.iter_mut().zip(&solved).zip(&on_plate) {
            lies.add(deck, index, &one.solution, load.angle_rad);
        }
        let report = |cases: &[LoadCase], from: usize| -> Result<PlateReport, DesignError> {
            let cases = cases
                .iter()
                .enumerate()
                .map(|(i, case)| describe(deck, plate, &model, case, on_plate[from + i], &solved[from + i]));
            Ok(PlateReport { name: plate.name.clone(), mass_kg: 0.0, cases: cases.collect::<Result<_, _>>()? })
        };
        own.push(report(&deck.load_cases, 0)?);
        // What the base takes off cells and layers would make the load seem a safe one.
        let free = match solved[n_own].solution.touches.is_empty() {
            true => Vec::new(),
            false => solve(plate, &model, &on_plate[n_own..=n_own], Bearing::Pressed { clearance_m: None })?,
        };
        let usual = free.first().unwrap_or(&solved[n_own]);
        usual_plates.push(describe(deck, plate, &model, &shared[n_own], on_plate[n_own], usual)?);
        usual_closes.push(closes_at(plate, &usual.solution));
        let on_ward = report(&ward, n_own + 1)?;
        edges.extend(safe_edge(deck, index, &model, &on_ward)?);
        of_ward.push(on_ward);
    }
    let usual = lying.swap_remove(n_own);
    let patients =
        lying.into_iter().zip(&deck.load_cases).filter(|(_, c)| c.patient.is_some()).map(|(l, _)| l).collect();
    let notes = deck.load_cases.iter().zip(&shared_loads).flat_map(|(case, load)| notes(case, load)).collect();
    Ok(Bent { plates: own, ward: of_ward, usual, usual_plates, usual_closes, patients, edges, notes })
}

/// A solved case.
pub(crate) struct Solved {
    pub(crate) solution: Solution,
    /// Whether the load tips the plate off its cells; the solution then lets cells pull.
    pub(crate) tips: bool,
}

fn solve(plate: &Plate, model: &Model, loads: &[&PlateLoad], pressed: Bearing) -> Result<Vec<Solved>, DesignError> {
    let cases: Vec<plates::LoadCase> = loads.iter().map(|l| l.loads.clone()).collect();
    let accuracy = Accuracy::default();
    let run = |cases: &[plates::LoadCase], bearing| plates::solve_to(&model.plate, cases, bearing, accuracy);
    let wrap = |source| DesignError::from(deck::DeckError::Plate { plate: plate.name.clone(), source });
    match run(&cases, pressed) {
        Ok(solutions) => Ok(solutions.into_iter().map(|solution| Solved { solution, tips: false }).collect()),
        Err(PlateError::Tips { .. }) => cases
            .iter()
            .map(|case| {
                let one = std::slice::from_ref(case);
                let (solutions, tips) = match run(one, pressed) {
                    Err(PlateError::Tips { .. }) => (run(one, Bearing::Bilateral).map_err(wrap)?, true),
                    other => (other.map_err(wrap)?, false),
                };
                solutions
                    .into_iter()
                    .next()
                    .map(|solution| Solved { solution, tips })
                    .ok_or_else(|| wrap(PlateError::Unsettled { case: 0 }))
            })
            .collect(),
        Err(source) => Err(wrap(source)),
    }
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

/// A solved case in the terms of the deck file.
pub(crate) fn describe(
    deck: &Deck,
    plate: &Plate,
    model: &Model,
    case: &LoadCase,
    load: &PlateLoad,
    solved: &Solved,
) -> Result<CaseReport, DesignError> {
    let solution = &solved.solution;
    let max_deflection_mm = solution.max.deflection_m / MM;
    let touches = !solution.touches.is_empty();
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
        clearance_left_mm: if touches { 0.0 } else { least_gap_mm(plate, solution).max(0.0) },
        touches,
        shunted_pct: 100.0 * solution.shunted_share(),
        tips: solved.tips,
        max_stress_mpa: worst(|l| Some(l.stress_mpa), f64::max).unwrap_or(0.0),
        safety_factor: worst(|l| l.safety_factor, f64::min),
        layers,
        cells: cells(deck, plate, solution)?,
        contact: contact(solution),
        mesh_elements: [solution.grid().x.n_elements(), solution.grid().y.n_elements()],
        mesh_deflection_pct: 100.0 * estimate.deflection,
        mesh_reaction_pct: 100.0 * estimate.reaction,
        deflection_mm: solution
            .sample_m(MAP_POINTS[0], MAP_POINTS[1])
            .into_iter()
            .map(|row| row.into_iter().map(|w| w / MM).collect())
            .collect(),
    })
}

/// Least gap to the base of a plate that does not touch it, under the largest deflection or along a rib that hangs into the gap.
pub(crate) fn least_gap_mm(plate: &Plate, solution: &Solution) -> f64 {
    gaps_mm(plate, solution).map(|(gap_mm, deflection_mm)| gap_mm - deflection_mm).fold(f64::INFINITY, f64::min)
}

/// How many times this load closes the gap: deflection grows with the load while nothing touches or lifts.
fn closes_at(plate: &Plate, solution: &Solution) -> f64 {
    let going_down = gaps_mm(plate, solution).filter(|(_, deflection_mm)| *deflection_mm > 0.0);
    going_down.map(|(gap_mm, deflection_mm)| gap_mm / deflection_mm).fold(f64::INFINITY, f64::min)
}

/// Gap of the unloaded plate and deflection where the plate goes down most, and along every rib below it, mm.
fn gaps_mm<'a>(plate: &'a Plate, solution: &'a Solution) -> impl Iterator<Item = (f64, f64)> + 'a {
    let ribs = plate.ribs.iter().flat_map(move |rib| {
        let [length_mm, across_mm] = match rib.along {
            Axis::X => plate.size_mm,
            Axis::Y => [plate.size_mm[1], plate.size_mm[0]],
        };
        let edges = [-0.5, 0.0, 0.5].map(|side| (rib.at_mm + side * rib.width_mm).clamp(0.0, across_mm));
        let places = (0..=ALONG_RIB).flat_map(move |i| edges.map(|at| (length_mm * i as f64 / ALONG_RIB as f64, at)));
        places.map(move |(along_mm, at_mm)| {
            let place = match rib.along {
                Axis::X => [along_mm, at_mm],
                Axis::Y => [at_mm, along_mm],
            };
            (plate.clearance_mm - rib.height_mm, solution.deflection_m(place.map(|mm| mm * MM)) / MM)
        })
    });
    ribs.chain([(plate.clearance_mm, solution.max.deflection_m / MM)])
}

/// The proof that cells and base are pressed or open, never both.
fn contact(solution: &Solution) -> ContactReport {
    let proof = solution.complementarity.unwrap_or_default();
    ContactReport {
        points_mm: solution.touches.iter().map(|t| t.at_m.map(|m| m / MM)).collect(),
        penetration_mm: proof.penetration_m / MM,
        pull_newton: proof.pull_newton,
        residual_newton_m: proof.product_newton_m,
    }
}

fn cells(deck: &Deck, plate: &Plate, solution: &Solution) -> Result<Vec<CellReport>, DesignError> {
    plate
        .cells
        .iter()
        .zip(solution.reactions_newton.iter().zip(&solution.spring_slopes))
        .zip(&solution.lifts)
        .map(|((cell, (&reaction_newton, [sx, sy])), &lifts)| {
            let capacity = capacity_newton(cell_type(deck, cell)?);
            let slope = sx.hypot(*sy);
            Ok(CellReport {
                name: cell.name.clone(),
                reaction_newton,
                load_pct_of_capacity: 100.0 * reaction_newton / capacity,
                lifts,
                slope_permille: 1e3 * slope,
                side_load_newton: reaction_newton * slope,
            })
        })
        .collect()
}

/// Worst stress of each layer, then of each rib.
pub(crate) fn layers(
    deck: &Deck,
    plate: &Plate,
    model: &Model,
    solution: &Solution,
) -> Result<Vec<LayerReport>, DesignError> {
    let owner = format!("plate `{}`", plate.name);
    let report = |name: &str, stress_mpa: f64, at_m: [f64; 2], face| -> Result<LayerReport, DesignError> {
        let strength_mpa = material(deck, &owner, name)?.strength_mpa;
        Ok(LayerReport {
            material: name.to_owned(),
            stress_mpa,
            safety_factor: (stress_mpa > 0.0).then(|| strength_mpa / stress_mpa),
            at_mm: at_m.map(|m| m / MM),
            face,
        })
    };
    let of_layers = model.laminate.worst_stresses_in(solution, |_, stress| demand_pa(stress)).unwrap_or_default();
    let layers = plate.layers.iter().zip(of_layers).map(|(layer, worst)| {
        let face = if worst.at_top { "upper" } else { "lower" };
        report(&layer.material, demand_pa(&worst.stress) / MPA, worst.at_m, face)
    });
    let ribs = plate.ribs.iter().enumerate().map(|(index, rib)| {
        let faces = solution
            .rib_stresses(index)
            .into_iter()
            .flat_map(|s| [(s.top_pa.abs(), s.at_m, "upper, rib"), (s.bottom_pa.abs(), s.at_m, "lower, rib")]);
        let nowhere = (0.0, [0.0; 2], "lower, rib");
        let (pa, at_m, face) = faces.fold(nowhere, |worst, next| if next.0 > worst.0 { next } else { worst });
        report(&rib.material, pa / MPA, at_m, face)
    });
    layers.chain(ribs).collect()
}
