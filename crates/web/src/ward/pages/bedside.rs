//! One bed, readable from three metres: the weight, its change, whether it may be believed, and what may be done now.

use ::ward::access::Right;
use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::records::{ActionBody, Stay};
use ::ward::service::{OPEN_KG, UNDO_US};
use formats::weights::State;
use jiff::Timestamp;
use maud::{Markup, html};
use store::StoreError;
use store::entry::{Entry, Kind};
use store::journal::{self, Query};
use store::sql::Transaction;

use super::frame::{self, ago, guard, local};
use super::terms;
use super::ward::{Urgency, asks, mark, weight};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;

/// Moments since which a change is shown, h.
const SINCE_H: [i64; 5] = [1, 6, 12, 24, 72];
const SINCE_USUAL_H: i64 = 12;
const HOUR_US: i64 = 3_600_000_000;

pub(super) fn bedside(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let bed = call.bed()?;
    let label = &bed.setup.bed;
    let live = bed.live();
    let stay_now = bed.stay();
    let patient = stay_now.as_ref().map(|stay| stay.patient.clone());
    let (urgency, why) = asks(bed, &live, reader);
    let may_care = call.session.as_ref().is_some_and(|s| s.role.may(Right::Care));
    let recent = on_record(call, |tx| journal::newest(tx, label, Kind::Action))?.flatten();
    let main = html! {
        header.title {
            h1 { (label) @if let Some(patient) = &patient { " " a.patient href=(format!("/patients/{patient}")) { (patient) } } }
            p.question.belief data-value="belief" role="status" { (belief_mark(urgency, &live)) " " @if urgency == Urgency::Now { (why) } @else { (believe(reader, &live)) @if urgency == Urgency::Soon { " – " (why) } } }
        }
        div.bedside data-bed=(label) data-live=(format!("/api/beds/{label}/live")) {
            p.big { (weight(reader, &live)) span.u { "±" " " span data-value="u_kg" data-decimals="2" { (live.u_kg.map_or_else(|| "–".into(), |u| reader.number(u, 2))) } } }
            (change(call, &live, stay_now.as_ref())?)
            (open(call, &live, may_care))
            dl.facts {
                dt { (reader.say("On the deck besides the patient")) }
                dd { span data-value="items_kg" data-decimals="2" { (reader.number(live.items_kg, 2)) } " kg" }
                dt { (reader.say("Tare")) }
                dd { (live.tare_kg.map_or_else(|| "–".into(), |t| reader.number(t, 2))) " kg, " (since_tare(call, label)?) }
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

/// The mark of attention; where nothing asks for any, filled for a weight that may be believed and hollow for one that may not.
fn belief_mark(urgency: Urgency, live: &Live) -> Markup {
    match (urgency, live.state) {
        (Urgency::None, Some(State::Settled)) | (Urgency::Now | Urgency::Soon, _) => mark(urgency),
        _ => html! { span.sign aria-hidden="true" { "○" } },
    }
}

/// May the weight be believed, in words.
fn believe(reader: Reader, live: &Live) -> &'static str {
    match live.state {
        Some(State::Settled) => reader.say("settled: may be believed"),
        Some(State::Moving) => reader.say("the load moves: wait"),
        Some(State::Held) => reader.say("held: the weight from before the care"),
        Some(State::Empty) => reader.say("nobody on the deck"),
        Some(State::Overload) => reader.say("beyond the range of the deck"),
        Some(State::Fault) => reader.say("the deck cannot weigh"),
        None => reader.say("no weight yet"),
    }
}

/// What the record says; `None` while the memory is away. The live weight is shown all the same.
fn on_record<T>(
    call: &Call,
    look: impl FnOnce(&mut dyn Transaction) -> Result<T, StoreError>,
) -> Result<Option<T>, Problem> {
    match call.ward.memory.look(look) {
        Ok(told) => Ok(Some(told)),
        Err(error) if error.is_passing() => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn since_tare(call: &Call, bed: &str) -> Result<Markup, Problem> {
    let query = Query {
        chain: Some(bed.to_owned()),
        kind: Some(Kind::Action),
        subject: Some("tare".into()),
        newest_first: true,
        most: Some(1),
        ..Query::default()
    };
    let Some(mut tares) = on_record(call, |tx| journal::entries(tx, &query))? else { return Ok(html! { "–" }) };
    Ok(match tares.pop() {
        Some(entry) => html! { (ago(call.reader, now_us() - entry.new.at_us)) " " (call.reader.say("ago")) },
        None => html! { (call.reader.say("never tared in this bed")) },
    })
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
    let Some(mut first) = on_record(call, |tx| journal::entries(tx, &query))? else {
        return Ok(
            html! { div.change { p.delta { span.unit { (reader.say("the record cannot be read just now")) } } } },
        );
    };
    let reference = first.pop().and_then(|entry| {
        let body: serde_json::Value = serde_json::from_str(&entry.new.body).ok()?;
        Some((Timestamp::from_microsecond(entry.new.at_us).ok()?, body["patient_kg"].as_f64()?))
    });
    Ok(html! {
        div.change {
            p.delta {
                @if let Some((at, kg)) = reference {
                    span data-value="change" data-reference=(kg) data-stay=[super::super::api::beds::at(stay.from_us)] { (live.patient_kg.map_or_else(|| "–".into(), |now| signed(reader, now - kg))) }
                    span.unit { " kg " (reader.say("since")) " " (local(call, at)) }
                } @else { span.unit { (reader.say("no settled weight in this time")) } }
            }
            nav.since aria-label=(reader.say("Change since")) {
                @for h in SINCE_H { a href=(format!("?since={h}")) aria-current=[(h == hours).then_some("true")] { (h) " " (reader.say("h")) } }
            }
        }
    })
}

fn signed(reader: Reader, kg: f64) -> String {
    let text = reader.number(kg, 2);
    if text.starts_with('−') { text } else { format!("+{text}") }
}

/// A step that nobody explained, and what it may have been.
fn open(call: &Call, live: &Live, may_care: bool) -> Markup {
    let reader = call.reader;
    if live.open_kg.abs() < OPEN_KG {
        return html! { div data-value="open" {} };
    }
    let (item, word) = if live.open_kg > 0.0 {
        (reader.say("Something was laid on the bed"), "add")
    } else {
        (reader.say("Something was taken off the bed"), "remove")
    };
    html! {
        section.open role="alert" {
            h2 { (reader.say("What was that step?")) " " (signed(reader, live.open_kg)) " kg" }
            @if let Some(kg) = live.patient_kg {
                p { (reader.say("The patient weighs either")) " " (reader.number(kg, 2)) " kg " (reader.say("or")) " " (reader.number(kg + live.open_kg, 2)) " kg." }
            }
            @if may_care {
                div.buttons {
                    (button(call, &live.bed, word, Some(live.open_kg.abs()), item))
                    (button(call, &live.bed, "patient_step", Some(live.open_kg.abs()), reader.say("It was the patient’s own: drink, urine, drain")))
                }
            }
        }
    }
}

fn button(call: &Call, bed: &str, action: &str, kg: Option<f64>, text: &str) -> Markup {
    html! {
        form method="post" action=(format!("/beds/{bed}/act")) {
            (guard(call))
            input type="hidden" name="once" value=(once(call));
            input type="hidden" name="action" value=(action);
            @if let Some(kg) = kg { input type="hidden" name="kg" value=(format!("{kg:.3}")); }
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
    html! {
        section.panel {
            h2 { (reader.say("Now")) }
            div.buttons {
                @if is_empty {
                    (button(call, bed, "tare", None, reader.say("Tare the empty deck")))
                    (button(call, bed, "patient_on", None, reader.say("The patient lies down")))
                } @else {
                    @if is_held { (button(call, bed, "release", None, reader.say("Release: care is done"))) }
                    @else { (button(call, bed, "hold", None, reader.say("Hold: care begins"))) }
                    (button(call, bed, "patient_off", None, reader.say("The patient leaves the bed")))
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
                @if !is_empty { (button(call, bed, "tare", None, reader.say("Tare the empty deck"))) }
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
                span { (reader.say("Entered")) ": " strong { (terms::action(reader, &entry.new.subject)) } ", " (entry.new.author) ", " (ago(reader, now_us() - entry.new.at_us)) " " (reader.say("ago")) }
                button { (reader.say("Take it back")) }
            }
        }
    }
}

fn stay(call: &Call, bed: &str, patient: Option<&str>) -> Result<Markup, Problem> {
    let reader = call.reader;
    // Nobody is moved while that cannot be kept.
    let Some(known) = on_record(call, |tx| Ok(::ward::records::patients(tx)))? else { return Ok(html! {}) };
    let known = known?;
    Ok(html! {
        section.panel {
            h2 { (reader.say("Who lies here")) }
            @match patient {
                Some(patient) => form.inline method="post" action=(format!("/beds/{bed}/discharge")) {
                    (guard(call))
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
    let lies = !matches!(live.state, None | Some(State::Empty));
    let text = match action {
        "tare" if lies => reader.say("Somebody lies on the deck. A tare now takes the whole load for empty: the weight becomes 0. Tare only an empty deck."),
        "patient_off" => reader.say("The patient leaves the bed: the weight ends until somebody lies down again."),
        _ => return None,
    };
    ask_once_more(call, bed, terms::action(reader, action), text, "act", &weight(reader, live))
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
                    @for name in ["action", "once", "kg", "note"] {
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
    if let Some(page) = confirm(call, &bed.setup.bed, action, &live) {
        return Ok(Answer::Page(page));
    }
    let kg = match field("kg") {
        "" => None,
        text => Some(text.replace(',', ".").parse().map_err(|_| Problem::bad("kg", text, "a mass in kg"))?),
    };
    let once = Some(field("once").to_owned()).filter(|o| !o.is_empty());
    let body = ActionBody { action: action.to_owned(), kg, note: field("note").to_owned() };
    call.ward.act(&bed.setup.bed, call.by(), once, &body)?;
    Ok(Answer::go(format!("/beds/{}", bed.setup.bed)))
}

pub(super) fn undo(call: &Call) -> Result<Answer, Problem> {
    let bed = call.bed()?.setup.bed.clone();
    let form = call.form();
    let text = form.get("number").map_or("", String::as_str);
    let number = text.parse().map_err(|_| Problem::bad("number", text, "the number of an action"))?;
    let undone = call.ward.undo(&bed, number, call.by())?;
    Ok(Answer::Page(frame::page(
        call,
        "/beds",
        &bed,
        "bedside",
        &html! {
            section.panel role="status" {
                h1 { (bed) }
                p { (undone.text) }
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
    let text =
        reader.say("The stay in this bed ends: weights and chart from now on are nobody's. What is on record stays.");
    let title = reader.say("Leaves this bed for good");
    if let Some(page) = ask_once_more(call, &bed, title, text, "discharge", &html! { (patient) }) {
        return Ok(Answer::Page(page));
    }
    call.ward.discharge(&bed, call.by())?;
    Ok(Answer::go(format!("/beds/{bed}")))
}
