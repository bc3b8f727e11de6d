//! The report of `agree`: differences, lines, shares, repeats, operators, and how many pairs would say more.

use formats::pairs::Pair;
use maud::{Markup, html};
use report::charts::{differences, identity};
use report::number::{decimals_for, fixed, optional, significant};
use verify::{AgreeReport, GaugeStudy, Repeatability, WeightedBy};

use super::chart;
use crate::document::{Document, Section};
use crate::layout::table;

/// What the file says of itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgreementFiles<'a> {
    /// The pairs.
    pub pairs: &'a str,
}

/// Said of values whose unit the file does not tell.
const UNIT: &str = "unit of the pairs";

/// The whole document, made at `made_at` (RFC 3339).
#[must_use]
pub fn agreement(pairs: &[Pair], report: &AgreeReport, files: AgreementFiles, made_at: &str) -> String {
    let decimals = decimals_for(report.sd);
    let said = |v: f64| fixed(v, decimals);
    let mut sections = vec![
        Section::new("Differences", difference_section(pairs, report, decimals)),
        Section::new("Lines with errors in both methods", lines(pairs, report, decimals)),
    ];
    if let Some(repeats) = &report.repeatability {
        sections.push(Section::new("Repeats on a subject", repeatability(repeats, decimals)));
    }
    match (&report.gauge, &report.gauge_missing) {
        (Some(study), _) => sections.push(Section::new("Repeatability and reproducibility", gauge(study, decimals))),
        (None, Some(reason)) => sections.push(Section::new(
            "Repeatability and reproducibility",
            html! { p { "Operators are named, but there is no study: " (reason) "." } },
        )),
        _ => {}
    }
    sections.push(Section::new("How many pairs would say more", pairs_needed(report, decimals)));
    sections.push(Section::new("What stands behind this", sources()));
    Document {
        title: "Agreement of two methods".into(),
        lede: format!(
            "On average the method shows {} {} the reference; 95 % of differences lie between {} and {} ({UNIT}).",
            said(report.bias.abs()),
            if report.bias < 0.0 { "less than" } else { "more than" },
            said(report.limits[0]),
            said(report.limits[1])
        ),
        facts: vec![
            ("pairs".into(), format!("{} ({})", report.n, files.pairs)),
            ("difference".into(), "method − reference".into()),
            ("intervals".into(), "95 %, exact (Student's t) unless said otherwise".into()),
        ],
        made_at: made_at.to_owned(),
        cautions: vec![
            "What agreement is good enough is for those to say who use the weights; no statistic decides it.".into(),
        ],
        sections,
    }
    .render()
}

fn to(ends: [f64; 2], decimals: usize) -> String {
    format!("{} to {}", fixed(ends[0], decimals), fixed(ends[1], decimals))
}

fn difference_section(pairs: &[Pair], r: &AgreeReport, decimals: usize) -> Markup {
    let drawn = differences(pairs, r, UNIT);
    let value = |name: &str, value: f64, interval: String| {
        vec![html! { (name) }, html! { (fixed(value, decimals)) }, html! { (interval) }]
    };
    let mut rows = vec![
        value("bias", r.bias, to(r.bias_ci, decimals)),
        value("standard deviation of differences", r.sd, String::new()),
        value("lower limit of agreement", r.limits[0], to(r.limits_ci[0], decimals)),
        value("upper limit of agreement", r.limits[1], to(r.limits_ci[1], decimals)),
        value("lower limit, exact interval", r.limits[0], to(r.limits_ci_exact[0], decimals)),
        value("upper limit, exact interval", r.limits[1], to(r.limits_ci_exact[1], decimals)),
    ];
    rows.push(vec![
        html! { "concordance (Lin)" },
        html! { (optional(r.concordance, |c| fixed(c, 4))) },
        html! { (r.concordance_ci.map_or_else(String::new, |c| to(c, 4))) },
    ]);
    let shares = [("within 5 % of the reference", r.within_5_pct), ("within 10 % of the reference", r.within_10_pct)];
    for (name, share) in shares {
        rows.push(vec![html! { (name) }, html! { (fixed(100.0 * share, 0)) " % of pairs" }, html! {}]);
    }
    html! {
        (chart(&drawn, "Difference of each pair over the mean of both methods, with bias, limits of agreement and their 95 % intervals (Bland and Altman)."))
        (table(&format!("Values in the {UNIT}"), &["quantity", "value", "95 % interval"], &rows))
        @if let Some(line) = &r.proportional {
            p {
                "Difference over mean: slope " (significant(line.slope, 2)) " (" (to(line.slope_ci, 4)) "), p = " (significant(line.p, 2)) ": "
                @if line.p < 0.05 { "the bias changes with size, and the limits above are too wide at one end and too narrow at the other." }
                @else { "no bias that changes with size is seen." }
            }
        }
    }
}

