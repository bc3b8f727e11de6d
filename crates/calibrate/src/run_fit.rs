//! The order of work: zeros, screening, fit, judgement.

use crate::fit::{Setup, Solution, solve};
use crate::lack_of_fit::moment_freedom;
use crate::model::{Layout, start, start_noise};
use crate::options::{CalibrateError, Options};
use crate::problem::Problem;
use crate::report;
use crate::screen::dead_cells;
use crate::variance::Settings;
use crate::zeros::zeros;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::run::Run;

/// Degrees of freedom of the load equations from which their scatter in proportion to load is estimated.
const MIN_LOAD_FREEDOM: f64 = 4.0;

/// Every cell's zero and gain from a run, with covariance, residuals and findings.
///
/// # Errors
/// [`CalibrateError`] where the run does not belong to the deck, holds no zero reading or no known mass, or a number
/// makes no sense. What a sound run leaves open is no error: it is reported.
pub fn calibrate(deck: &Deck, run: &Run, options: &Options) -> Result<Calibration, CalibrateError> {
    check(options)?;
    let problem = Problem::new(deck, run)?;
    let zeros = zeros(&problem, &vec![false; run.rows.len()]);
    let dead = dead_cells(&problem, &zeros);
    let mut open = vec![false; problem.n_cells()];
    for cell in &dead {
        open[cell.channel] = true;
    }
    let mut setup = Setup {
        problem: &problem,
        layout: Layout::new(&problem, &[]),
        zeros: &zeros,
        weights: vec![1.0; problem.rows.len()],
        settings: Settings { relative: false, position: false },
    };
    let solution = solve_with_levels(&mut setup, options, &open)?;
    Ok(report::calibration(deck, &setup, &solution, &dead, options))
}

/// A first fit with stated noise levels tells which levels the run can estimate; the second estimates them.
fn solve_with_levels(setup: &mut Setup, options: &Options, open: &[bool]) -> Result<Solution, CalibrateError> {
    let noise = start_noise(setup.zeros, options, open);
    let first = solve(setup, start(setup.problem, setup.zeros), noise)?;
    let used = || (0..first.rows.len()).filter(|&i| setup.weights[i] > 0.0);
    let moment: f64 = used().map(|i| moment_freedom(&first, i)).sum();
    let load: f64 = used().map(|i| crate::lack_of_fit::load_freedom(&first, i)).sum();
    setup.settings = Settings {
        relative: load >= MIN_LOAD_FREEDOM,
        position: options.u_position_mm.is_none() && moment >= Options::MIN_POSITION_FREEDOM,
    };
    solve(setup, first.state, first.noise)
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
