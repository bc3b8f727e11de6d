//! The report of `checks`: each body's charts, what is out of control, and every check.

use calibrate::checks::{CheckChart, CheckReport};
use maud::{Markup, html};
use report::charts::{moving_average, single_checks};
use report::number::{decimals_for, fixed, significant};
use report::text::{signal_line, signal_word};

use super::chart;
use crate::document::{Document, Section};
use crate::layout::table;

/// What the file says of itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckFiles<'a> {
    /// The checks.
    pub checks: &'a str,
    /// The deck, where one was given.
    pub deck: Option<&'a str>,
}

/// The whole document, made at `made_at` (RFC 3339).
#[must_use]
pub fn checks(report: &CheckReport, files: CheckFiles, made_at: &str) -> String {
    let out: Vec<&str> = report.charts.iter().filter(|c| !c.signals.is_empty()).map(|c| c.standard.as_str()).collect();
    let lede = if out.is_empty() {
        "Every check standard is in control: the deck is what it was, as far as these checks see.".to_owned()
    } else {
        format!("Out of control: {}. Find out why before the deck is believed further.", out.join(", "))
    };
    let mut sections: Vec<Section> = report.charts.iter().map(|c| Section::new(&c.standard, body(c))).collect();
    sections.push(Section::new("How the limits come about", behind(report)));
    let n: usize = report.charts.iter().map(|c| c.points.len()).sum();
    let mut facts = vec![("checks".to_owned(), format!("{n} ({})", files.checks))];
    if let Some(deck) = files.deck {
        facts.push(("deck".to_owned(), deck.to_owned()));
    }
    Document {
        title: "Check standards over time".into(),
        lede,
        facts,
        made_at: made_at.to_owned(),
        cautions: vec![
            "In control says that nothing changed that these bodies, at these places, can show; it is no verification. Where \
             the law sets a term for verification, that term holds."
                .into(),
        ],
        sections,
    }
    .render()
}

fn body(c: &CheckChart) -> Markup {
    let decimals = decimals_for(c.sd_g);
    let said = |v: f64| fixed(v, decimals);
    let usual = vec![
        vec![html! { "mean of the first " (c.baseline) " checks" }, html! { (said(c.centre_g)) }],
        vec![html! { "standard deviation of a check" }, html! { (fixed(c.sd_g, decimals + 1)) }],
        vec![html! { "limits of a check" }, html! { (said(c.limits_g[0])) " to " (said(c.limits_g[1])) }],
        vec![html! { "limit of a step from check to check" }, html! { (said(c.range_limit_g)) }],
    ];
    let from = match c.mass_kg {
        Some(kg) => format!("its conventional mass, {kg} kg"),
        None => format!("the mean of the baseline, {} kg", significant(c.from_kg, 7)),
    };
    html! {
        @if c.signals.is_empty() {
            p { "In control: " (c.points.len()) " checks." }
        } @else {
            p { "Out of control:" }
            ul.plain { @for signal in &c.signals { li { (signal_line(signal)) "." } } }
        }
        (chart(&single_checks(c), "Every check inside the limits of single checks (Shewhart's chart). A cross is a signal."))
        (chart(&moving_average(c), "The exponentially weighted moving average inside its own limits: it sees small shifts that stay."))
        (table(&format!("Usual, in g from {from}"), &["quantity", "g"], &usual))
        @if let Some(trend) = &c.trend {
            p {
                "Over all checks the value changes by " (fixed(trend.per_30_days_g, decimals_for(trend.u_per_30_days_g))) " ± " (significant(trend.u_per_30_days_g, 2))
                " g in 30 days (p = " (significant(trend.p, 2)) ")"
                @if trend.is_significant { ": a drift." } @else { ": no more than chance explains." }
            }
        }
        @if let Some(due) = &c.due { p { "Calibrate again by " strong { (due.on) } ": " (due.why) "." } }
        @for note in &c.notes { p { (note) } }
        (every_check(c, decimals))
    }
}

fn every_check(c: &CheckChart, decimals: usize) -> Markup {
    let said = |v: f64| fixed(v, decimals);
    let rows: Vec<Vec<Markup>> = c
        .points
        .iter()
        .map(|p| {
            let of = c.signals.iter().filter(|s| (s.line..=s.last_line).contains(&p.line));
            let words: Vec<&str> = of.map(|s| signal_word(s.kind)).collect();
            vec![
                html! { (p.line) },
                html! { (p.time.chars().take(16).collect::<String>().replace('T', " ")) },
                html! { (p.shown_kg) },
                html! { (said(p.value_g)) },
                html! { (p.range_g.map_or_else(String::new, said)) },
                html! { (said(p.average_g)) },
                html! { (words.join(", ")) },
            ]
        })
        .collect();
    let head = ["line", "time", "shown, kg", "value, g", "step, g", "moving average, g", "signal"];
    table("Every check", &head, &rows)
}

fn behind(report: &CheckReport) -> Markup {
    html! {
        ul.plain {
            li { "Limits stand at " (report.reach) " standard deviations about the mean of the baseline; the standard deviation is the mean step between neighbouring checks over 1.128." }
            li { "The moving average gives the newest check a weight of " (report.weight) " and starts at the mean of the baseline; its limits are exact from the first check on." }
            li { "With three standard deviations a sound deck gives about one false signal in 370 single checks: repeat a check before acting on it." }
            li { "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (single readings) and 6.3.2.4 (moving averages); that a calibration is watched with a check standard, 2.2.2 and 2.3.5." }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report() -> CheckReport {
        let row = |i: u32| {
            let wobble = [0.0, 0.003, -0.002, 0.001][i as usize % 4];
            let kg = 20.0 + wobble + if i > 25 { 0.02 } else { 0.0 };
            format!("2031-{:02}-{:02}T07:00:00Z,<F1>,{kg:.4},20,\n", 1 + i / 28, 1 + i % 28)
        };
        let text: String = (0..30).map(row).collect();
        let rows = formats::checks::read("c.csv", &format!("time,standard,shown_kg,mass_kg,note\n{text}")).unwrap();
        calibrate::checks::checks(&rows, None, &calibrate::checks::CheckOptions::default()).unwrap()
    }

    #[test]
    fn it_draws_both_charts_and_names_every_signal() {
        let report = report();
        assert!(!report.in_control);
        let html = checks(&report, CheckFiles { checks: "c.csv", deck: None }, "2031-11-04T18:00:00Z");
        assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
        for signal in &report.charts[0].signals {
            let line = crate::layout::signs(&signal_line(signal)).replace("<", "&lt;");
            assert!(html.contains(&line), "{line}");
        }
        for words in ["beyond the limits", "jump", "drifted", "Out of control: &lt;F1&gt;", "end of the baseline"] {
            assert!(html.contains(words), "{words:?} is missing");
        }
        assert!(!html.contains("<F1>"));
    }
}
