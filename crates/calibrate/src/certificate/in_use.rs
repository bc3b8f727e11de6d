//! Uncertainty of a weight in use: a load spread evenly over the deck, weighed against an empty deck.
//!
//! W = Σ k_c d_c over all cells, so u²(lines) = gᵀ C g with g = ∂W/∂(k, z) and C the covariance of the calibration. A plate bears its
//! share of the area, each of its cells an equal part. To that come what the data sheets allow between the loads of the run
//! and these loads, resolution of the display, and gravity where the deck weighs elsewhere.
//!
//! Bow: ± b of rated output at mid-range moves a cell at load F by 4 b F (v_run − v), v the share of rated load
//! (rectangular, each cell its own). Hysteresis ± h F, repeatability ± r F (each cell its own), creep ± c F of 30 min (common to
//! cells of a type: they come from one batch).
//! Not here: tilt, bedding, temperature, air buoyancy of the patient; those are the budget of `check` and of `weigh`.

use super::COVERAGE;
use super::model::{Budget, Contribution};
use formats::calibration::Calibration;
use formats::deck::{CellType, Deck};

/// Loads stated, as shares of the largest.
const SHARES: [f64; 6] = [0.0, 0.1, 0.25, 0.5, 0.75, 1.0];

/// A weight of the whole deck.
#[derive(Debug, Clone, PartialEq)]
pub struct WeightInUse {
    /// Load, kg.
    pub load_kg: f64,
    /// Whether some cell then bears more than it ever did in the run.
    pub is_beyond_run: bool,
    /// Its uncertainty.
    pub budget: Budget,
}

/// One cell under the evenly spread load of 1 kg.
struct Part<'a> {
    share: f64,
    kind: &'a CellType,
    gain: f64,
    /// The load that its gain stands for, and the largest of the run, kg.
    run_kg: f64,
    largest_kg: f64,
    /// Places of its gain and zero in the covariance.
    at: [Option<usize>; 2],
}

/// Weights from none to the largest; empty where a cell is not determined.
pub(super) fn weights(deck: &Deck, calibration: &Calibration) -> Vec<WeightInUse> {
    let Some(parts) = parts(deck, calibration) else { return Vec::new() };
    SHARES.iter().map(|share| weight(deck, calibration, &parts, share * deck.max_kg)).collect()
}

/// Standard uncertainty of the lines at the largest load, g; `None` where a cell is not determined.
pub(crate) fn lines_at_largest_g(deck: &Deck, calibration: &Calibration) -> Option<f64> {
    Some(lines_g(calibration, &parts(deck, calibration)?, deck.max_kg))
}

fn parts<'a>(deck: &'a Deck, calibration: &Calibration) -> Option<Vec<Part<'a>>> {
    let detail = calibration.detail.as_ref()?;
    let area = deck::geometry::deck_area_m2(deck);
    let position = |name: &str| calibration.covariance.parameters.iter().position(|p| p == name);
    let mut found = Vec::new();
    for plate in &deck.plates {
        let share = deck::geometry::area_m2(plate) / area / plate.cells.len() as f64;
        for cell in &plate.cells {
            let line = calibration.cells.iter().find(|c| c.name == cell.name)?;
            let more = detail.cells.iter().find(|c| c.name == cell.name)?;
            found.push(Part {
                share,
                kind: deck::chain::cell_type(deck, cell).ok()?,
                gain: line.kg_per_count?,
                run_kg: more.load_kg?,
                largest_kg: more.largest_kg?,
                at: [position(&format!("gain:{}", cell.name)), position(&format!("zero:{}", cell.name))],
            });
        }
    }
    Some(found)
}

fn weight(deck: &Deck, calibration: &Calibration, parts: &[Part], load_kg: f64) -> WeightInUse {
    let sum = |of: &dyn Fn(&Part, f64) -> f64| {
        parts.iter().map(|p| (1e3 * of(p, p.share * load_kg)).powi(2)).sum::<f64>().sqrt()
    };
    let bow = |p: &Part, kg: f64| 4.0 * p.kind.nonlinearity_pct / 100.0 * kg * (p.run_kg - kg) / p.kind.capacity_kg;
    let creep_kg: f64 = parts.iter().map(|p| p.kind.creep_pct_30min / 100.0 * p.share * load_kg).sum();
    let elsewhere = deck::gravity::u_of_weight(deck);
    let dof = calibration.degrees_of_freedom.max(1) as f64;
    let contributions = vec![
        Contribution::normal("lines of the cells, with the masses", lines_g(calibration, parts, load_kg), dof),
        Contribution::rectangular("bow of the cells (data sheet)", sum(&bow)),
        Contribution::rectangular(
            "hysteresis of the cells (data sheet)",
            sum(&|p, kg| p.kind.hysteresis_pct / 100.0 * kg),
        ),
        Contribution::rectangular(
            "repeatability of the cells (data sheet)",
            sum(&|p, kg| p.kind.repeatability_pct / 100.0 * kg),
        ),
        Contribution::rectangular("creep over 30 min (data sheet)", 1e3 * creep_kg),
        Contribution::rectangular("resolution at zero", deck.e_g / 2.0),
        Contribution::rectangular("resolution at load", deck.e_g / 2.0),
        Contribution::normal("gravity of the two places", 1e3 * load_kg * elsewhere, f64::INFINITY),
    ];
    WeightInUse {
        load_kg,
        // A cell that bears a hundredth more than in the run is not worth a word.
        is_beyond_run: parts.iter().any(|p| p.share * load_kg > 1.01 * p.largest_kg),
        budget: Budget::of(contributions, COVERAGE),
    }
}

/// √(gᵀ C g), g: ∂W/∂k = d, ∂W/∂z = −k.
fn lines_g(calibration: &Calibration, parts: &[Part], load_kg: f64) -> f64 {
    let gradient: Vec<(usize, f64)> = parts
        .iter()
        .flat_map(|p| [(p.at[0], p.share * load_kg / p.gain), (p.at[1], -p.gain)])
        .filter_map(|(at, g)| Some((at?, g)))
        .collect();
    let entry =
        |i: usize, j: usize| calibration.covariance.matrix.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
    let variance: f64 =
        gradient.iter().flat_map(|(i, a)| gradient.iter().map(move |(j, b)| a * b * entry(*i, *j))).sum();
    1e3 * variance.max(0.0).sqrt()
}
