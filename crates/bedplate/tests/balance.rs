//! `balance` on the built binary: what it may be told, and every bad entry refused or flagged by name.

mod common;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use common::{Ran, bedplate, json};
use serde_json::Value;

const FILES: [&str; 4] = ["balance", "patient.toml", "weights.csv", "chart.csv"];
const PATIENT: &str = "[patient]\nlabel = \"bed 3 (invented)\"\nsex = \"female\"\nage_y = 61.0\nheight_mm = 1640.0\n\
                       admission_kg = 68.0\ndry_kg = 66.0\nventilated = \"humidified\"\ntemperature_C = 37.8\n\
                       [plan]\nintake_mL_h = 100.0\noutput_mL_h = 60.0\nultrafiltration_mL_h = 0.0\n";

/// A time of the invented record, minutes from its start.
fn at(minute: i64) -> String {
    let start: jiff::Timestamp = "2031-03-04T06:00:00Z".parse().unwrap();
    (start + jiff::SignedDuration::from_mins(minute)).to_string()
}

/// Entries of an hourly chart over some hours: 100 mL in, 60 mL out.
fn entries(hours: i64) -> Vec<String> {
    (1..=hours)
        .flat_map(|h| [format!("{},intake,iv,100,,", at(60 * h)), format!("{},output,urine,60,yes,", at(60 * h))])
        .collect()
}

/// Weights each ten minutes but for a stretch in hours; the patient gains 15 g an hour, by a fixed scramble of ± 25 g.
fn weights(hours: i64, without: std::ops::Range<i64>) -> String {
    let mut out = String::from("time,t_s,patient_kg,u_kg,state\n");
    for k in (0..=6 * hours).filter(|k| !without.contains(&(k / 6))) {
        let scramble = (f64::from((k as u32).wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5) * 0.05;
        let kg = 68.0 + 0.015 * k as f64 / 6.0 + scramble;
        let _ = writeln!(out, "{},{},{kg:.3},0.03,settled", at(10 * k), 600 * k);
    }
    out
}

fn write(folder: &Path, chart: &[String], weights: &str) {
    let text = format!("time,direction,route,volume_mL,leaves_deck,note\n{}\n", chart.join("\n"));
    fs::write(folder.join("chart.csv"), text).unwrap();
    fs::write(folder.join("weights.csv"), weights).unwrap();
    fs::write(folder.join("patient.toml"), PATIENT).unwrap();
}

/// A folder with 30 hours of a quiet patient, and one chart entry more.
fn with_entry(entry: Option<&str>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut chart = entries(30);
    chart.extend(entry.map(str::to_owned));
    write(folder.path(), &chart, &weights(30, 0..0));
    folder
}

fn told(folder: &Path, more: &[&str]) -> Value {
    let args: Vec<&str> = FILES.iter().chain(&["--json"]).chain(more).copied().collect();
    let ran = bedplate(folder, &args);
    assert_eq!(ran.status, 0, "{}", ran.err);
    json(&ran)
}

#[track_caller]
fn refused(ran: &Ran, words: &[&str]) {
    assert_eq!(ran.status, 2, "exit status; standard error: {}", ran.err);
    assert!(ran.out.is_empty() && !ran.err.contains("panicked"), "{}{}", ran.out, ran.err);
    for word in words {
        assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
    }
}

/// Texts of all alerts of a kind.
fn alerts<'a>(out: &'a Value, kind: &str) -> Vec<&'a str> {
    let all = out["alerts"].as_array().unwrap().iter();
    all.filter(|a| a["kind"] == kind).map(|a| a["text"].as_str().unwrap()).collect()
}

#[track_caller]
fn noted(out: &Value, words: &[&str]) {
    let notes: Vec<&str> = out["notes"].as_array().unwrap().iter().map(|n| n.as_str().unwrap()).collect();
    assert!(notes.iter().any(|note| words.iter().all(|word| note.contains(word))), "no {words:?} in {notes:?}");
}

#[test]
fn windows_stand_charted_weighed_and_fused() {
    let folder = with_entry(None);
    let span = format!("{}/{}", at(360), at(1080));
    let out = told(folder.path(), &["--window", "24", "--window", &span, "--window", "72"]);
    let windows = out["windows"].as_array().unwrap();
    assert_eq!(windows.len(), 2, "{windows:?}");
    assert_eq!((&windows[1]["from"], &windows[1]["to"]), (&Value::from(at(360)), &Value::from(at(1080))));
    for (window, charted) in windows.iter().zip([24.0 * 40.0, 12.0 * 40.0]) {
        let of = |key: &str| window[key].as_f64().unwrap();
        assert!((of("charted_mL") - charted).abs() < 1e-9, "{window}");
        // 15 g an hour were gained; two weights scatter by ± 25 g each.
        assert!((of("weighed_mL") - charted * 15.0 / 40.0).abs() <= 50.0, "{window}");
        assert!((of("fused_mL") - charted * 15.0 / 40.0).abs() < 4.0 * of("u_fused_mL"), "{window}");
    }
    noted(&out, &["72 h", "30.0 h"]);
    let screen = bedplate(folder.path(), &FILES);
    for words in ["net balance", "In words", "What was done with the input", "unexplained, mL"] {
        assert!(screen.out.contains(words), "no {words:?} in {}", screen.out);
    }
}

