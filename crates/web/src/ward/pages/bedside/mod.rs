//! One bed, readable from three metres: the weight, its change, whether it may be believed, and what may be done now.
//!
//! | module      | what it does |
//! |-------------|--------------|
//! | `change`    | the change since a moment |
//! | `questions` | what nobody explained, and the answers to choose from |
//! | `forms`     | what the forms of the page do, and the question before what would hurt |

mod change;
mod forms;
mod questions;

use ::ward::access::Right;
use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::service::{Bed, NoTare, UNDO_US};
use formats::weights::State;
use jiff::Timestamp;
use maud::{Markup, html};
use store::StoreError;
use store::entry::{Entry, Kind};
use store::journal;
use store::sql::Transaction;

use super::frame::{self, Typed, ago, guard, local};
use super::terms;
use super::ward::{Urgency, asks, belief_mark, believe, pounds, uncertainty, weight};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;
use change::change;
use questions::questions;

pub(super) use forms::{act, admit, discharge, undo};

pub(super) fn bedside(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let bed = call.bed()?;
    let label = &bed.setup.bed;
    let live = bed.live();
    let stay_now = bed.stay();
    let patient = stay_now.as_ref().map(|stay| stay.patient.clone());
    let (urgency, why) = asks(bed, &live, reader);
    let may_care = call.session.as_ref().is_some_and(|s| s.role.may(Right::Care));
    let recent = on_record(call, |tx| journal::newest(tx, label, Kind::Action)).flatten();
    let main = html! {
        header.title {
            h1 { (label) @if let Some(patient) = &patient { " " a.patient href=(format!("/patients/{patient}")) { (patient) } } }
            p.question.belief data-value="belief" role="status" { (belief_mark(urgency, &live)) " " (belief(reader, &live, urgency, &why)) }
        }
        div.bedside data-bed=(label) data-live=(format!("/api/beds/{label}/live")) {
            p.big {
                (weight(reader, &live))
                (uncertainty(reader, &live))
                (pounds(reader, &live))
            }
            (change(call, &live, stay_now.as_ref()))
            @if may_care { @if let Some(entry) = recent.as_ref().filter(|e| is_pending(&live, e)) { (pending(call, bed, entry)) } }
            (questions(call, &live, may_care))
            dl.facts {
                dt { (reader.say("On the deck besides the patient")) }
                dd { span data-value="items_kg" data-decimals="2" { (reader.number(live.items_kg, 2)) } " kg" }
                dt { (reader.say("Tare")) }
                dd { (live.tare_kg.map_or_else(|| "–".into(), |t| reader.number(t, 2))) " kg, " (since_tare(reader, &live)) }
                dt { (reader.say("Last event")) }
                dd data-value="event" {
                    @if let Some((at_us, _, text)) = &live.last_event {
                        @if let Ok(at) = Timestamp::from_microsecond(*at_us) { (local(call, at)) " " }
                        (reader.event(text))
                    } @else { "–" }
                }
                @if !live.faults.is_empty() {
                    dt { (reader.say("Cells at fault")) }
                    dd { @for (cell, _) in &live.faults { (cell) " " } }
                }
            }
            p { a href=(format!("/beds/{label}/weights")) { (reader.say("Curve of the last 24 hours")) } }
        }
        @if may_care {
            (actions(call, label, &live))
            @if let Some(entry) = recent.filter(|e| now_us() - e.new.at_us < UNDO_US) { (take_back(call, label, &entry)) }
            (stay(call, label, patient.as_deref()))
        }
    };
    Ok(Answer::Page(frame::page(call, "/beds", label, "bedside", &main)))
}

/// Whether the weight may be believed, and why somebody is needed. To wait helps no question: where one is open, that alone is said of a load.
fn belief(reader: Reader, live: &Live, urgency: Urgency, why: &str) -> Markup {
    let is_asked = !live.questions.is_empty() && matches!(live.state, Some(State::Settled | State::Moving));
    html! {
        @if urgency != Urgency::Soon || is_asked { (why) } @else { (believe(reader, live)) " – " (why) }
    }
}

/// Whether an action is not in the weight yet: it is done with the first sample after it.
fn is_pending(live: &Live, entry: &Entry) -> bool {
    live.at_us.is_none_or(|at_us| at_us < entry.new.at_us) && now_us() - entry.new.at_us < UNDO_US
}

fn pending(call: &Call, bed: &Bed, entry: &Entry) -> Markup {
    let reader = call.reader;
    let is_heard = bed.live().link.up && !bed.live().is_silent(now_us());
    html! {
        p.pending role="status" {
            (reader.say("Entered just now")) ": " strong { (terms::action(reader, &entry.new.subject)) } ". "
            @if is_heard { (reader.say("It is shown with the next sample.")) }
            @else { (reader.say("Nothing comes from the deck: what is shown above is from before it.")) }
        }
    }
}

