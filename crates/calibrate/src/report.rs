//! A solution in the words of the calibration file.

use crate::fit::{Setup, Solution};
use crate::lack_of_fit::{lack_of_fit_p, load_freedom};
use crate::options::Options;
use crate::problem::{Body, Problem};
use crate::screen::Dead;
use formats::calibration::{
    Calibration, CellCalibration, CellStatus, Covariance, Finding, FindingKind, FoundLoad, Residual,
};
use formats::deck::Deck;
use formats::run::Load;

/// A gain below zero by this many standard uncertainties is no accident: 1 in 3 million.
const REVERSED_U: f64 = 5.0;
/// An unknown load whose relative standard uncertainty is larger was not found.
const MAX_LOAD_RELATIVE_U: f64 = 0.1;

/// Puts a solution into the file's form.
pub(crate) fn calibration(
    deck: &Deck,
    setup: &Setup,
    solution: &Solution,
    dead: &[Dead],
    options: &Options,
) -> Calibration {
    let determined = determined_cells(setup, solution, options);
    let loads = found_loads(setup, solution);
    let mut findings = dead_findings(setup.problem, dead);
    findings.extend(reversed_findings(setup, solution, &determined));
    findings.extend(open_findings(setup, solution, &determined, dead, options));
    findings.extend(open_load_findings(setup, &loads));
    let residuals = residuals(setup, solution, &determined);
    Calibration {
        deck: deck.name.clone(),
        made_at: options.made_at.clone(),
        gravity_m_s2: deck::gravity_m_s2(deck.calibration_site.as_ref().unwrap_or(&deck.site)),
        cells: cells(setup, solution, &determined, &findings),
        residual_sd_g: residual_sd_g(setup, solution),
        degrees_of_freedom: degrees_of_freedom(setup, &determined),
        lack_of_fit_p: lack_of_fit_p(setup, solution),
        max_residual_g: residuals.iter().map(|r| r.residual_g.abs()).fold(0.0, f64::max),
        covariance: covariance(setup, solution, &determined, &loads),
        loads,
        findings,
        residuals,
    }
}

/// Cells whose gain the run settles.
fn determined_cells(setup: &Setup, solution: &Solution, options: &Options) -> Vec<bool> {
    let is_settled = |c: usize| {
        let u = gain_u(setup, solution, c);
        !solution.noise.open[c] && u.is_finite() && u <= options.max_relative_u * solution.state.gain[c].abs()
    };
    (0..setup.layout.n_cells).map(is_settled).collect()
}

fn gain_u(setup: &Setup, solution: &Solution, c: usize) -> f64 {
    let j = setup.layout.gain(c);
    solution.covariance[(j, j)].sqrt()
}

fn cells(setup: &Setup, solution: &Solution, determined: &[bool], findings: &[Finding]) -> Vec<CellCalibration> {
    let of_cell = |c: usize| {
        let name = setup.problem.cells[c].name.clone();
        let named = findings.iter().any(|f| f.cell.as_deref() == Some(name.as_str()));
        let j = setup.layout.zero(c);
        // The zero readings settle a zero whatever becomes of the gain.
        CellCalibration {
            name,
            zero_counts: Some(solution.state.zero[c]),
            u_zero_counts: Some(solution.covariance[(j, j)].sqrt()),
            kg_per_count: determined[c].then_some(solution.state.gain[c]),
            u_kg_per_count: determined[c].then(|| gain_u(setup, solution, c)),
            status: match (determined[c], named) {
                (false, _) => CellStatus::NotDetermined,
                (true, true) => CellStatus::Suspect,
                (true, false) => CellStatus::Good,
            },
        }
    };
    (0..setup.layout.n_cells).map(of_cell).collect()
}

