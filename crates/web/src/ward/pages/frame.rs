//! Around every page of the ward.

use ::ward::access::Right;
use jiff::Timestamp;
use maud::{DOCTYPE, Markup, html};

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
