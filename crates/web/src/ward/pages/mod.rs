//! The endpoints for people: pages, and the forms on them. All of it works without script; script keeps it live.
//!
//! | module    | page |
//! |-----------|------|
//! | `frame`   | around every page |
//! | `ward`    | all beds, who needs attention first |
//! | `bedside` | one bed, readable from three metres |
//! | `weights` | the weight of every second over a day |
//! | `patient` | weight, balance, chart and forecast |
//! | `account` | signing in, passwords, accounts |
//! | `terms`   | words of actions and of the chart, in the reader's language |
//! | `help`    | each page in plain words |

mod account;
mod bedside;
mod chart;
mod day;
mod frame;
mod help;
mod patient;
mod terms;
mod ward;
mod weights;

use ::ward::access::Right;
use ::ward::bed::{Live, Question};
use ::ward::service::Bed;
use axum::body::Body;
use axum::http::{Response, StatusCode};
use jiff::tz::TimeZone;
use maud::html;
use serde_json::{Value, json};

use super::answer::{Answer, Problem};
use super::call::Call;
use super::endpoint::{Endpoint, Gives, Method};
use super::router::body;
use crate::words::Reader;

/// A page.
const fn page(path: &'static str, right: Option<Right>, run: fn(&Call) -> Result<Answer, Problem>) -> Endpoint {
    Endpoint { method: Method::Get, path, right, about: "A page", query: &[], takes: None, gives: Gives::Page, run }
}

/// A form of a page.
const fn form(path: &'static str, right: Option<Right>, run: fn(&Call) -> Result<Answer, Problem>) -> Endpoint {
    Endpoint { method: Method::Post, path, right, about: "A form", query: &[], takes: None, gives: Gives::Page, run }
}

const SEE: Option<Right> = Some(Right::See);
const CARE: Option<Right> = Some(Right::Care);
const MANAGE: Option<Right> = Some(Right::Manage);

pub(super) const ENDPOINTS: &[Endpoint] = &[
    page("/", SEE, ward::overview),
    page("/beds/{bed}", SEE, bedside::bedside),
    page("/beds/{bed}/weights", SEE, weights::weights),
    form("/beds/{bed}/act", CARE, bedside::act),
    form("/beds/{bed}/undo", CARE, bedside::undo),
    form("/beds/{bed}/admit", CARE, bedside::admit),
    form("/beds/{bed}/discharge", CARE, bedside::discharge),
    page("/patients", SEE, patient::list),
    form("/patients", CARE, patient::put),
    page("/patients/{patient}", SEE, patient::patient),
    page("/patients/{patient}/day", SEE, day::day),
    form("/patients/{patient}/chart", CARE, chart::chart),
    form("/patients/{patient}/strike", CARE, chart::strike),
    form("/patients/{patient}/answer", CARE, patient::answer),
    page("/help", None, help::help),
    page("/sign-in", None, account::sign_in_page),
    form("/sign-in", None, account::sign_in),
    form("/sign-out", SEE, account::sign_out),
    page("/password", SEE, account::password_page),
    form("/password", SEE, account::password),
    form("/reader", None, account::reader),
    page("/accounts", MANAGE, account::accounts),
    form("/accounts", MANAGE, account::make),
    form("/accounts/{account}", MANAGE, account::change),
];

/// Where a password that somebody else gave is changed: the one thing that may be done with it.
pub(super) fn is_own_password(path: &str) -> bool {
    matches!(path, "/password" | "/api/password" | "/sign-out" | "/api/session/end" | "/reader")
}

/// A bed as pages and programs get it.
pub(super) fn shown(bed: &Bed) -> Value {
    shown_as(&bed.live(), bed)
}

