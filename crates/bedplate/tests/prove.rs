//! `verify --report`, `agree --report` and `--width`, `noise`: what they print, what they write, what they refuse.

mod common;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use common::{Ran, bedplate, copy_of, json};

/// A calibrated copy of the hand-kept deck (cells A, B, C; Max 30 kg, e = 10 g).
fn calibrated() -> tempfile::TempDir {
    let folder = copy_of("hand");
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    folder
}

#[track_caller]
fn refused(ran: &Ran, words: &[&str]) {
    assert_eq!(ran.status, 2, "exit status; standard error: {}", ran.err);
    assert!(ran.out.is_empty() && !ran.err.contains("panicked"), "{}{}", ran.out, ran.err);
    for word in words {
        assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
    }
}

/// Nothing in a document of one file may point outside or run.
fn stands_alone(html: &str) {
    assert!(html.starts_with("<!DOCTYPE html>"));
    for word in ["<script", "src=", "href=", "url(", "@import"] {
        assert!(!html.contains(word), "{word}");
    }
}

const TESTS: &str = "test,step,load_kg,indication_kg,added_g,minutes\n\
    weighing,up,0,0,10,\nweighing,up,10,10,10,\nweighing,up,30,30.04,10,\nweighing,down,10,10.02,10,\n\
    creep,lying,30,30,10,0\ncreep,lying,30,30,12,15\ncreep,lying,30,30,13,30\n";

#[test]
fn verify_writes_evidence_that_stands_alone_and_says_what_it_is() {
    let folder = calibrated();
    fs::write(folder.path().join("tests.csv"), TESTS).unwrap();
    let args = ["verify", "deck.toml", "calibration.json", "tests.csv", "--report", "evidence.html"];
    let ran = bedplate(folder.path(), &args);
    let found = json(&bedplate(folder.path(), &["verify", "deck.toml", "calibration.json", "tests.csv", "--json"]));
    assert_eq!(ran.status, i32::from(found["passed"] == false), "{}", ran.err);
    let html = fs::read_to_string(folder.path().join("evidence.html")).unwrap();
    stands_alone(&html);
    for words in [
        "not an approval",
        "Local law decides",
        "Weighing performance",
        "Creep",
        "What was not tested",
        "Eccentricity",
        "tests.csv",
    ] {
        assert!(html.contains(words), "{words}");
    }
    // A chart a test, and every row of the file with its verdict.
    assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
    assert!(html.matches("class=\"verdict ").count() >= 7 + 2);
    for row in found["tests"].as_array().unwrap().iter().flat_map(|t| t["rows"].as_array().unwrap()) {
        assert!(html.contains(&format!("<th scope=\"row\">{}</th>", row["line"])), "{row}");
    }
}

/// The language is one of the document: what a program reads, and what the screen says, stay as they are.
#[test]
fn a_document_is_written_in_the_language_that_is_asked_for_and_nothing_else_changes() {
    let folder = calibrated();
    fs::write(folder.path().join("tests.csv"), TESTS).unwrap();
    fs::write(folder.path().join("pairs.csv"), pairs()).unwrap();
    let masses = "name,mass_kg,u_g,count\n10 kg,10,0.5,2\n";
    fs::write(folder.path().join("masses.csv"), masses).unwrap();
    let mut checks = "time,standard,shown_kg,mass_kg,note\n".to_owned();
    for day in 1..=12 {
        writeln!(checks, "2031-11-{day:02}T07:00:00Z,F1,{:.3},20,", 20.0 + f64::from(day % 4) * 0.001).unwrap();
    }
    fs::write(folder.path().join("checks.csv"), checks).unwrap();
    let verify = ["verify", "deck.toml", "calibration.json", "tests.csv"];
    let calls: [(&[&str], &str, &str); 6] = [
        (&["check", "deck.toml"], "--report", "Prüfung des Entwurfs vor dem Zuschnitt"),
        (&["plan", "deck.toml", "--masses", "masses.csv"], "--report", "Checkliste einer Kalibrierung"),
        (&["calibrate", "deck.toml", "run.csv"], "--certificate", "Kalibrierschein"),
        (&["checks", "checks.csv"], "--report", "Kontrollnormale über die Zeit"),
        (&verify, "--report", "Prüfbericht"),
        (&["agree", "pairs.csv"], "--report", "Übereinstimmung zweier Verfahren"),
    ];
    for (call, option, title) in calls {
        let asked = |more: &[&str]| bedplate(folder.path(), &[call, more].concat());
        let plain = asked(&["--json"]);
        let german = asked(&["--json", option, "de.html", "--language", "de"]);
        let english = asked(&["--json", option, "en.html"]);
        assert!(german.status < 2, "{call:?}: {}", german.err);
        // The time of a calibration is that of its run of the program.
        let timeless = |ran: &Ran| {
            let mut value = json(ran);
            value.as_object_mut().unwrap().remove("made_at");
            (ran.status, value)
        };
        assert_eq!(timeless(&german), timeless(&plain), "{call:?}");
        assert_eq!(timeless(&english), timeless(&plain), "{call:?}");
        let text = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
        let (german, english) = (text("de.html"), text("en.html"));
        stands_alone(&german);
        assert!(german.contains("<html lang=\"de\">") && german.contains(title), "{call:?}: no {title:?}");
        assert!(english.contains("<html lang=\"en\">") && !english.contains(title), "{call:?}");
        // Without a document there is nothing that the language could be of.
        refused(&asked(&["--language", "de"]), &[option]);
        refused(&asked(&[option, "x.html", "--language", "fr"]), &["fr", "en, de"]);
        assert!(!folder.path().join("x.html").exists());
    }
}

