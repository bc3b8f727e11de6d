//! `twin trial` for a person: what is asked and met, errors by condition and kind of run, what was found.

use std::fmt::Write as _;

use twin::trial::{ConditionReport, EventReport, GroupReport, Limit, ReportCard};

use super::{CAUTION, folded, heading};
use crate::number::{fixed, significant};
use crate::table::{Sheet, verdict};

/// The screen of `twin trial`.
#[must_use]
pub fn trial(report: &ReportCard) -> String {
    let mut out = heading("Weighing on invented wards · report card");
    let stopped =
        if report.runs < report.runs_asked { format!(" of {}: STOPPED", report.runs_asked) } else { String::new() };
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "{} runs{stopped} of {} h, seed {}; {} settled rows. Everybody and everything in them is invented.",
        report.runs,
        significant(report.hours, 3),
        report.seed,
        report.all.settled_rows
    );
    if report.runs == 0 {
        out.push_str("No run was finished before it was stopped.\n");
        return out;
    }
    out.push_str(&limits(&report.limits));
    let mut sheet = rows("<rows by what went on");
    report.conditions.iter().chain([&report.all]).for_each(|c| sheet.row(cells(&c.condition, c)));
    let _ = write!(out, "\n{}", sheet.print());
    if !report.groups.is_empty() {
        let _ = write!(out, "\n{}", groups(&report.groups));
    }
    let _ = write!(out, "\n{}", events(&report.events));
    let _ = writeln!(
        out,
        "\nThings found were placed within {} mm (median {} mm, largest {} mm) in 95 % of them.\n\
         Of the stillnesses that settled at all, 95 % did so within {} s (median {} s, longest {} s).",
        fixed(report.placed_mm[1], 0),
        fixed(report.placed_mm[0], 0),
        fixed(report.placed_mm[2], 0),
        fixed(report.settled_again_s[1], 0),
        fixed(report.settled_again_s[0], 0),
        fixed(report.settled_again_s[2], 0)
    );
    let _ = writeln!(
        out,
        "\n{}",
        folded(
            "Error: settled weight less what a perfect deck shows. Settled: share of the rows in which the patient lay \
             there and nothing went on. False: share of settled rows given during a disturbance, from its fifth second \
             on. Covered: share of settled rows within their stated 95 % interval, ± from its spread between runs. \
             --help and --json say the rest."
        )
    );
    out.push_str(CAUTION);
    out
}

fn limits(limits: &[Limit]) -> String {
    let mut sheet = Sheet::new(&["<asked", "measured", "<verdict"]);
    for limit in limits {
        let word = limit.met.map_or("nothing to judge", verdict);
        sheet.row([limit.text.to_owned(), percent(limit.value), word.to_owned()]);
    }
    format!("\n{}", sheet.print())
}

fn rows(first: &str) -> Sheet {
    Sheet::new(&[
        first,
        "settled %",
        "error g 50 %",
        "95 %",
        "max",
        "% of load 95 %",
        "max",
        "false %",
        "covered %",
        "u g",
    ])
}

fn cells(name: &str, c: &ConditionReport) -> [String; 10] {
    let covered = match c.coverage_95_u {
        Some(u) if c.coverage_95.is_finite() => {
            format!("{} ± {}", fixed(100.0 * c.coverage_95, 1), fixed(100.0 * u, 1))
        }
        _ => fixed(100.0 * c.coverage_95, 1),
    };
    [
        name.to_owned(),
        fixed(100.0 * c.share_settled, 1),
        fixed(c.error_median_g, 0),
        fixed(c.error_p95_g, 0),
        fixed(c.error_max_g, 0),
        fixed(c.error_p95_pct, 3),
        fixed(c.error_max_pct, 2),
        significant(100.0 * c.false_settled, 2),
        covered,
        fixed(c.mean_u_g, 0),
    ]
}

fn groups(groups: &[GroupReport]) -> String {
    let mut sheet = rows("<all rows by kind of run");
    for group in groups {
        sheet.row(cells(&format!("{} {} ({})", group.group, group.rows.condition, group.runs), &group.rows));
    }
    sheet.print()
}

fn events(events: &[EventReport]) -> String {
    let mut sheet = Sheet::new(&["<what happened", "times", "found", "missed", "found %", "named falsely"]);
    for event in events {
        sheet.row([
            event.text.to_owned(),
            event.happened.to_string(),
            event.found.to_string(),
            event.missed.to_string(),
            fixed(100.0 * event.share_found, 1),
            event.false_alarms.to_string(),
        ]);
    }
    sheet.print()
}

fn percent(share: f64) -> String {
    if share.is_finite() { format!("{} %", significant(100.0 * share, 3)) } else { "–".into() }
}

#[cfg(test)]
mod tests {
    use twin::trial::{Card, Label, Tally};

    #[test]
    fn a_card_of_nothing_is_still_a_screen() {
        let mut tally = Tally::new(2, 24.0, 1);
        assert!(super::trial(&tally.report()).contains("No run was finished"));
        tally.add(&[Label { group: "ward", order: 0, value: "quiet".into() }], &Card::default());
        let screen = super::trial(&tally.report());
        assert!(screen.contains("1 runs of 2: STOPPED") && screen.contains("nothing to judge"), "{screen}");
        assert!(!screen.contains("NaN") && screen.contains("ward quiet (1)"), "{screen}");
    }
}
