//! What the fit says of itself: noise levels, leverages, conditioning, the load that each gain stands for, and what a data
//! sheet adds where other loads lie for other times.
//!
//! Any load, any time. A bow of ± b of rated output moves the slope of the chord by 4 b (1 − v) between the loads of the run and
//! rated load, with v the run's load as a share of rated; toward no load by 4 b v. The larger of the two is taken, with a
//! hysteresis of ± h and a creep of ± c of the load, all as rectangular distributions (JCGM 100:2008, 4.3.7), independent:
//! u² = u_run² + k² ((4 b max(v, 1 − v))² + h² + c²)/3.

use crate::advice::advice;
use crate::analysis::Facts;
use crate::curvature;
use crate::fit::{Setup, Solution};
use crate::lack_of_fit::load_freedom;
use crate::problem::CellSite;
use crate::report::gain_u;
use crate::temperature::{self, LEAST_SPAN_C};
use formats::calibration::{CellDetail, FitDetail, RowDetail, TermDetail};
use nalgebra::DMatrix;

/// Gathers what a fit says of itself.
pub(crate) fn detail(setup: &Setup, solution: &Solution, facts: &Facts, determined: &[bool]) -> FitDetail {
    let kept_span = facts.span.filter(|_| setup.layout.span_per_c().is_some());
    FitDetail {
        scatter_pct: 100.0 * solution.noise.relative,
        place_mm: 1e3 * solution.noise.position_m,
        load_degrees_of_freedom: used_rows(setup).map(|i| load_freedom(solution, i)).sum(),
        condition_number: condition_number(&solution.covariance),
        advice: advice(setup, solution, determined),
        temperature_c: setup.problem.temperature_c,
        span_per_c: kept_span.map(|s| s.per_c),
        u_span_per_c: kept_span.map(|s| s.u_per_c),
        terms: vec![curvature_term(setup, solution, facts), zero_term(setup), span_term(setup, facts)],
        cells: (0..setup.layout.n_cells).map(|c| cell(setup, solution, c, determined[c])).collect(),
        rows: (0..setup.used.len()).map(|i| row(setup, solution, i)).collect(),
        earlier: None,
        due: None,
    }
}

fn used_rows<'a>(setup: &'a Setup<'_>) -> impl Iterator<Item = usize> + 'a {
    (0..setup.used.len()).filter(|&i| setup.used[i])
}

fn row(setup: &Setup, solution: &Solution, i: usize) -> RowDetail {
    RowDetail {
        line: setup.problem.run.rows[setup.problem.rows[i].row].line,
        used: setup.used[i],
        // Of a row that took no part nothing fits itself.
        leverage: if setup.used[i] { 1.0 - load_freedom(solution, i) } else { 0.0 },
    }
}

/// √(λ_max/λ_min) of the covariance with each unknown in units of its own uncertainty.
pub(crate) fn condition_number(covariance: &DMatrix<f64>) -> f64 {
    let n = covariance.nrows();
    let scaled = DMatrix::from_fn(n, n, |i, j| covariance[(i, j)] / (covariance[(i, i)] * covariance[(j, j)]).sqrt());
    let values = scaled.symmetric_eigenvalues();
    // Rounding may leave the smallest at or below 0: then it is as good as none.
    (values.max() / values.min().max(f64::EPSILON)).sqrt()
}

fn cell(setup: &Setup, solution: &Solution, c: usize, is_determined: bool) -> CellDetail {
    let site = &setup.problem.cells[c];
    let gain = solution.state.gain[c].abs();
    let borne: Vec<f64> = used_rows(setup)
        .filter(|&i| setup.problem.rows[i].plate == site.plate)
        .filter_map(|i| {
            let place = setup.problem.plates[site.plate].channels.iter().position(|x| *x == c)?;
            Some(solution.rows[i].equations.deflection[place].abs() * gain)
        })
        .collect();
    let [squares, cubes] = [2, 3].map(|power| borne.iter().map(|kg| kg.powi(power)).sum::<f64>());
    let load_kg = (is_determined && squares > 0.0).then(|| cubes / squares);
    let u_any = load_kg.map(|kg| gain_u(setup, solution, c).hypot(gain * sheet_relative(site, kg)));
    let warm = setup.layout.zero_per_c(c);
    CellDetail {
        name: site.name.clone(),
        load_kg,
        largest_kg: load_kg.map(|_| borne.iter().copied().fold(0.0, f64::max)),
        u_any_load_kg_per_count: u_any,
        u_any_load_pct: u_any.map(|u| 100.0 * u / gain),
        zero_counts_per_c: warm.map(|_| solution.state.zero_per_c[c]),
        u_zero_counts_per_c: warm.map(|j| solution.covariance[(j, j)].sqrt()),
    }
}

