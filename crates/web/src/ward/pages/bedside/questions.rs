//! What nobody explained at a bed, and what the patient may weigh by it.

use ::ward::bed::{Live, Question};
use jiff::Timestamp;
use maud::{Markup, html};

use super::button;
use super::change::signed;
use crate::ward::call::Call;
use crate::ward::pages::frame::local;

/// What nobody explained, the newest first, each with its own answers; below them what the patient may weigh.
pub(super) fn questions(call: &Call, live: &Live, may_care: bool) -> Markup {
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
