//! The order of work: exchanged channels, zeros, dead cells, robust fit, curved cells, outliers, temperature, final fit.

use crate::compare::{compare, due};
use crate::curvature::{self, Curved, is_beyond};
use crate::equations::{Noise, State};
use crate::fit::{Setup, Solution, solve};
use crate::lack_of_fit::{load_freedom, moment_freedom};
use crate::model::{Layout, Terms, start, start_noise};
use crate::noisy::{Noisy, noisy_cells};
use crate::options::{CalibrateError, Earlier, Options};
use crate::outlier::{Outlier, outliers};
use crate::prior::Prior;
use crate::problem::Problem;
use crate::report::{self, calibration_gravity_m_s2};
use crate::screen::{Dead, dead_cells};
use crate::swap::{Swap, undo_between_plates, undo_within_plates};
use crate::temperature::{self, Span};
use crate::variance::Settings;
use crate::zeros::{SetAside, StrayZero, Zero, stray_zeros, zeros};
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::run::Run;

/// Degrees of freedom of the load equations from which their scatter in proportion to load is estimated.
pub(crate) const MIN_LOAD_FREEDOM: f64 = 4.0;
/// The first fits take scatter and the play of places for so many times what they are. Else a gross error, smeared over
/// its plate by the first step, would make all rows of the plate look equally wrong.
const COARSE: [(f64, f64); 2] = [(16.0, 4.0), (4.0, 2.0)];
/// Most rounds of leaving out rows and testing all again.
const MAX_ROUNDS: usize = 8;

/// What was found beside the numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Facts {
    pub(crate) swaps: Vec<Swap>,
    pub(crate) strays: Vec<StrayZero>,
    pub(crate) dead: Vec<Dead>,
    pub(crate) noisy: Vec<Noisy>,
    pub(crate) curved: Vec<Curved>,
    pub(crate) outliers: Vec<Outlier>,
    /// Share of the gains over temperature as fitted, kept or not; `None` where the run cannot tell.
    pub(crate) span: Option<Span>,
}

impl Facts {
    /// For each channel whether it does not answer.
    fn is_dead(&self, n_cells: usize) -> Vec<bool> {
        let mut dead = vec![false; n_cells];
        for cell in &self.dead {
            dead[cell.channel] = true;
        }
        dead
    }
}

/// Every cell's zero and gain from a run, with covariance, residuals and findings.
///
/// # Errors
/// [`CalibrateError`] where the run does not belong to the deck, holds no zero reading or no known mass, or a number
/// makes no sense. What a sound run leaves open is no error: it is reported.
pub fn calibrate(deck: &Deck, run: &Run, options: &Options) -> Result<Calibration, CalibrateError> {
    check(options)?;
    let earlier = options.earlier.as_ref();
    let is_partial = earlier.is_some_and(|e| !e.replaced.is_empty());
    let mut problem = Problem::new(deck, run, is_partial)?;
    let prior = match earlier {
        Some(earlier) if is_partial => Some(Prior::new(&problem, earlier, calibration_gravity_m_s2(deck))?),
        _ => None,
    };
    let mut facts = Facts { swaps: undo_between_plates(&mut problem), ..Facts::default() };
    facts.strays = stray_zeros(&problem);
    let mut aside = SetAside::nothing(&problem);
    for stray in &facts.strays {
        aside.mark(stray.row, problem.cells[stray.channel].plate);
    }
    let zeros = zeros(&problem, &aside);
    facts.dead = dead_cells(&problem, &zeros);
    let dead = facts.is_dead(problem.n_cells());
    facts.swaps.extend(undo_within_plates(&mut problem, &zeros, &dead));
    facts.noisy = noisy_cells(&zeros);
    let (setup, solution) = fit_all(&problem, &zeros, prior.as_ref(), options, &mut facts)?;
    let mut calibration = report::calibration(deck, &setup, &solution, &facts, options);
    if let Some(earlier) = earlier.filter(|_| is_partial) {
        carry_over_loads(earlier, &mut calibration);
    }
    let comparison = earlier.map(|e| compare(e, &calibration));
    let due = due(deck, &calibration, comparison.as_ref());
    if let Some(detail) = &mut calibration.detail {
        detail.earlier = comparison;
        detail.due = due;
    }
    Ok(calibration)
}

