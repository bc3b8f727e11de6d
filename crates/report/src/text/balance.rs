//! `balance` for a person: the answer first, then windows, six-hourly rows, forecasts, alerts, and what each answer rests on.

use std::fmt::Write as _;

use balance::{BalanceReport, ForecastRow, Row, Window};

use super::{CAUTION, folded, heading};
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
            "Weights and chart together {} mL, charted {} mL, not charted {} mL",
            signed(last.weighed_ml),
            signed(last.charted_ml),
            with_uncertainty(last.unexplained_ml, last.u_unexplained_ml)
        );
    }
    if let Some([expected, u_expected]) = report.expected_loss_ml() {
        let _ = writeln!(
            out,
            "Of that {} mL were to be expected, lost through {}",
            with_uncertainty(-expected, u_expected),
            report.insensible_prior.ways()
        );
    }
    let _ = writeln!(
        out,
        "Overload: {} % by chart, {} % by the last weight, {} % fused",
        fixed(report.overload_pct.charted, 1),
        fixed(report.overload_pct.weighed, 1),
        with_uncertainty(report.overload_pct.fused, report.overload_pct.u_fused)
    );
    let resolvable = report
        .resolvable_ml_24h
        .map_or_else(|| "not yet known, the record is shorter".to_owned(), |ml| format!("{} mL", fixed(ml, 0)));
    let _ = writeln!(
        out,
        "Uncharted loss of the patient ({}): {} mL/h; smallest change that 24 h can tell: {resolvable}",
        report.insensible_prior.ways(),
        with_uncertainty(report.insensible_ml_h.value, report.insensible_ml_h.u),
    );
    if !report.windows.is_empty() {
        let _ = write!(out, "\n{}", windows(&report.windows));
    }
    let _ = write!(out, "\n{}", rows(report));
    let _ = write!(out, "\nForecast under the plan, 95 % intervals\n{}", forecast(&report.forecast));
    for other in &report.alternatives {
        let _ = write!(out, "\nForecast under {:?}, 95 % intervals\n{}", other.name, forecast(&other.forecast));
    }
    if report.alerts.is_empty() {
        out.push_str("\nNothing asks for a look.\n");
    } else {
        out.push_str("\nAsks for a look\n");
        for alert in &report.alerts {
            let _ = writeln!(out, "! {}  {}", alert.time, alert.text);
        }
    }
    for answered in &report.answered {
        let _ = writeln!(out, "✓ {}  {}; answered: {}", answered.alert.time, answered.alert.text, answered.answer);
    }
    out.push_str("\nIn words, and what each rests on\n");
    for answer in &report.answers {
        let _ = writeln!(out, "{}", folded(&format!("· {}: {} [{}]", answer.question, answer.text, answer.basis)));
    }
    out.push_str("\nWhat was done with the input\n");
    for note in &report.notes {
        let _ = writeln!(out, "{}", folded(&format!("· {note}")));
    }
    let _ = write!(out, "\n± is a standard uncertainty.\n{CAUTION}");
    out
}

fn windows(windows: &[Window]) -> String {
    let mut sheet =
        Sheet::new(&["<net balance", "over, h", "charted, mL", "weighed, mL", "fused, mL", "unexplained, mL"]);
    for window in windows {
        sheet.row([
            format!("from {}", window.from),
            fixed(window.hours, 1),
            signed(window.charted_ml),
            window.weighed_ml.map_or("–".to_owned(), signed),
            with_uncertainty(window.fused_ml, window.u_fused_ml),
            signed(window.unexplained_ml),
        ]);
    }
    sheet.print()
}

fn rows(report: &BalanceReport) -> String {
    let mut sheet = Sheet::new(&["<hour", "mass, kg", "fused, mL", "charted, mL", "unexplained, mL"]);
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

fn forecast(rows: &[ForecastRow]) -> String {
    let mut sheet = Sheet::new(&["<ahead", "mass, kg", "from", "to"]);
    for row in rows {
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
