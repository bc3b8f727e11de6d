//! The calibration page: residuals, the cells' lines, findings.

use formats::calibration::Calibration;
use maud::{Markup, html};
use report::number::{fixed, optional, significant, with_uncertainty};
use report::text::{finding_word, p_value, status_word};

use crate::layout::{self, PLACES, headline, panel, table};
use crate::plot::{Coordinate, Ink, Mark, Plot, Series, figure};
use crate::words::Reader;

/// The page of `calibrate`.
#[must_use]
pub fn calibration(reader: Reader, calibration: &Calibration) -> Markup {
    let determined = calibration.cells.iter().filter(|c| c.kg_per_count.is_some()).count();
    let worst = calibration
        .cells
        .iter()
        .filter_map(|c| c.kg_per_count.zip(c.u_kg_per_count))
        .map(|(k, u)| 100.0 * u / k.abs())
        .fold(0.0, f64::max);
    layout::page(
        reader,
        PLACES[2],
        &calibration.deck,
        &html! {
            div.headlines {
                (headline(reader.say("Cells determined"), &reader.fill("{} of {}", [&determined.to_string(), &calibration.cells.len().to_string()]), "", ""))
                (headline(reader.say("Least certain gain"), &significant(worst, 2), "%", reader.say("standard uncertainty")))
                (headline(reader.say("Residual of a load"), &significant(calibration.residual_sd_g, 3), "g", reader.say("standard deviation")))
                (headline(reader.say("Findings"), &calibration.findings.len().to_string(), "", if calibration.findings.is_empty() { reader.say("nothing was found wrong") } else { reader.say("see below") }))
            }
            @if !calibration.findings.is_empty() {
                (panel(reader.say("Findings"), &html! {
                    ul.plain {
                        @for f in &calibration.findings {
                            li { strong { (reader.stage(finding_word(f.kind))) @if let Some(cell) = &f.cell { ", " (reader.say("cell")) " " (cell) } } ": " (reader.stage(&f.text)) }
                        }
                    }
                }))
            }
            (panel(reader.say("Residuals"), &residuals(reader, calibration)))
            div.pair {
                (panel(reader.say("The cells' lines"), &cells(reader, calibration)))
                (panel(reader.say("The run"), &facts(reader, calibration)))
            }
        },
    )
}

fn residuals(reader: Reader, calibration: &Calibration) -> Markup {
    let mut plates: Vec<&str> = Vec::new();
    for r in &calibration.residuals {
        if !plates.contains(&r.plate.as_str()) {
            plates.push(&r.plate);
        }
    }
    let inks = [Ink::Main, Ink::Second, Ink::Third, Ink::Limit, Ink::Quiet];
    let series = plates
        .iter()
        .enumerate()
        .map(|(i, plate)| {
            let rows: Vec<_> = calibration.residuals.iter().filter(|r| r.plate == *plate).collect();
            Series {
                name: if plate.is_empty() { reader.say("no load").into() } else { (*plate).to_owned() },
                ink: inks[i % inks.len()],
                // More plates than colours: the second round is told apart by open points.
                mark: if i < inks.len() { Mark::Points } else { Mark::OpenPoints },
                x: rows.iter().map(|r| Coordinate::Text(r.step.clone())).collect(),
                y: rows.iter().map(|r| Some(r.residual_g)).collect(),
                half: None,
                text: Some(
                    rows.iter()
                        .map(|r| {
                            reader.signs(&reader.fill(
                                "step {}, {} kg: {} g",
                                [&r.step, &significant(r.load_kg, 5), &fixed(r.residual_g, 1)],
                            ))
                        })
                        .collect(),
                ),
            }
        })
        .collect();
    let plot = Plot {
        x_title: reader.say("step of the run").into(),
        y_title: reader.say("fitted less stated load, g").into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    figure(
        reader,
        "residuals",
        &reader.signs(&reader.fill(
            "What the fit leaves over in each reading; standard deviation {} g, largest {} g. A pattern by plate or step would speak against the fit.",
            [&significant(calibration.residual_sd_g, 3), &significant(calibration.max_residual_g, 3)],
        )),
        &plot,
    )
}

fn cells(reader: Reader, calibration: &Calibration) -> Markup {
    let rows: Vec<Vec<Markup>> = calibration
        .cells
        .iter()
        .map(|c| {
            let relative = c.kg_per_count.zip(c.u_kg_per_count).map(|(k, u)| 100.0 * u / k.abs());
            vec![
                html! { (c.name) },
                html! { (optional(c.zero_counts, |z| fixed(z, 0))) },
                html! { (optional(c.kg_per_count, |k| significant(1000.0 * k, 6))) },
                html! { (optional(relative, |r| significant(r, 2))) },
                html! { (reader.stage(status_word(c.status))) },
            ]
        })
        .collect();
    table(
        reader.say("kg = (counts − zero) × gain"),
        &[
            reader.say("cell"),
            reader.say("zero, counts"),
            reader.say("gain, g per count"),
            "u, %",
            reader.say("status"),
        ],
        &rows,
    )
}

fn facts(reader: Reader, calibration: &Calibration) -> Markup {
    html! {
        dl.facts {
            dt { (reader.say("Made")) } dd { (reader.moment(&calibration.made_at)) }
            dt { (reader.say("Gravity there")) } dd { (fixed(calibration.gravity_m_s2, 5)) " m/s²" }
            dt { (reader.say("Degrees of freedom")) } dd { (calibration.degrees_of_freedom) }
            dt { (reader.say("Lack of fit")) } dd { "p " (reader.stage(&optional(calibration.lack_of_fit_p, p_value))) }
            @for load in &calibration.loads {
                dt { (reader.say("Mass found:")) " " (load.label) } dd { (with_uncertainty(load.kg, load.u_kg)) " kg" }
            }
        }
        p { (reader.say("± is a standard uncertainty. Kilograms are conventional mass.")) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Language;

    #[test]
    fn what_scatters_is_told_in_german() {
        let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap();
        let run = twin::bench_run(&deck, 1, &twin::BenchOptions::default()).unwrap().run;
        let mut found = calibrate::calibrate(&deck, &run, &calibrate::Options::new("2031-01-01T00:00:00Z")).unwrap();
        found.lack_of_fit_p = Some(1e-5);
        let german = calibration(Reader::of_language(Language::German), &found).into_string();
        assert!(
            german.contains("Orte streuen mehr als Wiederholungen") && !german.contains("places scatter"),
            "{german}"
        );
        assert!(german.contains("1.1.2031, 00:00:00 UTC"), "{german}");
    }
}
