//! Weight, balance, chart and forecast of a patient, and the sheet of a day.

use std::collections::BTreeMap;

use ::balance::{BalanceError, BalanceReport};
use ::ward::access::Right;
use ::ward::clock::now_us;
use ::ward::records::{self, ChartBody, Charted};
use ::ward::service::{Balanced, Forward};
use formats::chart::{Direction, Route};
use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, ToSpan as _};
use maud::{Markup, html};
use report::number::with_uncertainty;

use super::frame::{self, guard, local};
use super::terms;
use crate::pages::balance::{mass, signed, totals};
use crate::plot::TimeAxis;
use crate::ward::answer::{Answer, Problem};
use crate::ward::api::patients::forward;
use crate::ward::call::Call;

/// An entry may come so long before the stay: who lies down was weighed first, and charted before. µs.
const HOUR_US: i64 = 3_600_000_000;
/// Chart entries shown on the page, newest first.
const ENTRIES: usize = 200;
/// Of these, so many in sight.
const ENTRIES_IN_SIGHT: usize = 10;

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
            Some(text) => Ok(Some(text.replace(',', ".").parse().map_err(|_| Problem::bad(name, text, "mL/h"))?)),
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
        @if may_care { (chart_form(call, &label)) }
        @match &report {
            Ok(report) => (told(call, &label, report, may_care)),
            Err(BalanceError::TooFewWeights { .. }) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.say("No settled weight of this patient is on record: the balance begins with the first one.")) } },
            Err(error) => section.panel role="status" { h2 { (reader.say("No balance yet")) } p { (reader.balance(&error.to_string(), &call.ward.zone)) } },
        }
        (entries(call, &label, &chart, may_care))
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

/// Chart entry by keyboard: time now, tab through, Enter.
fn chart_form(call: &Call, label: &str) -> Markup {
    let reader = call.reader;
    let now = Timestamp::from_microsecond(now_us()).unwrap_or_default().to_zoned(call.ward.zone.clone());
    html! {
        section.panel.screen {
            h2 { (reader.say("Chart a volume")) }
            form.inline method="post" action=(format!("/patients/{label}/chart")) {
                (guard(call))
                input type="hidden" name="once" value=(format!("{}-{}", call.by(), now_us()));
                input type="hidden" name="offset_s" value=(now.offset().seconds());
                label { "mL" input name="volume" inputmode="decimal" size="6" required autofocus; }
                label { (reader.say("Way")) select name="way" {
                    @for route in [Route::Iv, Route::Oral, Route::Enteral, Route::Blood] { option value=(format!("intake/{}", route.word())) { (reader.say("in")) ": " (terms::route(reader, route.word())) } }
                    @for route in [Route::Urine, Route::Drain, Route::Stool, Route::Gastric, Route::Ultrafiltrate, Route::Other] { option value=(format!("output/{}", route.word())) { (reader.say("out")) ": " (terms::route(reader, route.word())) } }
                } }
                label { (reader.say("Time")) input name="time" type="datetime-local" value=(now.strftime("%Y-%m-%dT%H:%M")) required; }
                label.inline { input type="checkbox" name="stays" value="yes"; (reader.say("stays on the deck (pad, linen)")) }
                label { (reader.say("Note")) input name="note" maxlength="200"; }
                button { (reader.say("Enter it")) }
            }
        }
    }
}

pub(super) fn chart(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let (direction, route) = field("way").split_once('/').unwrap_or_default();
    let volume = field("volume").replace(',', ".");
    let volume_ml = volume.parse().map_err(|_| Problem::bad("volume", &volume, "a volume in mL"))?;
    let wall: DateTime = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a date and a time"))?;
    let time = moment(wall, &call.ward.zone, field("offset_s").parse().ok())
        .map_err(|e| Problem::bad("time", field("time"), &format!("a time that the clock shows: {e}")))?;
    if field("sure") != "yes"
        && let Some(asks) = asked_again(call, &label, time, volume_ml)?
    {
        return Ok(asks);
    }
    let body = ChartBody {
        time,
        direction: direction.to_owned(),
        route: route.to_owned(),
        volume_ml,
        leaves_deck: field("stays") != "yes",
        note: field("note").to_owned(),
    };
    let once = Some(field("once").to_owned()).filter(|o| !o.is_empty());
    call.ward.chart(&label, call.by(), None, once, &body)?;
    Ok(Answer::go(format!("/patients/{label}")))
}

