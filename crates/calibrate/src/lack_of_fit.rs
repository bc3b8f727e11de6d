//! Whether the load equations leave more than repeated loads explain.
//!
//! F = (SS_lack / ν_lack) / (SS_pure / ν_pure). Pure error comes from loaded rows repeated in place and body. Zero readings
//! would not do: no cell is as straight as it is quiet, so against their noise every real run lacks fit.
//! Residuals are taken in units of what the fit makes of a load equation's noise: rows differ in it, and the ratio of the
//! mean squares does not care how large it is.

use crate::fit::{Setup, Solution, jacobian};
use nalgebra::DVector;
use std::collections::BTreeMap;

/// P-value of the test; `None` without repeats or spare equations.
pub(crate) fn lack_of_fit_p(setup: &Setup, solution: &Solution) -> Option<f64> {
    let used: Vec<usize> = (0..solution.rows.len()).filter(|&i| setup.used[i]).collect();
    // The whitener is lower triangular, so the first whitened residual is the load equation's over its own deviation.
    let total_ss: f64 = used.iter().map(|&i| solution.rows[i].whitened[0].powi(2)).sum();
    let total_df: f64 = used.iter().map(|&i| load_freedom(solution, i)).sum();
    let groups = repeats(setup, &used);
    let (pure_ss, pure_df) = groups.iter().fold((0.0, 0.0), |(ss, df), group| {
        let (own_ss, own_df) = within(setup, solution, group);
        (ss + own_ss, df + own_df)
    });
    let (lack_ss, lack_df) = ((total_ss - pure_ss).max(0.0), total_df - pure_df);
    let is_posed = lack_df > 0.5 && pure_df > 0.5 && pure_ss > 0.0;
    is_posed.then(|| stats::distribution::f_sf(lack_ss / lack_df / (pure_ss / pure_df), lack_df, pure_df))
}

/// Sum of squares within a group of repeats, and the degrees of freedom behind it.
///
/// Repeats bear the same load at the same place but share it anew among the cells, so the gains are fitted to what differs
/// between them too: tr[(1 − J/n)(1 − H)] degrees of freedom are left, fewer than n − 1.
fn within(setup: &Setup, solution: &Solution, group: &[usize]) -> (f64, f64) {
    let n = group.len() as f64;
    let residuals: Vec<f64> = group.iter().map(|&i| solution.rows[i].whitened[0]).collect();
    let mean = residuals.iter().sum::<f64>() / n;
    let ss = residuals.iter().map(|e| (e - mean).powi(2)).sum();
    let load_rows: Vec<DVector<f64>> = group
        .iter()
        .map(|&i| {
            let (columns, a) = jacobian(setup, i, &solution.rows[i].equations);
            let mut row = DVector::zeros(setup.layout.n_columns);
            columns.iter().enumerate().for_each(|(k, &j)| row[j] = a[(0, k)]);
            row
        })
        .collect();
    let mean_row = load_rows.iter().sum::<DVector<f64>>() / n;
    let spent: f64 = load_rows
        .iter()
        .map(|row| {
            let off = row - &mean_row;
            off.dot(&(&solution.covariance * &off))
        })
        .sum();
    (ss, (n - 1.0 - spent).max(0.0))
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

/// Groups of used rows with the same body at the same place.
fn repeats(setup: &Setup, used: &[usize]) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<(usize, usize, [u64; 2]), Vec<usize>> = BTreeMap::new();
    for &i in used {
        let row = &setup.problem.rows[i];
        groups.entry((row.plate, row.body, row.at_m.map(f64::to_bits))).or_default().push(i);
    }
    groups.into_values().filter(|g| g.len() > 1).collect()
}