/// Cells that a partial run did not load keep the loads that their gains stand for, at the gravity of now.
fn carry_over_loads(earlier: &Earlier, calibration: &mut Calibration) {
    let scale = earlier.calibration.gravity_m_s2 / calibration.gravity_m_s2;
    let (Some(before), Some(now)) = (&earlier.calibration.detail, &mut calibration.detail) else { return };
    for cell in now.cells.iter_mut().filter(|c| c.load_kg.is_none()) {
        let kept = before.cells.iter().find(|c| c.name == cell.name && !earlier.replaced.contains(&c.name));
        if let Some(kept) = kept {
            (cell.load_kg, cell.largest_kg) = (kept.load_kg, kept.largest_kg);
            cell.u_any_load_kg_per_count = kept.u_any_load_kg_per_count.map(|u| scale * u);
            cell.u_any_load_pct = kept.u_any_load_pct;
        }
    }
}

/// The fit, with the cells and rows that it finds wanting set apart.
fn fit_all<'a>(
    problem: &'a Problem<'a>,
    zeros: &'a [Zero],
    prior: Option<&'a Prior>,
    options: &Options,
    facts: &mut Facts,
) -> Result<(Setup<'a>, Solution), CalibrateError> {
    let open = facts.is_dead(problem.n_cells());
    let warm_zeros = (0..problem.n_cells()).filter(|&c| zeros[c].per_c.is_some()).collect();
    let mut terms = Terms { warm_zeros, ..Terms::default() };
    let mut setup = Setup {
        problem,
        layout: Layout::new(problem, &terms),
        zeros,
        used: vec![true; problem.rows.len()],
        settings: Settings { relative: false, position: false },
        robust: true,
        prior,
    };
    let noise = start_noise(zeros, options, &open);
    let mut state = start(problem, zeros, &open);
    if let Some(prior) = prior {
        prior.start(&mut state);
    }
    for (scatter, place) in COARSE {
        state = solve(&setup, state, noise.times(scatter, place))?.state;
    }
    let first = solve(&setup, state, noise.clone())?;
    let state = first.state.clone();
    setup.settings = estimable(&first, options);
    let mut robust = fit_curved(&mut setup, &state, &noise, &mut terms)?;
    let mut solution = leave_out_outliers(&mut setup, robust)?;
    // Outliers bend cells and curved cells make outliers. Where rows were left out, a cell that they hid may show now;
    // it is taken in, all rows are tested again, and what no longer holds goes.
    if setup.used.contains(&false) {
        let n_before = terms.curved.len();
        take_in_curved(&mut setup, &mut terms, solution.clone())?;
        if terms.curved.len() > n_before {
            setup.used.fill(true);
            robust = fit_curved(&mut setup, &state, &noise, &mut terms)?;
            solution = leave_out_outliers(&mut setup, robust)?;
        }
    }
    (setup, solution, facts.span) = with_warm_span(setup, solution, &mut terms)?;
    facts.outliers = outliers(&setup, &solution).into_iter().filter(|o| !setup.used[o.row]).collect();
    facts.curved = terms.curved.iter().filter_map(|&c| curvature::fitted(&setup, &solution, c)).collect();
    Ok((setup, solution))
}

/// The fit with gains that go with temperature, where the run supports it; else the one given. And the share as fitted.
fn with_warm_span<'a>(
    setup: Setup<'a>,
    solution: Solution,
    terms: &mut Terms,
) -> Result<(Setup<'a>, Solution, Option<Span>), CalibrateError> {
    if !temperature::may_ask_for_span(&setup) {
        return Ok((setup, solution, None));
    }
    let wider = Terms { warm_span: true, ..terms.clone() };
    let mut warm = setup.clone();
    warm.layout = Layout::new(warm.problem, &wider);
    // A share with which the fit finds no rest is none that the run supports.
    let tried = match solve(&warm, solution.state.clone(), solution.noise.clone()) {
        Err(CalibrateError::NotSettled { .. }) => return Ok((setup, solution, None)),
        tried => tried?,
    };
    let asked = temperature::span(&warm, &tried);
    if !asked.is_some_and(|s| s.is_supported()) {
        return Ok((setup, solution, asked));
    }
    // Rows may have been left out for what temperature did: all are tested again.
    warm.used.fill(true);
    warm.robust = true;
    let robust = solve(&warm, tried.state, tried.noise)?;
    let fit = leave_out_outliers(&mut warm, robust)?;
    let kept = temperature::span(&warm, &fit);
    if !kept.is_some_and(|s| s.is_supported()) {
        return Ok((setup, solution, asked));
    }
    *terms = wider;
    Ok((warm, fit, kept))
}

