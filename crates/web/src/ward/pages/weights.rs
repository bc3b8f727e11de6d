//! The weight of every second over a day, as the deck of a bed saw it.

use formats::weights::State;
use jiff::Timestamp;
use maud::{Markup, html};
use store::readings::{self, Reading};

use super::frame;
use crate::plot::{Ink, Mark, Plot, Series, TimeAxis, figure};
use crate::thin::{medians, thin};
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::schema::READINGS_MOST_D;
use crate::ward::call::Call;

/// Stretches of the curve; a wide screen has some two points for each.
const BUCKETS: usize = 1200;

pub(super) fn weights(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let label = call.bed()?.setup.bed.clone();
    let (from_us, to_us) = call.span_us(READINGS_MOST_D)?;
    let seconds = call.ward.memory.look(|tx| readings::readings(tx, &label, from_us, to_us))?;
    let main = html! {
        header.title {
            h1 { a href=(format!("/beds/{label}")) { (label) } " · " (reader.say("weight of every second")) }
            p.question { (reader.say("the last 24 hours, as the deck saw them")) }
        }
        section.panel {
            @if seconds.is_empty() { p { (reader.say("No weight was kept in this time.")) } }
            @else { (curve(call, &seconds)) }
            @if !seconds.is_empty() { p.soft { (reader.fill("{} weights were kept, at most one a second.", [&reader.number(seconds.len() as f64, 0)])) } }
        }
        (frame::plots())
    };
    Ok(Answer::Page(frame::page(call, "/beds", &label, "bedside", &main)))
}

fn curve(call: &Call, seconds: &[Reading]) -> Markup {
    let reader = call.reader;
    let zone = call.ward.zone.clone();
    let axis = TimeAxis::local(format!("{} ({})", reader.say("time"), zone.iana_name().unwrap_or("UTC")), zone);
    let of = |is_settled: bool| {
        let points: Vec<(i64, Option<f64>)> = seconds
            .iter()
            .map(|r| (r.at_us, r.kg.filter(|_| (r.state == State::Settled.word()) == is_settled)))
            .collect();
        // What moves has peaks of hands and turns that say nothing of the weight: they would hide the line that does.
        if is_settled { thin(&points, BUCKETS) } else { medians(&points, BUCKETS) }
    };
    let series = |name: &str, ink, mark, points: Vec<(i64, Option<f64>)>| Series {
        name: name.to_owned(),
        ink,
        mark,
        x: points.iter().map(|(us, _)| axis.at(Timestamp::from_microsecond(*us).unwrap_or_default())).collect(),
        y: points.iter().map(|(_, kg)| *kg).collect(),
        half: None,
        text: None,
    };
    let settled = of(true);
    let plot = Plot {
        x_title: axis.title.clone(),
        y_title: reader.say("patient, kg").into(),
        x_is_time: true,
        y_range: around(&settled),
        bands: vec![],
        series: vec![
            series(reader.say("settled"), Ink::Main, Mark::Line, settled),
            series(reader.say("not settled"), Ink::Quiet, Mark::Dashed, of(false)),
        ],
    };
    figure(
        reader,
        "weights",
        reader.say("The solid line is settled and may be believed; dashed is the load moving, or held during care."),
        &plot,
    )
}

/// Room for the settled weights and a fifth of their range beside: what moves may leave the picture.
fn around(settled: &[(i64, Option<f64>)]) -> Option<[f64; 2]> {
    let kg = || settled.iter().filter_map(|(_, kg)| *kg);
    let (low, high) = (kg().reduce(f64::min)?, kg().reduce(f64::max)?);
    let room = (0.2 * (high - low)).max(0.2);
    Some([low - room, high + room])
}
