//! This calibration against an earlier one: what drifted, and by when to calibrate again.
//!
//! Drift of a cell: k₂ g₂/(k₁ g₁) − 1, with u² = u₁² + u₂² of two runs that know nothing of each other (masses common to both make
//! that too large, which is the careful side). In a partial calibration the kept gains hold the earlier ones; then the
//! difference has u² = u₁² − u₂² (Hausman, Econometrica 46 (1978) 1251, from memory), and a cell that the run does not load has none.
//! Significant is what a normal law gives less than 1 % over all cells together (Bonferroni).
//!
//! Due: when the expanded uncertainty of the lines and the drift, carried on at its rate, together reach a third of the
//! permissible error of a weight at the largest load, and never later than a year. The third and the year are common
//! practice, no source; where the law sets a term, that term holds.

use crate::certificate::lines_at_largest_g;
use crate::options::Earlier;
use deck::oiml::r76;
use formats::calibration::{Calibration, CellCalibration, CellDrift, Comparison, Due};
use formats::deck::Deck;
use stats::distribution::normal_cdf;

/// Chance that any cell of a deck that did not drift is called drifted.
const FALSE_ALARM: f64 = 0.01;
/// Longest time between calibrations, days.
pub(crate) const LONGEST_DAYS: f64 = 365.0;
/// Share of the permissible error that the calibration may take.
pub(crate) const SHARE_OF_MPE: f64 = 1.0 / 3.0;
/// Of two variances that differ by less than this share nothing is learnt: rounding.
const NOTHING_LEARNT: f64 = 1e-6;

/// What changed since an earlier calibration.
pub(crate) fn compare(earlier: &Earlier, now: &Calibration) -> Comparison {
    let before = &earlier.calibration;
    let is_partial = !earlier.replaced.is_empty();
    let scale = now.gravity_m_s2 / before.gravity_m_s2;
    let n = now.cells.len() as f64;
    let mut cells = Vec::new();
    for cell in &now.cells {
        let Some(old) = before.cells.iter().find(|c| c.name == cell.name) else { continue };
        let is_replaced = earlier.replaced.contains(&cell.name);
        let drift = if is_replaced { None } else { drift(old, cell, scale, is_partial) };
        let p = drift.map(|(d, u)| (n * 2.0 * normal_cdf(-(d / u).abs())).min(1.0));
        cells.push(CellDrift {
            name: cell.name.clone(),
            is_replaced,
            drift_pct: drift.map(|d| 100.0 * d.0),
            u_drift_pct: drift.map(|d| 100.0 * d.1),
            p,
            is_significant: p.is_some_and(|p| p < FALSE_ALARM),
            zero_shift_kg: zero_shift_kg(old, cell).filter(|_| !is_replaced),
        });
    }
    let known: Vec<(f64, f64)> = cells.iter().filter_map(|c| c.drift_pct.zip(c.u_drift_pct)).collect();
    let count = known.len().max(1) as f64;
    Comparison {
        made_at: before.made_at.clone(),
        days: days_between(&before.made_at, &now.made_at),
        mean_drift_pct: known.iter().map(|k| k.0).sum::<f64>() / count,
        // The masses' part is common to all cells and does not average out: the mean is taken for no better than a cell.
        u_mean_drift_pct: known.iter().map(|k| k.1).sum::<f64>() / count,
        text: sentence(&cells),
        cells,
    }
}

/// Relative drift and its standard uncertainty.
fn drift(old: &CellCalibration, new: &CellCalibration, scale: f64, is_partial: bool) -> Option<(f64, f64)> {
    let (k1, u1) = old.kg_per_count.zip(old.u_kg_per_count)?;
    let (k2, u2) = new.kg_per_count.zip(new.u_kg_per_count)?;
    let (v1, v2) = ((u1 / k1).powi(2), (u2 / k2).powi(2));
    let variance = if is_partial { v1 - v2 } else { v1 + v2 };
    (variance > NOTHING_LEARNT * v1).then(|| (scale * k2 / k1 - 1.0, variance.sqrt()))
}

fn zero_shift_kg(old: &CellCalibration, new: &CellCalibration) -> Option<f64> {
    Some((new.zero_counts? - old.zero_counts?) * new.kg_per_count?)
}

