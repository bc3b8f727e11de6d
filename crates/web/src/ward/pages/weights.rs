//! The weight of every second over a day, as the deck of a bed saw it: of each patient by itself.

use ::ward::bed::SILENT_US;
use ::ward::records::{self, Stay};
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
use crate::words::Reader;

/// Stretches of the curve; a wide screen has some two points for each.
const BUCKETS: usize = 1200;

/// A time, µs of UTC, and a weight, kg.
type Point = (i64, Option<f64>);
type Points = Vec<Point>;
/// Leaves of a curve as much as so many stretches can show.
type Thinning = fn(&[Point], usize) -> Points;

/// Somebody came to the bed, or left it for good.
struct Change {
    at_us: i64,
    patient: String,
    comes: bool,
}

impl Change {
    /// In words.
    fn told(&self, reader: Reader) -> String {
        if self.comes {
            reader.fill("{} comes to this bed", [&self.patient])
        } else {
            reader.fill("{} leaves this bed", [&self.patient])
        }
    }
}

pub(super) fn weights(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let label = call.bed()?.setup.bed.clone();
    let (from_us, to_us) = call.span_us(READINGS_MOST_D)?;
    let seconds = call.ward.memory.look(|tx| readings::readings(tx, &label, from_us, to_us))?;
    // A curve without names says more than none: it is cut wherever nobody was weighed.
    let stays = call.ward.memory.look(|tx| Ok(records::stays_in(tx, &label))).map_err(Problem::from);
    let stays = stays.and_then(|stays| stays.map_err(Problem::from)).ok();
    let is_known = stays.is_some();
    let changes = changes(stays.unwrap_or_default(), from_us, to_us);
    let main = html! {
        header.title {
            h1 { a href=(format!("/beds/{label}")) { (label) } " · " (reader.say("weight of every second")) }
            p.question { (span(call, from_us, to_us)) }
        }
        section.panel {
            @if !is_known { p role="status" { (reader.say("Who lay here, and when, cannot be read just now.")) } }
            @if seconds.is_empty() { p { (reader.say("No weight was kept in this time.")) } }
            @else { (curve(call, &seconds, &changes)) }
            @if !changes.is_empty() { ul.plain { @for change in &changes { li {
                @if let Ok(at) = Timestamp::from_microsecond(change.at_us) { (frame::local(call, at)) ": " }
                (change.told(reader))
            } } } }
            @if !seconds.is_empty() { p.soft { (reader.fill("{} weights were kept, at most one a second.", [&reader.number(seconds.len() as f64, 0)])) } }
        }
        (frame::plots())
    };
    Ok(Answer::Page(frame::page(call, "/beds", &label, "bedside", &main)))
}

/// What is shown, by its span.
fn span(call: &Call, from_us: i64, to_us: i64) -> String {
    let reader = call.reader;
    if !call.query.contains_key("from") && !call.query.contains_key("to") {
        return reader.say("the last 24 hours, as the deck saw them").to_owned();
    }
    let clock = |us| {
        let at = Timestamp::from_microsecond(us).unwrap_or_default().to_zoned(call.ward.zone.clone());
        format!("{} {}", reader.day(at.date()), at.strftime("%H:%M"))
    };
    reader.fill("{} to {}, as the deck saw it", [&clock(from_us), &clock(to_us)])
}

/// Who came and left within a span, in order.
fn changes(stays: Vec<Stay>, from_us: i64, to_us: i64) -> Vec<Change> {
    let mut changes = Vec::new();
    for Stay { patient, from_us: came_us, to_us: left_us, .. } in stays {
        if let Some(at_us) = left_us {
            changes.push(Change { at_us, patient: patient.clone(), comes: false });
        }
        changes.push(Change { at_us: came_us, patient, comes: true });
    }
    changes.retain(|change| (from_us..to_us).contains(&change.at_us));
    // Who leaves stands before who comes at the same moment.
    changes.sort_by_key(|change| (change.at_us, change.comes));
    changes
}

/// Where the curve ends and begins anew, in order: where somebody comes or leaves, where nothing was kept, where nobody is weighed any more.
fn cuts(seconds: &[Reading], changes: &[Change]) -> Vec<i64> {
    let ends = seconds.windows(2).filter_map(|pair| {
        let [last, next] = pair else { return None };
        // A deck gives one a second.
        let is_gap = next.at_us - last.at_us > SILENT_US;
        (is_gap || (last.kg.is_some() && next.kg.is_none())).then_some(last.at_us + 1)
    });
    let mut cuts: Vec<i64> = changes.iter().map(|change| change.at_us).chain(ends).collect();
    cuts.sort_unstable();
    cuts
}

