//! One bed, readable from three metres: the weight, its change, whether it may be believed, and what may be done now.

use std::time::{Duration, Instant};

use ::ward::access::Right;
use ::ward::bed::{Live, Question};
use ::ward::clock::now_us;
use ::ward::records::{ActionBody, Stay};
use ::ward::service::{Bed, NoTare, Outcome, UNDO_US};
use axum::http::StatusCode;
use formats::weights::State;
use jiff::Timestamp;
use maud::{Markup, html};
use store::StoreError;
use store::entry::{Entry, Kind};
use store::journal::{self, Query};
use store::sql::Transaction;
use weigh::Lies;

use super::frame::{self, ago, guard, local};
use super::terms;
use super::ward::{Urgency, asks, belief_mark, believe, pounds, uncertainty, weight};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;

/// Moments since which a change is shown, h.
const SINCE_H: [i64; 5] = [1, 6, 12, 24, 72];
const SINCE_USUAL_H: i64 = 12;
/// A deck that bears so much more or less than at its last tare is asked about before the next, kg.
const OTHER_LOAD_KG: f64 = 3.0;
const HOUR_US: i64 = 3_600_000_000;
/// After an action its page comes once a weight shows it, and after so long at the latest: a bed gives one a second.
const SHOWN_WITHIN: Duration = Duration::from_millis(1_500);
const LOOK_AGAIN: Duration = Duration::from_millis(25);

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
            (change(call, &live, stay_now.as_ref())?)
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
            (stay(call, label, patient.as_deref())?)
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

/// The change since a chosen moment, from the first settled weight after it of who lies here now: the weight of who lay here before
/// is no reference, and without a stay nobody knows whose weight any is.
fn change(call: &Call, live: &Live, stay: Option<&Stay>) -> Result<Markup, Problem> {
    let reader = call.reader;
    let Some(stay) = stay else {
        let text = reader.say("no change is shown: no patient is entered for this bed");
        return Ok(html! { div.change { p.delta { span.unit { (text) } } } });
    };
    let chosen = call.query.get("since").and_then(|h| h.parse().ok()).filter(|h| SINCE_H.contains(h));
    let hours = chosen.unwrap_or(SINCE_USUAL_H);
    let query = Query {
        chain: Some(stay.bed.clone()),
        kind: Some(Kind::Weight),
        from_us: Some(stay.from_us.max(now_us() - hours * HOUR_US)),
        most: Some(1),
        ..Query::default()
    };
    let Some(mut first) = on_record(call, |tx| journal::entries(tx, &query)) else {
        return Ok(
            html! { div.change { p.delta { span.unit { (reader.say("the record cannot be read just now")) } } } },
        );
    };
    let reference = first.pop().and_then(|entry| {
        let body: serde_json::Value = serde_json::from_str(&entry.new.body).ok()?;
        Some((Timestamp::from_microsecond(entry.new.at_us).ok()?, body["patient_kg"].as_f64()?, body["u_kg"].as_f64()))
    });
    // Of a load that moves no change is known.
    let now_kg = live.patient_kg.filter(|_| matches!(live.state, Some(State::Settled | State::Held)));
    Ok(html! {
        div.change {
            p.delta {
                @if let Some((at, kg, u_kg)) = reference {
                    span data-value="change" data-reference=(kg) data-reference-u=[u_kg] data-stay=[super::super::api::beds::at(stay.from_us)] { (now_kg.map_or_else(|| "–".into(), |now| signed(reader, now - kg))) }
                    span.unit {
                        // What two weights have in common is counted as if it were not: too wide rather than too narrow.
                        " ± " span data-value="change_u" { (now_kg.and(live.u_kg).zip(u_kg).map_or_else(|| "–".into(), |(now, then)| reader.number(now.hypot(then), 2))) }
                        " kg " (reader.say("since")) " " (local(call, at))
                        @if let Some(pounds) = now_kg.and_then(|now| reader.pounds(now - kg)) {
                            " (" span data-value="change_pounds" { (with_plus(pounds)) } ")"
                        }
                    }
                } @else { span.unit { (reader.say("no settled weight in this time")) } }
            }
            nav.since aria-label=(reader.say("Change since")) {
                @for h in SINCE_H { a href=(format!("?since={h}")) aria-current=[(h == hours).then_some("true")] { (h) " " (reader.say("h")) } }
            }
        }
    })
}

fn signed(reader: Reader, kg: f64) -> String {
    with_plus(reader.number(kg, 2))
}

fn with_plus(text: String) -> String {
    if text.starts_with('−') { text } else { format!("+{text}") }
}

