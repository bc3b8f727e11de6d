//! `agree` for a person: bias and limits first, then lines, shares and repeats.

use std::fmt::Write as _;

use verify::{AgreeReport, Part, WeightedBy};

use super::heading;
use crate::number::{decimals_for, fixed, optional, share_pct, significant};
use crate::table::Sheet;

/// The screen of `agree`. Values are in the unit of the pairs.
#[must_use]
pub fn agreement(report: &AgreeReport) -> String {
    let mut out = heading(&format!("Agreement of two methods, {} pairs", report.n));
    let decimals = decimals_for(report.sd);
    let range = |ends: [f64; 2]| format!("{} to {}", fixed(ends[0], decimals), fixed(ends[1], decimals));
    let mut sheet = Sheet::new(&["<method − reference, in the unit of the pairs", "value", "95 % interval"]);
    sheet.row(["bias".to_owned(), fixed(report.bias, decimals), range(report.bias_ci)]);
    sheet.row(["standard deviation of differences".to_owned(), fixed(report.sd, decimals), String::new()]);
    sheet.row(["lower limit of agreement".to_owned(), fixed(report.limits[0], decimals), range(report.limits_ci[0])]);
    sheet.row(["upper limit of agreement".to_owned(), fixed(report.limits[1], decimals), range(report.limits_ci[1])]);
    let four = |v: f64| fixed(v, 4);
    let ends = |ends: [Option<f64>; 2]| format!("{} to {}", optional(ends[0], four), optional(ends[1], four));
    sheet.row([
        "concordance (Lin)".to_owned(),
        optional(report.concordance, four),
        report.concordance_ci.map_or_else(String::new, |c| ends(c.map(Some))),
    ]);
    if let Some(line) = &report.deming {
        sheet.row(["slope, errors in both (Deming)".to_owned(), four(line.slope), ends(line.slope_ci.map(Some))]);
        sheet.row(["intercept, errors in both".to_owned(), fixed(line.intercept, decimals), range(line.intercept_ci)]);
    }
    if let Some(line) = &report.deming_weighted {
        let errors = match report.weighted_by {
            Some(WeightedBy::Stated) => "slope, errors in both as stated",
            _ => "slope, errors in both that grow with size",
        };
        sheet.row([errors.to_owned(), four(line.slope), ends(line.slope_ci.map(Some))]);
        sheet.row(["intercept of that".to_owned(), fixed(line.intercept, decimals), range(line.intercept_ci)]);
    }
    if let Some(line) = &report.passing_bablok {
        sheet.row(["slope by ranks (Passing–Bablok)".to_owned(), four(line.slope), ends(line.slope_ci)]);
        let ends = line.intercept_ci.map(|e| optional(e, |v| fixed(v, decimals)));
        sheet.row(["intercept by ranks".to_owned(), fixed(line.intercept, decimals), ends.join(" to ")]);
    } else {
        let why = "the pairs do not spread, or are too many to compare every two".to_owned();
        sheet.row(["slope by ranks (Passing–Bablok)".to_owned(), "none".to_owned(), why]);
    }
    out.push_str(&sheet.print());
    // Writing to a String cannot fail, here and below.
    let _ = writeln!(
        out,
        "\nWithin 5 % of the reference: {} % of pairs; within 10 %: {} %.",
        share_pct(report.within_5_pct),
        share_pct(report.within_10_pct)
    );
    if let Some(p) = report.proportional_p {
        let verdict =
            if p < 0.05 { "the bias grows or falls with size" } else { "no bias that grows with size is seen" };
        let _ = writeln!(
            out,
            "Slope of the difference over the mean: {} (p = {}): {verdict}.",
            significant(report.proportional_slope, 2),
            significant(p, 2)
        );
    }
    if let Some(r) = &report.repeatability {
        let _ = writeln!(
            out,
            "Repeats of {} subjects: 95 % of two repeats differ by less than {} (method) and {} (reference);\nlimits of agreement of single measurements {}.",
            r.subjects,
            fixed(r.method_coefficient, decimals),
            fixed(r.reference_coefficient, decimals),
            range(r.single_limits)
        );
    }
    if let Some(g) = &report.gauge {
        let of = |name: &str, part: Part| {
            [name.to_owned(), fixed(part.sd, decimals + 1), fixed(100.0 * part.of_variance, 1)]
        };
        let head = ["<part of the method's variation", "standard deviation", "of the variance, %"];
        let mut sheet = Sheet::new(&head);
        sheet.row(of("repeatability (one operator, one subject)", g.repeatability));
        sheet.row(of("reproducibility (operators)", g.reproducibility));
        sheet.row(of("both", g.gauge));
        sheet.row(of("from subject to subject", g.subject));
        let _ = write!(
            out,
            "\n{} subjects, {} operators, {} repeats: {} categories of subjects are told apart.\n{}",
            g.subjects,
            g.operators,
            g.repeats,
            g.distinct_categories,
            sheet.print()
        );
    }
    if let Some(reason) = &report.gauge_missing {
        let _ = writeln!(out, "No study of operators: {reason}.");
    }
    if let Some(needed) = report.pairs_needed.iter().min_by(|a, b| a.width.total_cmp(&b.width)) {
        let _ = writeln!(
            out,
            "At this spread {} pairs would bring the interval of a limit to a width of {}.",
            needed.pairs,
            significant(needed.width, 2)
        );
    }
    out
}
