//! Around every page of the ward.

use std::collections::HashMap;

use ::ward::access::Right;
use axum::http::StatusCode;
use jiff::Timestamp;
use maud::{DOCTYPE, Markup, html};

use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;

/// A page for somebody who is signed in. `help` is the part of the help that belongs to it.
pub(super) fn page(call: &Call, here: &str, title: &str, help: &str, main: &Markup) -> Markup {
    let reader = call.reader;
    let may = |right| call.session.as_ref().is_some_and(|s| s.role.may(right));
    let place = |path: &str, name: &str| html! { li { a href=(path) aria-current=[(here == path).then_some("page")] { (name) } } };
    whole(
        reader,
        title,
        &html! {
            nav.places aria-label=(reader.say("Pages")) {
                span.mark { (call.ward.name) }
                ol {
                    (place("/", reader.say("Ward")))
                    (place("/patients", reader.say("Patients")))
                    @if may(Right::Manage) { (place("/accounts", reader.say("Accounts"))) }
                    li { a href=(format!("/help#{help}")) { (reader.say("Help")) } }
                }
                (choices(call))
            }
            main #main { (main) }
            footer {
                p.printed { (reader.fill("Printed {} by {}", [&reader.clock(&Timestamp::now().to_zoned(call.ward.zone.clone())), call.by()])) }
                p.lost role="alert" hidden data-unsent=(reader.say("Not sent: the connection to the ward is lost.")) data-behind=(reader.say("More is known than stands here: close what is open, or leave the field, to see it.")) { (reader.say("The connection to the ward is lost: what is shown is old.")) }
                (caution(reader))
            }
        },
    )
}

fn choices(call: &Call) -> Markup {
    let reader = call.reader;
    let choice = |name: &str, value: &str, text: &str, is: bool| {
        html! {
            button.choice name=(name) value=(value) aria-pressed=(is) { (text) }
        }
    };
    let back = html! { @if let Some(back) = &call.shown_at { input type="hidden" name="back" value=(back); } };
    html! {
        div.choices.all {
            form.choices method="post" action="/reader" {
                (guard(call)) (back)
                (choice("language", "en", "English", reader.tag() == "en"))
                (choice("language", "de", "Deutsch", reader.tag() == "de"))
            }
            form.choices method="post" action="/reader" {
                (guard(call)) (back)
                (choice("unit", "kg", "kg", !reader.in_pounds))
                (choice("unit", "lb", "kg + lb", reader.in_pounds))
            }
            form.choices method="post" action="/sign-out" {
                (guard(call))
                span.who { (call.by()) }
                button.choice { (reader.say("Sign out")) }
            }
        }
    }
}

/// Said on every page.
fn caution(reader: Reader) -> Markup {
    html! { p.caution role="note" { (reader.say("Engineering and research tool. Not for dosing or treatment decisions on its own. Local codes, the manufacturer of the bed and licensed practice come first.")) } }
}

/// What somebody typed into a form that was refused; nothing where the form is shown for the first time.
#[derive(Default)]
pub(super) struct Typed(HashMap<String, String>);

impl Typed {
    /// What stands in a field.
    pub(super) fn field(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str)
    }

    /// Whether a field holds just that: a choice, or a tick.
    pub(super) fn is(&self, name: &str, value: &str) -> bool {
        self.field(name) == Some(value)
    }
}

/// A form once more, with the reason, where what was typed does not fit: nobody is to type it all again for one slip. Any other problem has
/// a page of its own. `back` is the page on which the form stands.
pub(super) fn or_again(
    call: &Call,
    done: Result<Answer, Problem>,
    title: &str,
    back: &str,
    form: impl FnOnce(&Typed) -> Markup,
) -> Result<Answer, Problem> {
    let problem = match done {
        Err(problem) if problem.status == StatusCode::UNPROCESSABLE_ENTITY => problem,
        other => return other,
    };
    let reader = call.reader;
    let main = html! {
        header.title { h1 { (title) } }
        p.said role="alert" { (reader.problem_at(&problem.detail, &call.ward.zone)) }
        (form(&Typed(call.form())))
        p { a.button href=(back) { (reader.say("Back")) } }
    };
    Ok(Answer::Again { status: problem.status, page: beside(call, title, back, &main) })
}

