//! Weight, balance and forecast of a patient, and the list of patients.

use ::balance::{BalanceError, BalanceReport};
use ::ward::access::Right;
use ::ward::clock::now_us;
use ::ward::records::{self, Charted, RecordError};
use ::ward::service::{Balanced, Bed, Forward};
use jiff::Timestamp;
use maud::{Markup, html};
use report::number::{decimals_of, with_uncertainty};

use super::chart;
use super::frame::{self, Question, Typed, guard, local};
use crate::layout;
use crate::pages::balance::{mass, signed, totals, with_plus};
use crate::plot::TimeAxis;
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::patients::forward;
use crate::ward::call::Call;
use crate::words::Reader;

/// A number of the patient's form.
struct Number {
    /// Of the form.
    field: &'static str,
    /// On the page, with its unit there.
    name: &'static str,
    /// In the file.
    key: &'static str,
    /// So many of the file's unit are one of the page's.
    per: f64,
}

const NUMBERS: [Number; 4] = [
    Number { field: "age_y", name: "Age, years", key: "age_y", per: 1.0 },
    Number { field: "height_cm", name: "Height, cm", key: "height_mm", per: 10.0 },
    Number { field: "admission_kg", name: "Weight at admission, kg", key: "admission_kg", per: 1.0 },
    Number { field: "dry_kg", name: "Dry weight, kg", key: "dry_kg", per: 1.0 },
];

pub(super) fn list(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let labels = call.ward.memory.look(|tx| Ok(records::patients(tx)))??;
    let may_care = call.session.as_ref().is_some_and(|s| s.role.may(Right::Care));
    let main = html! {
        header.title { h1 { (reader.say("Patients")) } }
        section.panel {
            @if labels.is_empty() { p { (reader.say("No patient is known yet.")) } }
            ul.plain { @for label in &labels {
                li { a href=(format!("/patients/{label}")) { (label) } @if let Some(bed) = bed_of(call, label) { " · " a href=(format!("/beds/{bed}")) { (bed) } } }
            } }
        }
        @if may_care { (form(call, &Typed::default())) }
    };
    Ok(Answer::Page(frame::page(call, "/patients", reader.say("Patients"), "patient", &main)))
}

/// Where somebody lies, as the beds themselves know it.
fn bed_of<'a>(call: &'a Call, label: &str) -> Option<&'a str> {
    let lies_here = |bed: &&std::sync::Arc<Bed>| bed.stay().is_some_and(|stay| stay.patient == label);
    call.ward.beds().find(lies_here).map(|bed| bed.setup.bed.as_str())
}

fn form(call: &Call, typed: &Typed) -> Markup {
    let reader = call.reader;
    let choice = |field: &str, value: &str, text: &str| html! { option value=(value) selected[typed.is(field, value)] { (text) } };
    html! {
        section.panel {
            h2 { (reader.say("A new patient, or more of a known one")) }
            p { (reader.say("A label of the ward, never a name. Leave blank what is not known.")) }
            form.stacked method="post" action="/patients" {
                (guard(call))
                label { (reader.say("Label")) input name="label" pattern="[A-Za-z0-9._\\-]{1,32}" value=[typed.field("label")] required; }
                label { (reader.say("Sex")) select name="sex" { option value="" {} (choice("sex", "female", reader.say("female"))) (choice("sex", "male", reader.say("male"))) } }
                @for number in &NUMBERS { label { (reader.say(number.name)) input name=(number.field) inputmode="decimal" value=[typed.field(number.field)]; } }
                label { (reader.say("Breathing gas")) select name="ventilated" { option value="" {} (choice("ventilated", "humidified", reader.say("humidified"))) (choice("ventilated", "dry", reader.say("dry"))) (choice("ventilated", "no", reader.say("no breathing machine"))) } }
                button { (reader.say("Enter it")) }
            }
        }
    }
}

pub(super) fn put(call: &Call) -> Result<Answer, Problem> {
    frame::or_again(call, enter(call), call.reader.say("Patients"), "/patients", |typed| form(call, typed))
}