/// The same with what is live as a stream has it.
pub(super) fn shown_as(live: &Live, bed: &Bed) -> Value {
    let (trouble, stay) = (bed.trouble(), bed.stay());
    let said = [&trouble.stopped, &trouble.start, &trouble.stay, &trouble.memory, &trouble.state, &trouble.link];
    json!({
        "bed": live.bed,
        "deck": live.deck,
        "patient": stay.as_ref().map(|s| &s.patient),
        "lies_since": stay.as_ref().and_then(|s| super::api::beds::at(s.from_us)),
        "at": live.at_us.and_then(super::api::beds::at),
        "patient_kg": live.patient_kg,
        "u_kg": live.u_kg,
        "state": live.state,
        "open_kg": live.open_kg,
        "questions": live.questions.iter().map(question).collect::<Vec<_>>(),
        "lies": live.lies,
        "load_kg": live.load_kg,
        "tare_kg": live.tare_kg,
        "tare_at": live.tare_at_us.and_then(super::api::beds::at),
        "awaits_tare": live.awaits_tare,
        "items_kg": live.items_kg,
        "last_event": live.last_event.as_ref().map(|(at_us, kind, text)| json!({ "at": super::api::beds::at(*at_us), "kind": kind, "text": text })),
        "faults": live.faults.iter().map(|(cell, _)| cell).collect::<Vec<_>>(),
        "link_up": live.link.up,
        "samples_lost": live.link.lost,
        "trouble": said.into_iter().flatten().collect::<Vec<_>>(),
    })
}

fn question(question: &Question) -> Value {
    json!({
        "question": question.number,
        "at": super::api::beds::at(question.at_us),
        "kg": question.kg,
        "u_kg": question.u_kg,
        "kind": if question.entered { "entered" } else { "step" },
        "note": question.note,
    })
}

/// A problem as a page. Who is not signed in is led to the door.
pub(super) fn problem(problem: &Problem, reader: Reader, path: &str, zone: &TimeZone) -> Response<Body> {
    if problem.status == StatusCode::UNAUTHORIZED && path != "/sign-in" {
        return to("/sign-in");
    }
    if problem.title == "Choose a password" {
        return to("/password");
    }
    let page = frame::bare(
        reader,
        &reader.problem(problem.title),
        &html! {
            h1 { (reader.problem(problem.title)) }
            p { (reader.problem_at(&problem.detail, zone)) }
            p.buttons {
                @if let Some(form) = form_of(path) { a.button href=(form) { (reader.say("Back")) } }
                a.button href="/" { (reader.say("To the ward")) }
            }
        },
    );
    body(problem.status, "text/html; charset=utf-8", page.into_string())
}

/// The page on which a form stands, by where the form goes to.
fn form_of(path: &str) -> Option<&str> {
    let (page, form) = path.rsplit_once('/')?;
    let is_of_one = ["/beds/", "/patients/"].iter().any(|list| page.starts_with(list));
    match form {
        "act" | "undo" | "admit" | "discharge" | "chart" | "strike" | "answer" | "weights" | "day" if is_of_one => {
            Some(page)
        }
        "patients" if page.is_empty() => Some(path),
        // Nothing leads back to what is not here.
        _ => None,
    }
}

fn to(path: &'static str) -> Response<Body> {
    let mut response = body(StatusCode::SEE_OTHER, "text/plain", "");
    response.headers_mut().insert(axum::http::header::LOCATION, axum::http::HeaderValue::from_static(path));
    response
}

#[cfg(test)]
mod testing;

#[cfg(test)]
mod tests {
    use super::form_of;

    #[test]
    fn the_way_back_leads_to_the_page_of_the_form_and_never_to_what_is_not_here() {
        assert_eq!(form_of("/beds/A1/act"), Some("/beds/A1"));
        assert_eq!(form_of("/patients/p-1/day"), Some("/patients/p-1"));
        assert_eq!(form_of("/patients"), Some("/patients"));
        for path in ["/beds/A1", "/beds/A1/nothing", "/patients/act", "//elsewhere.example/act", "/nothing", "/"] {
            assert_eq!(form_of(path), None, "{path}");
        }
    }
}