fn lines(pairs: &[Pair], r: &AgreeReport, decimals: usize) -> Markup {
    let drawn = identity(pairs, r, UNIT);
    let bounded =
        |ends: [Option<f64>; 2], decimals: usize| ends.map(|e| optional(e, |v| fixed(v, decimals))).join(" to ");
    let mut rows = Vec::new();
    if let Some(line) = &r.deming {
        rows.push(vec![
            html! { "errors in both (Deming), variance ratio " (significant(line.variance_ratio, 3)) },
            html! { (fixed(line.slope, 4)) },
            html! { (to(line.slope_ci, 4)) },
            html! { (fixed(line.intercept, decimals)) },
            html! { (to(line.intercept_ci, decimals)) },
        ]);
    }
    if let Some(line) = &r.deming_weighted {
        rows.push(vec![
            html! {
                @match r.weighted_by {
                    Some(WeightedBy::Stated) => { "errors in both as each pair states them (weighted)" }
                    _ => { "errors in both that grow with size (weighted)" }
                }
            },
            html! { (fixed(line.slope, 4)) },
            html! { (to(line.slope_ci, 4)) },
            html! { (fixed(line.intercept, decimals)) },
            html! { (to(line.intercept_ci, decimals)) },
        ]);
    }
    if let Some(line) = &r.passing_bablok {
        rows.push(vec![
            html! { "by ranks of slopes (Passing–Bablok)" },
            html! { (fixed(line.slope, 4)) },
            html! { (bounded(line.slope_ci, 4)) },
            html! { (fixed(line.intercept, decimals)) },
            html! { (bounded(line.intercept_ci, decimals)) },
        ]);
    }
    html! {
        (chart(&drawn, "The method over the reference. On the line of dots both are equal."))
        @if rows.is_empty() {
            p { "The pairs do not spread: no line can be drawn through them." }
        } @else {
            (table("Method = intercept + slope × reference", &["line", "slope", "95 % interval", "intercept", "95 % interval"], &rows))
        }
    }
}

fn repeatability(r: &Repeatability, decimals: usize) -> Markup {
    let rows = vec![
        vec![
            html! { "reference" },
            html! { (fixed(r.reference_sd, decimals)) },
            html! { (fixed(r.reference_coefficient, decimals)) },
        ],
        vec![
            html! { "method" },
            html! { (fixed(r.method_sd, decimals)) },
            html! { (fixed(r.method_coefficient, decimals)) },
        ],
    ];
    html! {
        (table(&format!("Repeats of {} subjects; {UNIT}", r.subjects), &["", "within-subject SD", "95 % of two repeats differ by less than"], &rows))
        p { "Limits of agreement of single measurements, true value the same over the repeats: " (to(r.single_limits, decimals)) "." }
        @if let Some(limits) = r.varying_limits {
            p { "The same where the true value may change between the pairs of a subject: " (to(limits, decimals)) "." }
        }
    }
}