/// A question before what is hardly meant: one more press, with everything that was typed.
pub(super) struct Question<'a> {
    /// The page on which the form stands.
    pub(super) back: &'a str,
    /// Where the form goes to.
    pub(super) to: &'a str,
    /// Of whom it is.
    pub(super) title: &'a str,
    pub(super) asked: &'a str,
    pub(super) text: Markup,
    pub(super) yes: &'a str,
}

impl Question<'_> {
    /// Whether it was answered with yes.
    pub(super) fn is_answered(call: &Call) -> bool {
        call.form().get("sure").is_some_and(|sure| sure == "yes")
    }

    pub(super) fn page(self, call: &Call) -> Markup {
        let form = call.form();
        let main = html! {
            section.open role="alert" {
                h1 { (self.asked) }
                (self.text)
                form method="post" action=(self.to) {
                    (guard(call))
                    @for (name, value) in form.iter().filter(|(name, _)| !["guard", "sure"].contains(&name.as_str())) { input type="hidden" name=(name) value=(value); }
                    input type="hidden" name="sure" value="yes";
                    p.buttons { button { (self.yes) } a.button href=(self.back) { (call.reader.say("No, back")) } }
                }
            }
        };
        beside(call, self.title, self.back, &main)
    }
}

/// A page that belongs to the one at `back`.
fn beside(call: &Call, title: &str, back: &str, main: &Markup) -> Markup {
    let (here, help) = if back.starts_with("/beds") { ("/beds", "bedside") } else { ("/patients", "patient") };
    page(call, here, title, help, main)
}

/// A page without ways: for who is not signed in, and for problems.
pub(super) fn bare(reader: Reader, title: &str, main: &Markup) -> Markup {
    whole(reader, title, &html! { main #main .bare { (main) } footer { (caution(reader)) } })
}

fn whole(reader: Reader, title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang=(reader.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Bedplate" }
                link rel="icon" href="/static/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/static/style.css";
                link rel="stylesheet" href="/static/ward.css";
                script src="/static/ward.js" defer {}
            }
            body.ward { a.skip href="#main" { (reader.say("To the content")) } (body) }
        }
    }
}

/// The scripts of a page with plots.
pub(super) fn plots() -> Markup {
    html! { script src="/static/plot-library.js" defer {} script src="/static/plots.js" defer {} }
}

/// What a form of this session carries, so that no other site can send it.
pub(super) fn guard(call: &Call) -> Markup {
    html! { input type="hidden" name="guard" value=(call.session.as_ref().map_or("", |s| s.guard.as_str())); }
}

/// A time on the ward's clock.
pub(super) fn local(call: &Call, time: Timestamp) -> Markup {
    let zoned = time.to_zoned(call.ward.zone.clone());
    html! { time datetime=(time) { (call.reader.clock(&zoned)) } }
}

/// How long ago, in words.
pub(super) fn ago(reader: Reader, us: i64) -> String {
    let minutes = us.max(0) / 60_000_000;
    match minutes {
        0 => reader.say("just now").to_owned(),
        1..=119 => reader.fill("{} min ago", [&minutes.to_string()]),
        120..=2879 => reader.fill("{} h ago", [&(minutes / 60).to_string()]),
        _ => reader.fill("{} days ago", [&(minutes / 1440).to_string()]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Language;

    #[test]
    fn how_long_ago_is_said_as_people_say_it() {
        let here = Reader { language: Language::German, in_pounds: false };
        const MIN_US: i64 = 60_000_000;
        for (us, english, german) in [
            (-5, "just now", "gerade eben"),
            (MIN_US - 1, "just now", "gerade eben"),
            (MIN_US, "1 min ago", "vor 1 min"),
            (30 * 60 * MIN_US, "30 h ago", "vor 30 h"),
            (3 * 1440 * MIN_US, "3 days ago", "vor 3 Tagen"),
        ] {
            assert_eq!((ago(Reader::ENGLISH, us).as_str(), ago(here, us).as_str()), (english, german));
        }
    }
}