/// Relative standard uncertainty that a data sheet adds to a gain found at a load, for any load and time.
fn sheet_relative(site: &CellSite, load_kg: f64) -> f64 {
    let share = (load_kg / site.capacity_kg).clamp(0.0, 1.0);
    let parts = [4.0 * site.nonlinearity_pct * share.max(1.0 - share), site.hysteresis_pct, site.creep_pct];
    parts.iter().map(|pct| (pct / 100.0).powi(2) / 3.0).sum::<f64>().sqrt()
}

fn curvature_term(setup: &Setup, solution: &Solution, facts: &Facts) -> TermDetail {
    let names: Vec<&str> = facts.curved.iter().map(|c| setup.problem.cells[c.channel].name.as_str()).collect();
    let found = if names.is_empty() { "no cell's is".to_owned() } else { format!("kept for {}", names.join(", ")) };
    TermDetail {
        term: "curvature".into(),
        kept: !names.is_empty(),
        p: facts.curved.iter().map(|c| curvature::chance(setup, solution, c)).reduce(f64::min),
        text: format!(
            "A cell's curvature is kept where Student's t test gives it a chance below {:.0e} over all cells and it lies two \
             standard uncertainties beyond the data sheet's nonlinearity: {found}.",
            curvature::FALSE_ALARM
        ),
    }
}

/// What a run says that cannot tell a temperature term.
fn cannot_tell(setup: &Setup, spans_c: f64) -> String {
    match setup.problem.temperature_c {
        None => "the run does not say its temperature in every row".into(),
        Some(_) => format!("it spans {spans_c:.1} °C, which tells nothing"),
    }
}

fn zero_term(setup: &Setup) -> TermDetail {
    let kept: Vec<&str> = (0..setup.layout.n_cells)
        .filter(|&c| setup.layout.zero_per_c(c).is_some())
        .map(|c| setup.problem.cells[c].name.as_str())
        .collect();
    let spans_c = temperature::span_of(setup.problem.warmer_c.iter().copied());
    let found = match kept.len() {
        0 if spans_c < LEAST_SPAN_C => cannot_tell(setup, spans_c),
        0 => "no cell's does".into(),
        _ => format!("kept for {}", kept.join(", ")),
    };
    TermDetail {
        term: "temperature on zero".into(),
        kept: !kept.is_empty(),
        p: setup.zeros.iter().filter_map(|z| z.warm_p).reduce(f64::min),
        text: format!(
            "A zero's change with temperature is kept where the zero readings span {LEAST_SPAN_C} °C and Student's t test gives their \
             slope a chance below {:.0e} over all cells: {found}.",
            temperature::FALSE_ALARM
        ),
    }
}

fn span_term(setup: &Setup, facts: &Facts) -> TermDetail {
    let kept = setup.layout.span_per_c().is_some();
    let found = match facts.span {
        None => cannot_tell(setup, temperature::loaded_span_c(setup)),
        Some(s) => format!(
            "{}, {:+.4} ± {:.4} % for a degree",
            if kept { "kept" } else { "not kept" },
            100.0 * s.per_c,
            100.0 * s.u_per_c
        ),
    };
    TermDetail {
        term: "temperature on span".into(),
        kept,
        p: facts.span.map(|s| s.p),
        text: format!(
            "A change of all gains with temperature, one share for all cells, is kept where the loaded readings span {LEAST_SPAN_C} °C and \
             Student's t test gives it a chance below {:.0e}: {found}.",
            temperature::FALSE_ALARM
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_condition_of_one_means_told_apart() {
        let apart = DMatrix::from_diagonal(&nalgebra::DVector::from_vec(vec![4.0, 1e-12, 9.0]));
        assert!((condition_number(&apart) - 1.0).abs() < 1e-12);
        // Correlation r: eigenvalues 1 ± r, so √(1.8/0.2) = 3 at r = 0.8.
        let together = DMatrix::from_row_slice(2, 2, &[4.0, 1.6, 1.6, 1.0]);
        assert!((condition_number(&together) - 3.0).abs() < 1e-12);
    }

    #[test]
    fn the_sheet_adds_what_its_bow_hysteresis_and_creep_allow() {
        let site = CellSite {
            name: "a".into(),
            plate: 0,
            at_m: [0.0, 0.0],
            nominal_gain: 1e-5,
            capacity_kg: 50.0,
            nonlinearity_pct: 0.05,
            hysteresis_pct: 0.03,
            creep_pct: 0.06,
            after_effect: 0.0,
            allowed_share: 0.0,
        };
        // By hand at 10 kg of 50: 4·0.05·0.8 = 0.16 %; √(0.16² + 0.03² + 0.06²)/√3 = 0.10017 %.
        assert!((sheet_relative(&site, 10.0) - 1.001_665e-3).abs() < 1e-9, "{}", sheet_relative(&site, 10.0));
    }
}
