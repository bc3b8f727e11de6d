//! Channels that answer to another cell's place: exchanged plugs or names.
//!
//! Between plates an exchange shows at once: the channel is still when its own plate is loaded and moves with another.
//! Within a plate the sum of the reactions stays right, but no gains make the moments agree with where the loads lay.
//! So each plate's moments are fitted with its cells as named, and, where they disagree, with each pair exchanged.

use crate::problem::Problem;
use crate::trial::Trial;
use crate::zeros::{Zero, bare_zero};
use stats::regression::RobustLoss;
use stats::robust::median;

/// A channel that moves this many times more with another plate than with its own belongs to that one. What linen or a
/// touching neighbour carries over is a few per cent.
const FOREIGN_RATIO: f64 = 5.0;
/// And that moves there at least this share of what its own cells do.
const FOREIGN_SHARE: f64 = 0.1;
/// Moments that disagree by less, mm of the load's place, are no sign of exchanged cells: cells stand hundreds of
/// millimetres apart.
const SUSPECT_MISFIT_MM: f64 = 3.0;
/// Nor is what the other plates show too: so many times their median is suspect.
const SUSPECT_RATIO: f64 = 2.0;
/// What a sound plate shows where there is no other, mm.
const USUAL_MISFIT_MM: f64 = 3.0;
/// An exchange must bring the disagreement down to less than this share. Over 400 simulated decks sound plates never
/// came below 0.97, exchanged ones never above 0.42.
const CURED_SHARE: f64 = 0.6;
/// The same where few equations are left to judge by, and what counts as few.
const CURED_SHARE_OF_FEW: f64 = 0.3;
const FEW_SPARE: usize = 12;
/// The disagreement of an axis is the residual that this share of its equations stay below: 1.3 standard deviations of
/// a normal law, and deaf to one wrong row in five.
const SPREAD_QUANTILE: f64 = 0.8;

/// Two channels that were exchanged.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Swap {
    pub(crate) channels: [usize; 2],
    pub(crate) evidence: Evidence,
}

/// How an exchange showed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Evidence {
    /// Each moves with the other's plate: counts (root mean square) of the first with its own and with the other plate.
    OtherPlate { own: f64, other: f64 },
    /// Loads seem so far from where they were put, as named and exchanged.
    Moments { named_mm: f64, exchanged_mm: f64 },
}

/// Finds channels exchanged between plates and exchanges their places in the problem.
pub(crate) fn undo_between_plates(problem: &mut Problem) -> Vec<Swap> {
    let zero: Vec<f64> = (0..problem.n_cells()).map(|c| bare_zero(problem, c)).collect();
    let zero = zero.as_slice();
    let moved: Vec<Vec<f64>> = (0..problem.n_cells()).map(|c| moved_with_plates(problem, zero, c)).collect();
    let usual: Vec<f64> = (0..problem.plates.len())
        .map(|p| {
            let own: Vec<f64> = problem.plates[p].channels.iter().map(|&c| moved[c][p]).collect();
            median(&own).unwrap_or(0.0)
        })
        .collect();
    let answers_to: Vec<Option<usize>> = (0..problem.n_cells())
        .map(|c| {
            let own = problem.cells[c].plate;
            let most = (0..problem.plates.len()).max_by(|a, b| moved[c][*a].total_cmp(&moved[c][*b]))?;
            let is_loaded = problem.rows.iter().any(|r| r.plate == own);
            let is_foreign = most != own
                && is_loaded
                && moved[c][most] > FOREIGN_RATIO * moved[c][own]
                && moved[c][most] > FOREIGN_SHARE * usual[most];
            is_foreign.then_some(most)
        })
        .collect();
    let mut swaps = Vec::new();
    for c in 0..problem.n_cells() {
        let Some(target) = answers_to[c].filter(|p| *p != problem.cells[c].plate) else { continue };
        let home = problem.cells[c].plate;
        // A fellow that stands where this one answers and does not belong there; best one that belongs here.
        let misplaced = |d: &usize| answers_to[*d].is_some_and(|p| p != target) && problem.cells[*d].plate == target;
        let candidates: Vec<usize> = (0..problem.n_cells()).filter(misplaced).collect();
        let partner = candidates.iter().copied().min_by(|a, b| {
            let cost = |d: usize| {
                let mut trial = problem.clone();
                trial.exchange(c, d);
                let strange = f64::from(u8::from(answers_to[d] != Some(home))) * 1e6;
                let misfit = [home, target].map(|p| misfit_mm(&trial, zero, p).unwrap_or(0.0));
                strange + misfit[0] + misfit[1]
            };
            cost(*a).total_cmp(&cost(*b))
        });
        if let Some(d) = partner {
            problem.exchange(c, d);
            let evidence = Evidence::OtherPlate { own: moved[c][home], other: moved[c][target] };
            swaps.push(Swap { channels: [c, d], evidence });
        }
    }
    swaps
}