fn sentence(cells: &[CellDrift]) -> String {
    let drifted: Vec<String> = cells
        .iter()
        .filter(|c| c.is_significant)
        .filter_map(|c| Some(format!("{} by {:+.3} ± {:.3} %", c.name, c.drift_pct?, c.u_drift_pct?)))
        .collect();
    let tested = cells.iter().filter(|c| c.drift_pct.is_some()).count();
    if tested == 0 {
        "No cell is known to both calibrations.".to_owned()
    } else if drifted.is_empty() {
        format!("Of the {tested} cells that both calibrations know apart, none drifted beyond what chance explains.")
    } else {
        format!(
            "Drifted beyond what chance explains ({FALSE_ALARM} over all cells): {}. Look for an overload, a loose foot or moisture.",
            drifted.join(", ")
        )
    }
}

fn days_between(from: &str, to: &str) -> Option<f64> {
    let [from, to] = [from, to].map(|t| t.parse::<jiff::Timestamp>().ok());
    Some((to?.as_second() - from?.as_second()) as f64 / 86_400.0)
}

/// By when to calibrate again, and why; `None` where the time of the calibration cannot be read.
pub(crate) fn due(deck: &Deck, now: &Calibration, comparison: Option<&Comparison>) -> Option<Due> {
    let made = now.made_at.parse::<jiff::Timestamp>().ok()?;
    let (days, why) = term(deck, now, comparison);
    let on = made.checked_add(jiff::SignedDuration::from_secs((days * 86_400.0) as i64)).ok()?;
    Some(Due { on: on.to_string().chars().take(10).collect(), why })
}

/// Days until the next calibration, and why.
fn term(deck: &Deck, now: &Calibration, comparison: Option<&Comparison>) -> (f64, String) {
    if !now.findings.is_empty() {
        return (0.0, "the run has findings: mend what they name, then calibrate again".into());
    }
    let allowed_g = SHARE_OF_MPE * r76::mpe_g(deck.class, deck.e_g, deck.max_kg, false);
    let Some(lines_g) = lines_at_largest_g(deck, now) else {
        return (0.0, "the uncertainty of a weight cannot be told".into());
    };
    let expanded_g = 2.0 * lines_g;
    let limit = format!("a third of the permissible error at {} kg, {allowed_g:.0} g", deck.max_kg);
    if expanded_g >= allowed_g {
        return (
            0.0,
            format!("the lines alone are uncertain by {expanded_g:.0} g (k = 2), which is more than {limit}"),
        );
    }
    let (comparison, since) = match comparison.map(|c| (c, c.days.filter(|d| *d >= 1.0))) {
        Some((c, Some(since))) if c.cells.iter().any(|cell| cell.drift_pct.is_some()) => (c, since),
        Some((_, Some(_))) => {
            let why = "one year, for no cell is known to both calibrations: nothing tells how the new ones drift";
            return (LONGEST_DAYS, why.into());
        }
        Some((_, None)) => {
            let why =
                "one year, for the earlier calibration is not a day older: too little to tell how the cells drift";
            return (LONGEST_DAYS, why.into());
        }
        None => {
            let why = "one year, for no earlier calibration tells how the cells drift (give one with --earlier)";
            return (LONGEST_DAYS, why.into());
        }
    };
    // A drift that is not significant may still be as large as its uncertainty allows.
    let drift_pct = comparison.mean_drift_pct.abs().max(comparison.u_mean_drift_pct);
    let rate_g = 10.0 * drift_pct * deck.max_kg / since;
    let days = ((allowed_g - expanded_g) / rate_g).floor();
    let pace = format!(
        "at {:.1} g a month at {} kg, the drift since {} ({:+.3} ± {:.3} %)",
        30.0 * rate_g,
        deck.max_kg,
        comparison.made_at.chars().take(10).collect::<String>(),
        comparison.mean_drift_pct,
        comparison.u_mean_drift_pct
    );
    if comparison.cells.iter().any(|c| c.is_significant) {
        let half = (since / 2.0).floor().min(days).min(LONGEST_DAYS);
        return (
            half,
            format!("a cell drifted significantly: half the time since the earlier calibration at most; {pace}"),
        );
    }
    if days >= LONGEST_DAYS {
        (LONGEST_DAYS, format!("one year at most; {pace} would take longer to reach {limit}"))
    } else {
        (days, format!("{pace} and the {expanded_g:.0} g (k = 2) of the lines then reach {limit}"))
    }
}