#[test]
fn a_report_that_cannot_be_written_is_an_error_and_nothing_is_printed() {
    let folder = calibrated();
    fs::write(folder.path().join("tests.csv"), TESTS).unwrap();
    let args = ["verify", "deck.toml", "calibration.json", "tests.csv", "--report", "none/evidence.html"];
    refused(&bedplate(folder.path(), &args), &["none/evidence.html", "folder must exist"]);
}

/// Invented pairs: five subjects, two operators, two repeats, the second operator 20 g higher.
fn pairs() -> String {
    let mut text = "subject,reference,method,repeat,operator\n".to_owned();
    for subject in 0..5 {
        for (operator, above) in [("one", 0.0), ("two", 0.02)] {
            for repeat in 0..2 {
                let kg = 50.0 + 8.0 * f64::from(subject);
                let wobble = f64::from((3 * subject + 2 * repeat) % 5) * 0.01;
                writeln!(text, "S{subject},{kg},{},{repeat},{operator}", kg + above + wobble).unwrap();
            }
        }
    }
    text
}

#[test]
fn agree_writes_its_charts_and_tells_operators_and_widths() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("pairs.csv"), pairs()).unwrap();
    let ran = bedplate(
        folder.path(),
        &["agree", "pairs.csv", "--report", "agree.html", "--width", "0.005", "--proportional"],
    );
    assert_eq!(ran.status, 0, "{}", ran.err);
    for words in ["reproducibility (operators)", "pairs would bring", "errors in both that grow with size"] {
        assert!(ran.out.contains(words), "{words}: {}", ran.out);
    }
    let html = fs::read_to_string(folder.path().join("agree.html")).unwrap();
    stands_alone(&html);
    assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
    let out = json(&bedplate(folder.path(), &["agree", "pairs.csv", "--width", "0.005", "--json"]));
    // n = 3 (2 t s/W)², and one pair fewer is not enough.
    let (sd, n) = (out["sd"].as_f64().unwrap(), out["pairs_needed"][0]["pairs"].as_f64().unwrap());
    let wanted = 3.0 * (2.0 * 1.98 * sd / 0.005).powi(2);
    assert!((n / wanted - 1.0).abs() < 0.03, "{n} pairs, about {wanted}");
    assert!(out["gauge"]["operators"] == 2 && out["deming_weighted"].is_null());
    for width in ["0", "-1", "NaN"] {
        refused(&bedplate(folder.path(), &["agree", "pairs.csv", &format!("--width={width}")]), &["width"]);
    }
}

/// Noise of the deck at rest: 40 counts rms on each cell, 10 rows a second, by a linear congruence.
fn recording(folder: &Path, rows: usize, mut change: impl FnMut(usize, &mut String)) {
    let mut state = 1_u64;
    let mut normal = || {
        let mut sum = -6.0;
        for _ in 0..12 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum
    };
    let mut text = "t_s,A,B,C\n".to_owned();
    for row in 0..rows {
        let [a, b, c] = [0, 0, 0].map(|_: i32| (1000.0 + 40.0 * normal()).round());
        let mut line = format!("{:.1},{a},{b},{c}", row as f64 / 10.0);
        change(row, &mut line);
        writeln!(text, "{line}").unwrap();
    }
    fs::write(folder.join("rest.csv"), text).unwrap();
}