fn gauge(g: &GaugeStudy, decimals: usize) -> Markup {
    let parts = [
        ("repeatability (one operator, one subject)", g.repeatability),
        ("reproducibility (operators)", g.reproducibility),
        ("both", g.gauge),
        ("from subject to subject", g.subject),
    ];
    let rows: Vec<Vec<Markup>> = parts
        .iter()
        .map(|(name, part)| {
            vec![
                html! { (name) },
                html! { (fixed(part.sd, decimals + 1)) },
                html! { (fixed(100.0 * part.of_variance, 1)) },
                html! { (fixed(100.0 * part.of_sd, 1)) },
            ]
        })
        .collect();
    html! {
        (table(
            &format!("Analysis of variance: {} subjects, {} operators, {} repeats", g.subjects, g.operators, g.repeats),
            &["part of the variation", "standard deviation", "of the variance, %", "of the standard deviation, %"],
            &rows,
        ))
        p {
            "Distinct categories of subjects that the method tells apart: " (g.distinct_categories) ". "
            @if let Some(p) = g.operator_p { "Operators differ with p = " (significant(p, 2)) ". " }
            @if g.pooled { "Operators and subjects do not interact (p above 0.25); their interaction is pooled with the error." }
        }
    }
}

fn pairs_needed(r: &AgreeReport, decimals: usize) -> Markup {
    let rows: Vec<Vec<Markup>> =
        r.pairs_needed.iter().map(|n| vec![html! { (fixed(n.width, decimals)) }, html! { (n.pairs) }]).collect();
    html! {
        @if rows.is_empty() {
            p { "The differences do not spread: more pairs would not change the limits." }
        } @else {
            (table(
                &format!("Pairs for an interval of a limit of agreement no wider than this, at the spread found; {UNIT}"),
                &["width of the 95 % interval", "pairs"],
                &rows,
            ))
        }
    }
}

fn sources() -> Markup {
    html! {
        ul.plain {
            li { "Bias and limits of agreement: Bland and Altman, Lancet 1986;i:307–310, and Statistical Methods in Medical Research 8 (1999) 135–160; exact intervals of the limits by the noncentral t distribution." }
            li { "Concordance: Lin, Biometrics 45 (1989) 255–268, with 1/n moments (from memory)." }
            li { "Lines: Deming with standard errors by the jackknife (weighted: Ripley and Thompson, Analyst 112 (1987) 377–383, errors as stated with each pair, or in proportion to the mean of both); Passing and Bablok by ranks of slopes." }
            li { "Operators: analysis of variance with crossed factors, interaction pooled where its p is above 0.25 (AIAG, Measurement Systems Analysis, 4th ed.)." }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(operator: bool) -> Vec<Pair> {
        let mut pairs = Vec::new();
        for subject in 0..5 {
            for (o, name) in ["one", "two"].iter().enumerate() {
                for repeat in 0..2 {
                    let kg = 50.0 + 10.0 * f64::from(subject);
                    let wobble =
                        f64::from((subject * 7 + repeat * 3) % 5) * 0.01 + 0.01 * f64::from(u8::try_from(o).unwrap());
                    pairs.push(Pair {
                        line: pairs.len() + 2,
                        subject: format!("<S{subject}>"),
                        reference: kg,
                        method: kg + wobble,
                        repeat: Some(repeat.to_string()),
                        operator: operator.then(|| (*name).to_owned()),
                        u_reference: None,
                        u_method: None,
                    });
                }
            }
        }
        pairs
    }

    #[test]
    fn it_holds_both_charts_and_every_result() {
        let pairs = pairs(true);
        let report = verify::agree(&pairs, &verify::AgreeOptions::default()).unwrap();
        let html = agreement(&pairs, &report, AgreementFiles { pairs: "pairs.csv" }, "2031-11-04T18:00:00Z");
        assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
        for words in [
            "limits of agreement",
            "Deming",
            "Passing–Bablok",
            "Distinct categories",
            "within-subject SD",
            "no statistic decides it",
        ] {
            assert!(html.contains(words), "{words:?} is missing");
        }
        assert!(!html.contains("<S0>"));
    }

    #[test]
    fn without_operators_there_is_no_study() {
        let pairs = pairs(false);
        let report = verify::agree(&pairs, &verify::AgreeOptions::default()).unwrap();
        let html = agreement(&pairs, &report, AgreementFiles { pairs: "pairs.csv" }, "now");
        assert!(!html.contains("Distinct categories"));
    }
}
