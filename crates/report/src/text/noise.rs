//! `noise` for a person: the cells, the weight over averaging time, hum, what change may be told.

use std::fmt::Write as _;

use verify::noise::{HumLine, NoiseReport, SeriesNoise};

use super::{folded, heading};
use crate::number::{fixed, significant, with_uncertainty};
use crate::table::Sheet;

/// The screen of `noise`.
#[must_use]
pub fn noise(report: &NoiseReport) -> String {
    let mut out = heading(&format!("{} · noise at rest", report.deck));
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "{} rows from t = {} to {} s, {} a second; grams by the {}",
        report.rows,
        significant(report.from_s, 6),
        significant(report.to_s, 6),
        significant(report.rate_hz, 3),
        report.grams_by
    );
    out.push_str(&cells(report));
    let _ = writeln!(out, "\nThe weight, by averaging time (overlapping Allan deviation):");
    out.push_str(&stability(&report.sum));
    let _ = writeln!(
        out,
        "\nBest averaging time {} s{}: a change of {} g between two such averages is resolved,\n{}.",
        significant(report.best_averaging_s, 3),
        if report.still_falling { " or longer" } else { "" },
        significant(report.resolvable_g, 2),
        report.criterion
    );
    let drift = report.sum.drift;
    let _ = writeln!(out, "Drift of the weight {} g/h.", with_uncertainty(drift.g_per_h, drift.u_g_per_h));
    out.push_str(&hum(report));
    if !report.sum.lines.is_empty() {
        let lines = report
            .sum
            .lines
            .iter()
            .take(6)
            .map(|l| format!("{} Hz: {} g", significant(l.frequency_hz, 3), significant(l.amplitude_g, 2)));
        let more = report.sum.lines.len().saturating_sub(6);
        let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
        let text = format!("Lines above the noise: {}{rest}.", lines.collect::<Vec<_>>().join(", "));
        let _ = writeln!(out, "{}", folded(&text));
    }
    for note in &report.notes {
        let _ = writeln!(out, "{}", folded(&format!("! {note}")));
    }
    let _ = writeln!(
        out,
        "\n{}",
        folded(
            "Noise and drift of this recording alone; creep, temperature, load and tilt add to what a real change must exceed: see `check`."
        )
    );
    out
}

fn cells(report: &NoiseReport) -> String {
    let mut sheet =
        Sheet::new(&["<cell", "mean, counts", "rms, g", "promised, g", "g/√Hz", "nV/√Hz", "step, g", "drift, g/h"]);
    let row = |name: &str, n: &SeriesNoise| [name.to_owned(), significant(n.sd_g, 3), significant(n.density_g, 3)];
    for cell in &report.cells {
        let [name, sd, density] = row(&cell.name, &cell.noise);
        sheet.row([
            name,
            fixed(cell.mean_counts, 0),
            sd,
            significant(cell.promised_g, 3),
            density,
            significant(cell.density_nv, 3),
            significant(cell.quantization.step_g, 2),
            significant(cell.noise.drift.g_per_h, 2),
        ]);
    }
    let [name, sd, density] = row("sum", &report.sum);
    let promised = report.cells.iter().map(|c| c.promised_g * c.promised_g).sum::<f64>().sqrt();
    let none = String::new;
    sheet.row([
        name,
        none(),
        sd,
        significant(promised, 3),
        density,
        none(),
        none(),
        significant(report.sum.drift.g_per_h, 2),
    ]);
    sheet.print()
}

fn stability(sum: &SeriesNoise) -> String {
    let mut sheet = Sheet::new(&["averaged over, s", "deviation, g", "95 % interval", "resolvable change, g"]);
    for point in &sum.allan {
        sheet.row([
            significant(point.tau_s, 3),
            significant(point.allan_g, 3),
            point.ci_g.map(|g| significant(g, 2)).join(" to "),
            significant(point.resolvable_g, 2),
        ]);
    }
    sheet.print()
}

fn hum(report: &NoiseReport) -> String {
    let mut out = String::new();
    for mains in &report.hum {
        let lines: Vec<String> = mains.lines.iter().map(said).collect();
        let text = format!("Mains {} Hz: {}.", fixed(mains.mains_hz, 0), lines.join("; "));
        let _ = writeln!(out, "{}", folded(&text));
    }
    out
}

fn said(line: &HumLine) -> String {
    let source = fixed(line.source_hz, 0);
    match (line.visible, line.amplitude_g) {
        (false, _) => format!("{source} Hz falls on 0 at this rate, as drift"),
        (true, None) => format!("{source} Hz would show at {} Hz: none", significant(line.alias_hz, 3)),
        (true, Some(g)) => {
            format!("{source} Hz would show at {} Hz: {} g there", significant(line.alias_hz, 3), significant(g, 2))
        }
    }
}