/// What the record says; `None` while the memory is away, or where a row of it cannot be read. The live weight is shown all the same: a bed is not to
/// lose its page over an old entry.
fn on_record<T>(call: &Call, look: impl FnOnce(&mut dyn Transaction) -> Result<T, StoreError>) -> Option<T> {
    let told = call.ward.memory.look(look);
    if let Err(error) = &told
        && !error.is_passing()
    {
        tracing::error!(%error, "a bed's record cannot be read");
    }
    told.ok()
}

/// When the tare was taken that the weight rests on: one that was only asked for is none.
fn since_tare(reader: Reader, live: &Live) -> Markup {
    html! {
        @match live.tare_at_us {
            Some(at_us) => (ago(reader, now_us() - at_us)),
            None => (reader.say("never tared in this bed")),
        }
        @if live.awaits_tare { "; " (reader.say("a new tare waits until the load rests, for two minutes at most")) }
    }
}

fn button(call: &Call, bed: &str, action: &str, with: &[(&str, &str)], text: &str) -> Markup {
    html! {
        form method="post" action=(format!("/beds/{bed}/act")) {
            (guard(call))
            input type="hidden" name="once" value=(once(call));
            input type="hidden" name="action" value=(action);
            @for (name, value) in with { input type="hidden" name=(name) value=(value); }
            button { (text) }
        }
    }
}

/// A word for this load of the page: a button pressed twice acts once.
fn once(call: &Call) -> String {
    format!("{}-{}", call.by(), now_us())
}

/// The two or three actions that make sense now.
fn actions(call: &Call, bed: &str, live: &Live) -> Markup {
    let reader = call.reader;
    let is_empty = matches!(live.state, None | Some(State::Empty));
    let is_held = live.state == Some(State::Held);
    let is_mute = NoTare::of(live, now_us()) == Some(NoTare::Silent);
    html! {
        section.panel {
            h2 { (reader.say("Now")) }
            @if is_mute { p { (reader.say("Nothing comes from the deck: look at plug and cable.")) } }
            div.buttons {
                @if is_empty {
                    @if !is_mute {
                        (button(call, bed, "tare", &[], reader.say("Tare the empty deck")))
                        (button(call, bed, "patient_on", &[], reader.say("The patient lies down")))
                    }
                } @else {
                    @if is_held { (button(call, bed, "release", &[], reader.say("Release: care is done"))) }
                    @else { (button(call, bed, "hold", &[], reader.say("Hold: care begins"))) }
                    (button(call, bed, "patient_off", &[], reader.say("The patient leaves the bed")))
                }
            }
            details {
                summary { (reader.say("Something comes onto the bed or leaves it")) }
                (item(call, bed, &Typed::default()))
                @if !is_empty && !is_mute { (button(call, bed, "tare", &[], reader.say("Tare the empty deck"))) }
            }
        }
    }
}

/// What comes onto the bed or leaves it.
fn item(call: &Call, bed: &str, typed: &Typed) -> Markup {
    let reader = call.reader;
    html! {
        form.inline method="post" action=(format!("/beds/{bed}/act")) {
            (guard(call))
            input type="hidden" name="once" value=(once(call));
            label { (reader.say("What")) input name="note" maxlength="100" placeholder=(reader.say("blanket, pump …")) value=[typed.field("note")]; }
            label { "kg" input name="kg" inputmode="decimal" size="6" placeholder=(reader.say("if known")) value=[typed.field("kg")]; }
            button name="action" value="add" { (reader.say("comes")) }
            button name="action" value="remove" { (reader.say("leaves")) }
        }
    }
}

fn take_back(call: &Call, bed: &str, entry: &Entry) -> Markup {
    let reader = call.reader;
    html! {
        section.panel {
            form.inline method="post" action=(format!("/beds/{bed}/undo")) {
                (guard(call))
                input type="hidden" name="number" value=(entry.number);
                span { (reader.say("Entered")) ": " strong { (terms::action(reader, &entry.new.subject)) } ", " (entry.new.author) ", " (ago(reader, now_us() - entry.new.at_us)) }
                button { (reader.say("Take it back")) }
            }
        }
    }
}

fn stay(call: &Call, bed: &str, patient: Option<&str>) -> Markup {
    let reader = call.reader;
    // Nobody is moved while that cannot be kept.
    let Some(Ok(known)) = on_record(call, |tx| Ok(::ward::records::patients(tx))) else { return html! {} };
    html! {
        section.panel {
            h2 { (reader.say("Who lies here")) }
            @match patient {
                Some(patient) => form.inline method="post" action=(format!("/beds/{bed}/discharge")) {
                    (guard(call))
                    input type="hidden" name="patient" value=(patient);
                    span { (patient) }
                    button { (reader.say("Leaves this bed for good")) }
                },
                None => form.inline method="post" action=(format!("/beds/{bed}/admit")) {
                    (guard(call))
                    label { (reader.say("Patient")) input name="patient" list="known" required maxlength="32"; }
                    datalist #known { @for label in &known { option value=(label) {} } }
                    button { (reader.say("Comes to this bed")) }
                },
            }
        }
    }
}