/// Who reads "not charted" and gives it back gives too much where the loss that everybody has is not told beside it.
#[test]
fn the_head_of_the_screen_says_how_much_of_what_is_not_charted_was_to_be_expected() {
    let folder = with_entry(None);
    let out = told(folder.path(), &[]);
    let row = out["rows"].as_array().unwrap().last().unwrap();
    let screen = bedplate(folder.path(), &FILES).out;
    let line = |start: &str| {
        let found = screen.lines().find_map(|l| l.strip_prefix(start));
        found.unwrap_or_else(|| panic!("no line {start:?} in {screen}")).to_owned()
    };
    let head = line("Weights and chart together ");
    for key in ["weighed_mL", "charted_mL", "unexplained_mL"] {
        let ml = row[key].as_f64().unwrap();
        assert!(head.contains(&format!("{ml:.0}")), "{key} {ml} is not in {head:?}");
    }
    assert!(!head.contains("weighed") && head.contains("not charted"), "{head}");
    // By hand: the rate before the weights spoke, over the 30 h of the record.
    let prior = &out["insensible_prior"];
    let expected_ml = 30.0 * prior["mean_g_h"].as_f64().unwrap();
    let u_ml = 30.0 * prior["sd_g_h"].as_f64().unwrap();
    let told = line("Of that ");
    let figures = told.strip_suffix(" mL were to be expected, lost through skin, lungs and breathed gas").unwrap();
    let figures: Vec<f64> = figures.split(" ± ").map(|f| f.parse().unwrap()).collect();
    let [found, u] = figures[..] else { panic!("{told}") };
    assert!((found + expected_ml).abs() <= 0.5 && (u - u_ml).abs() <= 0.5, "{told}: {expected_ml} ± {u_ml}");
}

#[test]
fn other_plans_are_forecast_beside_the_plan() {
    let folder = with_entry(None);
    let plans = "[[plan]]\nname = \"dry\"\nintake_mL_h = 20.0\noutput_mL_h = 60.0\n";
    fs::write(folder.path().join("plans.toml"), plans).unwrap();
    let out = told(folder.path(), &["--plan", "plans.toml", "--ahead", "24"]);
    let other = &out["alternatives"][0];
    assert_eq!(other["name"], "dry");
    let last = |rows: &Value| {
        let rows = rows.as_array().unwrap();
        (rows.len(), rows[rows.len() - 1]["mass_kg"].as_f64().unwrap())
    };
    let ((n, plan), (m, dry)) = (last(&out["forecast"]), last(&other["forecast"]));
    assert_eq!((n, m), (24, 24));
    assert!((plan - dry - 24.0 * 0.080).abs() < 1e-9, "80 mL/h less for a day: {plan} {dry}");
    fs::write(folder.path().join("plans.toml"), plans.replace("20.0", "-20.0")).unwrap();
    refused(&bedplate(folder.path(), &[&FILES[..], &["--plan", "plans.toml"]].concat()), &["plans.toml:3", "-20"]);
}

#[test]
fn an_answered_alert_is_not_raised_again() {
    let absurd = format!("{},output,urine,5000,yes,", at(730));
    let folder = with_entry(Some(&absurd));
    let out = told(folder.path(), &[]);
    let alert = out["alerts"].as_array().unwrap().iter().find(|a| a["kind"] == "implausible-entry").unwrap();
    let answers = format!("time,kind,answer\n{},implausible-entry,a zero too many\n", alert["time"].as_str().unwrap());
    fs::write(folder.path().join("answers.csv"), answers).unwrap();
    let again = told(folder.path(), &["--answers", "answers.csv"]);
    assert!(alerts(&again, "implausible-entry").is_empty());
    assert_eq!(again["answered"][0]["answer"], "a zero too many");
}

