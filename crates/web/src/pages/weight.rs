//! The weight page: what the patient weighs over time, whether it may be believed, what happened.

use formats::weights::{State, Weight};
use maud::{Markup, html};
use report::number::{decimals_for, fixed, optional, with_uncertainty};
use report::text::clock;
use weigh::{EventKind, WeighReport};

use crate::layout::{self, PLACES, headline, panel, signs, table};
use crate::plot::{Band, Coordinate, Ink, Mark, Plot, Series, figure};

/// Points on the plot; more are no help to the eye and a load to the page.
const POINTS: usize = 1500;

/// The page of `weigh`: `weights` are the rows written, with times.
#[must_use]
pub fn weight(subject: &str, weights: &[Weight], report: &WeighReport) -> Markup {
    let last = report.last.as_ref();
    let kg = last.and_then(|l| l.patient_kg);
    let u = last.and_then(|l| l.u_kg);
    layout::page(
        PLACES[4],
        subject,
        &html! {
            div.headlines {
                (headline("Last weight", &kg.map_or_else(|| "none".to_owned(), |k| fixed(k, u.map_or(2, decimals_for).min(3))), "kg", &u.map_or_else(String::new, |u| format!("± {} kg (standard uncertainty)", fixed(u, decimals_for(u))))))
                (headline("May it be believed?", last.map_or("no", |l| believe(l.state)), "", last.map_or("", |l| why(l.state))))
                (headline("Tare", &optional(report.tare_kg, |t| fixed(t, 2)), "kg", "mattress, linen and what lay there"))
                (headline("On the deck besides", &fixed(report.items_kg, 2), "kg", "items that came and went since the tare"))
            }
            (panel("Weight over time", &curve(weights, report)))
            (panel("What happened", &events(report)))
            @if !report.faults.is_empty() {
                (panel("Faults", &html! { ul.plain { @for f in &report.faults { li { (clock(f.t_s)) " cell " (f.cell) } } } }))
            }
        },
    )
}

fn believe(state: State) -> &'static str {
    match state {
        State::Settled => "yes",
        State::Moving | State::Overload | State::Fault => "no",
        State::Held => "as of before the care",
        State::Empty => "nobody there",
    }
}

fn why(state: State) -> &'static str {
    match state {
        State::Settled => "settled, within its uncertainty",
        State::Moving => "the load moves",
        State::Held => "held while care is given",
        State::Empty => "no patient on the deck",
        State::Overload => "beyond the deck's range",
        State::Fault => "the deck cannot weigh",
    }
}

fn along(weight: &Weight) -> Coordinate {
    match weight.time {
        Some(time) => Coordinate::Text(time.to_string()),
        None => Coordinate::Number(weight.t_s / 3600.0),
    }
}

fn curve(weights: &[Weight], report: &WeighReport) -> Markup {
    let stride = weights.len().div_ceil(POINTS).max(1);
    let shown: Vec<&Weight> = weights.iter().step_by(stride).collect();
    let settled: Vec<&&Weight> = shown.iter().filter(|w| w.state == State::Settled).collect();
    let is_time = weights.first().is_some_and(|w| w.time.is_some());
    let bounds = |sign: f64| {
        settled.iter().map(|w| w.patient_kg.unwrap_or(f64::NAN) + sign * 2.0 * w.u_kg.unwrap_or(0.0)).collect()
    };
    let of_state =
        |states: &[State]| shown.iter().map(|w| w.patient_kg.filter(|_| states.contains(&w.state))).collect();
    let x: Vec<Coordinate> = shown.iter().map(|w| along(w)).collect();
    let marks: Vec<(&Weight, &weigh::Event)> = report
        .events
        .iter()
        .filter(|e| e.kind != EventKind::Contact)
        .filter_map(|e| {
            let at = weights.partition_point(|w| w.t_s < e.t_s);
            // An event is drawn where there is a weight to draw it at: the next one, near enough.
            weights[at..].iter().find(|w| w.patient_kg.is_some()).filter(|w| w.t_s - e.t_s < 3600.0).map(|w| (w, e))
        })
        .collect();
    let plot = Plot {
        x_title: if is_time { "time (UTC)".into() } else { "hours since the start".into() },
        y_title: "patient, kg".into(),
        x_is_time: is_time,
        y_range: around(&settled),
        bands: vec![Band {
            name: "± 2 u of settled weights".into(),
            ink: Ink::Main,
            x: settled.iter().map(|w| along(w)).collect(),
            low: bounds(-1.0),
            high: bounds(1.0),
        }],
        series: vec![
            Series {
                name: "settled".into(),
                ink: Ink::Main,
                mark: Mark::Line,
                x: x.clone(),
                y: of_state(&[State::Settled]),
                half: None,
                text: None,
            },
            Series {
                name: "moving or held".into(),
                ink: Ink::Quiet,
                mark: Mark::Dashed,
                x,
                y: of_state(&[State::Moving, State::Held]),
                half: None,
                text: None,
            },
            Series {
                name: "what happened".into(),
                ink: Ink::Second,
                mark: Mark::OpenPoints,
                x: marks.iter().map(|(w, _)| along(w)).collect(),
                y: marks.iter().map(|(w, _)| w.patient_kg).collect(),
                half: None,
                text: Some(marks.iter().map(|(_, e)| e.text.clone()).collect()),
            },
        ],
    };
    figure(
        "weight",
        "Weight of the patient without bedding and items. The solid line is settled; dashed is not to be believed yet, or held during care. Squares are events; hover for the sentence, or read the table below.",
        &plot,
    )
}

/// Room for the settled weights and a fifth of their range beside: what moves may leave the picture.
fn around(settled: &[&&Weight]) -> Option<[f64; 2]> {
    let kg = || settled.iter().filter_map(|w| w.patient_kg);
    let (low, high) = (kg().reduce(f64::min)?, kg().reduce(f64::max)?);
    let room = (0.2 * (high - low)).max(0.2);
    Some([low - room, high + room])
}

fn events(report: &WeighReport) -> Markup {
    let contacts = report.events.iter().filter(|e| e.kind == EventKind::Contact).count();
    let rows: Vec<Vec<Markup>> = report
        .events
        .iter()
        .filter(|e| e.kind != EventKind::Contact)
        .map(|e| {
            let size = match (e.kg, e.u_kg) {
                (Some(kg), Some(u)) => with_uncertainty(kg, u),
                (kg, _) => optional(kg, |k| fixed(k, 3)),
            };
            let place =
                e.x_mm.zip(e.y_mm).map_or_else(|| "–".to_owned(), |(x, y)| format!("{}, {}", fixed(x, 0), fixed(y, 0)));
            vec![
                html! { (clock(e.t_s)) },
                html! { span.left { (signs(&e.text)) } },
                html! { (signs(&size)) },
                html! { (place) },
            ]
        })
        .collect();
    html! {
        @if rows.is_empty() { p { "Nothing but the patient's own weight changed." } }
        @else { (table("Time since the start; place from the head end and from the patient's right", &["at", "<what happened", "kg", "x, y mm"], &rows)) }
        @if contacts > 0 { p { (contacts) " times someone leaned on the bed and let go; none of it entered the weight." } }
    }
}