/// Enters what was typed: of a label that is known, into the file that is in force, once it was said that this patient is meant.
fn enter(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let typed = typed(call)?;
    let label = call.form().get("label").map_or("", |v| v.trim()).to_owned();
    let known = match call.ward.memory.look(|tx| Ok(records::patient_file(tx, &label)))? {
        Ok((_, text, _)) => Some(text),
        Err(RecordError::Missing { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let inside = |error: &dyn std::fmt::Display| Problem::inside(&error.to_string());
    let mut file: toml::Table = known.as_deref().unwrap_or_default().parse().map_err(|e| inside(&e))?;
    let mut patient = file.get("patient").and_then(toml::Value::as_table).cloned().unwrap_or_default();
    let before = patient.clone();
    if typed.contains_key("age_y") {
        // A file has one age.
        patient.remove("age_mo");
    }
    patient.extend(typed);
    if known.is_some() && !Question::is_answered(call) {
        let question = Question {
            back: "/patients",
            to: "/patients",
            title: reader.say("Patients"),
            asked: &reader.fill("{} is known already: is that the patient you mean?", [&label]),
            text: changes(reader, &label, &before, &patient),
            yes: reader.say("Yes, this patient"),
        };
        return Ok(Answer::Page(question.page(call)));
    }
    file.insert("patient".to_owned(), patient.into());
    let text = toml::to_string(&file).map_err(|e| inside(&e))?;
    let label = call.ward.put_patient(&text, call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}

/// What the form brings, as the file has it.
fn typed(call: &Call) -> Result<toml::Table, Problem> {
    let form = call.form();
    let filled = |name: &str| form.get(name).map(|v| v.trim()).filter(|v| !v.is_empty());
    let mut typed = toml::Table::new();
    for name in ["label", "sex", "ventilated"] {
        if let Some(value) = filled(name) {
            typed.insert(name.to_owned(), value.into());
        }
    }
    for Number { field, name, key, per } in &NUMBERS {
        let Some(text) = filled(field) else { continue };
        // What is refused is told as it was typed, by the name and in the unit of the page.
        let [low, high] = formats::patient::range(key).unwrap_or([f64::MIN, f64::MAX]).map(|end| end / per);
        let number = text.replace(',', ".").parse().ok().filter(|number: &f64| (low..=high).contains(number));
        let expected = format!("a number from {low} to {high}");
        let number = number.ok_or_else(|| Problem::bad(call.reader.say(name), text, &expected))?;
        typed.insert((*key).to_owned(), (number * per).into());
    }
    Ok(typed)
}

/// What is on record of a known patient beside what would be.
fn changes(reader: Reader, label: &str, before: &toml::Table, after: &toml::Table) -> Markup {
    let number = |file: &toml::Table, n: &Number| {
        let value = file.get(n.key).and_then(|v| v.as_float().or_else(|| v.as_integer().map(|i| i as f64)));
        value.map_or_else(|| "–".to_owned(), |v| reader.number(v / n.per, decimals_of([v / n.per], 3)))
    };
    let word = |file: &toml::Table, key: &str| match file.get(key).and_then(toml::Value::as_str) {
        Some("female") => reader.say("female"),
        Some("male") => reader.say("male"),
        Some("humidified") => reader.say("humidified"),
        Some("dry") => reader.say("dry"),
        Some("no") => reader.say("no breathing machine"),
        _ => "–",
    };
    let words = [("sex", reader.say("Sex")), ("ventilated", reader.say("Breathing gas"))];
    let words = words.map(|(key, name)| [name.to_owned(), word(before, key).to_owned(), word(after, key).to_owned()]);
    let numbers = NUMBERS.iter().map(|n| [reader.say(n.name).to_owned(), number(before, n), number(after, n)]);
    let rows: Vec<Vec<Markup>> =
        words.into_iter().chain(numbers).map(|row| row.map(|cell| html! { (cell) }).into()).collect();
    html! {
        (layout::table(label, &["<", reader.say("on record"), reader.say("then")], &rows))
        p { (reader.say("What else is on record of this patient stays. For a new patient choose another label.")) }
    }
}

/// The plan that the query asks for.
fn asked(call: &Call) -> Result<Option<Forward>, Problem> {
    let rate = |name: &str| -> Result<Option<f64>, Problem> {
        match call.query.get(name).map(|v| v.trim()) {
            None | Some("") => Ok(None),
            Some(text) => chart::millilitres(name, text, "mL/h").map(Some),
        }
    };
    let (intake, output, uf) = (rate("intake")?, rate("output")?, rate("uf")?);
    if intake.is_none() && output.is_none() && uf.is_none() {
        return Ok(None);
    }
    forward(Forward {
        intake_ml_h: intake.unwrap_or(0.0),
        output_ml_h: output.unwrap_or(0.0),
        ultrafiltration_ml_h: uf.unwrap_or(0.0),
    })
    .map(Some)
}

/// The chart, and the balance where its weights can be read: a damaged row of a bed takes nobody's chart away.
type ChartAndBalance = (Vec<Charted>, Option<Result<BalanceReport, BalanceError>>);

fn balanced(call: &Call, label: &str, what_if: Option<Forward>) -> Result<ChartAndBalance, Problem> {
    match call.ward.balance(label, what_if, Timestamp::now()) {
        Ok(Balanced { chart, report, .. }) => Ok((chart, Some(report))),
        Err(error) => {
            // No such patient, or nothing can be read at all: that is the answer.
            call.ward.memory.look(|tx| Ok(records::patient_file(tx, label)))??;
            let chart = call.ward.memory.look(|tx| Ok(records::chart(tx, label, None)))??;
            tracing::error!(%error, "a patient's weights cannot be read");
            Ok((chart, None))
        }
    }
}

pub(super) fn patient(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let label = call.part("patient").to_owned();
    let what_if = asked(call)?;
    let (chart, report) = balanced(call, &label, what_if)?;
    let bed = bed_of(call, &label);
    let may_care = call.session.as_ref().is_some_and(|s| s.role.may(Right::Care));
    let today = Timestamp::from_microsecond(now_us()).unwrap_or_default().to_zoned(call.ward.zone.clone()).date();
    let main = html! {
        header.title {
            h1 { (label) @if let Some(bed) = &bed { " · " a href=(format!("/beds/{bed}")) { (bed) } } }
            p.question { a href=(format!("/patients/{label}/day?date={today}")) { (reader.say("Sheet of the day")) } " · "
                a href=(format!("/api/patients/{label}/weights.csv")) { "weights.csv" } " · "
                a href=(format!("/api/patients/{label}/chart.csv")) { "chart.csv" } " · "
                a href=(format!("/api/patients/{label}/fhir")) { "FHIR" } }
        }
        @if may_care { (chart::form(call, &label, &Typed::default())) }
        @match &report {
            None => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.say("Weights of this patient cannot be read just now; what was charted stands below.")) } },
            Some(Ok(report)) => (told(call, &label, report, may_care)),
            Some(Err(BalanceError::TooFewWeights { .. })) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.say("No settled weight of this patient is on record: the balance begins with the first one.")) } },
            Some(Err(error)) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.balance(&error.to_string(), &call.ward.zone)) } },
        }
        (chart::entries(call, &label, &chart, may_care))
    };
    Ok(Answer::Page(frame::page(call, "/patients", &label, "patient", &main)))
}

