//! The weight page: what the patient weighs over time, whether it may be believed, what happened.

use formats::weights::{State, Weight};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use maud::{Markup, html};
use report::number::{decimals_for, fixed, optional};
use report::text::{clock, fault_word};
use weigh::{EventKind, WeighReport};

use crate::layout::{self, PLACES, headline, panel, signs, table};
use crate::plot::{Band, Coordinate, Ink, Mark, Plot, Series, figure};
use crate::words::Reader;

/// Settled weights farther apart than this have no band between them, s: nothing is known of the time between.
const GAP_S: f64 = 3600.0;
/// Points on the plot; more are no help to the eye and a load to the page.
const POINTS: usize = 1500;

/// The page of `weigh`: `weights` are the rows written, with times.
#[must_use]
pub fn weight(reader: Reader, subject: &str, weights: &[Weight], report: &WeighReport) -> Markup {
    let last = report.last.as_ref();
    let kg = last.and_then(|l| l.patient_kg);
    let u = last.and_then(|l| l.u_kg);
    layout::page(
        reader,
        PLACES[4],
        subject,
        &html! {
            div.headlines {
                (headline(reader.say("Last weight"), &kg.map_or_else(|| reader.say("none").to_owned(), |k| fixed(k, u.map_or(2, decimals_for).min(3))), "kg", &u.map_or_else(String::new, |u| reader.fill("± {} kg (standard uncertainty)", [&fixed(u, decimals_for(u))]))))
                (headline(reader.say("May it be believed?"), last.map_or(reader.say("no"), |l| believe(reader, l.state)), "", last.map_or("", |l| why(reader, l.state))))
                (headline(reader.say("Tare"), &optional(report.tare_kg, |t| fixed(t, 2)), "kg", reader.say("mattress, linen and what lay there")))
                (headline(reader.say("On the deck besides"), &fixed(report.items_kg, 2), "kg", reader.say("items that came and went since the tare")))
            }
            (panel(reader.say("Weight over time"), &curve(reader, weights, report)))
            (panel(reader.say("What happened"), &events(reader, weights, report)))
            @if !report.faults.is_empty() {
                (panel(reader.say("Faults"), &html! { ul.plain { @for f in &report.faults { li { (clock(f.t_s)) " " (reader.say("cell")) " " (f.cell) ": " (reader.stage(fault_word(f.kind))) } } } }))
            }
        },
    )
}

fn believe(reader: Reader, state: State) -> &'static str {
    match state {
        State::Settled => reader.say("yes"),
        State::Moving | State::Overload | State::Fault => reader.say("no"),
        State::Held => reader.say("as of before the care"),
        State::Empty => reader.say("nobody there"),
    }
}

fn why(reader: Reader, state: State) -> &'static str {
    match state {
        State::Settled => reader.say("settled, within twice its uncertainty"),
        State::Moving => reader.say("the load moves"),
        State::Held => reader.say("held while care is given"),
        State::Empty => reader.say("no patient on the deck"),
        State::Overload => reader.say("beyond the deck's range"),
        State::Fault => reader.say("the deck cannot weigh"),
    }
}

fn along(weight: &Weight) -> Coordinate {
    match weight.time {
        Some(time) => Coordinate::Text(time.to_string()),
        None => Coordinate::Number(weight.t_s / 3600.0),
    }
}

fn curve(reader: Reader, weights: &[Weight], report: &WeighReport) -> Markup {
    let stride = weights.len().div_ceil(POINTS).max(1);
    let shown: Vec<&Weight> = weights.iter().step_by(stride).collect();
    let settled: Vec<&&Weight> = shown.iter().filter(|w| w.state == State::Settled).collect();
    let is_time = weights.first().is_some_and(|w| w.time.is_some());
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
        x_title: if is_time {
            format!("{} (UTC)", reader.say("time"))
        } else {
            reader.say("hours since the start").into()
        },
        y_title: reader.say("patient, kg").into(),
        x_is_time: is_time,
        y_range: around(&settled),
        bands: bands(reader, &settled),
        series: vec![
            Series {
                name: reader.say("settled").into(),
                ink: Ink::Main,
                mark: Mark::Line,
                x: x.clone(),
                y: of_state(&[State::Settled]),
                half: None,
                text: None,
            },
            Series {
                name: reader.say("moving or held").into(),
                ink: Ink::Quiet,
                mark: Mark::Dashed,
                x,
                y: of_state(&[State::Moving, State::Held]),
                half: None,
                text: None,
            },
            Series {
                name: reader.say("what happened").into(),
                ink: Ink::Second,
                mark: Mark::OpenPoints,
                x: marks.iter().map(|(w, _)| along(w)).collect(),
                y: marks.iter().map(|(w, _)| w.patient_kg).collect(),
                half: None,
                text: Some(marks.iter().map(|(_, e)| reader.event(&e.text)).collect()),
            },
        ],
    };
    figure(
        reader,
        "weight",
        reader.say("Weight of the patient without bedding and items. The solid line is settled; dashed is not to be believed yet, or held during care. Squares are events; hover for the sentence, or read the table below."),
        &plot,
    )
}