/// Which noise levels the run can estimate.
fn estimable(solution: &Solution, options: &Options) -> Settings {
    let rows = 0..solution.rows.len();
    let moment: f64 = rows.clone().map(|i| moment_freedom(solution, i)).sum();
    let load: f64 = rows.map(|i| load_freedom(solution, i)).sum();
    Settings {
        relative: load >= MIN_LOAD_FREEDOM,
        position: options.u_position_mm.is_none() && moment >= Options::MIN_POSITION_FREEDOM,
    }
}

/// A robust fit with the curved cells of `terms` and those that it finds besides; without those that it does not support.
fn fit_curved(setup: &mut Setup, state: &State, noise: &Noise, terms: &mut Terms) -> Result<Solution, CalibrateError> {
    setup.robust = true;
    loop {
        setup.layout = Layout::new(setup.problem, terms);
        let solution = solve(setup, state.clone(), noise.clone())?;
        let unsupported = terms.curved.iter().position(|&c| {
            curvature::fitted(setup, &solution, c).is_none_or(|cell| !is_beyond(setup, &solution, &cell))
        });
        match unsupported {
            Some(i) => drop(terms.curved.remove(i)),
            None => return take_in_curved(setup, terms, solution),
        }
    }
}

/// Takes in curved cells one by one, the likeliest first, until a fit shows none.
fn take_in_curved(setup: &mut Setup, terms: &mut Terms, mut solution: Solution) -> Result<Solution, CalibrateError> {
    loop {
        let mut best: Option<(f64, usize, Solution)> = None;
        for channel in curvature::suspects(setup, &solution) {
            let mut trial_terms = terms.clone();
            trial_terms.curved.push(channel);
            let mut trial = setup.clone();
            trial.layout = Layout::new(setup.problem, &trial_terms);
            // A curvature with which the fit finds no rest is none that the run supports.
            let fit = match solve(&trial, solution.state.clone(), solution.noise.clone()) {
                Err(CalibrateError::NotSettled { .. }) => continue,
                fit => fit?,
            };
            let Some(cell) = curvature::fitted(&trial, &fit, channel) else { continue };
            let misfit = fit.misfit();
            if is_beyond(&trial, &fit, &cell) && best.as_ref().is_none_or(|(least, ..)| misfit < *least) {
                best = Some((misfit, channel, fit));
            }
        }
        let Some((_, channel, fit)) = best else { return Ok(solution) };
        terms.curved.push(channel);
        setup.layout = Layout::new(setup.problem, terms);
        solution = fit;
    }
}

/// Ordinary fits without the rows that do not belong.
fn leave_out_outliers(setup: &mut Setup, robust: Solution) -> Result<Solution, CalibrateError> {
    let mut solution = robust;
    let mut is_robust = true;
    for _ in 0..MAX_ROUNDS {
        let out = outliers(setup, &solution);
        let used: Vec<bool> = (0..setup.used.len()).map(|i| !out.iter().any(|o| o.row == i)).collect();
        if used == setup.used && !is_robust {
            break;
        }
        setup.used = used;
        setup.robust = false;
        is_robust = false;
        solution = solve(setup, solution.state, solution.noise)?;
    }
    Ok(solution)
}

fn check(options: &Options) -> Result<(), CalibrateError> {
    let bad = |name, found, expected| Err(CalibrateError::BadOption { name, found, expected });
    match options.u_position_mm {
        Some(u) if !(u.is_finite() && u >= 0.0) => return bad("u_position_mm", u, "0 or more"),
        _ => {}
    }
    let limit = options.max_relative_u;
    if limit.is_finite() && limit > 0.0 && limit < 1.0 {
        Ok(())
    } else {
        bad("max_relative_u", limit, "between 0 and 1")
    }
}
