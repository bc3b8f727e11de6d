//! The balance page: mass with its uncertainty and forecast, weighed against charted, what asks for a look.

use ::balance::BalanceReport;
use jiff::tz::TimeZone;
use maud::{Markup, html};
use report::number::{fixed, with_uncertainty};

use crate::layout::{self, PLACES, headline, panel, signs, table};
use crate::plot::{Band, Coordinate, Ink, Mark, Plot, Series, TimeAxis, figure};
use crate::words::Reader;

/// The page of `balance`.
#[must_use]
pub fn balance(reader: Reader, label: &str, report: &BalanceReport) -> Markup {
    let tell = |text: &str| reader.balance(text, &TimeZone::UTC);
    let axis = TimeAxis::utc(reader);
    let last = report.rows.last();
    layout::page(
        reader,
        PLACES[5],
        label,
        &html! {
            div.headlines {
                @if let Some(row) = last {
                    (headline(reader.say("Change, fused"), &signed(row.weighed_ml), "mL", reader.say("since the first hour, 1 mL = 1 g")))
                    (headline(reader.say("Charted balance"), &signed(row.charted_ml), "mL", reader.say("intake less output")))
                    (headline(reader.say("Unexplained by the chart"), &signed(row.unexplained_ml), "mL", &reader.fill("± {} mL (standard uncertainty); {} mL are expected to be lost", [&fixed(row.u_unexplained_ml, 0), &expected_loss(report)])))
                }
                (headline(reader.say("Overload, fused"), &fixed(report.overload_pct.fused, 1), "%", &reader.fill("± {} %; {} % by chart", [&fixed(report.overload_pct.u_fused, 1), &fixed(report.overload_pct.charted, 1)])))
            }
            (panel(reader.say("Mass and forecast"), &mass(reader, report, &axis, &tell)))
            (panel(reader.say("Weighed against charted"), &totals(reader, report, &axis)))
            div.pair {
                (panel(reader.say("Asks for a look"), &alerts(reader, report, &tell)))
                (panel(reader.say("Rests on"), &html! {
                    dl.facts {
                        dt { (reader.say("Uncharted loss")) } dd { (with_uncertainty(report.insensible_ml_h.value, report.insensible_ml_h.u)) " mL/h" }
                        dt { (reader.say("Told in 24 h")) } dd { (told_in_a_day(reader, report)) }
                    }
                    ul.plain { @for note in &report.notes { li { (tell(note)) } } }
                }))
            }
            (panel(reader.say("Hour by hour"), &hours(reader, report)))
        },
    )
}

/// The smallest change that a day can tell, where the record has lasted one.
fn told_in_a_day(reader: Reader, report: &BalanceReport) -> String {
    report.resolvable_ml_24h.map_or_else(
        || reader.say("not yet known, the record is shorter").to_owned(),
        |ml| reader.fill("{} mL or more", [&fixed(ml, 0)]),
    )
}

/// The loss that nobody charts and everybody has, without sign, with its standard uncertainty.
pub(super) fn expected_loss(report: &BalanceReport) -> String {
    report.expected_loss_ml().map_or_else(|| "–".to_owned(), |[ml, u_ml]| with_uncertainty(ml, u_ml))
}

/// A volume with its sign.
pub(crate) fn signed(ml: f64) -> String {
    with_plus(fixed(ml, 0).replace('-', "−"))
}

/// A number, with what may stand behind it, with its sign: a plus where it is above zero.
pub(crate) fn with_plus(text: String) -> String {
    let number = text.split(' ').next().unwrap_or_default();
    let is_more = !number.starts_with('−') && number.bytes().any(|b| matches!(b, b'1'..=b'9'));
    if is_more { format!("+{text}") } else { text }
}

