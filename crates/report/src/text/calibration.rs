//! `calibrate` for a person: what was found wrong first, then the cells' lines, unknown bodies, residuals.

use std::fmt::Write as _;

use formats::calibration::{Calibration, CellStatus, Comparison, FindingKind, FitDetail};

use super::{folded, heading};
use crate::number::{fixed, optional, significant, with_uncertainty};
use crate::table::Sheet;

/// The screen of `calibrate`.
#[must_use]
pub fn calibration(calibration: &Calibration) -> String {
    let mut out = heading(&format!("{} · calibration of {}", calibration.deck, calibration.made_at));
    if calibration.findings.is_empty() {
        out.push_str("Nothing was found wrong.\n\n");
    }
    for finding in &calibration.findings {
        // Writing to a String cannot fail, here and below.
        let _ = writeln!(
            out,
            "! {}{}: {}",
            finding_word(finding.kind),
            finding.cell.as_ref().map(|c| format!(", cell {c}")).unwrap_or_default(),
            finding.text
        );
    }
    out.push_str(&cells(calibration));
    if !calibration.loads.is_empty() {
        let mut sheet = Sheet::new(&["<body of unknown mass", "kg"]);
        for load in &calibration.loads {
            sheet.row([load.label.clone(), with_uncertainty(load.kg, load.u_kg)]);
        }
        let _ = write!(out, "\n{}", sheet.print());
    }
    let residuals = format!(
        "Residuals of the load: standard deviation {} g, largest {} g; {} degrees of freedom; lack of fit p {}",
        significant(calibration.residual_sd_g, 3),
        significant(calibration.max_residual_g, 3),
        calibration.degrees_of_freedom,
        optional(calibration.lack_of_fit_p, p_value),
    );
    let _ = writeln!(out, "\n{}", folded(&residuals));
    if let Some(detail) = &calibration.detail {
        out.push_str(&detail_lines(detail));
    }
    let kilograms = format!(
        "Kilograms are conventional mass at the gravity of the calibration, {} m/s². ± is a standard uncertainty.",
        fixed(calibration.gravity_m_s2, 5)
    );
    let _ = writeln!(out, "{}", folded(&kilograms));
    out
}

/// What the fit says of itself, of an earlier calibration, and of the next one.
fn detail_lines(detail: &FitDetail) -> String {
    let mut out = format!(
        "A cell scatters by {} % of its load, a load lies {} mm beside its mark; condition {}.\n",
        significant(detail.scatter_pct, 2),
        significant(detail.place_mm, 2),
        significant(detail.condition_number, 3)
    );
    let any: Vec<f64> = detail.cells.iter().filter_map(|c| c.u_any_load_pct).collect();
    if !any.is_empty() {
        let text = format!(
            "The u above holds at loads and times like those of the run. With what the data sheet allows in bow, hysteresis and \
             creep, a gain is known to {} % at any load up to the rated.",
            significant(any.iter().copied().fold(0.0, f64::max), 2)
        );
        let _ = writeln!(out, "{}", folded(&text));
    }
    // What the run cannot tell is in the file; on the screen it would only be in the way.
    for term in detail.terms.iter().filter(|t| t.kept || t.p.is_some() || t.term == "curvature") {
        let _ = writeln!(out, "{}", folded(&term.text));
    }
    if let Some(temperature_c) = detail.temperature_c.filter(|_| detail.terms.iter().any(|t| t.kept)) {
        let _ = writeln!(out, "Zeros and gains are those at {} °C, the mean of the run.", fixed(temperature_c, 1));
    }
    for advice in &detail.advice {
        let _ = writeln!(out, "{}", folded(&format!("> {advice}")));
    }
    if let Some(earlier) = &detail.earlier {
        out.push_str(&drift(earlier));
    }
    if let Some(due) = &detail.due {
        let _ = writeln!(out, "{}", folded(&format!("Calibrate again by {}: {}.", due.on, due.why)));
    }
    out
}

fn drift(earlier: &Comparison) -> String {
    let mut sheet = Sheet::new(&["<cell", "gain drifted, %", "u, %", "chance", "zero moved, kg"]);
    for cell in &earlier.cells {
        let gain = if cell.is_replaced { "new cell".into() } else { optional(cell.drift_pct, |d| format!("{d:+.3}")) };
        sheet.row([
            cell.name.clone(),
            gain,
            optional(cell.u_drift_pct, |u| fixed(u, 3)),
            optional(cell.p, |p| if cell.is_significant { format!("{p:.0e} !") } else { fixed(p, 2) }),
            optional(cell.zero_shift_kg, |z| format!("{z:+.2}")),
        ]);
    }
    format!("\nAgainst the calibration of {}:\n{}{}\n", earlier.made_at, sheet.print(), earlier.text)
}

fn cells(calibration: &Calibration) -> String {
    let mut sheet = Sheet::new(&["<cell", "zero, counts", "g per count", "u, %", "<status"]);
    for cell in &calibration.cells {
        let relative = cell.kg_per_count.zip(cell.u_kg_per_count).map(|(k, u)| 100.0 * u / k.abs());
        sheet.row([
            cell.name.clone(),
            optional(cell.zero_counts, |z| fixed(z, 1)),
            optional(cell.kg_per_count, |k| significant(1000.0 * k, 6)),
            optional(relative, |r| significant(r, 2)),
            status_word(cell.status).into(),
        ]);
    }
    sheet.print()
}

/// A p-value with its sign; very small ones are not told apart.
#[must_use]
pub fn p_value(p: f64) -> String {
    if p < 0.001 { "< 0.001 (places scatter more than repeats do)".into() } else { format!("= {}", significant(p, 2)) }
}

/// A cell's status in words.
#[must_use]
pub fn status_word(status: CellStatus) -> &'static str {
    match status {
        CellStatus::Good => "good",
        CellStatus::Suspect => "suspect",
        CellStatus::NotDetermined => "not determined",
    }
}

/// A finding's kind in words.
#[must_use]
pub fn finding_word(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::Reversed => "reversed",
        FindingKind::Dead => "dead",
        FindingKind::Swapped => "swapped",
        FindingKind::Noisy => "noisy",
        FindingKind::Nonlinear => "not a straight line",
        FindingKind::Outlier => "row that does not belong",
        FindingKind::NotDetermined => "not determined",
    }
}
