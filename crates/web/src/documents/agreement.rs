//! The report of `agree`: differences, lines, shares, repeats, operators, and how many pairs would say more.

use formats::pairs::Pair;
use maud::{Markup, html};
use report::charts::{differences, identity};
use report::number::{decimals_for, fixed, optional, share_pct, significant};
use verify::{AgreeReport, GaugeStudy, Repeatability, WeightedBy};

use super::chart;
use crate::document::{Document, Section};
use crate::layout::table;
use crate::words::Reader;

/// What the file says of itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgreementFiles<'a> {
    /// The pairs.
    pub pairs: &'a str,
}

/// The whole document, made at `made_at` (RFC 3339).
#[must_use]
pub fn agreement(
    reader: Reader,
    pairs: &[Pair],
    report: &AgreeReport,
    files: AgreementFiles,
    made_at: &str,
) -> Document {
    let decimals = decimals_for(report.sd);
    let said = |v: f64| fixed(v, decimals);
    let study = reader.say("Repeatability and reproducibility");
    let mut sections = vec![
        Section::new(reader.say("Differences"), difference_section(reader, pairs, report, decimals)),
        Section::new(reader.say("Lines with errors in both methods"), lines(reader, pairs, report, decimals)),
    ];
    if let Some(repeats) = &report.repeatability {
        sections.push(Section::new(reader.say("Repeats on a subject"), repeatability(reader, repeats, decimals)));
    }
    match (&report.gauge, &report.gauge_missing) {
        (Some(found), _) => sections.push(Section::new(study, gauge(reader, found, decimals))),
        (None, Some(reason)) => {
            let words = reader.fill("Operators are named, but there is no study: {}.", [&reader.stage(reason)]);
            sections.push(Section::new(study, html! { p { (words) } }));
        }
        _ => {}
    }
    sections.push(Section::new(reader.say("How many pairs would say more"), pairs_needed(reader, report, decimals)));
    sections.push(Section::new(reader.say("What stands behind this"), sources(reader)));
    let fact = |label: &str, value: String| (label.to_owned(), value);
    Document {
        reader,
        title: reader.say("Agreement of two methods").into(),
        lede: [
            if report.bias < 0.0 {
                reader.fill("On average the method shows {} less than the reference;", [&said(report.bias.abs())])
            } else {
                reader.fill("On average the method shows {} more than the reference;", [&said(report.bias.abs())])
            },
            reader.fill(
                "95 % of differences lie between {} and {} ({}).",
                [&said(report.limits[0]), &said(report.limits[1]), unit(reader)],
            ),
        ]
        .join(" "),
        facts: vec![
            fact(reader.say("pairs"), format!("{} ({})", report.n, files.pairs)),
            fact(reader.say("difference"), reader.say("method − reference").into()),
            fact(reader.say("intervals"), reader.say("95 %, exact (Student's t) unless said otherwise").into()),
        ],
        made_at: made_at.to_owned(),
        cautions: vec![
            reader
                .say("What agreement is good enough is for those to say who use the weights; no statistic decides it.")
                .into(),
        ],
        sections,
    }
}

/// Said of values whose unit the file does not tell.
fn unit(reader: Reader) -> &'static str {
    reader.say("unit of the pairs")
}

fn to(reader: Reader, ends: [f64; 2], decimals: usize) -> String {
    reader.fill("{} to {}", [&fixed(ends[0], decimals), &fixed(ends[1], decimals)])
}

