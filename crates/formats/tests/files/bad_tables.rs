//! Tables that are wrong: what is said, where, and what to change.

use bedplate_formats::recording::{Reader, Sample};
use bedplate_formats::{Problems, actions, chart, pairs, run, tests, weights};

use super::test_deck;

const RUN_HEAD: &str = "step,plate,x_mm,y_mm,mass_kg,u_mass_g,load,temperature_C,H1,H2,H3,H4,F1,F2,F3\n";
const COUNTS: &str = "1,2,3,4,5,6,7";

/// The first lines of all messages, without the text shown below them.
fn messages<T: std::fmt::Debug>(read: Result<T, Problems>) -> Vec<String> {
    let problems = read.expect_err("the file is wrong");
    problems.0.iter().map(|p| p.to_string().lines().next().unwrap_or_default().to_owned()).collect()
}

fn run_with(rows: &str) -> Vec<String> {
    messages(run::read("run.csv", &format!("{RUN_HEAD}{rows}"), &test_deck()))
}

fn read_recording(text: &[u8]) -> Result<Vec<Sample>, Problems> {
    let deck = test_deck();
    let mut reader = Reader::new("rec.csv", text, &deck)?;
    let mut samples = Vec::new();
    let mut sample = Sample::default();
    while reader.next_sample(&mut sample)? {
        samples.push(sample.clone());
    }
    Ok(samples)
}

fn recording_with(head: &str, rows: &str) -> Vec<String> {
    messages(read_recording(format!("{head}\n{rows}").as_bytes()))
}

const RECORDING_HEAD: &str = "t_s,temperature_C,tilt_back_deg,H1,H2,H3,H4,F1,F2,F3";

#[test]
fn an_empty_file_and_other_separators_are_named() {
    let expected = ["pairs.csv: found an empty file, expected a row of column names"];
    assert_eq!(messages(pairs::read("pairs.csv", "")), expected);
    assert_eq!(messages(pairs::read("pairs.csv", "\r\n")), expected);
    assert_eq!(
        messages(pairs::read("pairs.csv", "subject;reference;method\n1;2;3\n")),
        [
            "pairs.csv:1: found columns separated by semicolons, expected columns separated by commas, and numbers with a \
         decimal point"
        ]
    );
}

#[test]
fn missing_and_double_columns_are_named_with_what_stands_there() {
    assert_eq!(
        messages(pairs::read("pairs.csv", "subject,Reference,methods\n")),
        [
            "pairs.csv:1: found the columns `subject`, `Reference`, `methods`, expected columns `reference`, `method` as well \
         (is `Reference` for `reference`, `methods` for `method` a slip?)"
        ]
    );
    assert_eq!(
        messages(pairs::read("pairs.csv", "subject,reference,method,method\n")),
        ["pairs.csv:1:26: found a second column `method`, expected each column once"]
    );
}

#[test]
fn a_run_of_another_deck_names_its_cells() {
    let text = RUN_HEAD.replace("F3", "G3");
    assert_eq!(
        messages(run::read("run.csv", &text, &test_deck())),
        [
            "run.csv:1: found the columns `step`, `plate`, `x_mm`, `y_mm`, `mass_kg`, `u_mass_g`, `load`, `temperature_C`, \
         `H1`, `H2`, `H3`, `H4`, `F1`, `F2`, `G3`, expected the cell `F3` as well, as the deck `Hazel test deck` has \
         them: is the file of another deck?"
        ]
    );
}

#[test]
fn a_ragged_row_is_named_with_its_line() {
    assert_eq!(
        run_with(&format!("1,,,,0,,,22.5,{COUNTS}\n2,,,,0,,,22,5,{COUNTS}\n3,,,,0,,\n")),
        [
            "run.csv:3:27: found 16 fields, expected 15, as many as the header has (a number with a decimal comma counts as \
         two: write a point)",
            "run.csv:4: found 7 fields, expected 15, as many as the header has",
        ]
    );
}

#[test]
fn the_line_is_right_behind_a_field_of_several_lines() {
    assert_eq!(
        messages(pairs::read("p.csv", "subject,reference,method,note\n1,2,3,\"a\nb\"\n2,x,3,\n")),
        ["p.csv:4:3: reference: found `x`, expected a number"]
    );
    assert_eq!(
        messages(pairs::read("p.csv", "subject,reference,method\n\"1,2,3\n4,5,6\n")),
        ["p.csv:2: found an open quotation mark, expected a closing one before the file ends"]
    );
}

#[test]
fn an_empty_line_between_rows_is_named() {
    assert_eq!(
        messages(pairs::read("p.csv", "subject,reference,method\n1,2,3\n\n2,3,4\n")),
        ["p.csv:3: found an empty line, expected a row: only at the end may lines be empty"]
    );
}