/// Body mass and what comes next.
///
/// `tell` gives the balance's own words in the reader's language.
pub(crate) fn mass(reader: Reader, report: &BalanceReport, axis: &TimeAxis, tell: &dyn Fn(&str) -> String) -> Markup {
    let at = |t: &jiff::Timestamp| axis.at(*t);
    let asked = report.alternatives.iter().map(|other| Series {
        name: reader.say("forecast as asked below").into(),
        ink: Ink::Second,
        mark: Mark::Dashed,
        x: other.forecast.iter().map(|r| at(&r.time)).collect(),
        y: other.forecast.iter().map(|r| Some(r.mass_kg)).collect(),
        half: None,
        text: None,
    });
    let mut plot = Plot {
        x_title: axis.title.clone(),
        y_title: reader.say("body mass, kg").into(),
        x_is_time: true,
        y_range: None,
        bands: vec![
            Band {
                name: reader.say("95 % of the mass").into(),
                ink: Ink::Main,
                x: report.rows.iter().map(|r| at(&r.time)).collect(),
                low: report.rows.iter().map(|r| r.mass_kg - 1.96 * r.u_kg).collect(),
                high: report.rows.iter().map(|r| r.mass_kg + 1.96 * r.u_kg).collect(),
            },
            Band {
                name: reader.say("95 % of the forecast").into(),
                ink: Ink::Third,
                x: report.forecast.iter().map(|r| at(&r.time)).collect(),
                low: report.forecast.iter().map(|r| r.low_kg).collect(),
                high: report.forecast.iter().map(|r| r.high_kg).collect(),
            },
        ],
        series: vec![
            Series {
                name: reader.say("mass").into(),
                ink: Ink::Main,
                mark: Mark::Line,
                x: report.rows.iter().map(|r| at(&r.time)).collect(),
                y: report.rows.iter().map(|r| Some(r.mass_kg)).collect(),
                half: None,
                text: None,
            },
            Series {
                name: reader.say("forecast under the plan").into(),
                ink: Ink::Third,
                mark: Mark::Dashed,
                x: report.forecast.iter().map(|r| at(&r.time)).collect(),
                y: report.forecast.iter().map(|r| Some(r.mass_kg)).collect(),
                half: None,
                text: None,
            },
            Series {
                name: reader.say("asks for a look").into(),
                ink: Ink::Limit,
                mark: Mark::Points,
                x: report.alerts.iter().map(|a| at(&a.time)).collect(),
                y: report
                    .alerts
                    .iter()
                    .map(|a| report.rows.iter().rfind(|r| r.time <= a.time).or(report.rows.first()).map(|r| r.mass_kg))
                    .collect(),
                half: None,
                text: Some(report.alerts.iter().map(|a| tell(&a.text)).collect()),
            },
        ],
    };
    plot.series.extend(asked);
    figure(
        reader,
        "mass",
        reader.say(
            "Body mass from weights and chart together, and what comes next if the plan is kept. Bands hold 95 %.",
        ),
        &plot,
    )
}

/// Weighed against charted.
pub(crate) fn totals(reader: Reader, report: &BalanceReport, axis: &TimeAxis) -> Markup {
    let x: Vec<Coordinate> = report.rows.iter().map(|r| axis.at(r.time)).collect();
    let line = |name: &str, ink, mark, value: fn(&::balance::Row) -> f64| Series {
        name: name.to_owned(),
        ink,
        mark,
        x: x.clone(),
        y: report.rows.iter().map(|r| Some(value(r))).collect(),
        half: None,
        text: None,
    };
    let plot = Plot {
        x_title: axis.title.clone(),
        y_title: reader.say("since the first hour, mL").into(),
        x_is_time: true,
        y_range: None,
        bands: vec![Band {
            name: reader.say("95 % of the unexplained").into(),
            ink: Ink::Limit,
            x: x.clone(),
            low: report.rows.iter().map(|r| r.unexplained_ml - 1.96 * r.u_unexplained_ml).collect(),
            high: report.rows.iter().map(|r| r.unexplained_ml + 1.96 * r.u_unexplained_ml).collect(),
        }],
        series: vec![
            line(reader.say("together"), Ink::Main, Mark::Line, |r| r.weighed_ml),
            line(reader.say("charted"), Ink::Second, Mark::Steps, |r| r.charted_ml),
            line(reader.say("unexplained by the chart"), Ink::Limit, Mark::Dashed, |r| r.unexplained_ml),
        ],
    };
    figure(
        reader,
        "totals",
        reader.say(
            "Running totals from the first hour: what weights and chart together say, what the chart says, and the difference between them.",
        ),
        &plot,
    )
}

