//! All beds: who needs attention first, and why.

use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::service::Bed;
use formats::weights::State;
use maud::{Markup, html};

use super::frame;
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::beds::patient_of;
use crate::ward::call::Call;
use crate::ward::words::Reader;

/// A row may be so old before the bed counts as silent, µs.
const SILENT_US: i64 = 15_000_000;
/// An open change of so little does not ask for a nurse, kg.
const OPEN_KG: f64 = 0.05;

/// How much a bed asks for attention: the least number first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Urgency {
    Now,
    Soon,
    None,
}

/// Why a bed asks for attention.
pub(super) fn asks(bed: &Bed, live: &Live, reader: Reader) -> (Urgency, &'static str) {
    let trouble = bed.trouble();
    if trouble.memory.is_some() {
        return (Urgency::Now, reader.say("what is weighed cannot be kept just now"));
    }
    if trouble.start.is_some() {
        return (Urgency::Now, reader.say("a new tare on the empty deck is needed"));
    }
    if live.state == Some(State::Fault) {
        return (Urgency::Now, reader.say("the deck cannot weigh"));
    }
    if live.state == Some(State::Overload) {
        return (Urgency::Now, reader.say("more lies on the deck than it can weigh"));
    }
    if !live.link.up || live.at_us.is_none_or(|at| now_us() - at > SILENT_US) {
        return (Urgency::Now, reader.say("nothing comes from the deck"));
    }
    if live.open_kg.abs() >= OPEN_KG {
        return (Urgency::Soon, reader.say("a step that nobody has explained"));
    }
    if !live.faults.is_empty() {
        return (Urgency::Soon, reader.say("a cell failed: the deck goes on, less surely"));
    }
    (Urgency::None, reader.say("nothing to do"))
}

/// The mark of how much a bed asks: shape and word say what the colour says.
pub(super) fn mark(call: Urgency) -> Markup {
    match call {
        Urgency::Now => html! { span.sign.now aria-hidden="true" { "▲" } },
        Urgency::Soon => html! { span.sign.soon aria-hidden="true" { "◆" } },
        Urgency::None => html! { span.sign.none aria-hidden="true" { "●" } },
    }
}

pub(super) fn overview(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let mut beds = Vec::new();
    for bed in call.ward.beds() {
        let live = bed.live();
        let (asks, why) = asks(bed, &live, reader);
        beds.push((asks, why, live, patient_of(call, &bed.setup.bed)?));
    }
    beds.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| a.2.bed.cmp(&b.2.bed)));
    let asking = beds.iter().filter(|b| b.0 != Urgency::None).count();
    let main = html! {
        header.title {
            h1 { (call.ward.name) }
            p.question role="status" {
                @if beds.is_empty() { (reader.say("No bed is named in the ward file.")) }
                @else if asking == 0 { (reader.say("No bed asks for attention.")) }
                @else if asking == 1 { (reader.say("One bed asks for attention; it stands first.")) }
                @else { (asking) " " (reader.say("beds ask for attention, the first ones first")) }
            }
        }
        ul.beds data-live="/api/live" data-order="1" {
            @for (asks, why, live, patient) in &beds { (tile(reader, *asks, why, live, patient.as_deref())) }
        }
    };
    Ok(Answer::Page(frame::page(call, "/", &call.ward.name, "ward", &main)))
}

fn tile(reader: Reader, asks: Urgency, why: &str, live: &Live, patient: Option<&str>) -> Markup {
    html! {
        li.bed data-bed=(live.bed) {
            a href=(format!("/beds/{}", live.bed)) {
                h2 { (mark(asks)) " " (live.bed) @if let Some(patient) = patient { span.patient { (patient) } } }
                p.weight {
                    (weight(reader, live))
                }
                p.why { (why) }
            }
        }
    }
}

/// The weight of a bed, or a dash.
pub(super) fn weight(reader: Reader, live: &Live) -> Markup {
    html! {
        span.kg data-value="patient_kg" data-decimals="2" { (live.patient_kg.map_or_else(|| "–".to_owned(), |kg| reader.number(kg, 2))) }
        span.unit { " kg" }
        @if let Some(pounds) = live.patient_kg.and_then(|kg| reader.pounds(kg)) { span.pounds data-value="pounds" { " " (pounds) } }
    }
}
