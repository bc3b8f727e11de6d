//! Each bad input ends with exit status 2 and one message that says what to change; never a panic, never a half file.

mod common;

use std::fs;
use std::path::Path;

use common::{Ran, bedplate, copy_of};

/// Spoils a text file by replacing `from`, which must stand in it.
fn spoil(folder: &Path, file: &str, from: &str, to: &str) {
    let path = folder.join(file);
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(from), "{file} holds no {from:?}");
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

#[track_caller]
fn refused(ran: &Ran, words: &[&str]) {
    assert_eq!(ran.status, 2, "exit status; standard error: {}", ran.err);
    assert!(ran.out.is_empty(), "standard output must stay empty: {}", ran.out);
    assert!(!ran.err.contains("panicked") && !ran.err.contains("RUST_BACKTRACE"), "{}", ran.err);
    for word in words {
        assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
    }
}

/// A calibrated copy of the hand-kept deck.
fn calibrated() -> tempfile::TempDir {
    let folder = copy_of("hand");
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    folder
}

#[test]
fn a_missing_file_is_named() {
    let folder = copy_of("hand");
    refused(&bedplate(folder.path(), &["check", "dekc.toml"]), &["dekc.toml", "check the name"]);
}

#[test]
fn a_folder_in_place_of_a_file_is_named() {
    let folder = copy_of("hand");
    refused(&bedplate(folder.path(), &["check", "."]), &["could not read ."]);
}

#[test]
fn bad_toml_is_shown_with_line_and_column() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "max_kg = 30.0", "max_kg = = 30.0");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["deck.toml:4:", "max_kg = = 30.0"]);
}

#[test]
fn an_unknown_key_is_met_with_the_near_one() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "clearance_mm", "clearence_mm");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["deck.toml:", "clearence_mm", "clearance_mm"]);
}

#[test]
fn a_negative_thickness_is_refused_with_its_key() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "thickness_mm = 2.0", "thickness_mm = -2.0");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["deck.toml:", "thickness_mm", "-2"]);
}

#[test]
fn a_cell_outside_its_plate_is_refused() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "at_mm = [550.0, 50.0]", "at_mm = [650.0, 50.0]");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["deck.toml:", "at_mm", "650", "600"]);
}

#[test]
fn two_cells_of_one_name_are_refused() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "name = \"B\"", "name = \"A\"");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["deck.toml:", "\"A\""]);
}

#[test]
fn several_problems_are_told_at_once() {
    let folder = copy_of("hand");
    spoil(folder.path(), "deck.toml", "thickness_mm = 2.0", "thickness_mm = -2.0");
    spoil(folder.path(), "deck.toml", "name = \"B\"", "name = \"A\"");
    spoil(folder.path(), "deck.toml", "class = \"III\"", "class = \"V\"");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["thickness_mm", "\"A\"", "class"]);
}