fn difference_section(reader: Reader, pairs: &[Pair], r: &AgreeReport, decimals: usize) -> Markup {
    let drawn = reader.chart(differences(pairs, r, unit(reader)));
    let to = |ends: [f64; 2], decimals: usize| to(reader, ends, decimals);
    let value = |name: &str, value: f64, interval: String| {
        vec![html! { (name) }, html! { (fixed(value, decimals)) }, html! { (interval) }]
    };
    let mut rows = vec![
        value(reader.say("bias"), r.bias, to(r.bias_ci, decimals)),
        value(reader.say("standard deviation of differences"), r.sd, String::new()),
        value(reader.say("lower limit of agreement"), r.limits[0], to(r.limits_ci[0], decimals)),
        value(reader.say("upper limit of agreement"), r.limits[1], to(r.limits_ci[1], decimals)),
        value(reader.say("lower limit, exact interval"), r.limits[0], to(r.limits_ci_exact[0], decimals)),
        value(reader.say("upper limit, exact interval"), r.limits[1], to(r.limits_ci_exact[1], decimals)),
    ];
    rows.push(vec![
        html! { (reader.say("concordance (Lin)")) },
        html! { (optional(r.concordance, |c| fixed(c, 4))) },
        html! { (r.concordance_ci.map_or_else(String::new, |c| to(c, 4))) },
    ]);
    let shares = [
        (reader.say("within 5 % of the reference"), r.within_5_pct),
        (reader.say("within 10 % of the reference"), r.within_10_pct),
    ];
    for (name, share) in shares {
        let of_pairs = reader.fill("{} % of pairs", [&share_pct(share)]);
        rows.push(vec![html! { (name) }, html! { (of_pairs) }, html! {}]);
    }
    html! {
        (chart(&drawn, reader.say("Difference of each pair over the mean of both methods, with bias, limits of agreement and their 95 % intervals (Bland and Altman).")))
        (table(&reader.fill("Values in the {}", [unit(reader)]), &[reader.say("quantity"), reader.say("value"), reader.say("95 % interval")], &rows))
        @if let Some(line) = &r.proportional {
            p {
                (reader.fill("Difference over mean: slope {} ({}), p = {}:", [&significant(line.slope, 2), &to(line.slope_ci, 4), &significant(line.p, 2)])) " "
                @if line.p < 0.05 { (reader.say("the bias changes with size, and the limits above are too wide at one end and too narrow at the other.")) }
                @else { (reader.say("no bias that changes with size is seen.")) }
            }
        }
    }
}

fn lines(reader: Reader, pairs: &[Pair], r: &AgreeReport, decimals: usize) -> Markup {
    let drawn = reader.chart(identity(pairs, r, unit(reader)));
    let row = |name: String, slope: f64, slope_ci: String, intercept: f64, intercept_ci: String| {
        vec![
            html! { (name) },
            html! { (fixed(slope, 4)) },
            html! { (slope_ci) },
            html! { (fixed(intercept, decimals)) },
            html! { (intercept_ci) },
        ]
    };
    let to = |ends: [f64; 2], decimals: usize| to(reader, ends, decimals);
    let bounded = |ends: [Option<f64>; 2], decimals: usize| {
        let [low, high] = ends.map(|e| optional(e, |v| fixed(v, decimals)));
        reader.fill("{} to {}", [&low, &high])
    };
    let mut rows = Vec::new();
    if let Some(line) = &r.deming {
        let name = reader.fill("errors in both (Deming), variance ratio {}", [&significant(line.variance_ratio, 3)]);
        rows.push(row(name, line.slope, to(line.slope_ci, 4), line.intercept, to(line.intercept_ci, decimals)));
    }
    if let Some(line) = &r.deming_weighted {
        let name = match r.weighted_by {
            Some(WeightedBy::Stated) => reader.say("errors in both as each pair states them (weighted)"),
            _ => reader.say("errors in both that grow with size (weighted)"),
        };
        rows.push(row(name.into(), line.slope, to(line.slope_ci, 4), line.intercept, to(line.intercept_ci, decimals)));
    }
    if let Some(line) = &r.passing_bablok {
        let name = reader.say("by ranks of slopes (Passing–Bablok)").to_owned();
        let (slope_ci, intercept_ci) = (bounded(line.slope_ci, 4), bounded(line.intercept_ci, decimals));
        rows.push(row(name, line.slope, slope_ci, line.intercept, intercept_ci));
    }
    let interval = reader.say("95 % interval");
    html! {
        (chart(&drawn, reader.say("The method over the reference. On the line of dots both are equal.")))
        @if rows.is_empty() {
            p { (reader.say("The pairs do not spread: no line can be drawn through them.")) }
        } @else {
            (table(reader.say("Method = intercept + slope × reference"), &[reader.say("line through the pairs"), reader.say("slope"), interval, reader.say("intercept"), interval], &rows))
        }
    }
}

