//! `calibrate` for a person: what was found wrong first, then the cells' lines, unknown bodies, residuals.

use std::fmt::Write as _;

use formats::calibration::{Calibration, CellStatus, FindingKind};

use super::heading;
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
    let _ = writeln!(
        out,
        "\nResiduals of the load: standard deviation {} g, largest {} g; {} degrees of freedom; lack of fit p {}",
        significant(calibration.residual_sd_g, 3),
        significant(calibration.max_residual_g, 3),
        calibration.degrees_of_freedom,
        optional(calibration.lack_of_fit_p, p_value),
    );
    let _ = writeln!(
        out,
        "Kilograms are conventional mass at the gravity of the calibration, {} m/s². ± is a standard uncertainty.",
        fixed(calibration.gravity_m_s2, 5)
    );
    out
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
