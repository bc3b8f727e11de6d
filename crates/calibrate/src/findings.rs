//! Findings in plain sentences, each with its evidence.

use crate::analysis::Facts;
use crate::curvature::Curved;
use crate::fit::{Setup, Solution};
use crate::noisy::Noisy;
use crate::options::Options;
use crate::outlier::{Cause, Outlier};
use crate::problem::{Body, Problem};
use crate::report::gain_u;
use crate::screen::Dead;
use crate::swap::{Evidence, Swap};
use crate::zeros::StrayZero;
use formats::calibration::{Finding, FindingKind, FoundLoad};
use formats::run::Load;
use std::collections::BTreeMap;

/// A gain below zero by this many standard uncertainties is no accident: 1 in 3 million.
const REVERSED_U: f64 = 5.0;

/// All that findings are made from.
pub(crate) struct Found<'a> {
    pub(crate) setup: &'a Setup<'a>,
    pub(crate) solution: &'a Solution,
    pub(crate) facts: &'a Facts,
    pub(crate) determined: &'a [bool],
    pub(crate) loads: &'a [FoundLoad],
    pub(crate) options: &'a Options,
}

/// What is wrong, cells first.
pub(crate) fn findings(found: &Found) -> Vec<Finding> {
    let problem = found.setup.problem;
    let facts = found.facts;
    let mut all: Vec<Finding> = facts.swaps.iter().flat_map(|s| swapped(problem, s)).collect();
    all.extend(facts.dead.iter().map(|d| dead(problem, d)));
    all.extend(reversed(found));
    all.extend(facts.noisy.iter().map(|n| noisy(problem, n)));
    all.extend(facts.curved.iter().map(|c| nonlinear(problem, c)));
    all.extend(facts.outliers.iter().map(|o| outlier(problem, o)));
    all.extend(stray_zeros(problem, &facts.strays));
    all.extend(open_cells(found));
    all.extend(open_loads(found));
    all
}

fn name<'a>(problem: &'a Problem, channel: usize) -> &'a str {
    &problem.cells[channel].name
}

fn plate_of<'a>(problem: &'a Problem, channel: usize) -> &'a str {
    &problem.plates[problem.cells[channel].plate].name
}

fn swapped(problem: &Problem, swap: &Swap) -> [Finding; 2] {
    let [a, b] = swap.channels.map(|c| name(problem, c));
    let evidence = match &swap.evidence {
        Evidence::OtherPlate { own, other } => format!(
            "{a} moves by {other:.0} counts (root mean square) when plate {} is loaded and by {own:.0} when its own is",
            plate_of(problem, swap.channels[0])
        ),
        Evidence::Moments { named_mm, exchanged_mm } => format!(
            "as named, loads on plate {} seem to lie {named_mm:.0} mm from where they were put, with the two exchanged \
             {exchanged_mm:.1} mm",
            plate_of(problem, swap.channels[0])
        ),
    };
    let of = |this: &str, other: &str| Finding {
        kind: FindingKind::Swapped,
        cell: Some(this.to_owned()),
        text: format!(
            "Cells {this} and {other} are exchanged: {this} answers at the place of {other} ({evidence}). Each gain here \
             belongs to its channel at the other's place. Exchange the two plugs or their names, then calibrate again."
        ),
    };
    [of(a, b), of(b, a)]
}

fn noisy(problem: &Problem, cell: &Noisy) -> Finding {
    let name = name(problem, cell.channel);
    Finding {
        kind: FindingKind::Noisy,
        cell: Some(name.to_owned()),
        text: format!(
            "Cell {name} is noisy: its {} zero readings change by {:.1} counts (standard deviation) from one to the next, \
             those of its fellows by {:.1} (median). Look for a loose connector, a broken screen, or something touching the \
             plate over it.",
            cell.n, cell.noise, cell.fellows
        ),
    }
}

fn nonlinear(problem: &Problem, cell: &Curved) -> Finding {
    let site = &problem.cells[cell.channel];
    Finding {
        kind: FindingKind::Nonlinear,
        cell: Some(site.name.clone()),
        text: format!(
            "Cell {} is not straight: the curvature of {:.2e} ± {:.1e} kg/count² that its rows show makes {:.2} ± {:.2} % of \
             rated output at mid-range, its data sheet allows {:.2} %. Its gain here is that of the chord over the loads \
             used. Look for a plate that binds or a cell that is overloaded.",
            site.name,
            cell.curvature,
            cell.u_curvature,
            cell.nonlinearity_pct.abs(),
            cell.u_nonlinearity_pct,
            site.nonlinearity_pct
        ),
    }
}

