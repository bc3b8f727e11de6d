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
use crate::words::Reader;

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

/// The certificate in the reader's language.
#[must_use]
pub fn certificate(reader: Reader, source: &Source) -> Document {
    let Source { deck, calibration, details, .. } = source;
    let mut cautions = vec![
        reader
            .say(
                "Stated by whoever signs below. Bedplate computes it from the readings; it accredits nobody and approves no instrument. Where the law asks for verification, this does not stand in for it.",
            )
            .to_owned(),
    ];
    cautions.extend(match calibration.findings.len() {
        0 => None,
        1 => Some(
            reader
                .say("The run has one finding (section 7). Mend what it names and calibrate again before this is signed.")
                .to_owned(),
        ),
        n => Some(reader.fill(
            "The run has {} findings (section 7). Mend what they name and calibrate again before this is signed.",
            [&n.to_string()],
        )),
    });
    let stated = |value: &Option<String>| value.clone().unwrap_or_else(|| BLANK.into());
    let fact = |label: &str, value: String| (label.to_owned(), value);
    Document {
        reader,
        title: reader.fill("Calibration certificate · {}", [&deck.name]),
        lede: reader
            .say("Errors of indication with expanded uncertainty, and the uncertainty of a weight in use.")
            .into(),
        facts: vec![
            fact(reader.say("certificate no."), stated(&details.number)),
            fact(reader.say("issued by"), stated(&details.issued_by)),
            fact(reader.say("place of calibration"), stated(&details.place)),
            fact(reader.say("run"), source.run_file.to_owned()),
        ],
        made_at: calibration.made_at.clone(),
        cautions,
        sections: vec![
            Section::new(reader.say("Equipment"), equipment(reader, source)),
            Section::new(reader.say("Masses and their traceability"), masses(reader, &source.certificate.masses)),
            Section::new(reader.say("Conditions"), conditions(reader, source)),
            Section::new(reader.say("Errors of indication"), errors(reader, source.certificate)),
            Section::new(reader.say("Uncertainty of a weight in use"), weights(reader, source)),
            Section::new(reader.say("Lines of the cells"), cells(reader, calibration)),
            Section::new(reader.say("Findings"), findings_list(reader, calibration)),
            Section::new(reader.say("Method and signature"), method(reader, source.certificate)),
        ],
    }
}

fn equipment(reader: Reader, source: &Source) -> Markup {
    let Source { deck, details, .. } = source;
    let stated = |value: &Option<String>| value.clone().unwrap_or_else(|| BLANK.into());
    let mut kinds: Vec<String> = Vec::new();
    for kind in &deck.cell_types {
        let n = deck.cells().filter(|(_, c)| c.cell_type == kind.name).count();
        if n > 0 {
            kinds.push(format!("{n} × {}, {} kg, {} mV/V", kind.name, kind.capacity_kg, kind.output_mv_v));
        }
    }
    let converter = reader.fill(
        "{} bit, gain {}, {} Hz, no. {}",
        [
            &deck.converter.bits.to_string(),
            &deck.converter.gain.to_string(),
            &deck.converter.rate_hz.to_string(),
            &stated(&details.converter_serial),
        ],
    );
    html! {
        dl.facts {
            dt { (reader.say("deck")) } dd { (deck.name) @if let Some(d) = &details.description { ", " (d) } }
            dt { (reader.say("serial no.")) } dd { (stated(&details.serial)) }
            dt { (reader.say("largest load, interval, class")) } dd { (deck.max_kg) " kg, e = " (deck.e_g) " g, " (format!("{:?}", deck.class)) }
            dt { (reader.say("plates")) } dd { (deck.plates.len()) }
            dt { (reader.say("cells")) } dd { (kinds.join("; ")) }
            dt { (reader.say("converter")) } dd { (converter) }
        }
    }
}

fn masses(reader: Reader, masses: &[UsedMass]) -> Markup {
    let rows: Vec<Vec<Markup>> = masses
        .iter()
        .map(|m| {
            let d = m.details.as_ref();
            let text = |value: Option<&String>| value.cloned().unwrap_or_else(|| BLANK.into());
            vec![
                html! { (m.load.as_deref().unwrap_or(reader.say("mass"))) },
                html! { (m.mass_kg) },
                html! { (significant(m.u_mass_g, 3)) },
                html! { (d.and_then(|d| d.class).map_or(reader.say("not stated"), formats::certificate::WeightClass::word)) },
                html! { (text(d.and_then(|d| d.certificate.as_ref()))) },
                html! { (reader.date(&text(d.and_then(|d| d.calibrated_on.as_ref())))) },
                html! { (text(d.and_then(|d| d.issued_by.as_ref()))) },
            ]
        })
        .collect();
    html! {
        (table(
            reader.say("Conventional masses; u is a standard uncertainty"),
            &[reader.say("<mass"), "kg", "u, g", reader.say("class"), reader.say("certificate"), reader.say("calibrated on"), reader.say("issued by")],
            &rows,
        ))
        ul { @for m in masses { li { (m.load.as_deref().unwrap_or(reader.say("mass"))) ", " (m.mass_kg) " kg: " (reader.stage(&m.taken)) "." } } }
        @if masses.iter().any(|m| m.details.as_ref().is_none_or(|d| d.certificate.is_none())) {
            p { (reader.say("A mass without certificate or class above is not shown to be traceable: fill in the blank, or say so to whoever relies on this.")) }
        }
    }
}