/// Above this a volume of one entry is asked about once more, mL. An own choice: a bag of a night holds more, an hour's urine less.
const ASK_ML: f64 = 1_500.0;

/// The question before a volume that is hardly meant, or a time before the stay began: one more press, with everything that was typed.
fn asked_again(call: &Call, label: &str, time: Timestamp, volume_ml: f64) -> Result<Option<Answer>, Problem> {
    let reader = call.reader;
    let stays = call.ward.memory.look(|tx| Ok(records::stays(tx, label)))??;
    let first_us = stays.iter().map(|stay| stay.from_us).min();
    let early = first_us.is_some_and(|from_us| time.as_microsecond() < from_us - HOUR_US);
    if volume_ml <= ASK_ML && !early {
        return Ok(None);
    }
    let form = call.form();
    let wall = reader.clock(&time.to_zoned(call.ward.zone.clone()));
    let main = html! {
        section.open role="alert" {
            h1 { (reader.fill("{} mL at {}: is that right?", [&reader.number(volume_ml, 0), &wall])) }
            @if early { p { (reader.say("The time lies before this patient's stay.")) } }
            form method="post" action=(format!("/patients/{label}/chart")) {
                (guard(call))
                @for (name, value) in form.iter().filter(|(name, _)| !["guard", "sure"].contains(&name.as_str())) { input type="hidden" name=(name) value=(value); }
                input type="hidden" name="sure" value="yes";
                p.buttons { button { (reader.say("Yes, enter it")) } a.button href=(format!("/patients/{label}")) { (reader.say("No, back")) } }
            }
        }
    };
    Ok(Some(Answer::Page(frame::page(call, "/patients", label, "patient", &main))))
}

