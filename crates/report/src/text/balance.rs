//! `balance` for a person: the answer first, then six-hourly rows, forecast, alerts.

use std::fmt::Write as _;

use balance::{BalanceReport, Row};

use super::{CAUTION, heading};
use crate::number::{fixed, with_uncertainty};
use crate::table::Sheet;

/// Rows shown on the screen: one in so many hours. The JSON document holds them all.
const HOURS_A_ROW: usize = 6;
/// Forecast rows shown, hours ahead.
const AHEAD_H: [f64; 4] = [6.0, 12.0, 24.0, 48.0];

/// The screen of `balance`.
#[must_use]
pub fn balance(label: &str, report: &BalanceReport) -> String {
    let mut out = heading(&format!("{label} · fluid balance"));
    // Writing to a String cannot fail, here and below.
    if let (Some(first), Some(last)) = (report.rows.first(), report.rows.last()) {
        let _ = writeln!(out, "From {} to {}", first.time, last.time);
        let _ = writeln!(
            out,
            "Weighed {} mL, charted {} mL, unexplained by the chart {} mL",
            signed(last.weighed_ml),
            signed(last.charted_ml),
            with_uncertainty(last.unexplained_ml, last.u_unexplained_ml)
        );
    }
    let _ = writeln!(
        out,
        "Overload: {} % by chart, {} % by the last weight, {} % fused",
        fixed(report.overload_pct.charted, 1),
        fixed(report.overload_pct.weighed, 1),
        with_uncertainty(report.overload_pct.fused, report.overload_pct.u_fused)
    );
    let _ = writeln!(
        out,
        "Uncharted loss of the patient (skin, lungs, breathed gas): {} mL/h; smallest change that 24 h can tell: {} mL",
        with_uncertainty(report.insensible_ml_h.value, report.insensible_ml_h.u),
        fixed(report.resolvable_ml_24h, 0)
    );
    let _ = write!(out, "\n{}", rows(report));
    let _ = write!(out, "\nForecast under the plan, 95 % intervals\n{}", forecast(report));
    if report.alerts.is_empty() {
        out.push_str("\nNothing asks for a look.\n");
    } else {
        out.push_str("\nAsks for a look\n");
        for alert in &report.alerts {
            let _ = writeln!(out, "! {}  {}", alert.time, alert.text);
        }
    }
    for note in &report.notes {
        let _ = writeln!(out, "  {note}");
    }
    let _ = write!(out, "\n± is a standard uncertainty.\n{CAUTION}");
    out
}

fn rows(report: &BalanceReport) -> String {
    let mut sheet = Sheet::new(&["<hour", "mass, kg", "weighed, mL", "charted, mL", "unexplained, mL"]);
    let mut add = |row: &Row| {
        sheet.row([
            row.time.to_string(),
            with_uncertainty(row.mass_kg, row.u_kg),
            signed(row.weighed_ml),
            signed(row.charted_ml),
            with_uncertainty(row.unexplained_ml, row.u_unexplained_ml),
        ]);
    };
    let last = report.rows.len().saturating_sub(1);
    for (i, row) in report.rows.iter().enumerate() {
        if i % HOURS_A_ROW == 0 || i == last {
            add(row);
        }
    }
    sheet.print()
}

fn forecast(report: &BalanceReport) -> String {
    let mut sheet = Sheet::new(&["<ahead", "mass, kg", "from", "to"]);
    for row in &report.forecast {
        // Hours ahead are whole hours of the record; they are compared with room for rounding.
        if AHEAD_H.iter().any(|h| (h - row.ahead_h).abs() < 0.01) {
            sheet.row([
                format!("{} h", fixed(row.ahead_h, 0)),
                fixed(row.mass_kg, 2),
                fixed(row.low_kg, 2),
                fixed(row.high_kg, 2),
            ]);
        }
    }
    sheet.print()
}

/// Millilitres with their sign.
fn signed(ml: f64) -> String {
    let text = fixed(ml, 0);
    if ml > 0.0 && text != "0" { format!("+{text}") } else { text }
}
