//! What the forms of a bed's page do, and the questions before what would hurt if it were a slip.

use std::time::{Duration, Instant};

use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::records::ActionBody;
use ::ward::service::{Bed, NoTare, Outcome};
use axum::http::StatusCode;
use maud::{Markup, html};
use weigh::Lies;

use super::item;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::pages::frame::{self, guard};
use crate::ward::pages::terms;
use crate::ward::pages::ward::weight;

/// A deck that bears so much more or less than at its last tare is asked about before the next, kg.
const OTHER_LOAD_KG: f64 = 3.0;
/// After an action its page comes once a weight shows it, and after so long at the latest: a bed gives one a second.
const SHOWN_WITHIN: Duration = Duration::from_millis(1_500);
const LOOK_AGAIN: Duration = Duration::from_millis(25);

/// What would hurt if it were a slip asks once more.
fn confirm(call: &Call, bed: &str, action: &str, live: &Live) -> Option<Markup> {
    let reader = call.reader;
    // As much as that nobody lays on a bare deck with a mattress and linen.
    let is_other = live.load_kg.zip(live.tare_kg).is_some_and(|(load, tare)| (load - tare).abs() > OTHER_LOAD_KG);
    let text = match action {
        "tare" if live.lies == Lies::Somebody || is_other => reader.say("Somebody or something seems to lie on the deck. A tare now takes the whole load for empty: the weight becomes 0. Tare only an empty deck."),
        "patient_off" => reader.say("The patient leaves the bed: the weight ends until somebody lies down again."),
        _ => return None,
    };
    let load = html! {
        @if action != "tare" { (weight(reader, live)) } @else if let Some(load_kg) = live.load_kg {
            (reader.number(load_kg, 2)) span.unit { " kg " (reader.say("on the deck now")) }
            @if let Some(tare_kg) = live.tare_kg {
                span.pounds { (reader.number(tare_kg, 2)) " kg " (reader.say("at the last tare")) }
            }
        }
    };
    ask_once_more(call, bed, terms::action(reader, action), text, "act", &load)
}

/// Where no tare can be taken, the reason instead of a question whose yes would be refused.
fn no_tare(call: &Call, bed: &str, action: &str, live: &Live) -> Option<Markup> {
    let reader = call.reader;
    let why = NoTare::of(live, now_us()).filter(|_| action == "tare")?;
    let text = match why {
        NoTare::Silent => reader.say("Nothing comes from the deck: no tare can be taken now. Look at plug and cable."),
        NoTare::Patient => {
            reader.say("Somebody lies on the deck: no tare is taken. Say first that the patient leaves the bed.")
        }
    };
    Some(frame::page(
        call,
        "/beds",
        bed,
        "bedside",
        &html! {
            section.open role="alert" {
                h1 { (bed) ": " (terms::action(reader, action)) }
                p { (text) }
                p { a.button href=(format!("/beds/{bed}")) { (reader.say("To the bed")) } }
            }
        },
    ))
}

/// The question before what would hurt; `None` once it was answered with yes. The form goes to `to` of the bed.
fn ask_once_more(call: &Call, bed: &str, title: &str, text: &str, to: &str, shown: &Markup) -> Option<Markup> {
    let reader = call.reader;
    let form = call.form();
    if form.get("confirmed").is_some_and(|c| c == "yes") {
        return None;
    }
    Some(frame::page(
        call,
        "/beds",
        bed,
        "bedside",
        &html! {
            section.open role="alert" {
                h1 { (bed) ": " (title) }
                p { (text) }
                p.big { (shown) }
                form.buttons method="post" action=(format!("/beds/{bed}/{to}")) {
                    (guard(call))
                    @for name in ["action", "once", "kg", "note", "question", "patient"] {
                        @if let Some(value) = form.get(name) { input type="hidden" name=(name) value=(value); }
                    }
                    a.button href=(format!("/beds/{bed}")) { (reader.say("No, back")) }
                    button.grave name="confirmed" value="yes" { (reader.say("Yes, do it")) }
                }
            }
        },
    ))
}