/// Root mean square of a channel's counts from zero over the rows on each plate.
fn moved_with_plates(problem: &Problem, zero: &[f64], channel: usize) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); problem.plates.len()];
    for row in &problem.rows {
        let (n, square) = &mut sums[row.plate];
        *n += 1.0;
        *square += (problem.count(row.row, channel) - zero[channel]).powi(2);
    }
    sums.into_iter().map(|(n, square)| if n > 0.0 { (square / n).sqrt() } else { 0.0 }).collect()
}

/// Finds channels exchanged within a plate and exchanges their places in the problem. Plates with a cell that does not
/// answer are left alone: without its load their moments cannot agree.
pub(crate) fn undo_within_plates(problem: &mut Problem, zeros: &[Zero], dead: &[bool]) -> Vec<Swap> {
    let zero: Vec<f64> = zeros.iter().map(|z| z.mean).collect();
    let n_plates = problem.plates.len();
    let misfits: Vec<Option<f64>> = (0..n_plates).map(|p| misfit_mm(problem, &zero, p)).collect();
    let mut swaps = Vec::new();
    for plate in 0..n_plates {
        let fellows: Vec<f64> = (0..n_plates).filter(|p| *p != plate).filter_map(|p| misfits[p]).collect();
        let usual_mm = median(&fellows).unwrap_or(USUAL_MISFIT_MM);
        if !problem.plates[plate].channels.iter().any(|&c| dead[c]) {
            within_plate(problem, &zero, plate, SUSPECT_RATIO * usual_mm, &mut swaps);
        }
    }
    swaps
}

fn within_plate(problem: &mut Problem, zero: &[f64], plate: usize, suspect_mm: f64, swaps: &mut Vec<Swap>) {
    // Two exchanges undo a turn of three; more than one a cell there cannot be.
    for _ in 0..problem.plates[plate].channels.len() - 1 {
        let suspect_mm = suspect_mm.max(SUSPECT_MISFIT_MM);
        let Some(named_mm) = misfit_mm(problem, zero, plate).filter(|mm| *mm > suspect_mm) else { return };
        let channels = problem.plates[plate].channels.clone();
        let mut best: Option<(f64, [usize; 2])> = None;
        for (i, &a) in channels.iter().enumerate() {
            for &b in &channels[i + 1..] {
                problem.exchange(a, b);
                let misfit = misfit_mm(problem, zero, plate);
                problem.exchange(a, b);
                if let Some(mm) = misfit.filter(|mm| best.is_none_or(|(least, _)| *mm < least)) {
                    best = Some((mm, [a, b]));
                }
            }
        }
        let n_rows = problem.rows.iter().filter(|r| r.plate == plate).count();
        let is_few = 3 * n_rows < channels.len() + FEW_SPARE;
        let cured_mm = named_mm * if is_few { CURED_SHARE_OF_FEW } else { CURED_SHARE };
        let Some((exchanged_mm, pair)) = best.filter(|(mm, _)| *mm < cured_mm) else { return };
        problem.exchange(pair[0], pair[1]);
        swaps.push(Swap { channels: pair, evidence: Evidence::Moments { named_mm, exchanged_mm } });
    }
}

/// How far loads seem to lie from where they were put, mm, along the worse axis with the best gains of the plate. `None`
/// where its rows leave no equation to spare.
fn misfit_mm(problem: &Problem, zero: &[f64], plate: usize) -> Option<f64> {
    let trial = Trial::new(problem, zero, plate, RobustLoss::HUBER)?;
    // Cells exchanged along x leave the moments about y in peace, so each axis speaks for itself.
    let spread = |axis: usize| {
        let mut sizes: Vec<f64> = trial.place_mm.iter().map(|p| p[axis].abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        sizes[(SPREAD_QUANTILE * (sizes.len() - 1) as f64).round() as usize]
    };
    Some(spread(0).max(spread(1)))
}
