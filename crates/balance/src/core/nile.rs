//! The core against published values: with no loss, no pads and an idle deck it is the local level.
//!
//! y = μ + ε, μ a random walk. Here μ is M0 + C: the charting error's steps are the walk. Source of data
//! and estimates: Durbin & Koopman, Time Series Analysis by State Space Methods, Nile flows 1871–1970
//! (Cobb 1978); log-likelihood and maximum-likelihood variances as printed with the R package KFAS;
//! filtered and smoothed values computed with statsmodels, exact diffuse start.

use super::*;

fn volumes() -> Vec<f64> {
    include_str!("../../tests/data/nile.csv")
        .lines()
        .filter(|line| line.starts_with("18") || line.starts_with("19"))
        .map(|line| line.split(',').nth(1).unwrap().parse().unwrap())
        .collect()
}

/// Local level with variances of noise and of the walk.
fn grid(var_noise: f64, var_walk: f64) -> Grid {
    let nodes = volumes()
        .iter()
        .enumerate()
        .map(|(k, &value_g)| {
            let walk = Transition { dt_h: 1.0, var_through_g2: var_walk, ..Transition::NONE };
            Node {
                t_h: k as f64,
                charted_g: 0.0,
                into: if k == 0 { Transition::NONE } else { walk },
                observation: Some(Observation { value_g, var_g2: var_noise }),
            }
        })
        .collect();
    Grid { nodes }
}

const LEVEL: Params =
    Params { white: 1.0, posture: 0.0, chart: 1.0, rate_q: 0.0, rate_g_h: 0.0, rate_sd_g_h: 0.0, weep_g_h: 0.0 };

fn run(grid: &Grid) -> (Vec<Filtered>, Filter) {
    let mut filter = Filter::new(LEVEL, grid.nodes[0].observation.unwrap(), 0.0);
    let filtered = grid.nodes.iter().map(|node| filter.step(node)).collect();
    (filtered, filter)
}

fn log_likelihood(var_noise: f64, var_walk: f64) -> f64 {
    run(&grid(var_noise, var_walk)).1.log_likelihood()
}

/// Printed by KFAS: −632.5456 over 99 terms; computed there to −632.545625.
#[test]
fn log_likelihood_is_the_published_one() {
    let found = log_likelihood(15_098.53, 1_469.178);
    // The start is diffuse to 1e-7 of the first variance, which moves the sum by less than 1e-6.
    assert!((found + 632.545_625).abs() < 2e-6, "{found}");
}

/// The published variances, 15098.53 and 1469.178 (KFAS), are where the likelihood is largest.
#[test]
fn published_variances_are_the_maximum() {
    let (mut x, mut step) = ([15_000f64.ln(), 1_500f64.ln()], 0.05);
    let value = |x: [f64; 2]| log_likelihood(x[0].exp(), x[1].exp());
    let mut best = value(x);
    while step > 1e-7 {
        let mut moved = false;
        for (i, sign) in [(0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0)] {
            let mut y = x;
            y[i] += sign * step;
            let there = value(y);
            if there > best {
                (x, best, moved) = (y, there, true);
            }
        }
        if !moved {
            step *= 0.5;
        }
    }
    // Near its top the likelihood is flat: 1e-10 of it, the rounding of its sum, is 2e-5 in the logarithms.
    assert!((x[0].exp() / 15_098.53 - 1.0).abs() < 1e-4, "{}", x[0].exp());
    assert!((x[1].exp() / 1_469.178 - 1.0).abs() < 1e-4, "{}", x[1].exp());
}

/// Rows of the reference table at (15099, 1469.1): year, filtered, its variance, smoothed, its variance.
const TABLE: [(usize, f64, f64, f64, f64); 8] = [
    (1871, 1120.0000, 15099.000, 1111.6683, 4032.158),
    (1872, 1140.9278, 7899.736, 1110.8577, 3242.930),
    (1873, 1072.7985, 5781.470, 1105.2656, 2818.942),
    (1875, 1129.9721, 4478.723, 1112.3779, 2468.803),
    (1880, 1162.9026, 4051.284, 1097.7216, 2333.113),
    (1899, 1037.2223, 4032.158, 950.9301, 2326.757),
    (1920, 849.0706, 4032.158, 834.7633, 2326.757),
    (1970, 798.3703, 4032.158, 798.3703, 4032.158),
];

#[test]
fn filtered_and_smoothed_levels_are_the_published_ones() {
    let grid = grid(15_099.0, 1_469.1);
    let (filtered, _) = run(&grid);
    let level = body();
    let wanted: Vec<usize> = TABLE.iter().map(|row| row.0 - 1871).collect();
    let smoothed = smooth(&grid, &filtered, &wanted);
    for ((year, mean, var, smooth_mean, smooth_var), state) in TABLE.into_iter().zip(&smoothed) {
        let at = filtered[year - 1871];
        let update = at.update.unwrap();
        let updated = level.dot(&at.a) + level.dot(&update.k) * update.v;
        let pz = at.p * level;
        let updated_var = level.dot(&pz) - level.dot(&update.k).powi(2) * update.f;
        // Printed to four and three places; the diffuse start adds 15099 · 1e-7 at most.
        assert!((updated - mean).abs() < 1e-3, "{year}: filtered {updated}");
        assert!((updated_var - var).abs() < 5e-3, "{year}: variance {updated_var}");
        assert!((level.dot(&state.mean) - smooth_mean).abs() < 1e-3, "{year}: smoothed");
        assert!((state.cov(&level, &level) - smooth_var).abs() < 5e-3, "{year}: smoothed variance");
    }
}