fn conditions(reader: Reader, source: &Source) -> Markup {
    let Certificate { air, temperature_c, n_loaded, n_left_out, .. } = source.certificate;
    let temperature = match temperature_c {
        Some([low, high]) if high > low => reader.fill("{} to {} °C", [&fixed(*low, 1), &fixed(*high, 1)]),
        Some([only, _]) => format!("{} °C", fixed(*only, 1)),
        None => BLANK.into(),
    };
    let pressure = match (air.pressure_hpa, air.is_measured) {
        (Some(hpa), true) => reader.fill("{} hPa, as stated", [&fixed(hpa, 1)]),
        (Some(hpa), false) => reader.fill("{} hPa, the mean of the altitude; not measured", [&fixed(hpa, 0)]),
        (None, _) => reader.say("neither stated nor told by an altitude").into(),
    };
    let humidity = fixed(air.humidity_pct, 0);
    let humidity = match source.details.humidity_pct {
        Some(_) => format!("{humidity} %"),
        None => reader.fill("{} %, taken; not measured", [&humidity]),
    };
    let density = match air.density_kg_m3 {
        Some(density) => {
            reader.fill("{} kg/m³ (CIPM-2007) at {} °C", [&fixed(density, 4), &fixed(air.temperature_c, 1)])
        }
        None => reader.say("not known").into(),
    };
    let gravity_in_use =
        reader.fill("{} m/s²; weights are scaled by the ratio of the two", [&fixed(source.gravity_in_use_m_s2, 5)]);
    let readings = match n_left_out {
        0 => n_loaded.to_string(),
        n => reader.fill("{}, of which {} left out (section 7)", [&n_loaded.to_string(), &n.to_string()]),
    };
    html! {
        dl.facts {
            dt { (reader.say("temperature")) } dd { (temperature) }
            dt { (reader.say("air pressure")) } dd { (pressure) }
            dt { (reader.say("humidity")) } dd { (humidity) }
            dt { (reader.say("air density")) } dd { (density) }
            dt { (reader.say("gravity at the calibration")) } dd { (fixed(source.calibration.gravity_m_s2, 5)) " m/s²" }
            dt { (reader.say("gravity in use")) } dd { (gravity_in_use) }
            dt { (reader.say("buoyancy")) } dd {
                (reader.say("values are conventional masses (1.2 kg/m³ of air, 8000 kg/m³); a body of water's density weighs some 1 g a kilogram less in air than its mass"))
            }
            dt { (reader.say("readings under load")) } dd { (readings) }
        }
    }
}

fn name_of(error: &ErrorOfIndication) -> String {
    error.load.clone().unwrap_or_else(|| format!("{} kg", error.mass_kg))
}

fn errors(reader: Reader, certificate: &Certificate) -> Markup {
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
                html! { (reader.fill("{} to {}", e.range_g.map(|g| fixed(g, decimals)).each_ref().map(String::as_str))) },
                html! { (significant(e.budget.expanded_g, 2)) },
                html! { (fixed(e.budget.k, 2)) },
            ]
        })
        .collect();
    html! {
        p { (reader.say("One mass on one plate at a time, at marked places over all plates. The errors are those that the lines leave, which were fitted to these readings.")) }
        (table(
            reader.say("Error of indication at the loads of the run"),
            &[reader.say("<load"), "m, kg", reader.say("readings"), reader.say("mean I, kg"), reader.say("mean E, g"), reader.say("E by place, g"), "U, g", "k"],
            &rows,
        ))
        p { (reader.fill("U is the expanded uncertainty of the mean error: k times the standard uncertainty, with a coverage of {}.", [&coverage()])) }
        @for e in &certificate.errors { (budget(reader, &reader.fill("What makes up U at {}", [&reader.signs(&name_of(e))]), &e.budget)) }
    }
}

fn coverage() -> String {
    format!("{} %", fixed(100.0 * COVERAGE, 2))
}