fn alerts(reader: Reader, report: &BalanceReport, tell: &dyn Fn(&str) -> String) -> Markup {
    if report.alerts.is_empty() {
        return html! { p { (reader.say("Nothing asks for a look.")) } };
    }
    html! { ul.plain { @for a in &report.alerts { li { strong { (utc(reader, a.time)) } " UTC: " (tell(&a.text)) } } } }
}

/// A time by UTC, as the reader writes it.
fn utc(reader: Reader, time: jiff::Timestamp) -> String {
    reader.clock(&time.to_zoned(TimeZone::UTC))
}

fn hours(reader: Reader, report: &BalanceReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .rows
        .iter()
        .map(|r| {
            vec![
                html! { (utc(reader, r.time)) },
                html! { (with_uncertainty(r.mass_kg, r.u_kg)) },
                html! { (signed(r.weighed_ml)) },
                html! { (signed(r.charted_ml)) },
                html! { (signs(&with_uncertainty(r.unexplained_ml, r.u_unexplained_ml))) },
            ]
        })
        .collect();
    html! {
        details { summary { (reader.fill("{} whole hours", [&rows.len().to_string()])) }
            (table(reader.say("± is a standard uncertainty"), &[reader.say("hour (UTC)"), reader.say("mass, kg"), reader.say("together, mL"), reader.say("charted, mL"), reader.say("unexplained, mL")], &rows))
        }
    }
}

#[cfg(test)]
mod tests {
    use formats::weights::{State, Weight};

    use super::*;

    /// Two days of an invented patient who loses what nobody charts.
    fn report() -> BalanceReport {
        let file = formats::patient::read("patient.toml", "[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = 50\n")
            .unwrap();
        let begin: jiff::Timestamp = "2031-05-01T00:00:00Z".parse().unwrap();
        let weights: Vec<Weight> = (0..48)
            .map(|h| Weight {
                time: Some(begin + jiff::SignedDuration::from_hours(h)),
                t_s: 3600.0 * f64::from(u8::try_from(h).unwrap()),
                patient_kg: Some(70.0 - 0.03 * f64::from(u8::try_from(h).unwrap())),
                u_kg: Some(0.03),
                state: State::Settled,
            })
            .collect();
        ::balance::balance(&file, &weights, &[], &::balance::Options::default()).unwrap()
    }

    #[test]
    fn a_loss_to_be_expected_has_its_uncertainty() {
        let told = expected_loss(&report());
        assert!(told.contains(" ± ") && !told.starts_with('0'), "{told}");
    }

    /// The same quantity has one name in headline, table and plot: what was weighed alone is another one.
    #[test]
    fn the_plot_of_the_totals_calls_the_fused_change_by_its_name() {
        let html = totals(Reader::ENGLISH, &report(), &TimeAxis::utc(Reader::ENGLISH)).into_string();
        assert!(html.contains("\"name\":\"together\"") && !html.contains("\"name\":\"weighed\""), "{html}");
        assert!(!html.contains("what the deck saw"), "{html}");
    }

    #[test]
    fn a_plus_stands_before_what_is_more_than_nothing() {
        assert_eq!(
            ["3", "−3", "0", "0.00", "106 ± 12", "−2 ± 12"].map(|text| with_plus(text.to_owned())),
            ["+3", "−3", "0", "0.00", "+106 ± 12", "−2 ± 12"]
        );
    }
}