fn found_loads(setup: &Setup, solution: &Solution) -> Vec<FoundLoad> {
    let bodies = setup.problem.bodies.iter().enumerate();
    bodies
        .filter_map(|(b, body)| {
            let (Body::Unknown { label }, Some(j)) = (body, setup.layout.mass(b)) else { return None };
            let load = FoundLoad {
                label: label.clone(),
                kg: solution.state.mass[b],
                u_kg: solution.covariance[(j, j)].sqrt(),
            };
            (load.u_kg <= MAX_LOAD_RELATIVE_U * load.kg.abs()).then_some(load)
        })
        .collect()
}

fn covariance(setup: &Setup, solution: &Solution, determined: &[bool], loads: &[FoundLoad]) -> Covariance {
    let cells = &setup.problem.cells;
    let mut kept: Vec<(String, usize)> = Vec::new();
    kept.extend((0..cells.len()).map(|c| (format!("zero:{}", cells[c].name), setup.layout.zero(c))));
    let settled = (0..cells.len()).filter(|&c| determined[c]);
    kept.extend(settled.map(|c| (format!("gain:{}", cells[c].name), setup.layout.gain(c))));
    for (b, body) in setup.problem.bodies.iter().enumerate() {
        if let (Body::Unknown { label }, Some(j)) = (body, setup.layout.mass(b))
            && loads.iter().any(|l| l.label == *label)
        {
            kept.push((format!("load:{label}"), j));
        }
    }
    Covariance {
        matrix: kept.iter().map(|(_, i)| kept.iter().map(|(_, j)| solution.covariance[(*i, *j)]).collect()).collect(),
        parameters: kept.into_iter().map(|(name, _)| name).collect(),
    }
}

/// Residuals of the load equations, loaded rows and zero readings in the order of the file. Rows on a plate with an
/// open cell have none: their sum is not known.
fn residuals(setup: &Setup, solution: &Solution, determined: &[bool]) -> Vec<Residual> {
    let problem = setup.problem;
    let whole = |plate: usize| problem.plates[plate].channels.iter().all(|&c| determined[c]);
    let mut found = Vec::new();
    for (i, row) in problem.rows.iter().enumerate() {
        if whole(row.plate) {
            let line = &problem.run.rows[row.row];
            found.push(Residual {
                line: line.line,
                step: line.step.clone(),
                plate: problem.plates[row.plate].name.clone(),
                load_kg: solution.state.mass[row.body],
                residual_g: solution.rows[i].residual[0] * 1e3,
            });
        }
    }
    for (i, line) in problem.run.rows.iter().enumerate() {
        if problem.loaded_plate[i].is_none() {
            let sum: f64 = (0..problem.n_cells())
                .filter(|&c| determined[c])
                .map(|c| solution.state.gain[c] * (line.counts[c] - solution.state.zero[c]))
                .sum();
            found.push(Residual {
                line: line.line,
                step: line.step.clone(),
                plate: String::new(),
                load_kg: 0.0,
                residual_g: sum * 1e3,
            });
        }
    }
    found.sort_by_key(|r| r.line);
    found
}

/// √(Σ e² / ν) over the loaded rows; of the zero readings where the loaded rows leave less than one degree of freedom.
fn residual_sd_g(setup: &Setup, solution: &Solution) -> f64 {
    let used = || (0..solution.rows.len()).filter(|&i| setup.weights[i] > 0.0);
    let freedom: f64 = used().map(|i| load_freedom(solution, i)).sum();
    if freedom >= 1.0 {
        let square: f64 = used().map(|i| solution.rows[i].residual[0].powi(2)).sum();
        return (square / freedom).sqrt() * 1e3;
    }
    let variance: f64 = setup.zeros.iter().zip(&solution.state.gain).map(|(z, k)| (k * z.noise).powi(2)).sum();
    variance.sqrt() * 1e3
}

/// Equations (three a loaded row, one a zero reading of a cell, one a stated mass with uncertainty) less unknowns settled.
fn degrees_of_freedom(setup: &Setup, determined: &[bool]) -> usize {
    let rows = setup.weights.iter().filter(|w| **w > 0.0).count();
    let zero_readings: usize = setup.zeros.iter().map(|z| z.n).sum();
    let free_masses = (0..setup.problem.bodies.len()).filter(|&b| setup.layout.mass(b).is_some()).count();
    let stated = setup.problem.bodies.iter().filter(|b| matches!(b, Body::Known { u_kg, .. } if *u_kg > 0.0)).count();
    let gains = determined.iter().filter(|d| **d).count();
    (3 * rows + zero_readings + stated).saturating_sub(gains + setup.layout.n_cells + free_masses)
}

