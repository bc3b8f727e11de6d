//! The order of work: exchanged channels, zeros, dead cells, robust fit, curved cells, outliers, final fit.

use crate::curvature::{self, Curved, is_beyond};
use crate::equations::{Noise, State};
use crate::fit::{Setup, Solution, solve};
use crate::lack_of_fit::{load_freedom, moment_freedom};
use crate::model::{Layout, start, start_noise};
use crate::noisy::{Noisy, noisy_cells};
use crate::options::{CalibrateError, Options};
use crate::outlier::{Outlier, outliers};
use crate::problem::Problem;
use crate::report;
use crate::screen::{Dead, dead_cells};
use crate::swap::{Swap, undo_between_plates, undo_within_plates};
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
    let mut problem = Problem::new(deck, run)?;
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
    let (setup, solution) = fit_all(&problem, &zeros, options, &mut facts)?;
    Ok(report::calibration(deck, &setup, &solution, &facts, options))
}

/// The fit, with the cells and rows that it finds wanting set apart.
fn fit_all<'a>(
    problem: &'a Problem<'a>,
    zeros: &'a [Zero],
    options: &Options,
    facts: &mut Facts,
) -> Result<(Setup<'a>, Solution), CalibrateError> {
    let open = facts.is_dead(problem.n_cells());
    let mut setup = Setup {
        problem,
        layout: Layout::new(problem, &[]),
        zeros,
        used: vec![true; problem.rows.len()],
        settings: Settings { relative: false, position: false },
        robust: true,
    };
    let noise = start_noise(zeros, options, &open);
    let mut state = start(problem, zeros, &open);
    for (scatter, place) in COARSE {
        state = solve(&setup, state, noise.times(scatter, place))?.state;
    }
    let first = solve(&setup, state, noise.clone())?;
    let state = first.state.clone();
    setup.settings = estimable(&first, options);
    let mut curved = Vec::new();
    let mut robust = fit_curved(&mut setup, &state, &noise, &mut curved)?;
    let mut solution = leave_out_outliers(&mut setup, robust)?;
    // Outliers bend cells and curved cells make outliers. Where rows were left out, a cell that they hid may show now;
    // it is taken in, all rows are tested again, and what no longer holds goes.
    if setup.used.contains(&false) {
        let n_before = curved.len();
        take_in_curved(&mut setup, &mut curved, solution.clone())?;
        if curved.len() > n_before {
            setup.used.fill(true);
            robust = fit_curved(&mut setup, &state, &noise, &mut curved)?;
            solution = leave_out_outliers(&mut setup, robust)?;
        }
    }
    facts.outliers = outliers(&setup, &solution).into_iter().filter(|o| !setup.used[o.row]).collect();
    facts.curved = curved.iter().filter_map(|&c| curvature::fitted(&setup, &solution, c)).collect();
    Ok((setup, solution))
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

/// A robust fit with the cells in `curved` and those that it finds besides; without those that it does not support.
fn fit_curved(
    setup: &mut Setup,
    state: &State,
    noise: &Noise,
    curved: &mut Vec<usize>,
) -> Result<Solution, CalibrateError> {
    setup.robust = true;
    loop {
        setup.layout = Layout::new(setup.problem, curved);
        let solution = solve(setup, state.clone(), noise.clone())?;
        let unsupported = curved.iter().position(|&c| {
            curvature::fitted(setup, &solution, c).is_none_or(|cell| !is_beyond(setup, &solution, &cell))
        });
        match unsupported {
            Some(i) => drop(curved.remove(i)),
            None => return take_in_curved(setup, curved, solution),
        }
    }
}

/// Takes in curved cells one by one, the likeliest first, until a fit shows none.
fn take_in_curved(
    setup: &mut Setup,
    curved: &mut Vec<usize>,
    mut solution: Solution,
) -> Result<Solution, CalibrateError> {
    loop {
        let mut best: Option<(f64, usize, Solution)> = None;
        for channel in curvature::suspects(setup, &solution) {
            let mut trial_cells = curved.clone();
            trial_cells.push(channel);
            let mut trial = setup.clone();
            trial.layout = Layout::new(setup.problem, &trial_cells);
            let fit = solve(&trial, solution.state.clone(), solution.noise.clone())?;
            let Some(cell) = curvature::fitted(&trial, &fit, channel) else { continue };
            let misfit = fit.misfit();
            if is_beyond(&trial, &fit, &cell) && best.as_ref().is_none_or(|(least, ..)| misfit < *least) {
                best = Some((misfit, channel, fit));
            }
        }
        let Some((_, channel, fit)) = best else { return Ok(solution) };
        curved.push(channel);
        setup.layout = Layout::new(setup.problem, curved);
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
