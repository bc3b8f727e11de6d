//! `verify` for a person: the verdict, each test's worst row against its limit, what was not tested.

use std::fmt::Write as _;

use verify::VerifyReport;

use super::{folded, heading};
use crate::number::{fixed, significant};
use crate::table::{Sheet, standing};

/// The screen of `verify`.
#[must_use]
pub fn verification(report: &VerifyReport) -> String {
    let limits = if report.phase.is_in_service() { "limits in service" } else { "limits of initial verification" };
    let mut out = heading(&format!("{} · verification, {limits}", report.deck));
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "Class {}, e = {} g, Max = {} kg: {}{}",
        report.class,
        significant(report.e_g, 3),
        significant(report.max_kg, 4),
        if report.passed { "every test found stays within its limits" } else { "AT LEAST ONE TEST MISSES ITS LIMIT" },
        match report.incomplete() {
            0 => String::new(),
            n => format!("; {n} of {} not complete", report.tests.len()),
        }
    );
    let mut sheet = Sheet::new(&["<test", "rows", "worst, g", "limit, g", "<verdict"]);
    for test in &report.tests {
        sheet.row([
            test.test.to_owned(),
            test.rows.len().to_string(),
            fixed(test.worst_error_g, 1),
            fixed(test.limit_g, 1),
            standing(test.standing()).to_owned(),
        ]);
    }
    let _ = write!(out, "{}", sheet.print());
    if let Some(deviation) = report.deviation_pct {
        let _ = writeln!(
            out,
            "\nDeviation from the known loads: {} % on average, {} % at most",
            significant(deviation.mean, 2),
            significant(deviation.max, 2)
        );
    }
    for test in &report.tests {
        for row in test.rows.iter().filter(|r| !r.passed) {
            let _ = writeln!(
                out,
                "! {} line {}: {} g at {} kg, limit {} g",
                test.test,
                row.line,
                fixed(row.judged_g, 1),
                significant(row.load_kg, 4),
                fixed(row.limit_g, 1)
            );
        }
        for gap in &test.gaps {
            let _ = writeln!(out, "  {}: {gap}", test.test);
        }
    }
    if !report.not_tested.is_empty() {
        let _ = writeln!(out, "Not tested: {}", report.not_tested.join(", "));
    }
    let _ = write!(out, "\n{}\n{}\n", folded(report.edition), folded(report.statement));
    out
}
