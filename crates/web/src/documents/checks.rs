//! The report of `checks`: each body's charts, what is out of control, and every check.

use calibrate::checks::{CheckChart, CheckReport, Signal};
use maud::{Markup, html};
use report::charts::{moving_average, single_checks};
use report::number::{decimals_for, fixed, significant};
use report::text::signal_word;

use super::chart;
use crate::document::{Document, Section};
use crate::layout::table;
use crate::words::Reader;

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
pub fn checks(reader: Reader, report: &CheckReport, files: CheckFiles, made_at: &str) -> Document {
    let out: Vec<&str> = report.charts.iter().filter(|c| !c.signals.is_empty()).map(|c| c.standard.as_str()).collect();
    let lede = if out.is_empty() {
        reader
            .say("Every check standard is in control: the deck is what it was, as far as these checks see.")
            .to_owned()
    } else {
        reader.fill("Out of control: {}. Find out why before the deck is believed further.", [&out.join(", ")])
    };
    let mut sections: Vec<Section> = report.charts.iter().map(|c| Section::new(&c.standard, body(reader, c))).collect();
    sections.push(Section::new(reader.say("How the limits come about"), behind(reader, report)));
    let n: usize = report.charts.iter().map(|c| c.points.len()).sum();
    let mut facts = vec![(reader.say("checks").to_owned(), format!("{n} ({})", files.checks))];
    if let Some(deck) = files.deck {
        facts.push((reader.say("deck").to_owned(), deck.to_owned()));
    }
    Document {
        reader,
        title: reader.say("Check standards over time").into(),
        lede,
        facts,
        made_at: made_at.to_owned(),
        cautions: vec![
            reader
                .say(
                    "In control says that nothing changed that these bodies, at these places, can show; it is no verification. Where the law sets a term for verification, that term holds.",
                )
                .into(),
        ],
        sections,
    }
}

fn body(reader: Reader, c: &CheckChart) -> Markup {
    let decimals = decimals_for(c.sd_g);
    let said = |v: f64| fixed(v, decimals);
    let usual = vec![
        vec![
            html! { (reader.fill("mean of the first {} checks", [&c.baseline.to_string()])) },
            html! { (said(c.centre_g)) },
        ],
        vec![html! { (reader.say("standard deviation of a check")) }, html! { (fixed(c.sd_g, decimals + 1)) }],
        vec![
            html! { (reader.say("limits of a check")) },
            html! { (reader.fill("{} to {}", [&said(c.limits_g[0]), &said(c.limits_g[1])])) },
        ],
        vec![html! { (reader.say("limit of a step from check to check")) }, html! { (said(c.range_limit_g)) }],
    ];
    let usual_from = match c.mass_kg {
        Some(kg) => reader
            .fill("{}: usual, in g from its conventional mass, {} kg", [&c.standard, &reader.signs(&kg.to_string())]),
        None => {
            let kg = reader.signs(&significant(c.from_kg, 7));
            reader.fill("{}: usual, in g from the mean of the baseline, {} kg", [&c.standard, &kg])
        }
    };
    let drawn = [single_checks(c), moving_average(c)].map(|drawn| reader.chart(drawn));
    html! {
        @if c.signals.is_empty() {
            p { (reader.fill("In control: {} checks.", [&c.points.len().to_string()])) }
        } @else {
            p { (reader.say("Out of control:")) }
            ul.plain { @for signal in &c.signals { li { (signal_words(reader, signal)) "." } } }
        }
        (chart(&drawn[0], reader.say("Every check inside the limits of single checks (Shewhart's chart). A cross is a signal.")))
        (chart(&drawn[1], reader.say("The exponentially weighted moving average inside its own limits: it sees small shifts that stay.")))
        (table(&usual_from, &[reader.say("quantity"), "g"], &usual))
        @if let Some(trend) = &c.trend {
            p {
                (reader.fill(
                    "Over all checks the value changes by {} ± {} g in 30 days (p = {}):",
                    [
                        &fixed(trend.per_30_days_g, decimals_for(trend.u_per_30_days_g)),
                        &significant(trend.u_per_30_days_g, 2),
                        &significant(trend.p, 2),
                    ],
                ))
                " "
                @if trend.is_significant { (reader.say("a drift.")) } @else { (reader.say("no more than chance explains.")) }
            }
        }
        @if let Some(due) = &c.due { p { (reader.fill("Calibrate again by {}: {}.", [&reader.date(&due.on), &reader.stage(&due.why)])) } }
        @for note in &c.notes { p { (reader.stage(note)) } }
        (every_check(reader, c, decimals))
    }
}

/// A signal with its place, as the screen says it too.
fn signal_words(reader: Reader, signal: &Signal) -> String {
    let day: String = signal.time.chars().take(10).collect();
    let kind = reader.stage(signal_word(signal.kind));
    reader.fill(
        "{}, line {} of {}: {}",
        [&kind, &signal.line.to_string(), &reader.date(&day), &reader.stage(&signal.text)],
    )
}

fn every_check(reader: Reader, c: &CheckChart, decimals: usize) -> Markup {
    let said = |v: f64| fixed(v, decimals);
    let rows: Vec<Vec<Markup>> = c
        .points
        .iter()
        .map(|p| {
            let of = c.signals.iter().filter(|s| (s.line..=s.last_line).contains(&p.line));
            let words: Vec<String> = of.map(|s| reader.stage(signal_word(s.kind))).collect();
            let time: String = p.time.chars().take(16).collect();
            vec![
                html! { (p.line) },
                html! { (reader.minute(&time)) },
                html! { (p.shown_kg) },
                html! { (said(p.value_g)) },
                html! { (p.range_g.map_or_else(String::new, said)) },
                html! { (said(p.average_g)) },
                html! { (words.join(", ")) },
            ]
        })
        .collect();
    let head = [
        reader.say("line"),
        reader.say("time"),
        reader.say("shown, kg"),
        reader.say("value, g"),
        reader.say("step, g"),
        reader.say("moving average, g"),
        reader.say("signal"),
    ];
    table(&reader.fill("{}: every check", [&c.standard]), &head, &rows)
}

fn behind(reader: Reader, report: &CheckReport) -> Markup {
    html! {
        ul.plain {
            li { (reader.fill("Limits stand at {} standard deviations about the mean of the baseline; the standard deviation is the mean step between neighbouring checks over 1.128.", [&report.reach.to_string()])) }
            li { (reader.fill("The moving average gives the newest check a weight of {} and starts at the mean of the baseline; its limits are exact from the first check on.", [&report.weight.to_string()])) }
            li { (reader.say("With limits at three standard deviations and a weight of 0.2 the charts together give a sound deck about one false signal in 30 checks where twenty checks set the limits, one in 80 where the scatter is well known (simulated): repeat a check before acting on it.")) }
            li { (reader.say("NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (single readings) and 6.3.2.4 (moving averages); that a calibration is watched with a check standard, 2.2.2 and 2.3.5.")) }
        }
    }
}

#[cfg(test)]
mod tests {
    use report::text::signal_line;

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
        let html = checks(Reader::ENGLISH, &report, CheckFiles { checks: "c.csv", deck: None }, "2031-11-04T18:00:00Z")
            .render();
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