pub(in crate::ward::pages) fn act(call: &Call) -> Result<Answer, Problem> {
    let bed = &call.bed()?.setup.bed;
    let done = enter(call);
    let form = call.form();
    // Anything else is a button, and has nothing that was typed.
    let is_typed =
        matches!(form.get("action").map(String::as_str), Some("add" | "remove")) && !form.contains_key("question");
    if !is_typed {
        return done;
    }
    frame::or_again(call, done, bed, &format!("/beds/{bed}"), |typed| item(call, bed, typed))
}

fn enter(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.clone();
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let action = field("action");
    let live = bed.live();
    if let Some(page) = no_tare(call, &bed.setup.bed, action, &live) {
        return Ok(Answer::Page(page));
    }
    if let Some(page) = confirm(call, &bed.setup.bed, action, &live) {
        return Ok(Answer::Page(page));
    }
    let kg = match field("kg") {
        "" => None,
        text => Some(text.replace(',', ".").parse().map_err(|_| Problem::bad("kg", text, "a mass in kg"))?),
    };
    let once = Some(field("once").to_owned()).filter(|o| !o.is_empty());
    let question = match field("question") {
        "" => None,
        text => Some(text.parse().map_err(|_| Problem::bad("question", text, "the number of a question"))?),
    };
    let body = ActionBody { action: action.to_owned(), kg, note: field("note").to_owned(), question };
    let begun_us = now_us();
    call.ward.act(&bed.setup.bed, call.by(), once, &body)?;
    wait_for_weight(&bed, begun_us);
    Ok(Answer::go(format!("/beds/{}", bed.setup.bed)))
}

/// Waits for the first weight after an action, so that the page that comes back shows it; not where the deck is not heard.
fn wait_for_weight(bed: &Bed, acted_us: i64) {
    let begun = Instant::now();
    while begun.elapsed() < SHOWN_WITHIN && bed.live().link.up && !bed.live().is_silent(now_us()) {
        if bed.live().at_us.is_some_and(|at_us| at_us > acted_us) {
            return;
        }
        std::thread::sleep(LOOK_AGAIN);
    }
}

pub(in crate::ward::pages) fn undo(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let form = call.form();
    let text = form.get("number").map_or("", String::as_str);
    let number = text.parse().map_err(|_| Problem::bad("number", text, "the number of an action"))?;
    let undone = call.ward.undo(&bed, number, call.by())?;
    let text = match undone.outcome {
        Outcome::Opposite => call.reader.say("It was taken back; the deck was told the opposite."),
        Outcome::TareStays => call.reader.say(
            "The tare was taken back on record. The deck keeps its new zero until the next tare on an empty deck.",
        ),
        Outcome::NoTare => {
            call.reader.say("The tare was taken back. None had been taken: the deck keeps the zero that it had.")
        }
        Outcome::AnswerStays => {
            call.reader.say("The answer was taken back on record. The weight stays as it was answered.")
        }
    };
    Ok(Answer::Page(frame::page(
        call,
        "/beds",
        &bed,
        "bedside",
        &html! {
            section.panel role="status" {
                h1 { (bed) }
                p { (text) }
                a.button href=(format!("/beds/{bed}")) { (call.reader.say("To the bed")) }
            }
        },
    )))
}

pub(in crate::ward::pages) fn admit(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let form = call.form();
    call.ward.admit(&bed, form.get("patient").map_or("", |p| p.trim()), call.by())?;
    Ok(Answer::go(format!("/beds/{bed}")))
}

pub(in crate::ward::pages) fn discharge(call: &Call) -> Result<Answer, Problem> {
    let patient = call.bed()?.stay().map(|stay| stay.patient).unwrap_or_default();
    let bed = call.bed()?.setup.bed.clone();
    let reader = call.reader;
    // A page may be minutes old: who is meant is who stood there.
    if let Some(shown) = call.form().get("patient").filter(|shown| **shown != patient) {
        let detail = format!("{shown} does not lie in bed {bed} any more: look who does");
        return Err(Problem::new(StatusCode::CONFLICT, "Another patient", detail));
    }
    let text =
        reader.say("The stay in this bed ends: weights and chart from now on are nobody's. What is on record stays.");
    let title = reader.say("Leaves this bed for good");
    if let Some(page) = ask_once_more(call, &bed, title, text, "discharge", &html! { (patient) }) {
        return Ok(Answer::Page(page));
    }
    call.ward.discharge(&bed, call.by())?;
    Ok(Answer::go(format!("/beds/{bed}")))
}
