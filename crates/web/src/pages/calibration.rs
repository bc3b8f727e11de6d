//! The calibration page: residuals, the cells' lines, findings.

use formats::calibration::Calibration;
use maud::{Markup, html};
use report::number::{fixed, optional, significant, with_uncertainty};
use report::text::{finding_word, p_value, status_word};

use crate::layout::{self, PLACES, headline, panel, table};
use crate::plot::{Coordinate, Ink, Mark, Plot, Series, figure};

/// The page of `calibrate`.
#[must_use]
pub fn calibration(calibration: &Calibration) -> Markup {
    let determined = calibration.cells.iter().filter(|c| c.kg_per_count.is_some()).count();
    let worst = calibration
        .cells
        .iter()
        .filter_map(|c| c.kg_per_count.zip(c.u_kg_per_count))
        .map(|(k, u)| 100.0 * u / k.abs())
        .fold(0.0, f64::max);
    layout::page(
        PLACES[2],
        &calibration.deck,
        &html! {
            div.headlines {
                (headline("Cells determined", &format!("{determined} of {}", calibration.cells.len()), "", ""))
                (headline("Least certain gain", &significant(worst, 2), "%", "standard uncertainty"))
                (headline("Residual of a load", &significant(calibration.residual_sd_g, 3), "g", "standard deviation"))
                (headline("Findings", &calibration.findings.len().to_string(), "", if calibration.findings.is_empty() { "nothing was found wrong" } else { "see below" }))
            }
            @if !calibration.findings.is_empty() {
                (panel("Findings", &html! {
                    ul.plain {
                        @for f in &calibration.findings {
                            li { strong { (finding_word(f.kind)) @if let Some(cell) = &f.cell { ", cell " (cell) } } ": " (f.text) }
                        }
                    }
                }))
            }
            (panel("Residuals", &residuals(calibration)))
            div.pair {
                (panel("The cells' lines", &cells(calibration)))
                (panel("The run", &facts(calibration)))
            }
        },
    )
}

fn residuals(calibration: &Calibration) -> Markup {
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
                name: if plate.is_empty() { "no load".into() } else { (*plate).to_owned() },
                ink: inks[i % inks.len()],
                // More plates than colours: the second round is told apart by open points.
                mark: if i < inks.len() { Mark::Points } else { Mark::OpenPoints },
                x: rows.iter().map(|r| Coordinate::Text(r.step.clone())).collect(),
                y: rows.iter().map(|r| Some(r.residual_g)).collect(),
                half: None,
                text: Some(
                    rows.iter()
                        .map(|r| {
                            format!("step {}, {} kg: {} g", r.step, significant(r.load_kg, 5), fixed(r.residual_g, 1))
                        })
                        .collect(),
                ),
            }
        })
        .collect();
    let plot = Plot {
        x_title: "step of the run".into(),
        y_title: "fitted less stated load, g".into(),
        x_is_time: false,
        y_range: None,
        bands: vec![],
        series,
    };
    figure(
        "residuals",
        &format!(
            "What the fit leaves over in each reading; standard deviation {} g, largest {} g. A pattern by plate or step would speak against the fit.",
            significant(calibration.residual_sd_g, 3),
            significant(calibration.max_residual_g, 3)
        ),
        &plot,
    )
}

fn cells(calibration: &Calibration) -> Markup {
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
                html! { (status_word(c.status)) },
            ]
        })
        .collect();
    table("kg = (counts − zero) × gain", &["cell", "zero, counts", "gain, g per count", "u, %", "status"], &rows)
}

fn facts(calibration: &Calibration) -> Markup {
    html! {
        dl.facts {
            dt { "Made" } dd { (calibration.made_at) }
            dt { "Gravity there" } dd { (fixed(calibration.gravity_m_s2, 5)) " m/s²" }
            dt { "Degrees of freedom" } dd { (calibration.degrees_of_freedom) }
            dt { "Lack of fit" } dd { "p " (optional(calibration.lack_of_fit_p, p_value)) }
            @for load in &calibration.loads {
                dt { "Mass found: " (load.label) } dd { (with_uncertainty(load.kg, load.u_kg)) " kg" }
            }
        }
        p { "± is a standard uncertainty. Kilograms are conventional mass." }
    }
}