fn outlier(problem: &Problem, outlier: &Outlier) -> Finding {
    let row = &problem.rows[outlier.row];
    let line = &problem.run.rows[row.row];
    let plate = &problem.plates[row.plate].name;
    let [x, y] = outlier.shift_mm;
    let cause = match outlier.cause {
        Cause::Mass => format!(
            "the cells show {:+.3} kg against what the row says; check its mass and what else lay there",
            outlier.excess_kg
        ),
        Cause::Place => format!(
            "the load seems to lie {x:+.0} mm along x and {y:+.0} mm along y from the stated place; check the place"
        ),
        Cause::Cell { channel, counts } => format!(
            "the sum is {:+.3} kg off, and a jump of {counts:+.0} counts of cell {} alone explains it",
            outlier.excess_kg,
            name(problem, channel)
        ),
    };
    Finding {
        kind: FindingKind::Outlier,
        cell: None,
        text: format!(
            "Line {} (step {}) on plate {plate} does not fit the other rows and is left out: {cause}. By chance a row of a \
             sound run would differ so much with probability {:.0e}.",
            line.line,
            line.step,
            outlier.p.min(1.0)
        ),
    }
}

/// One finding for a row and plate, whichever of its cells strayed.
fn stray_zeros(problem: &Problem, strays: &[StrayZero]) -> Vec<Finding> {
    let mut by_place: BTreeMap<(usize, usize), Vec<&StrayZero>> = BTreeMap::new();
    for stray in strays {
        by_place.entry((stray.row, problem.cells[stray.channel].plate)).or_default().push(stray);
    }
    by_place
        .into_iter()
        .map(|((row, plate), strays)| {
            let line = &problem.run.rows[row];
            let cells: Vec<String> = strays
                .iter()
                .map(|s| format!("{} by {:+.0} counts ({:.0} u)", name(problem, s.channel), s.deviation, s.t.abs()))
                .collect();
            Finding {
                kind: FindingKind::Outlier,
                cell: None,
                text: format!(
                    "Line {} (step {}): plate {} bears no load there, but its zero reading differs from the others, {}; it is \
                     left out. Something lay on the plate or touched it.",
                    line.line,
                    line.step,
                    problem.plates[plate].name,
                    cells.join(", ")
                ),
            }
        })
        .collect()
}

fn dead(problem: &Problem, cell: &Dead) -> Finding {
    let name = name(problem, cell.channel);
    Finding {
        kind: FindingKind::Dead,
        cell: Some(name.to_owned()),
        text: format!(
            "Cell {name} does not answer: over the {} rows with load on plate {} its counts moved by {:.0} (root mean square) \
             where its fellows make us expect {:.0}. Check its wiring and whether the plate rests on it.",
            cell.n_rows,
            plate_of(problem, cell.channel),
            cell.moved_counts,
            cell.expected_counts
        ),
    }
}

fn reversed(found: &Found) -> Vec<Finding> {
    let (setup, gain) = (found.setup, &found.solution.state.gain);
    let u = |c: usize| gain_u(setup, found.solution, c);
    let of_cell = |c: usize| {
        let name = name(setup.problem, c);
        Finding {
            kind: FindingKind::Reversed,
            cell: Some(name.to_owned()),
            text: format!(
                "Cell {name} is reversed: its counts fall under load, its gain is {:.4e} ± {:.1e} kg a count. Exchange its two \
                 signal wires, or leave it: the negative gain weighs rightly.",
                gain[c],
                u(c)
            ),
        }
    };
    (0..gain.len()).filter(|&c| found.determined[c] && gain[c] < -REVERSED_U * u(c)).map(of_cell).collect()
}

fn open_cells(found: &Found) -> Vec<Finding> {
    let problem = found.setup.problem;
    let of_cell = |c: usize| {
        let (name, plate) = (name(problem, c), plate_of(problem, c));
        let rows = problem.rows.iter().filter(|r| r.plate == problem.cells[c].plate).count();
        let reason = if rows == 0 {
            format!("no row loads plate {plate}; put a known mass on it, in the middle and over each of its cells")
        } else {
            let relative = gain_u(found.setup, found.solution, c) / found.solution.state.gain[c].abs();
            format!(
                "the {rows} rows on plate {plate} leave its gain uncertain by {:.0} %, allowed are {:.0} %; put a known \
                 mass over this cell and over each of its fellows",
                (100.0 * relative).min(100.0),
                100.0 * found.options.max_relative_u
            )
        };
        Finding {
            kind: FindingKind::NotDetermined,
            cell: Some(name.to_owned()),
            text: format!("Cell {name} is not determined: {reason}."),
        }
    };
    let is_dead = |c: usize| found.facts.dead.iter().any(|d| d.channel == c);
    (0..found.determined.len()).filter(|&c| !found.determined[c] && !is_dead(c)).map(of_cell).collect()
}

fn open_loads(found: &Found) -> Vec<Finding> {
    let problem = found.setup.problem;
    let labels = problem.bodies.iter().filter_map(|b| match b {
        Body::Unknown { label } => Some(label),
        Body::Known { .. } => None,
    });
    let of_label = |label: &String| {
        let rows = problem.run.rows.iter();
        let n = rows.filter(|r| matches!(&r.load, Load::Unknown { label: l, .. } if l == label)).count();
        Finding {
            kind: FindingKind::NotDetermined,
            cell: None,
            text: format!(
                "The mass of load \"{label}\" is not determined by its {n} rows: put it on a plate that bears known masses too."
            ),
        }
    };
    labels.filter(|label| !found.loads.iter().any(|l| l.label == **label)).map(of_label).collect()
}