fn dead_findings(problem: &Problem, dead: &[Dead]) -> Vec<Finding> {
    let of_cell = |d: &Dead| Finding {
        kind: FindingKind::Dead,
        cell: Some(problem.cells[d.channel].name.clone()),
        text: format!(
            "Cell {} does not answer: over the {} rows with load on plate {} its counts moved by {:.0} (root mean square) \
             where its fellows make us expect {:.0}. Check its wiring and whether the plate rests on it.",
            problem.cells[d.channel].name,
            d.n_rows,
            problem.plates[problem.cells[d.channel].plate].name,
            d.moved_counts,
            d.expected_counts
        ),
    };
    dead.iter().map(of_cell).collect()
}

fn reversed_findings(setup: &Setup, solution: &Solution, determined: &[bool]) -> Vec<Finding> {
    let is_reversed = |c: &usize| determined[*c] && solution.state.gain[*c] < -REVERSED_U * gain_u(setup, solution, *c);
    let of_cell = |c: usize| Finding {
        kind: FindingKind::Reversed,
        cell: Some(setup.problem.cells[c].name.clone()),
        text: format!(
            "Cell {} is reversed: its counts fall under load, its gain is {:.4e} ± {:.1e} kg a count. Exchange its two \
             signal wires, or leave it: the negative gain weighs rightly.",
            setup.problem.cells[c].name,
            solution.state.gain[c],
            gain_u(setup, solution, c)
        ),
    };
    (0..setup.layout.n_cells).filter(is_reversed).map(of_cell).collect()
}

fn open_findings(
    setup: &Setup,
    solution: &Solution,
    determined: &[bool],
    dead: &[Dead],
    options: &Options,
) -> Vec<Finding> {
    let problem = setup.problem;
    let of_cell = |c: usize| {
        let cell = &problem.cells[c];
        let plate = &problem.plates[cell.plate].name;
        let rows = problem.rows.iter().filter(|r| r.plate == cell.plate).count();
        let reason = if rows == 0 {
            format!("no row loads plate {plate}; put a known mass on it, in the middle and over each of its cells")
        } else {
            format!(
                "the {rows} rows on plate {plate} leave its gain uncertain by {:.0} %, allowed are {:.0} %; put a known \
                 mass over this cell and over each of its fellows",
                (100.0 * gain_u(setup, solution, c) / solution.state.gain[c].abs()).min(100.0),
                100.0 * options.max_relative_u
            )
        };
        Finding {
            kind: FindingKind::NotDetermined,
            cell: Some(cell.name.clone()),
            text: format!("Cell {} is not determined: {reason}.", cell.name),
        }
    };
    let is_open = |c: &usize| !determined[*c] && !dead.iter().any(|d| d.channel == *c);
    (0..setup.layout.n_cells).filter(is_open).map(of_cell).collect()
}

fn open_load_findings(setup: &Setup, loads: &[FoundLoad]) -> Vec<Finding> {
    let labels = setup.problem.bodies.iter().filter_map(|b| match b {
        Body::Unknown { label } => Some(label),
        Body::Known { .. } => None,
    });
    labels
        .filter(|label| !loads.iter().any(|l| l.label == **label))
        .map(|label| {
            let rows = setup.problem.run.rows.iter();
            let n = rows.filter(|r| matches!(&r.load, Load::Unknown { label: l, .. } if l == label)).count();
            Finding {
                kind: FindingKind::NotDetermined,
                cell: None,
                text: format!(
                    "The mass of load \"{label}\" is not determined by its {n} rows: put it on a plate that bears known \
                     masses too."
                ),
            }
        })
        .collect()
}
