//! The calibration certificate: a document that prints on paper.

use calibrate::certificate::model::{Budget, Law};
use calibrate::certificate::{COVERAGE, Certificate, ErrorOfIndication, UsedMass};
use formats::calibration::Calibration;
use formats::certificate::Details;
use formats::deck::Deck;
use maud::{Markup, PreEscaped, html};
use report::number::{decimals_for, decimals_of, fixed, optional, significant, with_uncertainty};
use report::svg::xy_chart::{Series, XyChart};
use report::svg::{Axis, Ink, Mark};
use report::text::{finding_word, status_word};

use crate::document::{Document, Section};
use crate::layout::table;

/// Line on paper for what nobody stated.
const BLANK: &str = "________________";

/// What a certificate is made from.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// The deck.
    pub deck: &'a Deck,
    /// Name of the run file.
    pub run_file: &'a str,
    /// The calibration.
    pub calibration: &'a Calibration,
    /// What people stated.
    pub details: &'a Details,
    /// What follows from it.
    pub certificate: &'a Certificate,
    /// Gravity where the deck weighs, m/s².
    pub gravity_in_use_m_s2: f64,
}

/// The certificate as one file.
#[must_use]
pub fn certificate(source: &Source) -> String {
    let Source { deck, calibration, details, .. } = source;
    let findings = calibration.findings.len();
    let mut cautions = vec![
        "Stated by whoever signs below. Bedplate computes it from the readings; it accredits nobody and approves no instrument. \
         Where the law asks for verification, this does not stand in for it."
            .to_owned(),
    ];
    if findings > 0 {
        cautions.push(format!(
            "The run has {findings} finding{} (section 7). Mend what they name and calibrate again before this is signed.",
            if findings == 1 { "" } else { "s" }
        ));
    }
    let stated = |value: &Option<String>| value.clone().unwrap_or_else(|| BLANK.into());
    Document {
        title: format!("Calibration certificate · {}", deck.name),
        lede: "Errors of indication with expanded uncertainty, and the uncertainty of a weight in use.".into(),
        facts: vec![
            ("certificate no.".into(), stated(&details.number)),
            ("issued by".into(), stated(&details.issued_by)),
            ("place of calibration".into(), stated(&details.place)),
            ("run".into(), source.run_file.to_owned()),
        ],
        made_at: calibration.made_at.clone(),
        cautions,
        sections: vec![
            Section::new("Equipment", equipment(source)),
            Section::new("Masses and their traceability", masses(&source.certificate.masses)),
            Section::new("Conditions", conditions(source)),
            Section::new("Errors of indication", errors(source.certificate)),
            Section::new("Uncertainty of a weight in use", weights(source)),
            Section::new("Lines of the cells", cells(calibration)),
            Section::new("Findings", findings_list(calibration)),
            Section::new("Method and signature", method(source.certificate)),
        ],
    }
    .render()
}

fn equipment(source: &Source) -> Markup {
    let Source { deck, details, .. } = source;
    let stated = |value: &Option<String>| value.clone().unwrap_or_else(|| BLANK.into());
    let mut kinds: Vec<String> = Vec::new();
    for kind in &deck.cell_types {
        let n = deck.cells().filter(|(_, c)| c.cell_type == kind.name).count();
        if n > 0 {
            kinds.push(format!("{n} × {}, {} kg, {} mV/V", kind.name, kind.capacity_kg, kind.output_mv_v));
        }
    }
    html! {
        dl.facts {
            dt { "deck" } dd { (deck.name) @if let Some(d) = &details.description { ", " (d) } }
            dt { "serial no." } dd { (stated(&details.serial)) }
            dt { "largest load, interval, class" } dd { (deck.max_kg) " kg, e = " (deck.e_g) " g, " (format!("{:?}", deck.class)) }
            dt { "plates" } dd { (deck.plates.len()) }
            dt { "cells" } dd { (kinds.join("; ")) }
            dt { "converter" } dd {
                (deck.converter.bits) " bit, gain " (deck.converter.gain) ", " (deck.converter.rate_hz) " Hz, no. "
                (stated(&details.converter_serial))
            }
        }
    }
}

fn masses(masses: &[UsedMass]) -> Markup {
    let rows: Vec<Vec<Markup>> = masses
        .iter()
        .map(|m| {
            let d = m.details.as_ref();
            let text = |value: Option<&String>| value.cloned().unwrap_or_else(|| BLANK.into());
            vec![
                html! { (m.load.as_deref().unwrap_or("mass")) },
                html! { (m.mass_kg) },
                html! { (significant(m.u_mass_g, 3)) },
                html! { (d.and_then(|d| d.class).map_or("not stated", formats::certificate::WeightClass::word)) },
                html! { (text(d.and_then(|d| d.certificate.as_ref()))) },
                html! { (text(d.and_then(|d| d.calibrated_on.as_ref()))) },
                html! { (text(d.and_then(|d| d.issued_by.as_ref()))) },
            ]
        })
        .collect();
    html! {
        (table(
            "Conventional masses; u is a standard uncertainty",
            &["<mass", "kg", "u, g", "class", "certificate", "calibrated on", "by"],
            &rows,
        ))
        ul { @for m in masses { li { (m.load.as_deref().unwrap_or("mass")) ", " (m.mass_kg) " kg: " (m.taken) "." } } }
        @if masses.iter().any(|m| m.details.as_ref().is_none_or(|d| d.certificate.is_none())) {
            p { "A mass without certificate or class above is not shown to be traceable: fill in the blank, or say so to whoever \
                 relies on this." }
        }
    }
}