fn told(call: &Call, label: &str, report: &BalanceReport, may_care: bool) -> Markup {
    let reader = call.reader;
    let zone = call.ward.zone.clone();
    let first = report.rows.first().map_or_else(Timestamp::now, |row| row.time);
    let now = report.rows.last().map_or(first, |row| row.time);
    let last = report.forecast.last().map_or(now, |row| row.time);
    let axis = TimeAxis::local(reader, &zone, now, [first, last]);
    html! {
        div.headlines {
            @if let Some(row) = report.rows.last() {
                (layout::headline(reader.say("Body mass, weights and chart together"), &reader.signs(&with_uncertainty(row.mass_kg, row.u_kg)), "kg", &reader.pounds(row.mass_kg).unwrap_or_default()))
            }
            (layout::headline(reader.say("Overload"), &reader.signs(&with_uncertainty(report.overload_pct.fused, report.overload_pct.u_fused)), "%", reader.say("over the weight at admission")))
        }
        p.soft { (reader.say("The mass here is smoothed over weights and chart; the bedside shows the last weight by itself. ± is a standard uncertainty.")) }
        section.panel {
            h2 { (reader.say("In words")) }
            ul.plain { @for answer in &report.answers { li { strong { (reader.balance(answer.question, &call.ward.zone)) } ": " (reader.balance(&answer.text, &call.ward.zone)) @if !answer.basis.is_empty() { span.soft { " – " (reader.balance(&answer.basis, &call.ward.zone)) } } } } }
        }
        @if !report.alerts.is_empty() { section.panel {
            h2 { (reader.say("Asks for a look")) }
            @for alert in &report.alerts {
                div.alert {
                    p { "◆ " strong { (local(call, alert.time)) } " " (reader.balance(&alert.text, &call.ward.zone)) }
                    @if may_care {
                        form.inline method="post" action=(format!("/patients/{label}/answer")) {
                            (guard(call))
                            input type="hidden" name="time" value=(alert.time);
                            input type="hidden" name="kind" value=(alert.kind.word());
                            label { (reader.say("What it was")) input name="answer" required maxlength="200"; }
                            button { (reader.say("Answer")) }
                        }
                    }
                }
            }
        } }
        section.panel { h2 { (reader.say("Mass and forecast")) } (mass(reader, report, &axis, &|text| reader.balance(text, &call.ward.zone))) (what_if(call, report)) }
        section.panel { h2 { (reader.say("Weighed against charted")) } (totals(reader, report, &axis)) (windows(call, report)) }
        (frame::plots())
    }
}

