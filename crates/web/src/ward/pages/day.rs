//! The sheet of a patient's day, to be printed.

use std::collections::BTreeMap;

use ::ward::records::{self, Charted};
use formats::chart::Direction;
use formats::weights::Weight;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};
use maud::html;

use super::chart::volume;
use super::{frame, terms};
use crate::pages::balance::{signed, with_plus};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;

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
    call.ward.memory.look(|tx| Ok(records::patient_file(tx, &label)))??;
    let weights = call.ward.weights(&label, from.as_microsecond(), Some(to.as_microsecond()))?;
    let timed = weights.iter().filter_map(|w| Some((w.time?, w)));
    let hours = last_of_hours(timed, &zone);
    let chart = call.ward.memory.look(|tx| Ok(records::chart(tx, &label, Some(from.as_microsecond()))))??;
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
            dt { (reader.say("charted in")) } dd { (volume(reader, intake)) " mL" }
            dt { (reader.say("charted out")) } dd { (volume(reader, output)) " mL" }
            dt { (reader.say("net by the chart")) } dd { (with_plus(volume(reader, intake - output))) " mL" }
            @if let Some((kg, u_kg)) = net(&weights) {
                dt { (reader.say("net by the deck")) } dd { (signed(1000.0 * kg)) " ± " (reader.number(1000.0 * u_kg, 0)) " g" }
            }
            @for ((direction, route), ml) in &ways {
                dt.soft { (terms::direction(reader, direction)) ": " (terms::route(reader, route)) } dd.soft { (volume(reader, *ml)) " mL" }
            }
        }
        div.pair.sheet {
            section.panel { h2 { (reader.say("Last settled weight of each hour")) }
                @if hours.is_empty() { p { (reader.say("no settled weight in this time")) } }
                table { tbody { @for (hour, weight) in &hours { tr {
                    th scope="row" { (hour) }
                    td { @if let Some(kg) = weight.patient_kg { (reader.number(kg, 2)) " kg" } }
                    td { @if let Some(u_kg) = weight.u_kg { "± " (reader.number(u_kg, 2)) " kg" } }
                } } } }
            }
            section.panel { h2 { (reader.say("Chart")) }
                @if chart.is_empty() { p { (reader.say("nothing charted in this time")) } }
                @else { div.scroll tabindex="0" role="region" aria-label=(reader.say("Chart")) { table { tbody { @for entry in &chart { tr {
                    th scope="row" { time datetime=(entry.body.time) { (entry.body.time.to_zoned(zone.clone()).strftime("%H:%M")) } }
                    td { (reader.say("line")) " " (entry.number) }
                    td.words { (terms::direction(reader, &entry.body.direction)) ": " (terms::route(reader, &entry.body.route)) }
                    td { (volume(reader, entry.body.volume_ml)) " mL" }
                    td.words { (entry.body.note) }
                } } } } } }
            }
        }
    };
    Ok(Answer::Page(frame::page(call, "/patients", &label, "patient", &main)))
}

/// What the weights of a day say that the patient gained, with its standard uncertainty, kg. One weight says nothing; what two have in
/// common, as the deck's scale, is counted as if it were not, which makes the uncertainty too wide rather than too narrow.
fn net(weights: &[Weight]) -> Option<(f64, f64)> {
    let [first, .., last] = weights else { return None };
    let kg = last.patient_kg? - first.patient_kg?;
    Some((kg, first.u_kg?.hypot(last.u_kg?)))
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

#[cfg(test)]
mod tests {
    use formats::weights::State;

    use super::super::testing::{at, oslo};
    use super::*;

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
    fn one_weight_of_a_day_makes_no_balance() {
        let weight =
            |kg, u_kg| Weight { time: None, t_s: 0.0, patient_kg: Some(kg), u_kg: Some(u_kg), state: State::Settled };
        assert_eq!(net(&[]), None);
        assert_eq!(net(&[weight(80.0, 0.03)]), None);
        let (kg, u_kg) = net(&[weight(80.0, 0.03), weight(79.0, 0.9), weight(80.5, 0.04)]).unwrap();
        assert!((kg - 0.5).abs() < 1e-12 && (u_kg - 0.05).abs() < 1e-12);
    }
}