#[test]
fn noise_tells_density_stability_and_the_smallest_change() {
    let folder = calibrated();
    recording(folder.path(), 6000, |_, _| {});
    let by_sheet = json(&bedplate(folder.path(), &["noise", "deck.toml", "rest.csv", "--json"]));
    let ran =
        bedplate(folder.path(), &["noise", "deck.toml", "rest.csv", "--calibration", "calibration.json", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    assert_eq!((&out["grams_by"], &by_sheet["grams_by"]), (&"calibration".into(), &"data sheet".into()));
    let calibration: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(folder.path().join("calibration.json")).unwrap()).unwrap();
    let mut variance = 0.0;
    for (cell, line) in out["cells"].as_array().unwrap().iter().zip(calibration["cells"].as_array().unwrap()) {
        let g = 1000.0 * line["kg_per_count"].as_f64().unwrap().abs();
        // 6000 rows: the standard deviation is sure to 1 %, the density to some 3 %.
        assert!((cell["sd_g"].as_f64().unwrap() / (40.0 * g) - 1.0).abs() < 0.04, "{}", cell["sd_g"]);
        assert!((cell["density_g"].as_f64().unwrap() / (40.0 * g * 0.2_f64.sqrt()) - 1.0).abs() < 0.1);
        assert!((cell["quantization"]["step_g"].as_f64().unwrap() / g - 1.0).abs() < 1e-9);
        variance += (40.0 * g).powi(2);
    }
    let first = &out["sum"]["allan"][0];
    assert!((first["tau_s"].as_f64().unwrap() - 0.1).abs() < 1e-9);
    assert!((first["allan_g"].as_f64().unwrap() / variance.sqrt() - 1.0).abs() < 0.04);
    let screen = bedplate(folder.path(), &["noise", "deck.toml", "rest.csv"]).out;
    for words in ["Best averaging time", "Drift of the weight", "Mains 50 Hz", "g/√Hz", "see `check`"] {
        assert!(screen.contains(words), "{words}: {screen}");
    }
    assert!(screen.lines().all(|l| l.chars().count() <= 100), "{screen}");
}

#[test]
fn a_gap_shortens_what_noise_judges_and_a_part_can_be_named() {
    let folder = calibrated();
    recording(folder.path(), 3000, |row, line| {
        if row == 1000 {
            *line = "100.0,,1000,1000".into();
        }
    });
    let out = json(&bedplate(folder.path(), &["noise", "deck.toml", "rest.csv", "--json"]));
    assert_eq!((&out["rows"], &out["stretches"], &out["rows_read"]), (&1999.into(), &2.into(), &3000.into()));
    let part =
        json(&bedplate(folder.path(), &["noise", "deck.toml", "rest.csv", "--from", "20", "--to", "60", "--json"]));
    assert_eq!(part["rows"], 401);
    assert!(part["from_s"] == 20.0 && part["to_s"] == 60.0);
}

#[test]
fn recordings_that_say_nothing_of_noise_are_refused() {
    let folder = calibrated();
    let noise = |file: &str| bedplate(folder.path(), &["noise", "deck.toml", file]);
    recording(folder.path(), 100, |_, _| {});
    refused(&noise("rest.csv"), &["rest.csv", "100 rows", "at least 128"]);
    recording(folder.path(), 2000, |row, line| *line = format!("{:.1},5,6,7", row as f64 / 10.0));
    refused(&noise("rest.csv"), &["no cell's counts change"]);
    recording(folder.path(), 2000, |row, line| *line = format!("{:.1},,6,7", row as f64 / 10.0));
    refused(&noise("rest.csv"), &["0 rows"]);
    recording(folder.path(), 200, |row, line| {
        if row == 50 {
            line.push_str(",7,7");
        }
    });
    refused(&noise("rest.csv"), &["rest.csv:52"]);
    refused(&noise("none.csv"), &["none.csv", "check the name"]);
    fs::write(folder.path().join("empty.csv"), "t_s,A,B,C\n").unwrap();
    refused(&noise("empty.csv"), &["0 rows"]);
    let twice = bedplate(folder.path(), &["noise", "deck.toml", "rest.csv", "--calibration", "deck.toml"]);
    refused(&twice, &["deck.toml"]);
}

/// Source: Ripley & Thompson, Analyst 112 (1987) 377–383: slope 0.973 with the errors of each pair (read).
#[test]
fn errors_stated_with_each_pair_weigh_them() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "subject,reference,u_reference,method,u_method\n".to_owned();
    let arsenate = include_str!("../../verify/tests/data/arsenate.csv");
    for (i, row) in arsenate.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())).enumerate() {
        writeln!(text, "{i},{row}").unwrap();
    }
    fs::write(folder.path().join("pairs.csv"), &text).unwrap();
    let ran = bedplate(folder.path(), &["agree", "pairs.csv", "--report", "agree.html"]);
    assert!(ran.status == 0 && ran.out.contains("slope, errors in both as stated"), "{}{}", ran.out, ran.err);
    assert!(fs::read_to_string(folder.path().join("agree.html")).unwrap().contains("as each pair states them"));
    let out = json(&bedplate(folder.path(), &["agree", "pairs.csv", "--json"]));
    assert!((out["deming_weighted"]["slope"].as_f64().unwrap() - 0.973).abs() < 2e-5, "{}", out["deming_weighted"]);
    assert_eq!(out["weighted_by"], "stated");
    fs::write(folder.path().join("pairs.csv"), text.replacen("1.92", "0", 1)).unwrap();
    refused(&bedplate(folder.path(), &["agree", "pairs.csv"]), &["pairs.csv:2", "u_reference", "above 0"]);
}