fn repeatability(reader: Reader, r: &Repeatability, decimals: usize) -> Markup {
    let row = |name: &str, sd: f64, coefficient: f64| {
        vec![html! { (name) }, html! { (fixed(sd, decimals)) }, html! { (fixed(coefficient, decimals)) }]
    };
    let rows = vec![
        row(reader.say("reference"), r.reference_sd, r.reference_coefficient),
        row(reader.say("method"), r.method_sd, r.method_coefficient),
    ];
    html! {
        (table(&reader.fill("Repeats of {} subjects; {}", [&r.subjects.to_string(), unit(reader)]), &[reader.say("<measured by"), reader.say("within-subject SD"), reader.say("95 % of two repeats differ by less than")], &rows))
        p { (reader.fill("Limits of agreement of single measurements, true value the same over the repeats: {}.", [&to(reader, r.single_limits, decimals)])) }
        @if let Some(limits) = r.varying_limits {
            p { (reader.fill("The same where the true value may change between the pairs of a subject: {}.", [&to(reader, limits, decimals)])) }
        }
    }
}

fn gauge(reader: Reader, g: &GaugeStudy, decimals: usize) -> Markup {
    let parts = [
        (reader.say("repeatability (one operator, one subject)"), g.repeatability),
        (reader.say("reproducibility (operators)"), g.reproducibility),
        (reader.say("both"), g.gauge),
        (reader.say("from subject to subject"), g.subject),
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
    let counts = [g.subjects, g.operators, g.repeats].map(|n| n.to_string());
    html! {
        (table(
            &reader.fill("Analysis of variance: {} subjects, {} operators, {} repeats", counts.each_ref().map(String::as_str)),
            &[reader.say("part of the variation"), reader.say("standard deviation"), reader.say("of the variance, %"), reader.say("of the standard deviation, %")],
            &rows,
        ))
        p {
            (reader.fill("Distinct categories of subjects that the method tells apart: {}.", [&g.distinct_categories.to_string()])) " "
            @if let Some(p) = g.operator_p { (reader.fill("Operators differ with p = {}.", [&significant(p, 2)])) " " }
            @if g.pooled { (reader.say("Operators and subjects do not interact (p above 0.25); their interaction is pooled with the error.")) }
        }
    }
}

fn pairs_needed(reader: Reader, r: &AgreeReport, decimals: usize) -> Markup {
    let rows: Vec<Vec<Markup>> =
        r.pairs_needed.iter().map(|n| vec![html! { (fixed(n.width, decimals)) }, html! { (n.pairs) }]).collect();
    html! {
        @if rows.is_empty() {
            p { (reader.say("The differences do not spread: more pairs would not change the limits.")) }
        } @else {
            (table(
                &reader.fill("Pairs for an interval of a limit of agreement no wider than this, at the spread found; {}", [unit(reader)]),
                &[reader.say("width of the 95 % interval"), reader.say("pairs")],
                &rows,
            ))
        }
    }
}

fn sources(reader: Reader) -> Markup {
    html! {
        ul.plain {
            li { (reader.say("Bias and limits of agreement: Bland and Altman, Lancet 1986;i:307–310, and Statistical Methods in Medical Research 8 (1999) 135–160; exact intervals of the limits by the noncentral t distribution.")) }
            li { (reader.say("Concordance: Lin, Biometrics 45 (1989) 255–268, with 1/n moments (from memory).")) }
            li { (reader.say("Lines: Deming with standard errors by the jackknife (weighted: Ripley and Thompson, Analyst 112 (1987) 377–383, errors as stated with each pair, or in proportion to the mean of both); Passing and Bablok by ranks of slopes.")) }
            li { (reader.say("Operators: analysis of variance with crossed factors, interaction pooled where its p is above 0.25 (AIAG, Measurement Systems Analysis, 4th ed.).")) }
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
        let html =
            agreement(Reader::ENGLISH, &pairs, &report, AgreementFiles { pairs: "pairs.csv" }, "2031-11-04T18:00:00Z")
                .render();
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
        let html = agreement(Reader::ENGLISH, &pairs, &report, AgreementFiles { pairs: "pairs.csv" }, "now").render();
        assert!(!html.contains("Distinct categories"));
    }
}