fn conditions(source: &Source) -> Markup {
    let Certificate { air, temperature_c, n_loaded, n_left_out, .. } = source.certificate;
    let temperature = match temperature_c {
        Some([low, high]) if high > low => format!("{} to {} °C", fixed(*low, 1), fixed(*high, 1)),
        Some([only, _]) => format!("{} °C", fixed(*only, 1)),
        None => BLANK.into(),
    };
    let pressure = match (air.pressure_hpa, air.is_measured) {
        (Some(hpa), true) => format!("{} hPa, as stated", fixed(hpa, 1)),
        (Some(hpa), false) => format!("{} hPa, the mean of the altitude; not measured", fixed(hpa, 0)),
        (None, _) => "neither stated nor told by an altitude".into(),
    };
    html! {
        dl.facts {
            dt { "temperature" } dd { (temperature) }
            dt { "air pressure" } dd { (pressure) }
            dt { "humidity" } dd { (fixed(air.humidity_pct, 0)) " %" @if source.details.humidity_pct.is_none() { ", taken; not measured" } }
            dt { "air density" } dd {
                @match air.density_kg_m3 {
                    Some(density) => { (fixed(density, 4)) " kg/m³ (CIPM-2007) at " (fixed(air.temperature_c, 1)) " °C" },
                    None => { "not known" },
                }
            }
            dt { "gravity at the calibration" } dd { (fixed(source.calibration.gravity_m_s2, 5)) " m/s²" }
            dt { "gravity in use" } dd {
                (fixed(source.gravity_in_use_m_s2, 5)) " m/s²; weights are scaled by the ratio of the two"
            }
            dt { "buoyancy" } dd {
                "values are conventional masses (1.2 kg/m³ of air, 8000 kg/m³); a body of water's density weighs some 1 g a kilogram less \
                 in air than its mass"
            }
            dt { "readings under load" } dd { (n_loaded) @if *n_left_out > 0 { ", of which " (n_left_out) " left out (section 7)" } }
        }
    }
}

fn name_of(error: &ErrorOfIndication) -> String {
    error.load.clone().unwrap_or_else(|| format!("{} kg", error.mass_kg))
}

fn errors(certificate: &Certificate) -> Markup {
    let rows: Vec<Vec<Markup>> = certificate
        .errors
        .iter()
        .map(|e| {
            let decimals = decimals_for(e.budget.expanded_g);
            vec![
                html! { (name_of(e)) },
                html! { (e.mass_kg) },
                html! { (e.n_readings) },
                html! { (fixed(e.indication_kg, decimals + 3)) },
                html! { (fixed(e.error_g, decimals)) },
                html! { (fixed(e.range_g[0], decimals)) " to " (fixed(e.range_g[1], decimals)) },
                html! { (significant(e.budget.expanded_g, 2)) },
                html! { (fixed(e.budget.k, 2)) },
            ]
        })
        .collect();
    html! {
        p { "One mass on one plate at a time, at marked places over all plates. The errors are those that the lines leave, which were \
             fitted to these readings." }
        (table(
            "Error of indication at the loads of the run",
            &["<load", "m, kg", "readings", "mean I, kg", "mean E, g", "E by place, g", "U, g", "k"],
            &rows,
        ))
        p { "U is the expanded uncertainty of the mean error: k times the standard uncertainty, with a coverage of " (coverage()) "." }
        @for e in &certificate.errors { (budget(&format!("What makes up U at {}", name_of(e)), &e.budget)) }
    }
}

fn coverage() -> String {
    format!("{} %", fixed(100.0 * COVERAGE, 2))
}

fn budget(caption: &str, budget: &Budget) -> Markup {
    let rows: Vec<Vec<Markup>> = budget
        .contributions
        .iter()
        .map(|c| {
            vec![
                html! { (c.source) },
                html! { (match c.law { Law::Normal => "normal", Law::Rectangular => "rectangular" }) },
                html! { (significant(c.u_g, 3)) },
                html! { (if c.dof.is_finite() { fixed(c.dof, 0) } else { "∞".into() }) },
            ]
        })
        .collect();
    html! {
        div.keep {
            (table(caption, &["<source", "law", "u, g", "ν"], &rows))
            p { "Together u = " (significant(budget.u_g, 3)) " g, ν = "
                (if budget.dof < 1e4 { fixed(budget.dof, 0) } else { "∞".into() })
                ", k = " (fixed(budget.k, 2)) ", U = " (significant(budget.expanded_g, 2)) " g." }
        }
    }
}

