//! `checks` for a person: what is out of control first, then each body's charts.

use std::fmt::Write as _;

use calibrate::checks::{CheckChart, CheckPoint, CheckReport, Signal, SignalKind};

use super::{folded, heading};
use crate::number::{decimals_for, fixed, significant};
use crate::table::Sheet;

/// So many of the last checks are printed; the report and `--json` hold all.
const LAST: usize = 12;

/// The screen of `checks`.
#[must_use]
pub fn checking(report: &CheckReport) -> String {
    let n: usize = report.charts.iter().map(|c| c.points.len()).sum();
    let mut out = heading(&format!("Check standards, {n} checks"));
    for chart in &report.charts {
        // Writing to a String cannot fail, here and below.
        let _ = writeln!(out, "{}", folded(&verdict(chart)));
        for signal in &chart.signals {
            let _ = writeln!(out, "{}", folded(&format!("! {}", signal_line(signal))));
        }
        let _ = write!(out, "\n{}\n", limits(chart, report));
        let shown = &chart.points[chart.points.len().saturating_sub(LAST)..];
        if shown.len() < chart.points.len() {
            let _ = writeln!(out, "The last {} of {} checks:", shown.len(), chart.points.len());
        }
        let _ = writeln!(out, "{}", points(shown, chart));
        if let Some(trend) = &chart.trend {
            let word = if trend.is_significant { "a drift" } else { "no more than chance explains" };
            let _ = writeln!(
                out,
                "Over all checks {} ± {} g in 30 days (p = {}): {word}.",
                signed(trend.per_30_days_g, decimals_for(trend.u_per_30_days_g)),
                significant(trend.u_per_30_days_g, 2),
                significant(trend.p, 2)
            );
        }
        if let Some(due) = &chart.due {
            let _ = writeln!(out, "{}", folded(&format!("Calibrate again by {}: {}.", due.on, due.why)));
        }
        for note in &chart.notes {
            let _ = writeln!(out, "{}", folded(&format!("> {note}")));
        }
        out.push('\n');
    }
    let _ = writeln!(
        out,
        "{}",
        folded(&format!(
            "Limits stand at {} standard deviations; the moving average gives the newest check a weight of {}.",
            report.reach, report.weight
        ))
    );
    out
}

fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if value > 0.0 { format!("+{text}") } else { text }
}

fn verdict(chart: &CheckChart) -> String {
    let body = match chart.mass_kg {
        Some(kg) => format!("{}, {kg} kg", chart.standard),
        None => format!("{}, about {} kg", chart.standard, significant(chart.from_kg, 4)),
    };
    match chart.signals.len() {
        0 => format!("{body}: in control, {} checks.", chart.points.len()),
        1 => format!("{body}: OUT OF CONTROL, one signal."),
        n => format!("{body}: OUT OF CONTROL, {n} signals."),
    }
}

/// A signal with its place.
#[must_use]
pub fn signal_line(signal: &Signal) -> String {
    let day: String = signal.time.chars().take(10).collect();
    format!("{}, line {} of {day}: {}", signal_word(signal.kind), signal.line, signal.text)
}

/// A signal's kind in words.
#[must_use]
pub fn signal_word(kind: SignalKind) -> &'static str {
    match kind {
        SignalKind::BeyondLimits => "beyond the limits",
        SignalKind::Jump => "jump",
        SignalKind::Drifted => "drifted",
    }
}

fn limits(chart: &CheckChart, report: &CheckReport) -> String {
    let decimals = decimals_for(chart.sd_g);
    let said = |v: f64| fixed(v, decimals);
    let centre = if chart.mass_kg.is_some() { "mean error" } else { "mean" };
    let mut sheet = Sheet::new(&["<usual, from the baseline", "g"]);
    sheet.row([format!("{centre} of the first {} checks", chart.baseline), said(chart.centre_g)]);
    sheet.row(["standard deviation of a check".to_owned(), fixed(chart.sd_g, decimals + 1)]);
    let range = format!("{} to {}", said(chart.limits_g[0]), said(chart.limits_g[1]));
    sheet.row(["limits of a check".to_owned(), range]);
    sheet.row(["limit of a step between checks".to_owned(), said(chart.range_limit_g)]);
    let half = report.reach * chart.sd_g * (report.weight / (2.0 - report.weight)).sqrt();
    let settled = format!("{} to {}", said(chart.centre_g - half), said(chart.centre_g + half));
    sheet.row(["limits of the moving average, settled".to_owned(), settled]);
    sheet.print()
}

fn points(shown: &[CheckPoint], chart: &CheckChart) -> String {
    let decimals = decimals_for(chart.sd_g);
    let said = |v: f64| fixed(v, decimals);
    let value = if chart.mass_kg.is_some() { "error, g" } else { "from the mean, g" };
    let mut sheet = Sheet::new(&["line", "<time", "shown, kg", value, "step, g", "average, g", "<signal"]);
    for point in shown {
        let of = chart.signals.iter().filter(|s| s.line <= point.line && point.line <= s.last_line);
        let words: Vec<&str> = of.map(|s| signal_word(s.kind)).collect();
        sheet.row([
            point.line.to_string(),
            point.time.chars().take(16).collect::<String>().replace('T', " "),
            point.shown_kg.to_string(),
            said(point.value_g),
            point.range_g.map_or_else(String::new, said),
            said(point.average_g),
            words.join(", "),
        ]);
    }
    sheet.print()
}
