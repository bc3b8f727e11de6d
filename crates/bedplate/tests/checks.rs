//! `checks` as a person uses it: in control, out of control, the report, bad input.

mod common;

use std::fmt::Write as _;
use std::fs;

use common::{bedplate, json};

/// Checks of a 20 kg mass once a week, g above it.
fn checks(grams: impl Iterator<Item = f64>) -> String {
    let mut text = "time,standard,shown_kg,mass_kg\n".to_owned();
    let start: jiff::Timestamp = "2031-01-06T07:00:00Z".parse().unwrap();
    for (i, g) in grams.enumerate() {
        let time = start + jiff::SignedDuration::from_hours(7 * 24 * i64::try_from(i).unwrap());
        writeln!(text, "{time},F1,{:.4},20", 20.0 + g / 1000.0).unwrap();
    }
    text
}

fn scatter(i: usize) -> f64 {
    [1.0, -2.0, 0.5, 1.5, -1.0, 2.0, -0.5, -1.5][i % 8]
}

fn folder(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("checks.csv"), text).unwrap();
    fs::write(folder.path().join("deck.toml"), twin::demo::DECK_TOML).unwrap();
    folder
}

#[test]
fn a_steady_deck_is_in_control_and_told_its_term() {
    let folder = folder(&checks((0..30).map(scatter)));
    let ran = bedplate(folder.path(), &["checks", "checks.csv", "--deck", "deck.toml"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    for words in ["F1, 20 kg: in control, 30 checks", "Calibrate again by 2032-07-27: one year after the last check"] {
        assert!(ran.out.contains(words), "{words}: {}", ran.out);
    }
    assert!(ran.out.lines().all(|l| l.chars().count() <= 100), "{}", ran.out);
}

#[test]
fn a_shift_exits_1_names_its_signals_and_is_drawn() {
    let folder = folder(&checks((0..40).map(|i| scatter(i) + if i >= 28 { 4.0 } else { 0.0 })));
    let args = ["checks", "checks.csv", "--deck", "deck.toml", "--report", "checks.html"];
    let ran = bedplate(folder.path(), &args);
    assert_eq!(ran.status, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("OUT OF CONTROL") && ran.out.contains("! drifted, line 3"), "{}", ran.out);
    let html = fs::read_to_string(folder.path().join("checks.html")).unwrap();
    assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
    for word in ["<script", "src=", "href=", "url(", "@import"] {
        assert!(!html.contains(word), "{word}");
    }
    let out = json(&bedplate(folder.path(), &["checks", "checks.csv", "--json"]));
    let chart = &out["charts"][0];
    assert_eq!((out["in_control"].as_bool(), chart["points"].as_array().unwrap().len()), (Some(false), 40));
    assert!(chart["signals"].as_array().unwrap().iter().any(|s| s["kind"] == "drifted"), "{chart}");
    assert!(chart["due"].is_null(), "without a deck there is no term");
}

#[test]
fn bad_checks_and_options_end_with_2_and_say_what_to_change() {
    let head = "time,standard,shown_kg,mass_kg\n";
    let good = checks((0..30).map(scatter));
    for (text, more, words) in [
        (String::new(), vec![], vec!["checks.csv"]),
        (head.to_owned(), vec![], vec!["checks.csv", "at least one check"]),
        (checks((0..4).map(scatter)), vec![], vec!["checks.csv", "4 checks of \"F1\"", "at least 5"]),
        (checks((0..9).map(|_| 0.0)), vec![], vec!["all show 20 kg", "before rounding"]),
        (good.replace("2031-01-13T07", "2030-01-13T07"), vec![], vec!["checks.csv:3", "not before"]),
        (good.replace("20.0010,20", "20.0010,twenty"), vec![], vec!["checks.csv:2", "mass_kg", "twenty"]),
        (good.replace("20.0010,20", "NaN,20"), vec![], vec!["checks.csv:2", "shown_kg"]),
        (good.replace("shown_kg", "shown"), vec![], vec!["shown_kg"]),
        (good.clone(), vec!["--baseline", "2"], vec!["--baseline is 2", "at least 5"]),
        (good.clone(), vec!["--weight", "0"], vec!["--weight is 0"]),
        (good.clone(), vec!["--reach", "nan"], vec!["--reach is NaN"]),
        (good.clone(), vec!["--deck", "none.toml"], vec!["none.toml", "check the name"]),
        (good.clone(), vec!["--report", "none/c.html"], vec!["none/c.html", "folder must exist"]),
    ] {
        let folder = folder(&text);
        let ran = bedplate(folder.path(), &[&["checks", "checks.csv"], &more[..]].concat());
        assert!(ran.status == 2 && ran.out.is_empty() && !ran.err.contains("panicked"), "{more:?}: {}", ran.err);
        assert!(words.iter().all(|w| ran.err.contains(w)), "{words:?}: {}", ran.err);
    }
}
