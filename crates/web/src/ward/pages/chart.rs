//! What is charted of a patient: the form, the question before what is hardly meant, the entries and how one is struck out.

use ::ward::clock::now_us;
use ::ward::records::{self, ChartBody, Charted};
use formats::chart::Route;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use maud::{Markup, html};

use super::frame::{self, guard, local};
use super::terms;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;

/// An entry may come so long before the stay: who lies down was weighed first, and charted before. µs.
const HOUR_US: i64 = 3_600_000_000;
/// Chart entries shown on the page, newest first.
const ENTRIES: usize = 200;
/// Of these, so many in sight.
const ENTRIES_IN_SIGHT: usize = 10;

/// Chart entry by keyboard: time now, tab through, Enter.
pub(super) fn form(call: &Call, label: &str) -> Markup {
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
    let volume_ml = millilitres("volume", field("volume"), "a volume in mL")?;
    let wall: DateTime = field("time").parse().map_err(|_| Problem::bad("time", field("time"), "a date and a time"))?;
    let time = moment(wall, &call.ward.zone, field("offset_s").parse().ok())
        .ok_or_else(|| Problem::bad("time", field("time"), "a time that the clock shows"))?;
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
            thead { tr { th { (reader.say("Time")) } th.words { (reader.say("Way")) } th { "mL" } th.words { (reader.say("Note")) } th.words { (reader.say("By")) } } }
            tbody { @for entry in chart.iter().rev() { tr {
                th scope="row" { (local(call, entry.body.time)) }
                td.words { (terms::direction(reader, &entry.body.direction)) ": " (terms::route(reader, &entry.body.route)) @if !entry.body.leaves_deck { ", " (reader.say("on the deck")) } }
                td { (reader.number(entry.body.volume_ml, 0)) }
                td.words { (entry.body.note) }
                td.words { (entry.author) @if may_care { (strike_out(call, label, entry)) } }
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
    typed.replace(',', ".").parse().map_err(|_| Problem::bad(name, typed, expected))
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
        assert!(millilitres("volume", "1 500", "mL").is_err() && millilitres("volume", "", "mL").is_err());
    }
}