/// A pad of 200 g takes up 300 mL of urine and is taken off by 500 g, which `weigh` gives back to the patient.
#[test]
fn a_pad_that_left_wet_takes_its_fluid_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut chart = entries(30);
    chart.push(format!("{},output,urine,300,no,pad", at(600)));
    write(folder.path(), &chart, &weights(30, 0..0));
    let events = r#"{"events": [
        {"t_s": 0.0, "kind": "added", "kg": 0.2, "u_kg": 0.01, "text": "0.20 kg came onto the deck (pad)."},
        {"t_s": 43200.0, "kind": "removed", "kg": -0.5, "u_kg": 0.01, "text": "0.50 kg left the deck (pad)."}]}"#;
    fs::write(folder.path().join("events.json"), events).unwrap();
    let last = |out: &Value, key: &str| out["rows"].as_array().unwrap().last().unwrap()[key].as_f64().unwrap();
    let (with, without) = (told(folder.path(), &["--events", "events.json"]), told(folder.path(), &[]));
    noted(&with, &["300 ± 14 g", "pad"]);
    assert!(last(&with, "on_deck_mL").abs() < 60.0, "it has gone: {}", last(&with, "on_deck_mL"));
    assert!(last(&without, "on_deck_mL") > 200.0, "it is taken to lie there: {}", last(&without, "on_deck_mL"));
    // Either way the body is lighter by what it lost: the same mass, but for what was not known of the pad.
    assert!((last(&with, "mass_kg") - last(&without, "mass_kg")).abs() < 0.1);
    fs::write(folder.path().join("events.json"), events.replace("-0.5,", "0.5,")).unwrap();
    let ran = bedplate(folder.path(), &[&FILES[..], &["--events", "events.json"]].concat());
    refused(&ran, &["events.json", "events[1].kg"]);
}

#[test]
fn removals_lie_within_the_record_or_are_told() {
    let folder = with_entry(Some(&format!("{},output,stool,250,no,pad", at(600))));
    fs::write(folder.path().join("removals.csv"), format!("time,fluid_g\n{},\n2031-04-01T00:00:00Z,\n", at(900)))
        .unwrap();
    let out = told(folder.path(), &["--removals", "removals.csv"]);
    assert!(out["rows"].as_array().unwrap().last().unwrap()["on_deck_mL"].as_f64().unwrap().abs() < 1e-6);
    noted(&out, &["2031-04-01", "outside the record"]);
}

#[test]
fn options_that_cannot_be_meant_are_refused_by_name() {
    let folder = with_entry(None);
    for (more, words) in [
        (["--window", "-3"], ["--window", "-3"]),
        (["--densities", "wine=0.99"], ["--densities", "wine"]),
        (["--false-alerts", "0"], ["false_alerts_per_day is 0", "0.0001 to 1"]),
        (["--deck", "no.toml"], ["no.toml", "check the name"]),
        (["--now", "tomorrow"], ["--now", "tomorrow"]),
    ] {
        refused(&bedplate(folder.path(), &[&FILES[..], &more].concat()), &words);
    }
}

#[test]
fn the_decks_own_budget_gives_its_drift() {
    let folder = with_entry(None);
    fs::copy(common::data("hand").join("deck.toml"), folder.path().join("deck.toml")).unwrap();
    let (own, told) = (told(folder.path(), &["--deck", "deck.toml"]), told(folder.path(), &[]));
    let u = |out: &Value| out["rows"].as_array().unwrap().last().unwrap()["u_kg"].as_f64().unwrap();
    // Without a deck a steady u_kg says that nothing drifts.
    assert!(u(&own) > u(&told), "{} {}", u(&own), u(&told));
}

#[test]
fn weights_without_times_need_a_start() {
    let folder = with_entry(None);
    let bare: String = weights(30, 0..0)
        .lines()
        .map(|line| line.split_once(',').map_or(String::new(), |(_, rest)| format!("{rest}\n")))
        .collect();
    fs::write(folder.path().join("weights.csv"), bare).unwrap();
    refused(&bedplate(folder.path(), &FILES), &["weights.csv", "time"]);
    let out = told(folder.path(), &["--start", &at(0)]);
    assert_eq!(out["rows"][0]["time"], Value::from(at(0)));
}

#[test]
fn entries_out_of_order_count_at_their_time_and_are_told() {
    let (folder, sorted) = (with_entry(None), with_entry(None));
    let mut chart = entries(30);
    let late = chart.remove(10);
    chart.push(late);
    write(folder.path(), &chart, &weights(30, 0..0));
    let (out, want) = (told(folder.path(), &[]), told(sorted.path(), &[]));
    noted(&out, &["1 chart entry stands after later ones", "line", "61"]);
    let mass = |out: &Value, h: usize| out["rows"][h]["mass_kg"].as_f64().unwrap();
    for h in 0..=30 {
        // The order within one time may move the last digits of a sum.
        assert!((mass(&out, h) - mass(&want, h)).abs() < 1e-9, "{h}");
    }
}

