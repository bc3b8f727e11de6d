//! `explore`, `draw` and the report of `check`, run as a user would.

mod common;

use std::fs;
use std::path::Path;

use common::{Ran, bedplate, json};
use serde_json::Value;

/// A folder with the deck of the demo, its search made short.
fn demo_deck() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let text = twin::demo::DECK_TOML;
    assert!(text.contains("rounds = 30"));
    fs::write(folder.path().join("deck.toml"), text.replace("rounds = 30", "rounds = 3")).unwrap();
    folder
}

fn spoil(folder: &Path, from: &str, to: &str) {
    let path = folder.join("deck.toml");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(from), "deck.toml holds no {from:?}");
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

#[track_caller]
fn refused(ran: &Ran, words: &[&str]) {
    assert_eq!(ran.status, 2, "exit status; standard error: {}", ran.err);
    assert!(ran.out.is_empty(), "standard output must stay empty: {}", ran.out);
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
    for word in words {
        assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = entries.collect();
    names.sort();
    names
}

#[test]
fn explore_gives_the_same_list_on_any_number_of_threads() {
    let folder = demo_deck();
    let one = bedplate(folder.path(), &["explore", "deck.toml", "--json", "--threads", "1"]);
    let three = bedplate(folder.path(), &["explore", "deck.toml", "--json", "--threads", "3"]);
    assert_eq!(one.status, 0, "{}", one.err);
    assert_eq!(one.out, three.out);
    assert!(one.err.contains("a second"), "{}", one.err);
    let found = json(&one);
    assert_eq!(found["finished"], true);
    assert_eq!(found["rounds"], 3);
    let designs = found["designs"].as_array().unwrap();
    assert!(designs.len() > 3);
    for (place, design) in designs.iter().enumerate() {
        assert_eq!(design["number"], place + 1);
        assert!(design["deflection_margin_mm"].as_f64().unwrap() >= 0.0);
        assert_eq!(design["plates"].as_array().unwrap().len(), 5);
    }
}

#[test]
fn a_design_written_out_checks_as_the_list_says() {
    let folder = demo_deck();
    let ran = bedplate(folder.path(), &["explore", "deck.toml", "--json", "--write", "2", "-o", "two.toml"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let design = json(&ran)["designs"][1].clone();
    let checked = bedplate(folder.path(), &["check", "two.toml", "--json"]);
    assert!(checked.status < 2, "{}", checked.err);
    let checked = json(&checked);
    let near = |a: &Value, b: &Value, share: f64| {
        let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
        assert!((a / b - 1.0).abs() < share, "{a} {b}");
    };
    near(&checked["mass_kg"], &design["mass_kg"], 1e-9);
    near(&checked["cost"], &design["cost"], 1e-9);
    // The meshes differ: reactions agree to 0.5 %.
    near(&checked["change"]["resolvable_24h_g"], &design["resolvable_24h_g"], 5e-3);
}

#[test]
fn explore_for_a_person_fits_the_screen_and_names_the_best() {
    let folder = demo_deck();
    let ran = bedplate(folder.path(), &["explore", "deck.toml"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    for words in ["best in", "resolvable change, 24 h", "A = ", "not for dosing"] {
        assert!(ran.out.contains(words), "no {words:?} in: {}", ran.out);
    }
    let longest = ran.out.lines().map(|l| l.chars().count()).max().unwrap();
    assert!(longest <= 110, "{longest} characters");
}

#[test]
fn explore_without_a_table_says_so() {
    let folder = demo_deck();
    let path = folder.path().join("deck.toml");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.split("[explore]").next().unwrap()).unwrap();
    refused(&bedplate(folder.path(), &["explore", "deck.toml"]), &["deck.toml", "no [explore] table"]);
}

#[test]
fn a_wrong_key_of_the_search_is_named() {
    let folder = demo_deck();
    spoil(folder.path(), "cells_per_plate = [3, 4]", "cells_per_plate = [2]");
    refused(&bedplate(folder.path(), &["explore", "deck.toml"]), &["cells_per_plate", "found 2, expected 3 to 6"]);
}

#[test]
fn a_number_out_of_the_list_leaves_no_file() {
    let folder = demo_deck();
    let ran = bedplate(folder.path(), &["explore", "deck.toml", "--write", "99999", "-o", "n.toml"]);
    // What a search of hours found is not lost for it.
    assert!(ran.status == 2 && ran.err.contains("--write 99999") && ran.err.contains("expected 1 to"), "{}", ran.err);
    assert!(ran.out.contains("designs"), "{}", ran.out);
    assert_eq!(names(folder.path()), ["deck.toml"]);
    refused(&bedplate(folder.path(), &["explore", "deck.toml", "--write", "0", "-o", "n.toml"]), &["--write"]);
    refused(&bedplate(folder.path(), &["explore", "deck.toml", "--write", "1"]), &["--output"]);
}

#[test]
fn a_place_that_cannot_be_written_is_told_before_the_search() {
    let folder = demo_deck();
    let ran = bedplate(folder.path(), &["explore", "deck.toml", "--write", "1", "-o", "no/such/two.toml"]);
    refused(&ran, &["could not write no/such/two.toml", "the folder must exist"]);
    assert!(!ran.err.contains("a second"));
}

#[test]
#[cfg(unix)]
fn ctrl_c_prints_what_was_found() {
    use std::io::{BufRead, BufReader, Read};

    let folder = demo_deck();
    // Far more than a test may take: only the signal ends it.
    spoil(folder.path(), "rounds = 3", "rounds = 1000000");
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .current_dir(folder.path())
        .args(["explore", "deck.toml", "--json"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut told = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    told.read_line(&mut line).unwrap();
    assert!(line.contains("designs tried so far") && line.contains("Ctrl-C"), "{line:?}");
    let id = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    // Both streams are read at once: a child whose pipe is full would wait for ever.
    let rest = std::thread::spawn(move || {
        let mut rest = String::new();
        told.read_to_string(&mut rest).map(|_| rest)
    });
    let done = child.wait_with_output().unwrap();
    let rest = rest.join().unwrap().unwrap();
    assert_eq!(done.status.code(), Some(0), "{rest}");
    assert!(rest.contains("a second"), "{rest}");
    let found: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(found["finished"], false);
    assert!(found["candidates"].as_u64().unwrap() > 0);
    assert!(!found["designs"].as_array().unwrap().is_empty());
}

/// An entity of a DXF file: its kind, layer, and numbers by group code.
struct Entity {
    kind: String,
    layer: String,
    numbers: std::collections::BTreeMap<u16, f64>,
    words: String,
}

/// The entities of a DXF file, read by their group codes.
fn entities(path: &Path) -> Vec<Entity> {
    let text = fs::read_to_string(path).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let mut found: Vec<Entity> = Vec::new();
    let mut within = false;
    for pair in lines.chunks(2) {
        let (code, value) = (pair[0].trim().parse::<u16>().unwrap(), pair[1]);
        match (code, value) {
            (2, "ENTITIES") => within = true,
            (0, "ENDSEC") => within = false,
            (0, kind) if within => found.push(Entity {
                kind: kind.into(),
                layer: String::new(),
                numbers: std::collections::BTreeMap::new(),
                words: String::new(),
            }),
            _ if within && !found.is_empty() => {
                let last = found.last_mut().unwrap();
                match code {
                    8 => last.layer = value.into(),
                    1 => last.words = value.into(),
                    _ => drop(last.numbers.insert(code, value.trim().parse().unwrap())),
                }
            }
            _ => {}
        }
    }
    assert_eq!(lines.last(), Some(&"EOF"));
    found
}

#[test]
fn a_drawing_holds_the_places_of_the_deck_file() {
    let folder = demo_deck();
    let rib =
        "ribs = [ { along = \"x\", at_mm = 212.0, width_mm = 20.0, height_mm = 5.0, material = \"aluminium 5052\" } ]";
    spoil(folder.path(), "bond = \"glued\"", &format!("bond = \"glued\"\n{rib}"));
    let ran = bedplate(folder.path(), &["draw", "deck.toml", "-o", "drawings", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert_eq!(json(&ran)["files"].as_array().unwrap().len(), 12);

    let text = fs::read_to_string(folder.path().join("deck.toml")).unwrap();
    let deck = formats::deck::read("deck.toml", &text).unwrap();
    let drawings = folder.path().join("drawings");
    let on_bed = entities(&drawings.join("assembly.dxf"));
    for plate in &deck.plates {
        let found = entities(&drawings.join(format!("plate-{}.dxf", plate.name)));
        // Coordinates are written to 1e-6 mm.
        let circle_at = |all: &[Entity], [x, y]: [f64; 2]| {
            all.iter()
                .any(|e| e.kind == "CIRCLE" && (e.numbers[&10] - x).abs() < 1e-6 && (e.numbers[&20] - y).abs() < 1e-6)
        };
        for cell in &plate.cells {
            assert!(circle_at(&found, cell.at_mm), "{}", cell.name);
            let [x, y] = [plate.origin_mm[0] + cell.at_mm[0], plate.origin_mm[1] + cell.at_mm[1]];
            assert!(circle_at(&on_bed, [x, y]), "{}", cell.name);
        }
        assert_eq!(found.iter().filter(|e| e.kind == "CIRCLE").count(), plate.cells.len());
        let outline: Vec<&Entity> = found.iter().filter(|e| e.layer == "OUTLINE").collect();
        assert_eq!(outline.len(), 4);
        let most = |code| outline.iter().map(|e| e.numbers[&code]).fold(0.0, f64::max);
        assert!((most(10) - plate.size_mm[0]).abs() < 1e-6 && (most(20) - plate.size_mm[1]).abs() < 1e-6);
        assert_eq!(
            found.iter().filter(|e| e.kind == "LINE" && e.layer == "RIB").count(),
            4 * plate.ribs.len(),
            "{}",
            plate.name
        );
        for layer in &plate.layers {
            let line = format!("  {}  {} mm", layer.material, layer.thickness_mm);
            assert!(found.iter().any(|e| e.words == line), "{line}");
        }
        let svg = fs::read_to_string(drawings.join(format!("plate-{}.svg", plate.name))).unwrap();
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>\n"));
        assert_eq!(svg.matches("<circle").count(), plate.cells.len());
    }
}

/// Numbers of a column by load case and plate, in the order of the file.
fn column(csv: &str, name: &str) -> std::collections::BTreeMap<(String, String), Vec<f64>> {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let at = reader.headers().unwrap().iter().position(|h| h == name).unwrap();
    let mut all = std::collections::BTreeMap::<(String, String), Vec<f64>>::new();
    for row in reader.records() {
        let row = row.unwrap();
        all.entry((row[0].to_owned(), row[1].to_owned())).or_default().push(row[at].parse().unwrap());
    }
    all
}

#[test]
fn the_deflection_field_is_written_as_data() {
    let folder = demo_deck();
    let ran = bedplate(folder.path(), &["check", "deck.toml", "--json", "--field", "field.csv"]);
    assert!(ran.status < 2, "{}", ran.err);
    let found = json(&ran);
    let text = fs::read_to_string(folder.path().join("field.csv")).unwrap();
    let deck = formats::deck::read("deck.toml", &fs::read_to_string(folder.path().join("deck.toml")).unwrap()).unwrap();
    let [down, left, x, bed_x] = ["deflection_mm", "clearance_left_mm", "x_mm", "bed_x_mm"].map(|c| column(&text, c));
    let mut n_cases = 0;
    for list in ["plates", "ward_loads"] {
        for plate in found[list].as_array().unwrap() {
            let name = plate["name"].as_str().unwrap();
            let of_file = deck.plate(name).unwrap();
            for case in plate["cases"].as_array().unwrap() {
                n_cases += 1;
                let key = (case["case"].as_str().unwrap().to_owned(), name.to_owned());
                let most = |values: &[f64]| values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let max_mm = case["max_deflection_mm"].as_f64().unwrap();
                // The grid of 37 by 23 points misses the largest deflection by little, and never exceeds it.
                assert!(most(&down[&key]) <= max_mm + 1e-5 && most(&down[&key]) >= 0.97 * max_mm, "{key:?}");
                for ((down, left), (x, bed_x)) in
                    down[&key].iter().zip(&left[&key]).zip(x[&key].iter().zip(&bed_x[&key]))
                {
                    assert!((down + left - of_file.clearance_mm).abs() < 2e-6);
                    assert!((bed_x - x - of_file.origin_mm[0]).abs() < 2e-6);
                }
                assert!((most(&x[&key]) - of_file.size_mm[0]).abs() < 1e-6);
            }
        }
    }
    assert_eq!(down.len(), n_cases);
    refused(
        &bedplate(folder.path(), &["check", "deck.toml", "--field", "no/such/field.csv"]),
        &["could not write no/such/field.csv"],
    );
}

/// What the deck file states of its use moves the budget, and is printed where the report lists it.
#[test]
fn practice_that_the_deck_states_moves_the_budget() {
    let folder = demo_deck();
    let before = json(&bedplate(folder.path(), &["check", "deck.toml", "--json"]));
    let stated = "[practice]\nzero_h = 1.0\ntare_kg = 12.0\noutput_tolerance_pct = 10.0\n\n[[plate]]";
    spoil(folder.path(), "[[plate]]", stated);
    let ran = bedplate(folder.path(), &["check", "deck.toml", "--json", "--report", "check.html"]);
    assert_eq!(ran.status, 1, "a deck of cells that nobody calibrated keeps to no 100 g: {}", ran.err);
    let after = json(&ran);
    let u_g = |found: &Value, source: &str| {
        let rows = found["budget"].as_array().unwrap();
        rows.iter().find(|r| r["source"] == source).unwrap()["u_g"]["200"].as_f64().unwrap()
    };
    // √(1 − e^(−1 h/6 h)) of the drift since a zero long ago.
    let share = (1.0 - (-1.0_f64 / 6.0).exp()).sqrt();
    assert!((u_g(&after, "temperature on zero") / u_g(&before, "temperature on zero") - share).abs() < 1e-9);
    assert!(u_g(&after, "calibration") > 20.0 * u_g(&before, "calibration"));
    let html = fs::read_to_string(folder.path().join("check.html")).unwrap();
    for words in ["rated output to ± 10 %", "12 kg", "time since the zero was taken"] {
        assert!(html.contains(words), "no {words:?}");
    }
    spoil(folder.path(), "zero_h = 1.0", "zero_hours = 1.0");
    refused(&bedplate(folder.path(), &["check", "deck.toml"]), &["practice.zero_hours", "unknown key"]);
}

#[test]
fn drawings_are_refused_where_they_cannot_be_written() {
    let folder = demo_deck();
    refused(&bedplate(folder.path(), &["draw", "deck.toml", "-o", "deck.toml"]), &["could not write deck.toml"]);
    refused(&bedplate(folder.path(), &["draw", "deck.toml"]), &["--output"]);
}