fn budget(reader: Reader, caption: &str, budget: &Budget) -> Markup {
    let rows: Vec<Vec<Markup>> = budget
        .contributions
        .iter()
        .map(|c| {
            vec![
                html! { (reader.stage(c.source)) },
                html! { (match c.law { Law::Normal => reader.say("normal"), Law::Rectangular => reader.say("rectangular") }) },
                html! { (significant(c.u_g, 3)) },
                html! { (if c.dof.is_finite() { fixed(c.dof, 0) } else { "∞".into() }) },
            ]
        })
        .collect();
    let dof = if budget.dof < 1e4 { fixed(budget.dof, 0) } else { "∞".into() };
    let together = reader.fill(
        "Together u = {} g, ν = {}, k = {}, U = {} g.",
        [&significant(budget.u_g, 3), &dof, &fixed(budget.k, 2), &significant(budget.expanded_g, 2)],
    );
    html! {
        div.keep {
            (table(caption, &[reader.say("<source"), reader.say("law"), "u, g", "ν"], &rows))
            p { (together) }
        }
    }
}

fn weights(reader: Reader, source: &Source) -> Markup {
    let weights = &source.certificate.weights;
    let Some(last) = weights.last() else {
        return html! { p { (reader.say("None can be stated: the run leaves a cell open (section 7).")) } };
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
                html! { (reader.stage(largest)) },
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
            reader.say("Expanded uncertainty of a weight against load"),
            reader.fill(
                "Rises from {} g without load to {} g at {} kg.",
                [
                    &significant(weights[0].budget.expanded_g, 2),
                    &significant(last.budget.expanded_g, 2),
                    &significant(last.load_kg, 4),
                ],
            ),
            Axis::linear(reader.say("load, kg")),
            // From nothing on, so that its growth is seen in its proportion.
            Axis {
                range: Some([0.0, 1.08 * weights.iter().map(|w| w.budget.expanded_g).fold(0.0, f64::max)]),
                ..Axis::linear("U, g")
            },
        )
    };
    html! {
        p { (reader.say("A load spread evenly over the flat deck and weighed against the empty deck, within 30 minutes, at the temperature of the calibration. Tilt, bedding and temperature come on top of it and are part of the weight's own uncertainty in use.")) }
        (table(
            reader.say("Uncertainty of a weight"),
            &[reader.say("load, kg"), "u, g", "k", "U, g", reader.say("<mostly from")],
            &rows,
        ))
        @if weights.iter().any(|w| w.is_beyond_run) {
            p { (reader.say("* Some cell then bears more than it did in the run: the lines are carried on beyond what was tried, within their data sheets.")) }
        }
        figure.keep { (PreEscaped(chart.svg())) }
        (budget(reader, &reader.fill("What makes up U at {}", [&reader.signs(&format!("{} kg", significant(last.load_kg, 4)))]), &last.budget))
    }
}

fn cells(reader: Reader, calibration: &Calibration) -> Markup {
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
                html! { (reader.stage(status_word(c.status))) },
            ]
        })
        .collect();
    html! {
        (table(
            reader.say("kg = (counts − zero) × gain; u is a standard uncertainty"),
            &[reader.say("<cell"), reader.say("zero, counts"), reader.say("gain, g per count"), reader.say("u at the run's loads, %"), reader.say("u at any load and time, %"), reader.say("status")],
            &rows,
        ))
        p { (reader.say("The last but one figure holds for loads and times like those of the run; the last adds bow, hysteresis and creep that the data sheet allows up to rated load and after any time.")) }
    }
}

fn findings_list(reader: Reader, calibration: &Calibration) -> Markup {
    html! {
        @if calibration.findings.is_empty() { p { (reader.say("Nothing was found wrong.")) } }
        ul.plain {
            @for f in &calibration.findings {
                li { strong { (reader.stage(finding_word(f.kind))) @if let Some(cell) = &f.cell { (reader.fill(", cell {}", [cell])) } } ": " (reader.stage(&f.text)) }
            }
        }
    }
}

fn method(reader: Reader, certificate: &Certificate) -> Markup {
    html! {
        p { (reader.fill("E = I − m, by the model of EURAMET Calibration Guide No. 18: resolution at zero and at load, repeatability, eccentricity, the mass, its buoyancy and its drift. Convection is left out. The indication is the sum of the cells' lines, read in steps of a count. Repeatability is the standard deviation of the residuals of the fit; eccentricity the largest distance of one place from their mean. Coverage factors are Student's t at the effective degrees of freedom (JCGM 100:2008, G.4), for a coverage of {}.", [&coverage()])) }
        p { (reader.say("Of the guide, the formulas of repeatability and eccentricity were read in works that quote it; the rest is from memory, and its own worked examples were not at hand. Whoever signs should hold it beside the guide.")) }
        @match certificate.n_left_out {
            0 => {}
            1 => { p { (reader.say("One reading that does not belong was left out; it is listed above.")) } }
            n => { p { (reader.fill("{} readings that do not belong were left out; they are listed above.", [&n.to_string()])) } }
        }
        div.signature { span { (reader.say("date")) } span { (reader.say("calibrated by")) } span { (reader.say("approved by")) } }
    }
}