pub(super) fn strike(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let text = form.get("number").map_or("", String::as_str);
    let number = text.parse().map_err(|_| Problem::bad("number", text, "the number of an entry"))?;
    call.ward.strike(&label, number, call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}

pub(super) fn answer(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let time = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a time in RFC 3339"))?;
    call.ward.answer(&label, time, field("kind"), field("answer"), call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}

/// The newest entries; older ones are there when asked for.
fn entries(call: &Call, label: &str, chart: &[Charted], may_care: bool) -> Markup {
    let reader = call.reader;
    let shown = chart.len().min(ENTRIES);
    let (older, newest) = chart.split_at(chart.len() - shown.min(ENTRIES_IN_SIGHT));
    let older = &older[chart.len() - shown..];
    html! {
        section.panel {
            h2 { (reader.say("Chart")) }
            @if chart.is_empty() { p { (reader.say("Nothing is charted yet.")) } }
            @else { (entry_table(call, label, reader.say("Chart"), newest, may_care)) }
            @if !older.is_empty() {
                details #older-entries {
                    summary { (reader.fill("{} older entries", [&older.len().to_string()])) }
                    (entry_table(call, label, reader.say("Older entries"), older, may_care))
                }
            }
            @if chart.len() > shown { p.soft { (reader.fill("Of {} entries the newest {} stand here; day sheets have those of their day.", [&chart.len().to_string(), &shown.to_string()])) } }
        }
    }
}

fn entry_table(call: &Call, label: &str, name: &str, chart: &[Charted], may_care: bool) -> Markup {
    let reader = call.reader;
    html! {
        div.scroll tabindex="0" role="region" aria-label=(name) { table {
            thead { tr { th { (reader.say("Time")) } th.words { (reader.say("Way")) } th { "mL" } th.words { (reader.say("Note")) } th.words { (reader.say("By")) } th.words { span.hidden { (reader.say("Strike out")) } } } }
            tbody { @for entry in chart.iter().rev() { tr {
                th scope="row" { (local(call, entry.body.time)) }
                td.words { (terms::direction(reader, &entry.body.direction)) ": " (terms::route(reader, &entry.body.route)) @if !entry.body.leaves_deck { ", " (reader.say("on the deck")) } }
                td { (reader.number(entry.body.volume_ml, 0)) }
                td.words { (entry.body.note) }
                td.words { (entry.author) }
                td { @if may_care { (strike_out(call, label, entry)) } }
            } } }
        } }
    }
}

/// Striking an entry out takes two presses: the balance rests on it.
fn strike_out(call: &Call, label: &str, entry: &Charted) -> Markup {
    let reader = call.reader;
    let of = reader.fill("Strike out {} mL", [&reader.number(entry.body.volume_ml, 0)]);
    html! {
        details.ask {
            summary aria-label=(of) { (reader.say("Strike out")) }
            form method="post" action=(format!("/patients/{label}/strike")) {
                (guard(call))
                input type="hidden" name="number" value=(entry.number);
                button.small { (reader.say("Yes, strike it out")) }
            }
        }
    }
}

/// The last of each hour that a clock on the wall shows, with the hour's name: an hour that comes twice as clocks go back is two, told
/// apart by their offsets.
fn last_of_hours<T>(timed: impl Iterator<Item = (Timestamp, T)>, zone: &TimeZone) -> Vec<(String, T)> {
    let mut hours: BTreeMap<i64, (i8, String, T)> = BTreeMap::new();
    for (time, what) in timed {
        let wall = time.to_zoned(zone.clone());
        let since_s = 60 * i64::from(wall.minute()) + i64::from(wall.second());
        let offset = wall.strftime("%:z").to_string();
        hours.insert(time.as_second() - since_s, (wall.hour(), offset, what));
    }
    let count = |hour: i8| hours.values().filter(|(other, ..)| *other == hour).count();
    let twice: Vec<i8> = hours.values().map(|(hour, ..)| *hour).filter(|hour| count(*hour) > 1).collect();
    let name = |hour: i8, offset: &str| {
        if twice.contains(&hour) { format!("{hour}:00 ({offset})") } else { format!("{hour}:00") }
    };
    hours.into_values().map(|(hour, offset, what)| (name(hour, &offset), what)).collect()
}

/// The moment of a time on the wall. Where clocks go back an hour comes twice: it is the one of the offset (s east of UTC) that was in force
/// as the form was shown, or else the first; the note may say otherwise.
fn moment(wall: DateTime, zone: &TimeZone, offset_s: Option<i32>) -> Result<Timestamp, jiff::Error> {
    let ambiguous = zone.to_ambiguous_timestamp(wall);
    match ambiguous.offset() {
        AmbiguousOffset::Fold { after, .. } if offset_s == Some(after.seconds()) => ambiguous.later(),
        _ => ambiguous.compatible(),
    }
}

/// The sheet of one day, today where none is named, to be printed: the last settled weight of each hour, chart, totals.
pub(super) fn day(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let label = call.part("patient").to_owned();
    let zone = call.ward.zone.clone();
    let today = || Timestamp::now().to_zoned(zone.clone()).date().to_string();
    let text = &call.query.get("date").cloned().unwrap_or_else(today);
    let date: Date = text.parse().map_err(|_| Problem::bad("date", text, "a date such as 2031-05-01"))?;
    let bad = |_| Problem::bad("date", text, "a date of this calendar");
    let from = date.to_zoned(zone.clone()).map_err(bad)?;
    let to = from.checked_add(1.day()).map_err(bad)?;
    let (from, to) = (from.timestamp(), to.timestamp());
    let Balanced { weights, chart, .. } = call.ward.balance(&label, None, Timestamp::now())?;
    let weights: Vec<_> = weights.iter().filter(|w| w.time.is_some_and(|t| t >= from && t < to)).collect();
    let timed = weights.iter().filter_map(|w| Some((w.time?, *w)));
    let hours = last_of_hours(timed, &zone);
    let chart: Vec<&Charted> = chart.iter().filter(|c| c.body.time >= from && c.body.time < to).collect();
    let sum = |direction: Direction| -> f64 {
        chart.iter().filter(|c| c.body.direction == direction.word()).map(|c| c.body.volume_ml).sum()
    };
    let (intake, output) = (sum(Direction::Intake), sum(Direction::Output));
    let mut ways: BTreeMap<(&str, &str), f64> = BTreeMap::new();
    for entry in &chart {
        *ways.entry((&entry.body.direction, &entry.body.route)).or_default() += entry.body.volume_ml;
    }
    let day_beside = |days: i64| date.checked_add(days.days()).map_or_else(|_| date.to_string(), |day| day.to_string());
    let heading = reader.day(date);
    let main = html! {
        header.title { h1 { (label) " · " (heading) } p.question { (reader.say("Sheet of the day")) ", " (call.ward.name) } }
        nav.ways aria-label=(reader.say("Other days")) {
            a href=(format!("?date={}", day_beside(-1))) { (reader.say("The day before")) }
            a href=(format!("?date={}", day_beside(1))) { (reader.say("The day after")) }
            a href=(format!("/patients/{label}")) { (label) }
        }
        dl.facts {
            dt { (reader.say("charted in")) } dd { (reader.number(intake, 0)) " mL" }
            dt { (reader.say("charted out")) } dd { (reader.number(output, 0)) " mL" }
            dt { (reader.say("net by the chart")) } dd { (signed(intake - output)) " mL" }
            @if let (Some(first), Some(last)) = (weights.first().and_then(|w| w.patient_kg), weights.last().and_then(|w| w.patient_kg)) {
                dt { (reader.say("net by the deck")) } dd { (signed((last - first) * 1000.0)) " g" }
            }
            @for ((direction, route), ml) in &ways {
                dt.soft { (terms::direction(reader, direction)) ": " (terms::route(reader, route)) } dd.soft { (reader.number(*ml, 0)) " mL" }
            }
        }
        div.pair.sheet {
            section.panel { h2 { (reader.say("Last settled weight of each hour")) }
                @if hours.is_empty() { p { (reader.say("no settled weight in this time")) } }
                table { tbody { @for (hour, weight) in &hours { tr {
                    th scope="row" { (hour) }
                    td { (weight.patient_kg.map_or_else(String::new, |kg| reader.number(kg, 2))) " kg" }
                    td { "± " (weight.u_kg.map_or_else(String::new, |u| reader.number(u, 2))) }
                } } } }
            }
            section.panel { h2 { (reader.say("Chart")) }
                @if chart.is_empty() { p { (reader.say("nothing charted in this time")) } }
                @else { div.scroll tabindex="0" role="region" aria-label=(reader.say("Chart")) { table { tbody { @for entry in &chart { tr {
                    th scope="row" { time datetime=(entry.body.time) { (entry.body.time.to_zoned(zone.clone()).strftime("%H:%M")) } }
                    td.words { (terms::direction(reader, &entry.body.direction)) ": " (terms::route(reader, &entry.body.route)) }
                    td { (reader.number(entry.body.volume_ml, 0)) " mL" }
                    td.words { (entry.body.note) }
                } } } } } }
            }
        }
    };
    Ok(Answer::Page(frame::page(call, "/patients", &label, "patient", &main)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    /// Oslo's clocks go back from 03:00 to 02:00 on 26 October 2031, at 01:00 UTC (IANA time zone database, rule EU).
    fn oslo() -> TimeZone {
        TimeZone::get("Europe/Oslo").unwrap()
    }

    #[test]
    fn the_day_on_which_clocks_go_back_has_an_hour_more() {
        let times = ["2031-10-25T23:30:00Z", "2031-10-26T00:10:00Z", "2031-10-26T00:50:00Z", "2031-10-26T01:20:00Z"];
        let timed = times.iter().map(|t| (at(t), *t)).chain([(at("2031-10-26T02:40:00Z"), "3")]);
        let hours = last_of_hours(timed, &oslo());
        let named: Vec<(&str, &str)> = hours.iter().map(|(name, what)| (name.as_str(), *what)).collect();
        let twice = [("2:00 (+02:00)", times[2]), ("2:00 (+01:00)", times[3])];
        assert_eq!(named, [("1:00", times[0]), twice[0], twice[1], ("3:00", "3")]);
    }

    #[test]
    fn in_the_hour_that_comes_twice_now_is_now() {
        let wall: DateTime = "2031-10-26T02:30".parse().unwrap();
        for now in ["2031-10-26T00:30:00Z", "2031-10-26T01:30:00Z"] {
            let shown = at(now).to_zoned(oslo());
            assert_eq!(shown.datetime(), wall);
            assert_eq!(moment(wall, &oslo(), Some(shown.offset().seconds())).unwrap(), at(now));
        }
        assert_eq!(moment(wall, &oslo(), None).unwrap(), at("2031-10-26T00:30:00Z"));
        // Any other time is the same whatever was in force as the form was shown.
        let noon: DateTime = "2031-10-26T12:00".parse().unwrap();
        assert_eq!(moment(noon, &oslo(), Some(7_200)).unwrap(), at("2031-10-26T11:00:00Z"));
    }
}
