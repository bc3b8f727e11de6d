//! `calibrate`, `verify` and `agree` on input that makes no sense: exit status 2, nothing on standard output, one message that names
//! file, line and what was expected, and no file left behind.

mod common;

use std::fs;
use std::path::Path;

use common::{Ran, bedplate, copy_of};

const RUN: &str = "step,plate,x_mm,y_mm,mass_kg,u_mass_g,load,temperature_C,A,B,C\n\
                   1,,,,0,,,21.0,1199,-851,431\n\
                   2,cot,300,150,10,0.05,,21.0,17866,12484,21263\n\
                   3,cot,150,100,10,0.05,,21.0,37033,3817,10845\n\
                   4,cot,450,100,10,0.05,,21.0,7033,27817,10847\n\
                   5,cot,300,280,10,0.05,,21.0,7033,3819,48347\n";

const TESTS: &str = "test,step,plate,load_kg,indication_kg,added_g,minutes,temperature_C,tilt_deg\n\
                     weighing,up,,10,10,5,,,\n";

#[track_caller]
fn refused(ran: &Ran, words: &[&str]) {
    assert_eq!(ran.status, 2, "exit status; standard error: {}{}", ran.out, ran.err);
    assert!(ran.out.is_empty() && !ran.err.contains("panicked"), "{}{}", ran.out, ran.err);
    for word in words {
        assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
    }
}

fn write(folder: &Path, file: &str, text: &str) {
    fs::write(folder.join(file), text).unwrap();
}

/// The text with `from`, which must stand in it, replaced once.
fn with(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "no {from:?}");
    text.replacen(from, to, 1)
}

/// The hand-kept deck with the run above, calibrated.
fn calibrated() -> tempfile::TempDir {
    let folder = copy_of("hand");
    write(folder.path(), "run.csv", RUN);
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    folder
}

#[test]
fn runs_that_make_no_sense_are_refused_with_their_line() {
    let folder = copy_of("hand");
    let head = RUN.lines().next().unwrap();
    let only = |keep: &[usize]| -> String {
        let rows = RUN.lines().enumerate().filter(|(i, _)| keep.contains(i));
        rows.map(|(_, line)| format!("{line}\n")).collect()
    };
    for (run, words) in [
        (format!("{head}\n"), vec!["run.csv", "no zero reading"]),
        (only(&[0, 2, 3]), vec!["run.csv", "no zero reading", "mass_kg 0"]),
        (only(&[0, 1]), vec!["run.csv", "known mass"]),
        (with(RUN, "2,cot,300,150,10,0.05,,", "2,cot,300,150,,,,"), vec!["run.csv:3", "mass_kg", "label"]),
        (with(RUN, "2,cot,", "2,cott,"), vec!["run.csv:3", "plate", "cott"]),
        (with(RUN, "2,cot,", "2,,"), vec!["run.csv:3", "plate"]),
        (with(RUN, "2,cot,300", "2,cot,3000"), vec!["run.csv:3", "x_mm", "3000"]),
        (with(RUN, "150,10,0.05", "150,-10,0.05"), vec!["run.csv:3", "mass_kg", "-10"]),
        (with(RUN, "150,10,0.05", "150,10,-0.05"), vec!["run.csv:3", "u_mass_g"]),
        (with(RUN, "150,10,0.05,,21.0", "150,10,0.05,,210"), vec!["run.csv:3", "temperature_C", "210"]),
        (with(RUN, "17866", ""), vec!["run.csv:3", "A", "nothing"]),
        (with(RUN, "17866", "inf"), vec!["run.csv:3", "A", "inf"]),
        (with(RUN, "temperature_C,A", "A,A"), vec!["run.csv:1", "A"]),
    ] {
        write(folder.path(), "run.csv", &run);
        let args = ["calibrate", "deck.toml", "run.csv", "-o", "c.json", "--certificate", "c.html"];
        refused(&bedplate(folder.path(), &args), &words);
        assert!(!folder.path().join("c.json").exists() && !folder.path().join("c.html").exists(), "a file was left");
    }
}