/// What nobody explained, the newest first, each with its own answers; below them what the patient may weigh.
fn questions(call: &Call, live: &Live, may_care: bool) -> Markup {
    let reader = call.reader;
    html! {
        @for question in live.questions.iter().rev() { (asked(call, &live.bed, question, may_care)) }
        @if let Some((kg, [first, ..])) = live.patient_kg.map(|kg| (kg, live.questions.as_slice())) {
            p.either role="status" {
                @if live.questions.len() == 1 {
                    (reader.say("The patient weighs either")) " " (reader.number(kg, 2)) " kg " (reader.say("or")) " " (reader.number(kg + first.kg, 2)) " kg."
                } @else {
                    (reader.say("The patient weighs between")) " " (reader.number(least_kg(kg, &live.questions), 2)) " " (reader.say("and")) " "
                    (reader.number(most_kg(kg, &live.questions), 2)) " kg, " (reader.say("by what these steps were.")) " "
                    (reader.say("All of them together:")) " " (signed(reader, live.open_kg)) " kg."
                }
            }
        }
    }
}

/// The weight if all that left was the patient's own, and nothing of what came.
fn least_kg(kg: f64, questions: &[Question]) -> f64 {
    kg + questions.iter().map(|q| q.kg.min(0.0)).sum::<f64>()
}

/// The weight if all that came was the patient's own, and nothing of what left.
fn most_kg(kg: f64, questions: &[Question]) -> f64 {
    kg + questions.iter().map(|q| q.kg.max(0.0)).sum::<f64>()
}

/// One question and what it may have been.
fn asked(call: &Call, bed: &str, question: &Question, may_care: bool) -> Markup {
    let reader = call.reader;
    let is_more = question.kg > 0.0;
    let word = if is_more { "add" } else { "remove" };
    let answers = match (question.entered, is_more) {
        (false, true) => [
            (word, reader.say("Something was laid on the bed")),
            ("patient_step", reader.say("It was the patient’s own: drink, urine, drain")),
        ],
        (false, false) => [
            (word, reader.say("Something was taken off the bed")),
            ("patient_step", reader.say("It was the patient’s own: drink, urine, drain")),
        ],
        (true, true) => [(word, reader.say("It lies there")), ("withdraw", reader.say("It did not come"))],
        (true, false) => [(word, reader.say("It is gone")), ("withdraw", reader.say("It did not leave"))],
    };
    let at = Timestamp::from_microsecond(question.at_us).ok();
    html! {
        section.open role="alert" data-question=(question.number) {
            h2 {
                @if let Some(at) = at { (local(call, at)) " · " }
                span.step { (signed(reader, question.kg)) " kg" } " "
                @if question.entered {
                    @if !question.note.is_empty() { "(" (question.note) ") " }
                    @if is_more { (reader.say("was entered as coming, and the load did not change")) }
                    @else { (reader.say("was entered as leaving, and the load did not change")) }
                } @else { (reader.say("What was that step?")) }
            }
            @if may_care {
                div.buttons { @for (action, text) in answers { (answer(call, bed, question, action, text)) } }
            } @else { p.soft { (reader.say("A nurse answers this.")) } }
        }
    }
}

fn answer(call: &Call, bed: &str, question: &Question, action: &str, text: &str) -> Markup {
    let number = question.number.to_string();
    let kg = format!("{:.3}", question.kg.abs());
    button(call, bed, action, &[("question", &number), ("kg", &kg)], text)
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
                form.inline method="post" action=(format!("/beds/{bed}/act")) {
                    (guard(call))
                    input type="hidden" name="once" value=(once(call));
                    label { (reader.say("What")) input name="note" maxlength="100" placeholder=(reader.say("blanket, pump …")); }
                    label { "kg" input name="kg" inputmode="decimal" size="6" placeholder=(reader.say("if known")); }
                    button name="action" value="add" { (reader.say("comes")) }
                    button name="action" value="remove" { (reader.say("leaves")) }
                }
                @if !is_empty && !is_mute { (button(call, bed, "tare", &[], reader.say("Tare the empty deck"))) }
            }
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

fn stay(call: &Call, bed: &str, patient: Option<&str>) -> Result<Markup, Problem> {
    let reader = call.reader;
    // Nobody is moved while that cannot be kept.
    let Some(Ok(known)) = on_record(call, |tx| Ok(::ward::records::patients(tx))) else { return Ok(html! {}) };
    Ok(html! {
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
    })
}

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

pub(super) fn act(call: &Call) -> Result<Answer, Problem> {
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

pub(super) fn undo(call: &Call) -> Result<Answer, Problem> {
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

pub(super) fn admit(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let form = call.form();
    call.ward.admit(&bed, form.get("patient").map_or("", |p| p.trim()), call.by())?;
    Ok(Answer::go(format!("/beds/{bed}")))
}

pub(super) fn discharge(call: &Call) -> Result<Answer, Problem> {
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
