//! What is charted of a patient: the form, the question before what is hardly meant, the entries and how one is struck out.

use ::ward::clock::now_us;
use ::ward::records::{self, ChartBody, Charted};
use ::ward::service::Ward;
use formats::chart::Route;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use maud::{Markup, html};
use report::number::decimals_of;

use super::frame::{self, Question, Typed, guard, local};
use super::terms;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;

/// An entry may come so long before the stay: who lies down was weighed first, and charted before. µs.
const HOUR_US: i64 = 3_600_000_000;
/// Chart entries shown on the page, newest first.
const ENTRIES: usize = 200;
/// Of these, so many in sight.
const ENTRIES_IN_SIGHT: usize = 10;

/// Chart entry by keyboard: time now, tab through, Enter.
pub(super) fn form(call: &Call, label: &str, typed: &Typed) -> Markup {
    let reader = call.reader;
    let now = Timestamp::from_microsecond(now_us()).unwrap_or_default().to_zoned(call.ward.zone.clone());
    // A time that was typed is of the offset that was in force as its form was shown.
    let time = typed.field("time").map_or_else(|| now.strftime("%Y-%m-%dT%H:%M").to_string(), str::to_owned);
    let offset_s = typed.field("offset_s").map_or_else(|| now.offset().seconds().to_string(), str::to_owned);
    let way = |direction: &str, route: Route| {
        let value = format!("{direction}/{}", route.word());
        html! { option value=(value) selected[typed.is("way", &value)] { (terms::direction(reader, direction)) ": " (terms::route(reader, route.word())) } }
    };
    html! {
        section.panel.screen {
            h2 { (reader.say("Chart a volume")) }
            form.inline method="post" action=(format!("/patients/{label}/chart")) {
                (guard(call))
                input type="hidden" name="once" value=(format!("{}-{}", call.by(), now_us()));
                input type="hidden" name="offset_s" value=(offset_s);
                label { "mL" input name="volume" inputmode="decimal" size="6" value=[typed.field("volume")] required autofocus; }
                label { (reader.say("Way")) select name="way" {
                    @for route in [Route::Iv, Route::Oral, Route::Enteral, Route::Blood] { (way("intake", route)) }
                    @for route in [Route::Urine, Route::Drain, Route::Stool, Route::Gastric, Route::Ultrafiltrate, Route::Other] { (way("output", route)) }
                } }
                label { (reader.say("Time")) input name="time" type="datetime-local" value=(time) required; }
                label.inline { input type="checkbox" name="stays" value="yes" checked[typed.is("stays", "yes")]; (reader.say("stays on the deck (pad, linen)")) }
                label { (reader.say("Note")) input name="note" maxlength="200" value=[typed.field("note")]; }
                button { (reader.say("Enter it")) }
            }
        }
    }
}

pub(super) fn chart(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient");
    frame::or_again(call, enter(call, label), label, &format!("/patients/{label}"), |typed| form(call, label, typed))
}

fn enter(call: &Call, label: &str) -> Result<Answer, Problem> {
    let form = call.form();
    let field = |name: &str| form.get(name).map_or("", |v| v.trim());
    let (direction, route) = field("way").split_once('/').unwrap_or_default();
    let volume_ml = millilitres("volume", field("volume"), "a volume in mL")?;
    let wall: DateTime = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a date and a time"))?;
    let time = moment(wall, &call.ward.zone, field("offset_s").parse().ok())
        .ok_or_else(|| Problem::bad("time", field("time"), "a time that the clock shows"))?;
    let body = ChartBody {
        time,
        direction: direction.to_owned(),
        route: route.to_owned(),
        volume_ml,
        leaves_deck: field("stays") != "yes",
        note: field("note").to_owned(),
    };
    // The reason, before a question whose yes would be refused.
    Ward::may_chart(&body)?;
    if !Question::is_answered(call)
        && let Some(asks) = asked_again(call, label, time, volume_ml)
    {
        return Ok(asks);
    }
    let once = Some(field("once").to_owned()).filter(|o| !o.is_empty());
    call.ward.chart(label, call.by(), None, once, &body)?;
    Ok(Answer::go(format!("/patients/{label}")))
}

/// A volume as it was entered: whole millilitres as such, others with their decimals; a form takes three at most.
pub(super) fn volume(reader: Reader, ml: f64) -> String {
    reader.number(ml, decimals_of([ml], 3))
}

/// Above this a volume of one entry is asked about once more, mL. An own choice: a bag of a night holds more, an hour's urine less.
const ASK_ML: f64 = 1_500.0;

/// The question before a volume that is hardly meant, or a time before the stay began.
fn asked_again(call: &Call, label: &str, time: Timestamp, volume_ml: f64) -> Option<Answer> {
    let reader = call.reader;
    // Stays that cannot be read keep nobody from charting: then nothing is asked about them.
    let stays = call.ward.memory.look(|tx| Ok(records::stays(tx, label))).ok().and_then(Result::ok).unwrap_or_default();
    let first_us = stays.iter().map(|stay| stay.from_us).min();
    let early = first_us.is_some_and(|from_us| time.as_microsecond() < from_us - HOUR_US);
    if volume_ml <= ASK_ML && !early {
        return None;
    }
    let wall = reader.clock(&time.to_zoned(call.ward.zone.clone()));
    let question = Question {
        back: &format!("/patients/{label}"),
        to: &format!("/patients/{label}/chart"),
        title: label,
        asked: &reader.fill("{} mL at {}: is that right?", [&volume(reader, volume_ml), &wall]),
        text: html! { @if early { p { (reader.say("The time lies before this patient's stay.")) } } },
        yes: reader.say("Yes, enter it"),
    };
    Some(Answer::Page(question.page(call)))
}

