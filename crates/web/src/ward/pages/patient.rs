//! Weight, balance and forecast of a patient, and the list of patients.

use ::balance::{BalanceError, BalanceReport};
use ::ward::access::Right;
use ::ward::clock::now_us;
use ::ward::records;
use ::ward::service::{Balanced, Forward};
use jiff::Timestamp;
use maud::{Markup, html};
use report::number::with_uncertainty;

use super::chart;
use super::frame::{self, guard, local};
use crate::pages::balance::{mass, signed, totals};
use crate::plot::TimeAxis;
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::patients::forward;
use crate::ward::call::Call;

pub(super) fn list(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let labels = call.ward.memory.look(|tx| Ok(records::patients(tx)))??;
    let mut rows = Vec::new();
    for label in labels {
        let stays = call.ward.memory.look(|tx| Ok(records::stays(tx, &label)))??;
        let bed = stays.iter().find(|s| s.to_us.is_none()).map(|s| s.bed.clone());
        rows.push((label, bed));
    }
    let may_care = call.session.as_ref().is_some_and(|s| s.role.may(Right::Care));
    let main = html! {
        header.title { h1 { (reader.say("Patients")) } }
        section.panel {
            @if rows.is_empty() { p { (reader.say("No patient is known yet.")) } }
            ul.plain { @for (label, bed) in &rows {
                li { a href=(format!("/patients/{label}")) { (label) } @if let Some(bed) = bed { " · " a href=(format!("/beds/{bed}")) { (bed) } } }
            } }
        }
        @if may_care {
            section.panel {
                h2 { (reader.say("A new patient, or another file for a known one")) }
                p { (reader.say("A label of the ward, never a name. Leave blank what is not known.")) }
                form.stacked method="post" action="/patients" {
                    (guard(call))
                    label { (reader.say("Label")) input name="label" pattern="[A-Za-z0-9._\\-]{1,32}" required; }
                    label { (reader.say("Sex")) select name="sex" { option value="" {} option value="female" { (reader.say("female")) } option value="male" { (reader.say("male")) } } }
                    label { (reader.say("Age, years")) input name="age_y" inputmode="decimal"; }
                    label { (reader.say("Height, cm")) input name="height_cm" inputmode="decimal"; }
                    label { (reader.say("Weight at admission, kg")) input name="admission_kg" inputmode="decimal"; }
                    label { (reader.say("Dry weight, kg")) input name="dry_kg" inputmode="decimal"; }
                    label { (reader.say("Breathing gas")) select name="ventilated" { option value="" {} option value="humidified" { (reader.say("humidified")) } option value="dry" { (reader.say("dry")) } option value="no" { (reader.say("no breathing machine")) } } }
                    button { (reader.say("Enter it")) }
                }
            }
        }
    };
    Ok(Answer::Page(frame::page(call, "/patients", reader.say("Patients"), "patient", &main)))
}

pub(super) fn put(call: &Call) -> Result<Answer, Problem> {
    let form = call.form();
    let mut text = String::from("[patient]\n");
    for name in ["label", "sex", "ventilated"] {
        if let Some(value) = form.get(name).map(|v| v.trim()).filter(|v| !v.is_empty()) {
            text += &format!("{name} = {}\n", toml::Value::String(value.to_owned()));
        }
    }
    for (name, key, times) in [
        ("age_y", "age_y", 1.0),
        ("height_cm", "height_mm", 10.0),
        ("admission_kg", "admission_kg", 1.0),
        ("dry_kg", "dry_kg", 1.0),
    ] {
        if let Some(value) = form.get(name).map(|v| v.trim().replace(',', ".")).filter(|v| !v.is_empty()) {
            let number: f64 = value.parse().map_err(|_| Problem::bad(name, &value, "a number"))?;
            text += &format!("{key} = {}\n", number * times);
        }
    }
    let label = call.ward.put_patient(&text, call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
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

pub(super) fn patient(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let label = call.part("patient").to_owned();
    let what_if = asked(call)?;
    let Balanced { chart, report, .. } = call.ward.balance(&label, what_if, Timestamp::now())?;
    let stays = call.ward.memory.look(|tx| Ok(records::stays(tx, &label)))??;
    let bed = stays.iter().find(|s| s.to_us.is_none()).map(|s| s.bed.clone());
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
        @if may_care { (chart::form(call, &label)) }
        @match &report {
            Ok(report) => (told(call, &label, report, may_care)),
            Err(BalanceError::TooFewWeights { .. }) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.say("No settled weight of this patient is on record: the balance begins with the first one.")) } },
            Err(error) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.balance(&error.to_string(), &call.ward.zone)) } },
        }
        (chart::entries(call, &label, &chart, may_care))
    };
    Ok(Answer::Page(frame::page(call, "/patients", &label, "patient", &main)))
}

fn told(call: &Call, label: &str, report: &BalanceReport, may_care: bool) -> Markup {
    let reader = call.reader;
    let zone = call.ward.zone.clone();
    let axis = TimeAxis::local(format!("{} ({})", reader.say("time"), zone.iana_name().unwrap_or("UTC")), zone);
    html! {
        div.headlines {
            @if let Some(row) = report.rows.last() {
                (crate::layout::headline(reader.say("Body mass, weights and chart together"), &reader.signs(&with_uncertainty(row.mass_kg, row.u_kg)), "kg", &reader.pounds(row.mass_kg).unwrap_or_default()))
            }
            (crate::layout::headline(reader.say("Overload"), &reader.signs(&with_uncertainty(report.overload_pct.fused, report.overload_pct.u_fused)), "%", reader.say("over the weight at admission")))
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
                html! { (reader.signs(&with_uncertainty(w.fused_ml, w.u_fused_ml))) },
                html! { (signed(w.unexplained_ml)) },
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
    crate::layout::table(reader.say("Net balance"), &head, &rows)
}

pub(super) fn answer(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let time = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a time in RFC 3339"))?;
    call.ward.answer(&label, time, field("kind"), field("answer"), call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}