fn weights(source: &Source) -> Markup {
    let weights = &source.certificate.weights;
    let Some(last) = weights.last() else {
        return html! { p { "None can be stated: the run leaves a cell open (section 7)." } };
    };
    let decimals = decimals_of(weights.iter().map(|w| w.load_kg), 3);
    let rows: Vec<Vec<Markup>> = weights
        .iter()
        .map(|w| {
            let largest = w.budget.contributions.iter().max_by(|a, b| a.u_g.total_cmp(&b.u_g)).map_or("", |c| c.source);
            vec![
                html! { (fixed(w.load_kg, decimals)) @if w.is_beyond_run { " *" } },
                html! { (significant(w.budget.u_g, 2)) },
                html! { (fixed(w.budget.k, 2)) },
                html! { (significant(w.budget.expanded_g, 2)) },
                html! { (largest) },
            ]
        })
        .collect();
    let chart = XyChart {
        series: vec![Series::new(
            "U",
            Ink::Main,
            Mark::PointsAndLine,
            weights.iter().map(|w| [w.load_kg, w.budget.expanded_g]).collect(),
        )],
        ..XyChart::new(
            "Expanded uncertainty of a weight against load",
            format!(
                "Rises from {} g without load to {} g at {} kg.",
                significant(weights[0].budget.expanded_g, 2),
                significant(last.budget.expanded_g, 2),
                significant(last.load_kg, 4)
            ),
            Axis::linear("load, kg"),
            // From nothing on, so that its growth is seen in its proportion.
            Axis {
                range: Some([0.0, 1.08 * weights.iter().map(|w| w.budget.expanded_g).fold(0.0, f64::max)]),
                ..Axis::linear("U, g")
            },
        )
    };
    html! {
        p { "A load spread evenly over the flat deck and weighed against the empty deck, within 30 minutes, at the temperature of the \
             calibration. Tilt, bedding and temperature come on top of it and are part of the weight's own uncertainty in use." }
        (table(
            "Uncertainty of a weight",
            &["load, kg", "u, g", "k", "U, g", "<mostly from"],
            &rows,
        ))
        @if weights.iter().any(|w| w.is_beyond_run) {
            p { "* Some cell then bears more than it did in the run: the lines are carried on beyond what was tried, within their data \
                 sheets." }
        }
        figure.keep { (PreEscaped(chart.svg())) }
        (budget(&format!("What makes up U at {} kg", significant(last.load_kg, 4)), &last.budget))
    }
}

fn cells(calibration: &Calibration) -> Markup {
    let more = calibration.detail.as_ref();
    let rows: Vec<Vec<Markup>> = calibration
        .cells
        .iter()
        .map(|c| {
            let any = more.and_then(|d| d.cells.iter().find(|m| m.name == c.name)).and_then(|m| m.u_any_load_kg_per_count);
            let pct = |u: Option<f64>| optional(u.zip(c.kg_per_count).map(|(u, k)| 100.0 * u / k.abs()), |r| significant(r, 2));
            vec![
                html! { (c.name) },
                html! { span.whole { (c.zero_counts.zip(c.u_zero_counts).map_or_else(|| "–".to_owned(), |(z, u)| with_uncertainty(z, u))) } },
                html! { (optional(c.kg_per_count, |k| significant(1000.0 * k, 6))) },
                html! { (pct(c.u_kg_per_count)) },
                html! { (pct(any)) },
                html! { (status_word(c.status)) },
            ]
        })
        .collect();
    html! {
        (table(
            "kg = (counts − zero) × gain; u is a standard uncertainty",
            &["<cell", "zero, counts", "gain, g per count", "u at the run's loads, %", "u at any load and time, %", "status"],
            &rows,
        ))
        p { "The last but one column holds for loads and times like those of the run; the last adds bow, hysteresis and creep that the \
             data sheet allows up to rated load and after any time." }
    }
}

fn findings_list(calibration: &Calibration) -> Markup {
    html! {
        @if calibration.findings.is_empty() { p { "Nothing was found wrong." } }
        ul.plain {
            @for f in &calibration.findings {
                li { strong { (finding_word(f.kind)) @if let Some(cell) = &f.cell { ", cell " (cell) } } ": " (f.text) }
            }
        }
    }
}

fn method(certificate: &Certificate) -> Markup {
    html! {
        p { "E = I − m, by the model of EURAMET Calibration Guide No. 18: resolution at zero and at load, repeatability, eccentricity, \
             the mass, its buoyancy and its drift. Convection is left out. The indication is the sum of the cells' lines, read in steps \
             of a count. Repeatability is the standard deviation of the residuals of the fit; eccentricity the largest distance of one \
             place from their mean. Coverage factors are Student's t at the effective degrees of freedom (JCGM 100:2008, G.4), for a \
             coverage of " (coverage()) "." }
        p { "Of the guide, the formulas of repeatability and eccentricity were read in works that quote it; the rest is from memory, and \
             its own worked examples were not at hand. Whoever signs should hold it beside the guide." }
        @if certificate.n_left_out > 0 { p { (certificate.n_left_out) " readings that do not belong were left out; they are listed above." } }
        div.signature { span { "date" } span { "calibrated by" } span { "approved by" } }
    }
}
