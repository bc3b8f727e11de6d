//! Whether cells and converter go together: conditions of module compatibility, counts and noise.
//!
//! Conditions after OIML R 76-1:2006, Annex F and WELMEC 2, from memory (only the definitions were read). The deck file
//! carries data-sheet bounds, not a certificate: n_LC and v_min are those that the bounds would fulfil, so that a
//! condition met here still has to be shown by the cells' certificates.
//!
//! Direct load on the cells, R = 1; one channel a cell, so N = 1 in the electrical conditions and N in those of zero.

use deck::DeckError;
use deck::chain::{Channel, PEAK_TO_PEAK, cell_type};
use deck::oiml::r60::P_LC_DEFAULT;
use formats::deck::{CellType, Deck};

use crate::report::{Condition, ModulesReport};

/// Share of max, tare included, that unevenness brings to the cells: Q of condition 5 is this times (max + tare)/max.
const UNEVEN: f64 = 1.5;

/// Conditions and counts of a deck with `tare_kg` of mattress and linen on it.
///
/// # Errors
/// Unknown cell type.
pub fn modules(deck: &Deck, tare_kg: f64, averaging_s: f64) -> Result<ModulesReport, DeckError> {
    let kinds = deck.cells().map(|(_, cell)| cell_type(deck, cell)).collect::<Result<Vec<_>, _>>()?;
    let n = kinds.len() as f64;
    let channels: Vec<Channel> = kinds.iter().map(|k| Channel::new(k, &deck.converter)).collect();
    let e_kg = deck.e_g / 1e3;
    let intervals = deck.max_kg / e_kg;
    let worst = |value: &dyn Fn(&CellType) -> f64, better: fn(f64, f64) -> f64| {
        kinds.iter().map(|k| value(k)).reduce(better).unwrap_or(f64::NAN)
    };
    let q = UNEVEN * (deck.max_kg + tare_kg) / deck.max_kg;
    let noise_sum_g = channels.iter().map(|c| c.noise_g.powi(2)).sum::<f64>().sqrt();
    let counts_per_e = channels.iter().map(|c| c.counts_per_kg * e_kg).fold(f64::INFINITY, f64::min);
    let saturation = channels.iter().map(|c| c.saturation_kg / c.capacity_kg).fold(f64::INFINITY, f64::min);
    let conditions = vec![
        at_least("n_LC ≥ n (condition 4)", worst(&intervals_of_cell, f64::min), intervals),
        at_least("E_max ≥ Q·Max/N, kg (condition 5)", worst(&|k| k.capacity_kg, f64::min), q * deck.max_kg / n),
        at_most("v_min ≤ e/√N, g (condition 6)", 1e3 * worst(&v_min_kg, f64::max), deck.e_g / n.sqrt()),
        at_least("counts per interval, one cell", counts_per_e, 1.0),
        at_least("converter's range over rated output", saturation, 1.0),
    ];
    let samples = (deck.converter.rate_hz * averaging_s).max(1.0);
    Ok(ModulesReport {
        conditions,
        counts_per_e,
        noise_g_rms: noise_sum_g,
        averaged_noise_g_rms: noise_sum_g / samples.sqrt(),
        noise_free_divisions: deck.max_kg * 1e3 / (PEAK_TO_PEAK * noise_sum_g),
        note: "conditions from memory; n_LC and v_min are what the data-sheet bounds would fulfil",
    })
}

/// Most verification intervals whose error envelope holds the cell's bounds: p_LC · (0.5, 1 or 1.5) v at full load (OIML R 60-1, 5.3).
fn intervals_of_cell(kind: &CellType) -> f64 {
    let combined = kind.nonlinearity_pct.hypot(kind.hysteresis_pct).hypot(kind.span_tc_pct_10c) / 100.0;
    // The margin keeps 3000 from becoming 2999 by round-off.
    let n = |steps: f64| (P_LC_DEFAULT * steps / combined * (1.0 + 1e-9)).floor();
    [(1.5, 10_000.0), (1.0, 2_000.0), (0.5, 500.0)]
        .iter()
        .map(|&(steps, most)| n(steps).min(most))
        .zip([2_000.0, 500.0, 0.0])
        .find_map(|(n, above)| (n > above).then_some(n))
        .unwrap_or(0.0)
}

/// Smallest verification interval by the change of zero: TC per 5 °C over p_LC (OIML R 60-1, 5.6.1.3), kg.
fn v_min_kg(kind: &CellType) -> f64 {
    kind.zero_tc_pct_10c / 100.0 * 0.5 * kind.capacity_kg / P_LC_DEFAULT
}

fn at_least(name: &str, value: f64, limit: f64) -> Condition {
    Condition { name: name.to_owned(), value, limit, met: value >= limit }
}

fn at_most(name: &str, value: f64, limit: f64) -> Condition {
    Condition { name: name.to_owned(), value, limit, met: value <= limit }
}
