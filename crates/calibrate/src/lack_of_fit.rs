//! Whether the load equations leave more than repeated loads explain.
//!
//! F = (SS_lack / ν_lack) / (SS_pure / ν_pure). Pure error comes from loaded rows repeated in place and body. Zero readings
//! would not do: no cell is as straight as it is quiet, so against their noise every real run lacks fit.
//! Residuals are taken in units of what the counts' noise alone makes of a load equation.

use crate::fit::{Setup, Solution};
use std::collections::HashMap;

/// P-value of the test; `None` without repeats or spare equations.
pub(crate) fn lack_of_fit_p(setup: &Setup, solution: &Solution) -> Option<f64> {
    let used: Vec<usize> = (0..solution.rows.len()).filter(|&i| setup.used[i]).collect();
    let scaled = |i: usize| {
        let row = &solution.rows[i];
        let channels = &setup.problem.plates[setup.problem.rows[i].plate].channels;
        let slopes = row.equations.slope.iter().zip(channels);
        let counts_only: f64 = slopes.map(|(k, &c)| (k * solution.noise.count_sd[c]).powi(2)).sum();
        row.residual[0] / counts_only.sqrt()
    };
    let total_ss: f64 = used.iter().map(|&i| scaled(i).powi(2)).sum();
    let total_df: f64 = used.iter().map(|&i| load_freedom(solution, i)).sum();
    let (pure_ss, pure_df) = repeats(setup, &used, scaled);
    let (lack_ss, lack_df) = ((total_ss - pure_ss).max(0.0), total_df - pure_df as f64);
    let is_posed = lack_df > 0.5 && pure_df > 0 && pure_ss > 0.0;
    is_posed.then(|| {
        let f = lack_ss / lack_df / (pure_ss / pure_df as f64);
        stats::distribution::f_sf(f, lack_df, pure_df as f64)
    })
}

/// Share of a load equation that the fit leaves free: 1 − leverage.
pub(crate) fn load_freedom(solution: &Solution, i: usize) -> f64 {
    let row = &solution.rows[i];
    let Some(l) = row.equations.whitener.try_inverse() else { return 0.0 };
    let taken = (l * row.leverage * l.transpose())[(0, 0)];
    (1.0 - taken / row.equations.covariance[(0, 0)]).clamp(0.0, 1.0)
}

/// Share of the two moment equations that the fit leaves free.
pub(crate) fn moment_freedom(solution: &Solution, i: usize) -> f64 {
    (3.0 - solution.rows[i].leverage.trace() - load_freedom(solution, i)).clamp(0.0, 2.0)
}

fn repeats(setup: &Setup, used: &[usize], scaled: impl Fn(usize) -> f64) -> (f64, usize) {
    let mut groups: HashMap<(usize, usize, [u64; 2]), Vec<f64>> = HashMap::new();
    for &i in used {
        let row = &setup.problem.rows[i];
        groups.entry((row.plate, row.body, row.at_m.map(f64::to_bits))).or_default().push(scaled(i));
    }
    groups.values().filter(|g| g.len() > 1).fold((0.0, 0), |(ss, df), g| {
        let mean = g.iter().sum::<f64>() / g.len() as f64;
        (ss + g.iter().map(|e| (e - mean).powi(2)).sum::<f64>(), df + g.len() - 1)
    })
}