pub(super) fn strike(call: &Call) -> Result<Answer, Problem> {
    let label = call.part("patient").to_owned();
    let form = call.form();
    let text = form.get("number").map_or("", String::as_str);
    let number = text.parse().map_err(|_| Problem::bad("number", text, "the number of an entry"))?;
    call.ward.strike(&label, number, call.by())?;
    Ok(Answer::go(format!("/patients/{label}")))
}

/// The newest entries; older ones are there when asked for.
pub(super) fn entries(call: &Call, label: &str, chart: &[Charted], may_care: bool) -> Markup {
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
            thead { tr { th scope="col" { (reader.say("Time")) } th scope="col" { (reader.say("Line")) } th.words scope="col" { (reader.say("Way")) } th scope="col" { "mL" } th.words scope="col" { (reader.say("Note")) } th.words scope="col" { (reader.say("By")) } } }
            tbody { @for entry in chart.iter().rev() { tr {
                th scope="row" { (local(call, entry.body.time)) }
                // What the balance says names an entry by this number.
                td id=(format!("line-{}", entry.number)) { (entry.number) }
                td.words { (terms::direction(reader, &entry.body.direction)) ": " (terms::route(reader, &entry.body.route)) @if !entry.body.leaves_deck { ", " (reader.say("on the deck")) }
                    // Under the way, not in the last column: that one is out of sight on a phone.
                    @if may_care { (strike_out(call, label, entry)) }
                }
                td { (volume(reader, entry.body.volume_ml)) }
                td.words { (entry.body.note) }
                td.words { (entry.author) }
            } } }
        } }
    }
}

/// Striking an entry out takes two presses: the balance rests on it.
fn strike_out(call: &Call, label: &str, entry: &Charted) -> Markup {
    let reader = call.reader;
    let of = reader.fill("Strike out {} mL", [&volume(reader, entry.body.volume_ml)]);
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

/// The moment of a time on the wall. Where clocks go back an hour comes twice: it is the one of the offset (s east of UTC) that was in force
/// as the form was shown, or else the first; the note may say otherwise. An
/// hour that the clock leaves out is no time.
fn moment(wall: DateTime, zone: &TimeZone, offset_s: Option<i32>) -> Option<Timestamp> {
    let ambiguous = zone.to_ambiguous_timestamp(wall);
    let time = match ambiguous.offset() {
        AmbiguousOffset::Gap { .. } => return None,
        AmbiguousOffset::Fold { after, .. } if offset_s == Some(after.seconds()) => ambiguous.later(),
        AmbiguousOffset::Fold { .. } | AmbiguousOffset::Unambiguous { .. } => ambiguous.compatible(),
    };
    time.ok()
}

/// A volume, or a rate, as somebody typed it. Three figures behind a sign may be thousands or thousandths, by the language: nobody may
/// guess which.
pub(super) fn millilitres(name: &str, typed: &str, expected: &str) -> Result<f64, Problem> {
    let typed = typed.trim();
    if let Some((whole, behind)) = typed.split_once([',', '.'])
        && [whole, behind].iter().all(|part| part.bytes().all(|b| b.is_ascii_digit()))
        && (1..=3).contains(&whole.len())
        && behind.len() == 3
        && whole != "0"
    {
        return Err(Problem::bad(
            name,
            typed,
            &format!("millilitres without a sign between thousands, as {whole}{behind}, with two decimals at most"),
        ));
    }
    // A float's own words for what is no number are none that anybody means.
    let number = typed.replace(',', ".").parse().ok().filter(|ml: &f64| ml.is_finite());
    number.ok_or_else(|| Problem::bad(name, typed, expected))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{at, oslo};
    use super::*;

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

    /// Oslo's clocks go from 02:00 to 03:00 on 30 March 2031 (IANA time zone database, rule EU).
    #[test]
    fn an_hour_that_the_clock_leaves_out_is_no_time() {
        assert_eq!(moment("2031-03-30T02:30".parse().unwrap(), &oslo(), Some(3_600)), None);
        assert_eq!(moment("2031-03-30T03:30".parse().unwrap(), &oslo(), Some(3_600)), Some(at("2031-03-30T01:30:00Z")));
    }

    #[test]
    fn thousands_are_never_taken_for_thousandths_nor_the_other_way() {
        for (typed, ml) in [("1500", 1500.0), (" 1,5 ", 1.5), ("2.25", 2.25), ("0.125", 0.125), ("1e3", 1000.0)] {
            assert_eq!(millilitres("volume", typed, "mL").ok(), Some(ml), "{typed}");
        }
        for typed in ["1,500", "1.500", "12.000", "250,000"] {
            let told = millilitres("volume", typed, "mL").unwrap_err().detail;
            assert!(told.contains("without a sign between thousands"), "{typed}: {told}");
        }
        for typed in ["1 500", "", "nan", "inf", "-infinity"] {
            assert!(millilitres("volume", typed, "mL").is_err(), "{typed}");
        }
    }
}