#[test]
fn numbers_that_are_none_are_shown_with_a_caret() {
    let text = "subject,reference,method\n1,512,494\n2,\"430,5\",NaN\n3,,5 L\n";
    let problems = pairs::read("pairs.csv", text).unwrap_err();
    assert_eq!(
        problems.to_string(),
        "pairs.csv:3:3: reference: found `430,5`, expected a number, written with a decimal point: `430.5`\n\
         \x20     3 | 2,\"430,5\",NaN\n\
         \x20       |   ^\n\
         pairs.csv:3:11: method: found `NaN`, expected a number that is finite\n\
         \x20     3 | 2,\"430,5\",NaN\n\
         \x20       |           ^\n\
         pairs.csv:4:3: reference: found nothing, expected a number\n\
         \x20     4 | 3,,5 L\n\
         \x20       |   ^\n\
         pairs.csv:4:4: method: found `5 L`, expected a number without its unit (the name of the column or key carries \
         it): `5`\n\
         \x20     4 | 3,,5 L\n\
         \x20       |    ^"
    );
}

#[test]
fn bytes_that_are_not_utf8_are_named() {
    let text = [RECORDING_HEAD.as_bytes(), b"\n0,22,0,1,2,3,4,5,6,7\n1,22,\xb0,1,2,3,4,5,6,7\n"].concat();
    assert_eq!(
        messages(read_recording(&text)),
        ["rec.csv:3:6: found a byte that is not UTF-8, expected UTF-8 (save the file with that encoding)"]
    );
}

#[test]
fn a_load_of_a_run_must_be_told() {
    let row = |fields: &str| run_with(&format!("{fields},22.5,{COUNTS}\n"));
    assert_eq!(
        row("1,,,,,,"),
        [
            "run.csv:2:6: mass_kg: found nothing, expected a mass, 0 for a reading without load, or a label in the column \
         `load` for a body of unknown mass"
        ]
    );
    assert_eq!(row("1,,,,20,,"), ["run.csv:2:3: plate: found nothing, expected the plate that the load lay on"]);
    assert_eq!(row("1,,,,,,can"), ["run.csv:2:3: plate: found nothing, expected the plate that the load lay on"]);
    assert_eq!(
        row("1,seat,1,2,20,,"),
        ["run.csv:2:3: plate: found `seat`, expected a plate of the deck: one of `head` or `foot`"]
    );
    assert_eq!(
        row("1,head,800,,20,,"),
        [
            "run.csv:2:8: x_mm: found 800, expected a place on the plate `head`, from 0 to 780 mm",
            "run.csv:2:12: y_mm: found nothing, expected the place on the plate, in mm from its own corner",
        ]
    );
    assert_eq!(row("1,head,1,2,-20,,"), ["run.csv:2:12: mass_kg: found -20, expected a number of at least 0"]);
    assert_eq!(row("1,head,1,2,20,-1,"), ["run.csv:2:15: u_mass_g: found -1, expected a number of at least 0"]);
    assert_eq!(
        row("1,head,1,2,0,,can"),
        ["run.csv:2:12: mass_kg: found 0, expected no mass for the body `can` if it is unknown, or its mass"]
    );
}

#[test]
fn a_time_of_a_recording_that_does_not_run_forward_names_both() {
    assert_eq!(
        recording_with(RECORDING_HEAD, "0,22,0,1,2,3,4,5,6,7\n0.2,22,0,1,2,3,4,5,6,7\n0.1,22,0,1,2,3,4,5,6,7\n"),
        ["rec.csv:4:1: t_s: found 0.1 s, expected a time after 0.2 s of line 3: time runs forward"]
    );
    assert_eq!(
        recording_with(RECORDING_HEAD, "0,22,0,1,2,3,4,5,6,7\n0,22,0,1,2,3,4,5,6,7\n"),
        ["rec.csv:3:1: t_s: found 0 s, expected a time after 0 s of line 2: time runs forward"]
    );
}

#[test]
fn columns_of_a_recording_must_be_of_the_deck() {
    assert_eq!(
        recording_with("t_s,tilt_bak_deg,H1,H2,H3,H4,F1,F2,F3", ""),
        [
            "rec.csv:1: tilt_bak_deg: found `bak`, expected a section of the deck: one of `back` or `rest` (did you mean `back`?)"
        ]
    );
    assert!(recording_with("t_s,H1,H2,F1,F2,F3", "")[0].contains("expected the cells `H3`, `H4` as well, as the deck"));
    assert_eq!(
        recording_with("t_s,H1,H1,H2,H3,H4,F1,F2,F3", ""),
        ["rec.csv:1:8: found a second column `H1`, expected each column once"]
    );
}

#[test]
fn values_of_a_recording_must_be_numbers_in_range() {
    assert_eq!(
        recording_with(RECORDING_HEAD, "0,22,95,1,x,3,4,5,6,inf\n"),
        [
            "rec.csv:2:6: tilt_back_deg: found 95, expected a number from -89 to 89",
            "rec.csv:2:11: H2: found `x`, expected a number",
            "rec.csv:2:21: F3: found `inf`, expected a number that is finite",
        ]
    );
    assert_eq!(
        recording_with(RECORDING_HEAD, "0,22,,1,2,3,4,5,6,7\n"),
        ["rec.csv:2:6: tilt_back_deg: found nothing, expected an angle in the first row, to begin with"]
    );
}