/// A band for each stretch of settled weights; the first carries the name of all.
fn bands(reader: Reader, settled: &[&&Weight]) -> Vec<Band> {
    let bounds = |stretch: &[&&Weight], sign: f64| {
        stretch.iter().map(|w| w.patient_kg.unwrap_or(f64::NAN) + sign * 2.0 * w.u_kg.unwrap_or(0.0)).collect()
    };
    let stretches = settled.chunk_by(|a, b| b.t_s - a.t_s <= GAP_S);
    let band = |(i, stretch): (usize, &[&&Weight])| Band {
        name: if i == 0 { reader.say("± 2 u of settled weights").into() } else { String::new() },
        ink: Ink::Main,
        x: stretch.iter().map(|w| along(w)).collect(),
        low: bounds(stretch, -1.0),
        high: bounds(stretch, 1.0),
    };
    stretches.enumerate().map(band).collect()
}

/// Room for the settled weights and a fifth of their range beside: what moves may leave the picture.
fn around(settled: &[&&Weight]) -> Option<[f64; 2]> {
    let kg = || settled.iter().filter_map(|w| w.patient_kg);
    let (low, high) = (kg().reduce(f64::min)?, kg().reduce(f64::max)?);
    let room = (0.2 * (high - low)).max(0.2);
    Some([low - room, high + room])
}

/// A time of the run on the clock that the plot has, with the day where the rows reach over several.
fn wall(reader: Reader, weights: &[Weight], t_s: f64) -> Option<String> {
    let (first, last) = (weights.first()?, weights.last()?);
    let day = |time: Timestamp| reader.day_of_month(&time.to_zoned(TimeZone::UTC));
    // Rows end before their times leave the calendar, and so do events.
    let time = first.time?.checked_add(SignedDuration::try_from_secs_f64((t_s - first.t_s).floor()).ok()?).ok()?;
    let clock = time.strftime("%H:%M:%S").to_string();
    Some(if day(first.time?) == day(last.time?) { clock } else { format!("{} {clock}", day(time)) })
}

fn events(reader: Reader, weights: &[Weight], report: &WeighReport) -> Markup {
    let at = |t_s: f64| wall(reader, weights, t_s);
    let head = if at(0.0).is_some() {
        reader.say("Time (UTC), and since the start; place from the head end and from the patient's right")
    } else {
        reader.say("Time since the start; place from the head end and from the patient's right")
    };
    let contacts = report.events.iter().filter(|e| e.kind == EventKind::Contact).count();
    let rows: Vec<Vec<Markup>> = report
        .events
        .iter()
        .filter(|e| e.kind != EventKind::Contact)
        .map(|e| {
            // To the gram throughout, so that the column can be read down.
            let size = match (e.kg, e.u_kg) {
                (Some(kg), Some(u)) => format!("{} ± {}", fixed(kg, 3), fixed(u, 3)),
                (kg, _) => optional(kg, |k| fixed(k, 3)),
            };
            let place =
                e.x_mm.zip(e.y_mm).map_or_else(|| "–".to_owned(), |(x, y)| format!("{}, {}", fixed(x, 0), fixed(y, 0)));
            vec![
                html! { @if let Some(wall) = at(e.t_s) { (wall) " " span.soft { (clock(e.t_s)) } } @else { (clock(e.t_s)) } },
                html! { span.left { (signs(&reader.event(&e.text))) } },
                html! { (signs(&size)) },
                html! { (place) },
            ]
        })
        .collect();
    html! {
        @if rows.is_empty() { p { (reader.say("Nothing but the patient's own weight changed.")) } }
        @else { (table(head, &[reader.say("at"), reader.say("<what happened"), "kg", "x, y mm"], &rows)) }
        @if contacts > 0 { p { (reader.fill("{} times someone leaned on the bed and let go; none of it entered the weight.", [&contacts.to_string()])) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_has_the_time_of_the_plot_and_its_day_where_there_are_several() {
        let weight = |t_s: f64| Weight {
            time: format!("2031-03-02T{:02}:30:00Z", t_s / 3600.0).parse().ok(),
            t_s,
            patient_kg: None,
            u_kg: None,
            state: State::Empty,
        };
        let mut weights = vec![weight(0.0), weight(7200.0)];
        assert_eq!(wall(Reader::ENGLISH, &weights, 3725.9).unwrap(), "01:32:05");
        weights[1].time = "2031-03-03T00:10:00Z".parse().ok();
        assert_eq!(wall(Reader::ENGLISH, &weights, 3725.9).unwrap(), "2 Mar 01:32:05");
        weights[0].time = None;
        assert_eq!(wall(Reader::ENGLISH, &weights, 3725.9), None);
        assert_eq!(wall(Reader::ENGLISH, &[], 1.0), None);
    }

    #[test]
    fn a_band_ends_where_nothing_is_known() {
        let weight =
            |t_s: f64| Weight { time: None, t_s, patient_kg: Some(80.0), u_kg: Some(0.1), state: State::Settled };
        // Two hours of minutes, five hours of nothing, ten minutes more.
        let weights: Vec<Weight> = (0..120).chain(420..430).map(|m| weight(60.0 * f64::from(m))).collect();
        let shown: Vec<&Weight> = weights.iter().collect();
        let settled: Vec<&&Weight> = shown.iter().collect();
        let found = bands(Reader::ENGLISH, &settled);
        let lengths: Vec<(usize, bool)> = found.iter().map(|b| (b.x.len(), b.name.is_empty())).collect();
        assert_eq!(lengths, [(120, false), (10, true)]);
        assert!(found.iter().all(|b| b.low.iter().all(|kg| (kg - 79.8).abs() < 1e-9)));
        assert_eq!(bands(Reader::ENGLISH, &[]), []);
    }
}