#[test]
fn not_a_number_in_a_run_is_refused_with_its_line() {
    let folder = copy_of("hand");
    spoil(folder.path(), "run.csv", "1199", "NaN");
    refused(&bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv"]), &["run.csv:2", "A", "NaN"]);
}

#[test]
fn a_ragged_row_is_refused_with_its_line() {
    let folder = copy_of("hand");
    spoil(folder.path(), "run.csv", "1199,", "1199,7,7,");
    refused(&bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv"]), &["run.csv:2"]);
}

#[test]
fn a_decimal_comma_is_met_with_advice() {
    let folder = calibrated();
    spoil(folder.path(), "recording.csv", ",0.0,", ",\"0,0\",");
    refused(
        &bedplate(folder.path(), &["weigh", "deck.toml", "calibration.json", "recording.csv"]),
        &["recording.csv:2", "t_s", "point"],
    );
}

#[test]
fn time_running_backwards_is_refused_and_no_file_is_left() {
    let folder = calibrated();
    spoil(folder.path(), "recording.csv", ",60.0,", ",30.0,");
    let ran = bedplate(
        folder.path(),
        &["weigh", "deck.toml", "calibration.json", "recording.csv", "--actions", "actions.csv", "-o", "weights.csv"],
    );
    refused(&ran, &["recording.csv:122", "t_s", "30"]);
    assert!(!folder.path().join("weights.csv").exists(), "a half-written file was left");
    let parts = fs::read_dir(folder.path())
        .unwrap()
        .filter(|e| e.as_ref().unwrap().file_name().to_string_lossy().contains("part"))
        .count();
    assert_eq!(parts, 0, "a part was left");
}

#[test]
fn a_calibration_of_another_deck_is_refused() {
    let folder = calibrated();
    spoil(folder.path(), "calibration.json", "\"name\": \"C\"", "\"name\": \"X9\"");
    refused(
        &bedplate(folder.path(), &["weigh", "deck.toml", "calibration.json", "recording.csv"]),
        &["calibration.json", "X9", "C"],
    );
}

#[test]
fn a_run_of_another_deck_is_refused() {
    let folder = copy_of("hand");
    spoil(folder.path(), "run.csv", ",step,B\r\n", ",step,Z\r\n");
    refused(&bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv"]), &["run.csv:1", "B"]);
}

#[test]
fn rubbish_is_refused_by_every_reader() {
    let folder = calibrated();
    fs::write(folder.path().join("rubbish"), b"\x00\x01,\xf0\x9f\x9b\x8f\n\"unclosed").unwrap();
    fs::write(folder.path().join("empty"), b"").unwrap();
    fs::write(folder.path().join("latin"), b"t_s,A,B,C\n0,1,2,\xe9\n").unwrap();
    for bad in ["rubbish", "empty", "latin"] {
        for args in [
            &["check", bad][..],
            &["calibrate", "deck.toml", bad],
            &["calibrate", bad, "run.csv"],
            &["weigh", "deck.toml", "calibration.json", bad],
            &["weigh", "deck.toml", bad, "recording.csv"],
            &["verify", "deck.toml", "calibration.json", bad],
            &["agree", bad],
            &["balance", bad, bad, bad],
            &["dose", bad],
        ] {
            refused(&bedplate(folder.path(), args), &[bad]);
        }
    }
}

#[test]
fn a_weight_that_no_person_has_is_refused_by_dose() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("patient.toml"), "[patient]\nlabel = \"bed 3\"\nage_y = 40.0\n").unwrap();
    for (kg, shown) in [("-5", "-5"), ("NaN", "NaN"), ("5000", "5000"), ("0", "0")] {
        let ran = bedplate(folder.path(), &["dose", "patient.toml", "--measured", kg]);
        refused(&ran, &["patient.toml", "measured weight", shown, "0.3 to 400"]);
    }
    refused(&bedplate(folder.path(), &["dose", "patient.toml", "--measured", "heavy"]), &["--measured", "heavy"]);
    // Neither a weight nor anything that one could be estimated from.
    refused(&bedplate(folder.path(), &["dose", "patient.toml"]), &["patient.toml", "weight", "not given"]);
}

#[test]
fn dose_refuses_by_name_what_the_patient_file_does_not_say() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("patient.toml"), "[patient]\nlabel = \"bed 3\"\n").unwrap();
    let ran = bedplate(folder.path(), &["dose", "patient.toml", "--measured", "70", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = common::json(&ran);
    for (name, lacks) in [
        ("Mosteller 1987", "height_mm"),
        ("predicted body weight (ARDSNet)", "sex"),
        ("total body water (Watson 1980)", "sex"),
        ("creatinine clearance (Cockcroft-Gault 1976)", "creatinine_umol_L"),
        ("blood volume (table per kg, middle)", "age_y"),
        ("Buckley 2011", "abdomen_mm"),
        ("Chumlea 1988", "arm_circumference_mm"),
        ("height (Rabito 2006)", "arm_length_mm"),
        ("filtration rate (original Schwartz)", "sex"),
        ("weight for age, standard score (CDC 2000)", "sex"),
    ] {
        let told = out["refused"].as_array().unwrap().iter().find(|r| r["name"] == name);
        let reason = told.and_then(|r| r["reason"].as_str()).unwrap_or_default();
        assert!(reason.contains(lacks), "{name}: {reason:?}");
    }
}

#[test]
fn usage_errors_exit_2() {
    let folder = copy_of("hand");
    refused(&bedplate(folder.path(), &["chek", "deck.toml"]), &["chek"]);
    refused(&bedplate(folder.path(), &["check"]), &["DECK"]);
    refused(&bedplate(folder.path(), &["weigh", "deck.toml", "c", "r", "--start", "yesterday"]), &["--start"]);
    // A number below 0 is the option's, and told as that.
    for (verb, option, value, words) in [
        ("agree", "--width", "-1", "a number above 0"),
        ("agree", "--ratio", "0", "a number above 0"),
        ("plan", "--lifts", "-1", "'-1'"),
        ("plan", "--u-pct", "-1", "u-pct is -1"),
    ] {
        let files: &[&str] = if verb == "plan" { &["deck.toml", "--masses", "masses.csv"] } else { &["pairs.csv"] };
        fs::write(folder.path().join("masses.csv"), "name,mass_kg,u_g\nM,20,0.1\n").unwrap();
        let ran = bedplate(folder.path(), &[&[verb], files, &[option, value]].concat());
        refused(&ran, &[option, words]);
        assert!(!ran.err.contains("unexpected argument"), "{}", ran.err);
    }
}

#[test]
fn text_in_another_encoding_is_told_with_its_place() {
    let folder = calibrated();
    let spoilt = |bytes: &[u8]| {
        fs::write(folder.path().join("actions.csv"), bytes).unwrap();
        bedplate(
            folder.path(),
            &["weigh", "deck.toml", "calibration.json", "recording.csv", "--actions", "actions.csv"],
        )
    };
    refused(&spoilt(b"t_s,action,kg,note\n60,tare,,\n70,item_on,1,21 \xb0C\n"), &["actions.csv:3:17", "not UTF-8"]);
    refused(&spoilt(b"\xff\xfet\0_\0s\0"), &["actions.csv: found text in UTF-16"]);
    refused(&spoilt(b"t_s,action,kg,note\r60,tare,,\r"), &["actions.csv:1", "carriage return alone"]);
}

/// `draw` writes several files: nothing is said of those before the one that failed.
#[test]
fn a_file_that_stands_where_a_folder_is_meant_is_told_as_that() {
    let folder = copy_of("hand");
    fs::write(folder.path().join("taken"), "x").unwrap();
    refused(&bedplate(folder.path(), &["draw", "deck.toml", "-o", "taken"]), &["taken", "name a folder"]);
    assert_eq!(fs::read_to_string(folder.path().join("taken")).unwrap(), "x");
}
