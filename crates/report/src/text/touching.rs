//! The touch check for a person: where to press, and what answered.

use std::fmt::Write as _;

use calibrate::touch::{TouchPlace, TouchReport};

use super::calibration::finding_word;
use super::{folded, heading};
use crate::number::{fixed, significant};
use crate::table::Sheet;

const HOW: &str = "Start a recording (recording.csv, 5 to 20 samples a second). Keep hands off for three seconds. Then press with \
                   the flat hand, some 10 kg, over each place in this order: press for three seconds, off for three. Then \
                   `plan DECK --touched recording.csv`. Keep fingers out from under plates and moving sections of the bed.";

/// Where to press.
#[must_use]
pub fn touch_list(deck: &str, places: &[TouchPlace]) -> String {
    let mut out = heading(&format!("{deck} · touch check"));
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(out, "{}\n", folded(HOW));
    let mut sheet = Sheet::new(&["press", "<plate", "x, mm", "y, mm", "<should answer"]);
    for (i, p) in places.iter().enumerate() {
        sheet.row([(i + 1).to_string(), p.plate.clone(), fixed(p.x_mm, 0), fixed(p.y_mm, 0), p.cell.clone()]);
    }
    out.push_str(&sheet.print());
    out.push_str("\nx from the plate's head end, y from the patient's right.\n");
    out
}

/// What answered.
#[must_use]
pub fn touching(report: &TouchReport) -> String {
    let mut out = heading(&format!("{} · touch check", report.deck));
    if report.findings.is_empty() {
        out.push_str("Every cell answers at its own place, and upwards.\n\n");
    }
    for finding in &report.findings {
        let cell = finding.cell.as_ref().map(|c| format!(", cell {c}")).unwrap_or_default();
        let _ = writeln!(out, "{}", folded(&format!("! {}{cell}: {}", finding_word(finding.kind), finding.text)));
    }
    if !report.findings.is_empty() {
        out.push('\n');
    }
    let mut sheet =
        Sheet::new(&["press", "<plate", "<should answer", "<answered", "counts", "kg", "of the press, %", "at, s"]);
    for (i, row) in report.places.iter().enumerate() {
        let number = |text: String| if row.seconds.is_some() { text } else { "–".into() };
        sheet.row([
            (i + 1).to_string(),
            row.place.plate.clone(),
            row.place.cell.clone(),
            row.answered.clone().unwrap_or_else(|| "no press seen".into()),
            number(fixed(row.moved_counts, 0)),
            number(significant(row.moved_kg, 3)),
            number(fixed(row.share_pct, 0)),
            row.seconds.map_or_else(|| "–".into(), |s| fixed(s[0], 1)),
        ]);
    }
    out.push_str(&sheet.print());
    out.push_str("\nKilograms by the data sheets. Gains, noise and straightness are for `calibrate`.\n");
    out
}