#[test]
fn options_of_calibrate_that_do_not_fit_are_refused() {
    let folder = calibrated();
    let other = fs::read_to_string(folder.path().join("calibration.json")).unwrap().replace("\"A\"", "\"X\"");
    write(folder.path(), "other.json", &other);
    write(folder.path(), "details.toml", "[certificate]\nnumbr = \"1\"\n");
    for (more, words) in [
        (vec!["--replaced", "A"], vec!["--earlier"]),
        (vec!["--details", "details.toml"], vec!["--certificate"]),
        (vec!["--earlier", "none.json"], vec!["none.json", "check the name"]),
        (vec!["--earlier", "deck.toml"], vec!["deck.toml"]),
        (vec!["--earlier", "other.json"], vec!["other.json", "X"]),
        (vec!["--earlier", "calibration.json", "--replaced", "X9"], vec!["X9"]),
        (vec!["--certificate", "c.html", "--details", "details.toml"], vec!["details.toml:2", "numbr", "number"]),
        (vec!["--certificate", "none/c.html"], vec!["none/c.html", "folder must exist"]),
        (vec!["-o", "none/c.json"], vec!["none/c.json", "folder must exist"]),
    ] {
        let args = [&["calibrate", "deck.toml", "run.csv"], &more[..]].concat();
        refused(&bedplate(folder.path(), &args), &words);
    }
}

#[test]
fn tests_that_make_no_sense_are_refused_with_their_line() {
    let folder = calibrated();
    let row = "weighing,up,,10,10,5,,,";
    for (tests, words) in [
        (TESTS.lines().next().unwrap().to_owned() + "\n", vec!["tests.csv", "at least one"]),
        (with(TESTS, "weighing,", "wieghing,"), vec!["tests.csv:2", "wieghing", "weighing"]),
        (with(TESTS, "load_kg", "load"), vec!["tests.csv:1", "load_kg"]),
        (with(TESTS, "10,10,5", "-10,10,5"), vec!["tests.csv:2", "load_kg", "-10"]),
        (with(TESTS, "10,10,5", "10,NaN,5"), vec!["tests.csv:2", "indication_kg", "NaN"]),
        (with(TESTS, "10,10,5", "10,10,five"), vec!["tests.csv:2", "added_g", "five"]),
        (with(TESTS, row, "eccentricity,1,cott,10,10,5,,,"), vec!["tests.csv:2", "plate", "cott"]),
        (with(TESTS, row, "creep,1,,10,10,5,,,"), vec!["tests.csv:2", "minutes", "creep"]),
        (with(TESTS, row, "tilt,1,,10,10,5,,,"), vec!["tests.csv:2", "tilt_deg"]),
        (with(TESTS, row, "temperature,1,,0,0,5,,,"), vec!["tests.csv:2", "temperature_C"]),
        (with(TESTS, row, "tilt,1,,10,10,5,,,100"), vec!["tests.csv:2", "tilt_deg", "100"]),
    ] {
        write(folder.path(), "tests.csv", &tests);
        let args = ["verify", "deck.toml", "calibration.json", "tests.csv", "--report", "evidence.html"];
        refused(&bedplate(folder.path(), &args), &words);
        assert!(!folder.path().join("evidence.html").exists(), "a file was left");
    }
    write(folder.path(), "tests.csv", TESTS);
    let text = fs::read_to_string(folder.path().join("calibration.json")).unwrap();
    write(folder.path(), "calibration.json", &text[..text.len() / 2]);
    let cut = bedplate(folder.path(), &["verify", "deck.toml", "calibration.json", "tests.csv"]);
    refused(&cut, &["calibration.json"]);
}

#[test]
fn pairs_and_options_that_make_no_sense_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let pairs = "subject,reference,method\na,50,50.1\nb,60,60.1\nc,70,70.2\nd,80,80.1\n";
    for (text, more, words) in [
        ("subject,reference,method\n".to_owned(), vec![], vec!["pairs.csv", "0 pairs", "at least 3"]),
        (pairs.lines().take(3).map(|l| format!("{l}\n")).collect(), vec![], vec!["pairs.csv", "2 pairs", "at least 3"]),
        (with(pairs, "method", "methods"), vec![], vec!["pairs.csv:1", "method"]),
        (with(pairs, "b,60", ",60"), vec![], vec!["pairs.csv:3", "subject"]),
        (with(pairs, "60.1", "sixty"), vec![], vec!["pairs.csv:3", "method", "sixty"]),
        (with(pairs, "60.1", "\"60,1\""), vec![], vec!["pairs.csv:3", "method", "point"]),
        (pairs.to_owned(), vec!["--ratio", "0"], vec!["--ratio", "'0'", "a number above 0"]),
        (pairs.to_owned(), vec!["--ratio", "-1"], vec!["--ratio", "'-1'", "a number above 0"]),
        (pairs.to_owned(), vec!["--ratio", "nan"], vec!["--ratio", "'nan'", "a number above 0"]),
        (pairs.to_owned(), vec!["--report", "none/a.html"], vec!["none/a.html", "folder must exist"]),
    ] {
        write(folder.path(), "pairs.csv", &text);
        refused(&bedplate(folder.path(), &[&["agree", "pairs.csv"], &more[..]].concat()), &words);
    }
}
