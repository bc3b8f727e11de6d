//! A solution in the words of the calibration file.

use crate::analysis::Facts;
use crate::curvature::Curved;
use crate::detail::detail;
use crate::findings::{Found, findings};
use crate::fit::{Setup, Solution};
use crate::lack_of_fit::{lack_of_fit_p, load_freedom};
use crate::options::Options;
use crate::problem::Body;
use formats::calibration::{Calibration, CellCalibration, CellStatus, Covariance, Finding, FoundLoad, Residual};
use formats::deck::Deck;

/// An unknown load whose relative standard uncertainty is larger was not found.
const MAX_LOAD_RELATIVE_U: f64 = 0.1;

/// Puts a solution into the file's form.
pub(crate) fn calibration(
    deck: &Deck,
    setup: &Setup,
    solution: &Solution,
    facts: &Facts,
    options: &Options,
) -> Calibration {
    let solution = &straightened(setup, solution, &facts.curved);
    let determined = determined_cells(setup, solution, options);
    let loads = found_loads(setup, solution);
    let findings = findings(&Found { setup, solution, facts, determined: &determined, loads: &loads, options });
    let residuals = residuals(setup, solution, &determined);
    Calibration {
        deck: deck.name.clone(),
        made_at: options.made_at.clone(),
        gravity_m_s2: calibration_gravity_m_s2(deck),
        cells: cells(setup, solution, &determined, &findings),
        residual_sd_g: residual_sd_g(setup, solution),
        degrees_of_freedom: degrees_of_freedom(setup, &determined),
        lack_of_fit_p: lack_of_fit_p(setup, solution),
        max_residual_g: residuals.iter().map(|r| r.residual_g.abs()).fold(0.0, f64::max),
        covariance: covariance(setup, solution, &determined, &loads),
        detail: Some(detail(setup, solution, facts, &determined)),
        loads,
        findings,
        residuals,
    }
}

/// Gravity where the run was made, m/s².
pub(crate) fn calibration_gravity_m_s2(deck: &Deck) -> f64 {
    deck::gravity_m_s2(deck.calibration_site.as_ref().unwrap_or(&deck.site))
}

/// A solution whose curved cells have the gain of their chord.
///
/// The file has one gain a cell. Between no load and the largest the chord's slope runs from k to k + κ d_max; stated is
/// the middle one, and half that span, as a rectangular distribution, enters its uncertainty.
fn straightened(setup: &Setup, solution: &Solution, curved: &[Curved]) -> Solution {
    let mut straight = solution.clone();
    for cell in curved {
        let (c, Some(from)) = (cell.channel, setup.layout.curvature(cell.channel)) else { continue };
        let to = setup.layout.gain(c);
        let largest = solution.rows.iter().zip(&setup.problem.rows).fold(0.0, |most: f64, (row, place)| {
            let channels = &setup.problem.plates[place.plate].channels;
            let own = channels.iter().position(|x| *x == c).map_or(0.0, |i| row.equations.deflection[i]);
            if own.abs() > most.abs() { own } else { most }
        });
        let middle = largest / 2.0;
        straight.state.gain[c] += cell.curvature * middle;
        let added = straight.covariance.row(from) * middle;
        let mut row = straight.covariance.row_mut(to);
        row += added;
        let added = straight.covariance.column(from) * middle;
        let mut column = straight.covariance.column_mut(to);
        column += added;
        straight.covariance[(to, to)] += (cell.curvature * middle).powi(2) / 3.0;
    }
    straight
}

/// Cells whose gain the run settles.
fn determined_cells(setup: &Setup, solution: &Solution, options: &Options) -> Vec<bool> {
    let is_settled = |c: usize| {
        let u = gain_u(setup, solution, c);
        !solution.noise.open[c] && u.is_finite() && u <= options.max_relative_u * solution.state.gain[c].abs()
    };
    (0..setup.layout.n_cells).map(is_settled).collect()
}

pub(crate) fn gain_u(setup: &Setup, solution: &Solution, c: usize) -> f64 {
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
                .map(|c| {
                    let zero = solution.state.zero[c] + solution.state.zero_per_c[c] * problem.warmer_c[i];
                    solution.state.gain[c] * (line.counts[c] - zero)
                })
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
    let used = || (0..solution.rows.len()).filter(|&i| setup.used[i]);
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
    let rows = setup.used.iter().filter(|u| **u).count();
    let zero_readings: usize = setup.zeros.iter().map(|z| z.n).sum();
    let free_masses = (0..setup.problem.bodies.len()).filter(|&b| setup.layout.mass(b).is_some()).count();
    let stated = setup.problem.bodies.iter().filter(|b| matches!(b, Body::Known { u_kg, .. } if *u_kg > 0.0)).count();
    let known_before = setup.prior.map_or(0, |p| p.channels.len());
    let gains = determined.iter().filter(|d| **d).count();
    let warm = (0..setup.layout.n_cells).filter(|&c| setup.layout.zero_per_c(c).is_some()).count()
        + usize::from(setup.layout.span_per_c().is_some());
    (3 * rows + zero_readings + stated + known_before).saturating_sub(gains + setup.layout.n_cells + free_masses + warm)
}
