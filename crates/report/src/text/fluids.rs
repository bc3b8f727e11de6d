//! `twin fluids` for a person: what is asked and met, then every figure by kind of course.

use std::fmt::Write as _;

use twin::fluid::trial::{Figures, Report};

use super::{CAUTION, folded, heading};
use crate::number::fixed;
use crate::table::{Sheet, verdict};

/// The screen of `twin fluids`.
#[must_use]
pub fn fluids(report: &Report) -> String {
    let mut out = heading("Fluid balance of invented patients · report card");
    let Some(all) = report.groups.last().filter(|all| all.n > 0) else {
        out.push_str("No patient was finished before it was stopped.\n");
        return out;
    };
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "{} patients of {} h, seed {}; {} of them lost half a litre unseen. Everybody is invented.",
        all.n, report.hours, report.seed, all.hidden
    );
    let mut asked = Sheet::new(&["<asked of all", "found", "limit", "<verdict"]);
    for limit in &report.limits {
        let met = limit.met.map_or("–", verdict);
        asked.row([limit.name.to_owned(), fixed(limit.value, 3), limit.text.to_owned(), met.to_owned()]);
    }
    out.push_str(&asked.print());
    let _ = write!(out, "\n{}\n{}\n{}", intervals(report), balances(report), forecasts(report));
    let _ = writeln!(
        out,
        "\n{}",
        folded(
            "Covered: share of 95 % intervals that hold the truth. Found: hidden losses told of within 18 h of their onset \
             (they run for 12). Told anyway: the same of the same patients who lose nothing. False: alerts a patient-day \
             of unexplained fluid or a wrong entry where nothing of the kind was so. Errors: root mean square. Chart: intake less output; weight: last less first; persistence: the last \
             day once more."
        )
    );
    out.push_str(CAUTION);
    out
}

fn intervals(report: &Report) -> String {
    let mut sheet = Sheet::new(&[
        "<course",
        "patients",
        "mass covered",
        "uncharted",
        "a day ahead",
        "found",
        "told anyway",
        "after, h",
        "95 % by, h",
        "false",
    ]);
    for group in &report.groups {
        let covered = group.coverage.map(|share| fixed(share, 3));
        let [median, late] = group.delay_h.map(|h| fixed(h, 1));
        let mut cells = vec![group.group.clone(), group.n.to_string()];
        cells.extend(covered);
        cells.extend([
            fixed(group.found, 3),
            fixed(group.told_anyway, 3),
            median,
            late,
            fixed(group.false_alerts_a_day, 3),
        ]);
        sheet.row(cells);
    }
    sheet.print()
}

fn errors(report: &Report, head: &[&str], of: impl Fn(&Figures) -> Vec<String>) -> String {
    let mut sheet = Sheet::new(head);
    for group in &report.groups {
        sheet.row([group.group.clone()].into_iter().chain(of(group)));
    }
    sheet.print()
}

fn balances(report: &Report) -> String {
    let head = ["<error of a day's balance, mL", "chart", "weight", "fused", "fused/better"];
    errors(report, &head, |group| {
        let mut cells: Vec<String> = group.day_error_ml.map(|ml| fixed(ml, 0)).to_vec();
        cells.push(fixed(group.day_error_ratio, 2));
        cells
    })
}

fn forecasts(report: &Report) -> String {
    let head = ["<error of a day's forecast, g", "chart", "weight", "persistence", "fused"];
    errors(report, &head, |group| group.ahead_error_g.map(|g| fixed(g, 0)).to_vec())
}