fn what_if(call: &Call, report: &BalanceReport) -> Markup {
    let reader = call.reader;
    let value = |name: &str| call.query.get(name).cloned().unwrap_or_default();
    html! {
        form.inline method="get" {
            strong { (reader.say("What if")) }
            label { (reader.say("intake, mL/h")) input name="intake" inputmode="decimal" size="5" value=(value("intake")); }
            label { (reader.say("output, mL/h")) input name="output" inputmode="decimal" size="5" value=(value("output")); }
            label { (reader.say("ultrafiltration, mL/h")) input name="uf" inputmode="decimal" size="5" value=(value("uf")); }
            button { (reader.say("Show")) }
        }
        @for other in &report.alternatives {
            div role="status" {
                ul.plain { @for row in other.forecast.iter().filter(|r| [6.0, 12.0, 24.0, 48.0].iter().any(|h| (r.ahead_h - h).abs() < 0.5)) {
                    li { (reader.say("after")) " " (reader.number(row.ahead_h, 0)) " " (reader.say("h")) ": " (reader.number(row.mass_kg, 2)) " kg (" (reader.number(row.low_kg, 2)) " – " (reader.number(row.high_kg, 2)) ")" }
                } }
            }
        }
    }
}

fn windows(call: &Call, report: &BalanceReport) -> Markup {
    let reader = call.reader;
    let rows: Vec<Vec<Markup>> = report
        .windows
        .iter()
        .map(|w| {
            vec![
                html! { (reader.number(w.hours, 0)) " " (reader.say("h")) },
                html! { (signed(w.charted_ml)) },
                html! { (w.weighed_ml.map_or_else(|| "–".into(), signed)) },
                html! { (with_plus(reader.signs(&with_uncertainty(w.fused_ml, w.u_fused_ml)))) },
                html! { (with_plus(reader.signs(&with_uncertainty(w.unexplained_ml, w.u_fused_ml)))) },
            ]
        })
        .collect();
    let head = [
        reader.say("the last"),
        reader.say("charted, mL"),
        reader.say("weighed, mL"),
        reader.say("together, mL"),
        reader.say("unexplained, mL"),
    ];
    layout::table(reader.say("Net balance"), &head, &rows)
}

pub(super) fn answer(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let time = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a time in RFC 3339"))?;
    call.ward.answer(&label, time, field("kind"), field("answer"), call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}