/// A curve thinned out for the eye, each part between two cuts by itself, with a gap between them: no line leads from one patient to the
/// next, nor over hours of which nothing is known.
fn parted(points: &[Point], cuts: &[i64], thin: Thinning) -> Points {
    let share = |part: &[_]| (BUCKETS * part.len() / points.len().max(1)).max(1);
    let (mut out, mut rest) = (Points::new(), points);
    for &cut_us in cuts {
        let (before, after) = rest.split_at(rest.partition_point(|(us, _)| *us < cut_us));
        if !before.is_empty() {
            out.extend(thin(before, share(before)));
            out.push((cut_us, None));
        }
        rest = after;
    }
    out.extend(thin(rest, share(rest)));
    out
}

/// An upright line for each change, over the height of the picture.
fn uprights(reader: Reader, axis: &TimeAxis, changes: &[Change], [low, high]: [f64; 2]) -> Series {
    let points: Vec<(&Change, Option<f64>)> =
        changes.iter().flat_map(|change| [Some(low), Some(high), None].map(|kg| (change, kg))).collect();
    Series {
        name: reader.say("a patient comes or leaves").into(),
        ink: Ink::Limit,
        mark: Mark::Dashed,
        x: points.iter().map(|(c, _)| axis.at(Timestamp::from_microsecond(c.at_us).unwrap_or_default())).collect(),
        y: points.iter().map(|(_, kg)| *kg).collect(),
        half: None,
        text: Some(points.iter().map(|(change, _)| change.told(reader)).collect()),
    }
}

fn curve(call: &Call, seconds: &[Reading], changes: &[Change]) -> Markup {
    let reader = call.reader;
    let time = |reading: Option<&Reading>| {
        reading.and_then(|r| Timestamp::from_microsecond(r.at_us).ok()).unwrap_or_else(Timestamp::now)
    };
    let (first, last) = (time(seconds.first()), time(seconds.last()));
    let axis = TimeAxis::local(reader, &call.ward.zone, last, [first, last]);
    let cuts = cuts(seconds, changes);
    let of = |is_settled: bool| {
        let points: Points = seconds
            .iter()
            .map(|r| (r.at_us, r.kg.filter(|_| (r.state == State::Settled.word()) == is_settled)))
            .collect();
        // What moves has peaks of hands and turns that say nothing of the weight: they would hide the line that does.
        parted(&points, &cuts, if is_settled { thin } else { medians })
    };
    let series = |name: &str, ink, mark, points: Points| Series {
        name: name.to_owned(),
        ink,
        mark,
        x: points.iter().map(|(us, _)| axis.at(Timestamp::from_microsecond(*us).unwrap_or_default())).collect(),
        y: points.iter().map(|(_, kg)| *kg).collect(),
        half: None,
        text: None,
    };
    let (settled, moving) = (of(true), of(false));
    let y_range = around(&settled);
    let height = y_range.or_else(|| around(&moving)).filter(|_| !changes.is_empty());
    let uprights = height.map(|height| uprights(reader, &axis, changes, height));
    let plot = Plot {
        x_title: axis.title.clone(),
        y_title: reader.say("patient, kg").into(),
        x_is_time: true,
        y_range,
        bands: vec![],
        series: [
            series(reader.say("settled"), Ink::Main, Mark::Line, settled),
            series(reader.say("not settled"), Ink::Quiet, Mark::Dashed, moving),
        ]
        .into_iter()
        .chain(uprights)
        .collect(),
    };
    figure(
        reader,
        "weights",
        reader.say("The solid line is settled and may be believed; dashed is the load moving, or held during care."),
        &plot,
    )
}

/// Room for weights and a fifth of their range beside: beside settled ones, what moves may leave the picture.
fn around(settled: &[Point]) -> Option<[f64; 2]> {
    let kg = || settled.iter().filter_map(|(_, kg)| *kg);
    let (low, high) = (kg().reduce(f64::min)?, kg().reduce(f64::max)?);
    let room = (0.2 * (high - low)).max(0.2);
    Some([low - room, high + room])
}