#[test]
fn actions_must_be_known_and_in_order() {
    let read = |rows: &str| messages(actions::read("a.csv", &format!("t_s,action,kg,note\n{rows}")));
    assert_eq!(
        read("40,tarre,,\n"),
        [
            "a.csv:2:4: action: found `tarre`, expected one of `tare`, `patient_on`, `patient_off`, `add`, `remove`, `hold`, \
         `release`, `patient_step` or `withdraw` (did you mean `tare`?)"
        ]
    );
    assert_eq!(
        read("40,tare,,\n50,hold,,\n45,release,,\n"),
        ["a.csv:4:1: t_s: found 45 s, expected a time not before 50 s of line 3: time runs forward"]
    );
    for kg in ["-1", "700.5"] {
        let expected = format!("a.csv:2:8: kg: found {kg}, expected a number from 0 to 700");
        assert_eq!(read(&format!("40,add,{kg},\n")), [expected]);
    }
}

#[test]
fn weights_must_agree_with_their_state() {
    let read = |rows: &str| messages(weights::read("w.csv", &format!("time,t_s,patient_kg,u_kg,state\n{rows}")));
    let at = "2031-03-04T00:00:00Z";
    assert_eq!(
        read(&format!("{at},0,,0.03,settled\n")),
        ["w.csv:2:24: patient_kg: found nothing, expected a weight in kg, for the state is `settled`"]
    );
    assert_eq!(
        read(&format!("{at},0,70,,settled\n")),
        ["w.csv:2:27: u_kg: found nothing, expected the standard uncertainty in kg"]
    );
    assert_eq!(
        read(&format!("{at},0,70,0.1,empty\n")),
        ["w.csv:2:24: patient_kg: found 70, expected no weight, for the state is `empty`"]
    );
    assert_eq!(
        read(&format!("{at},0,,,asleep\n")),
        [
            "w.csv:2:26: state: found `asleep`, expected one of `settled`, `moving`, `held`, `empty`, `overload` or `fault`"
        ]
    );
    assert_eq!(
        read(&format!("{at},0,,,empty\n{at},1,,,empty\n")),
        ["w.csv:3:1: time: found 2031-03-04T00:00:00Z, expected a time after 2031-03-04T00:00:00Z: time runs forward"]
    );
}

#[test]
fn tests_must_hold_what_they_are_about() {
    let head = "test,plate,x_mm,y_mm,load_kg,indication_kg,minutes";
    let read = |rows: &str| messages(tests::read("t.csv", &format!("{head}\n{rows}"), &test_deck()));
    assert_eq!(
        read("creep,,,,90,90,\n"),
        ["t.csv:2:16: minutes: found nothing, expected a value in `minutes`, which a test of creep is about"]
    );
    assert_eq!(
        read("tilt,,,,90,90,\n"),
        ["t.csv:2: found nothing, expected a value in `tilt_deg`, which a test of tilt is about"]
    );
    assert_eq!(
        read("weighing,,3,4,90,90,\n"),
        ["t.csv:2:10: plate: found nothing, expected the plate that the place is on"]
    );
    assert_eq!(read("weigh,,,,-90,90,\n")[1..], ["t.csv:2:10: load_kg: found -90, expected a number of at least 0"]);
}

#[test]
fn charts_must_have_their_zone_and_each_entry_once() {
    let read = |rows: &str| {
        messages(chart::read("c.csv", &format!("time,direction,route,volume_mL,leaves_deck,note\n{rows}")))
    };
    assert_eq!(
        read("2031-03-04T08:30:00,intake,iv,100,,\n"),
        ["c.csv:2:1: time: found `2031-03-04T08:30:00`, expected the time with its zone as well, such as \
         `2031-03-04T08:30:00Z` or `2031-03-04T08:30:00+01:00`"]
    );
    assert_eq!(
        read("04.03.2031 08:30,intake,iv,100,,\n"),
        ["c.csv:2:1: time: found `04.03.2031 08:30`, expected a time as RFC 3339, such as `2031-03-04T08:30:00Z`"]
    );
    assert_eq!(
        read(
            "2031-03-04T08:30:00Z,intake,iv,100,,\n2031-03-04T09:30:00Z,intake,iv,100,,\n2031-03-04T08:30:00Z,intake,iv,100,,\n"
        ),
        [
            "c.csv:4: found a row that stands twice, expected each entry once: line 2 is the same (if both were given, tell \
         them apart in `note`)"
        ]
    );
    assert_eq!(
        read("2031-03-04T08:30:00Z,in,iv,-100,maybe,\n"),
        [
            "c.csv:2:22: direction: found `in`, expected one of `intake` or `output`",
            "c.csv:2:28: volume_mL: found -100, expected a number of at least 0 (`direction` says in or out)",
            "c.csv:2:33: leaves_deck: found `maybe`, expected one of `yes` or `no`",
        ]
    );
}

#[test]
fn no_more_than_fifty_problems_are_kept() {
    let rows = "x,y,z\n".repeat(1000);
    let problems = pairs::read("p.csv", &format!("subject,reference,method\n{rows}")).unwrap_err();
    assert!((50..60).contains(&problems.0.len()), "{}", problems.0.len());
}