#[test]
fn a_corrected_entry_gives_its_place_and_stays_on_record() {
    let folder = with_entry(None);
    let text = fs::read_to_string(folder.path().join("chart.csv")).unwrap();
    let mut lines: Vec<String> = text.lines().map(|line| format!("{line},")).collect();
    lines[0] = "time,direction,route,volume_mL,leaves_deck,note,corrects".to_owned();
    lines.push(format!("{},intake,iv,10,,mistyped,12", at(360)));
    fs::write(folder.path().join("chart.csv"), lines.join("\n") + "\n").unwrap();
    let out = told(folder.path(), &[]);
    noted(&out, &["line 62 takes the place of line 12", "stays on record"]);
    let charted = |out: &Value| out["rows"].as_array().unwrap().last().unwrap()["charted_mL"].as_f64().unwrap();
    assert!((charted(&out) - (30.0 * 40.0 - 90.0)).abs() < 1e-9, "{}", charted(&out));
    let bad = fs::read_to_string(folder.path().join("chart.csv")).unwrap().replace("mistyped,12", "mistyped,99");
    fs::write(folder.path().join("chart.csv"), bad).unwrap();
    refused(&bedplate(folder.path(), &FILES), &["chart.csv", "line 62", "line 99", "no such line"]);
}

#[test]
fn an_entry_that_stands_twice_is_refused_with_both_lines() {
    let folder = with_entry(Some(&entries(3)[4]));
    refused(&bedplate(folder.path(), &FILES), &["chart.csv:62", "line 6", "twice"]);
}

#[test]
fn a_negative_volume_is_refused_by_its_line() {
    let folder = with_entry(Some(&format!("{},intake,oral,-200,,", at(700))));
    refused(&bedplate(folder.path(), &FILES), &["chart.csv:62", "volume_mL", "-200"]);
}

#[test]
fn an_entry_of_the_future_is_flagged_and_counts_in_no_total() {
    let folder = with_entry(Some(&format!("{},intake,iv,700,,", at(60 * 31))));
    let out = told(folder.path(), &["--now", &at(60 * 30 + 10)]);
    let found = alerts(&out, "implausible-entry");
    assert!(found.len() == 1 && found[0].contains("line 62") && found[0].contains("in the future"), "{found:?}");
    let last = out["rows"].as_array().unwrap().last().unwrap().clone();
    assert!((last["charted_mL"].as_f64().unwrap() - 30.0 * 40.0).abs() < 1e-9);
    noted(&told(folder.path(), &["--now", &at(60 * 20)]), &["weights stand after the time now"]);
}

#[test]
fn five_litres_of_urine_in_an_hour_are_flagged_by_line_and_do_not_bend_the_mass() {
    let folder = with_entry(Some(&format!("{},output,urine,5000,yes,", at(730))));
    let out = told(folder.path(), &[]);
    let found = alerts(&out, "implausible-entry");
    assert!(found.len() == 1 && found[0].contains("line 62") && found[0].contains("5000 mL"), "{found:?}");
    let last = out["rows"].as_array().unwrap().last().unwrap();
    let (mass, u) = (last["mass_kg"].as_f64().unwrap(), last["u_kg"].as_f64().unwrap());
    assert!((mass - 68.45).abs() < 4.0 * u, "{mass} ± {u}");
}

#[test]
fn days_without_a_weight_are_told_and_bridged() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &entries(120), &weights(120, 24..96));
    let out = told(folder.path(), &[]);
    let found = alerts(&out, "weight-not-checked");
    assert!(found.len() == 1 && found[0].contains("no settled weight"), "{found:?}");
    let rows = out["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 121);
    let u = |h: usize| rows[h]["u_kg"].as_f64().unwrap();
    assert!(u(60) > u(12) && u(118) < u(60), "{} {} {}", u(12), u(60), u(118));
}

#[test]
fn weights_that_run_back_or_below_nothing_are_refused_by_line() {
    let folder = with_entry(None);
    let good = weights(30, 0..0);
    let mut lines: Vec<&str> = good.lines().collect();
    lines.swap(20, 21);
    fs::write(folder.path().join("weights.csv"), lines.join("\n") + "\n").unwrap();
    refused(&bedplate(folder.path(), &FILES), &["weights.csv", &at(190), &at(200)]);
    fs::write(folder.path().join("weights.csv"), good.replacen("68.", "-68.", 1)).unwrap();
    refused(&bedplate(folder.path(), &FILES), &["weights.csv", "patient_kg", "-6"]);
}

#[test]
fn what_the_patient_file_does_not_say_is_named() {
    let folder = with_entry(None);
    fs::write(folder.path().join("patient.toml"), "[patient]\nlabel = \"bed 3 (invented)\"\n").unwrap();
    let out = told(folder.path(), &[]);
    let basis = out["insensible_prior"]["basis"].as_str().unwrap();
    for words in ["height_mm not given", "age_y not given", "temperature_C not given", "breathing not stated"] {
        assert!(basis.contains(words), "no {words:?} in {basis}");
    }
    noted(&out, &["no admission weight"]);
    noted(&out, &["no plan"]);
}
