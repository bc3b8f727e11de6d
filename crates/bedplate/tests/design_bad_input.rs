//! Decks that cannot be built or that hold a trap: an error, or a warning, that says what the physics then means.

mod common;

use std::fs;
use std::path::Path;

use common::{bedplate, copy_of, json};

/// The hand-kept deck with pieces of its file replaced.
fn deck(changes: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = copy_of("hand");
    let path = folder.path().join("deck.toml");
    let mut text = fs::read_to_string(&path).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "deck.toml holds no {from:?}");
        text = text.replacen(from, to, 1);
    }
    fs::write(path, text).unwrap();
    folder
}

/// The deck is refused in one message with file, line and these words.
#[track_caller]
fn refused(changes: &[(&str, &str)], words: &[&str]) {
    let folder = deck(changes);
    for verb in [&["check", "deck.toml"][..], &["draw", "deck.toml", "-o", "drawings"]] {
        let ran = bedplate(folder.path(), verb);
        assert_eq!(ran.status, 2, "{}{}", ran.out, ran.err);
        assert!(ran.out.is_empty() && !ran.err.contains("panicked"), "{}{}", ran.out, ran.err);
        assert!(ran.err.contains("deck.toml:"), "no line in: {}", ran.err);
        for word in words {
            assert!(ran.err.contains(word), "no {word:?} in: {}", ran.err);
        }
    }
    assert!(!folder.path().join("drawings").exists());
}

/// The deck is checked, and the result holds a warning with these words, as JSON and on the screen.
#[track_caller]
fn warned(folder: &Path, words: &[&str]) -> serde_json::Value {
    let ran = bedplate(folder, &["check", "deck.toml", "--json"]);
    assert!(ran.status < 2, "{}", ran.err);
    let found = json(&ran);
    let warnings: Vec<&str> = found["warnings"].as_array().unwrap().iter().map(|w| w.as_str().unwrap()).collect();
    assert!(warnings.iter().any(|w| words.iter().all(|word| w.contains(word))), "no {words:?} in: {warnings:#?}");
    let screen = bedplate(folder, &["check", "deck.toml"]).out;
    assert!(screen.lines().any(|l| l.starts_with("! ") && l.contains(words[0])), "no {words:?} in: {screen}");
    found
}

const SECOND_PLATE: &str = r#"[[plate]]
name = "second"
section = "cot"
origin_mm = [600.0, 10.0]
size_mm = [15.0, 400.0]
clearance_mm = 5.0
bond = "glued"
layers = [ { material = "aluminium 5052", thickness_mm = 2.0 } ]
cells = [
  { name = "D", type = "bar 20", at_mm = [2.0, 50.0] },
  { name = "E", type = "bar 20", at_mm = [13.0, 50.0] },
  { name = "F", type = "bar 20", at_mm = [7.0, 350.0] },
]
[[load_case]]"#;

#[test]
fn overlapping_plates_are_refused() {
    refused(&[("[[load_case]]", SECOND_PLATE)], &["plate[1].origin_mm", "lie on plate", "cot", "neither could move"]);
}

#[test]
fn a_plate_longer_than_its_section_is_warned_of() {
    let folder = deck(&[("length_mm = 620.0", "length_mm = 580.0")]);
    warned(folder.path(), &["over a hinge it jams", "from 10 to 610 mm along the bed", "deck.toml:"]);
}

#[test]
fn a_rib_outside_its_plate_is_refused() {
    let rib = |at: f64, height: f64| {
        format!(
            "bond = \"glued\"\nribs = [ {{ along = \"x\", at_mm = {at:?}, width_mm = 20.0, height_mm = {height:?}, material = \"aluminium 5052\" }} ]"
        )
    };
    refused(
        &[("bond = \"glued\"", &rib(395.0, 3.0))],
        &["ribs[0].at_mm", "a rib from 385 to 405 mm along y", "0 to 400 mm"],
    );
}

#[test]
fn a_rib_that_reaches_the_base_is_refused() {
    let rib = "bond = \"glued\"\nribs = [ { along = \"x\", at_mm = 200.0, width_mm = 20.0, height_mm = 6.0, material = \"aluminium 5052\" } ]";
    refused(
        &[("bond = \"glued\"", rib)],
        &["plate[0].ribs[0].height_mm", "found 6", "less than the clearance of 5 mm", "stand on the base"],
    );
}

#[test]
fn cells_in_one_line_are_refused() {
    refused(
        &[("at_mm = [300.0, 350.0]", "at_mm = [300.0, 50.0]")],
        &["plate[0].cells", "in one line", "on a line the plate tips"],
    );
}

#[test]
fn a_material_without_a_needed_constant_is_refused() {
    let material = "[[material]]\nname = \"oak\"\nnu = 0.3\ndensity_kg_m3 = 700.0\nstrength_MPa = 60.0\n[[plate]]";
    refused(
        &[("[[plate]]", material), ("\"birch plywood\"", "\"oak\"")],
        &["material[0].E_MPa", "found nothing, expected a number above 0"],
    );
}

/// The shear of a core adds to the deflection what the file must state a constant for.
#[test]
fn a_soft_core_without_its_shear_modulus_is_warned_of() {
    let core =
        "[[material]]\nname = \"core\"\nE_MPa = 40.0\nnu = 0.3\ndensity_kg_m3 = 60.0\nstrength_MPa = 1.0\n[[plate]]";
    let stack = "{ material = \"core\", thickness_mm = 12.0 }, { material = \"aluminium 5052\", thickness_mm = 1.0 } ]";
    let board = "{ material = \"birch plywood\", thickness_mm = 6.0 } ]";
    let stiff = deck(&[("[[plate]]", core), (board, stack)]);
    let found = warned(stiff.path(), &["G_transverse_MPa", "cot", "% further"]);
    let stated = core.replace("strength_MPa", "G_transverse_MPa = 15.4\nstrength_MPa");
    let shearing = deck(&[("[[plate]]", &stated), (board, stack)]);
    let ran = bedplate(shearing.path(), &["check", "deck.toml", "--json"]);
    let mm = |report: &serde_json::Value| report["plates"][0]["cases"][0]["max_deflection_mm"].as_f64().unwrap();
    assert!(!ran.out.contains("G_transverse_MPa"), "{}", ran.out);
    assert!(mm(&json(&ran)) > 1.5 * mm(&found), "{} {}", mm(&json(&ran)), mm(&found));
}

#[test]
fn a_clearance_of_nothing_is_refused() {
    refused(
        &[("clearance_mm = 5.0", "clearance_mm = 0.0")],
        &["plate[0].clearance_mm", "found 0", "the top lies on its base, which carries the load past the cells"],
    );
}

#[test]
fn a_load_outside_every_plate_is_refused() {
    let patch = |plate: &str, x: f64| {
        format!(
            "patches = [ {{ plate = \"{plate}\", x_mm = {x:?}, y_mm = 10.0, length_mm = 80.0, width_mm = 80.0, kg = 5.0 }} ]"
        )
    };
    refused(
        &[("even_kg = 20.0", &patch("cot", 590.0))],
        &["patches[0].x_mm", "from 590 to 670 mm", "what lies beside the plate it does not carry"],
    );
    refused(&[("even_kg = 20.0", &patch("nowhere", 10.0))], &["patches[0].plate", "nowhere"]);
}

#[test]
fn a_patient_on_a_section_without_a_plate_is_not_all_weighed() {
    let sections = "length_mm = 620.0\nangle_deg = [0.0, 0.0]\n[[section]]\nname = \"foot\"\nlength_mm = 500.0";
    let patient = "patient = { mass_kg = 20.0, height_mm = 1100.0, sex = \"female\", mattress_kg = 2.0 }";
    let folder = deck(&[("length_mm = 620.0", sections), ("even_kg = 20.0", patient)]);
    let found = warned(folder.path(), &["lie on sections without a plate", "the deck does not weigh them"]);
    assert!(found["plates"][0]["cases"][0]["load_kg"].as_f64().unwrap() < 21.0);
}

/// All the load on a corner outside the triangle of the cells: the plate goes down onto its base, and what bears there is not weighed.
#[test]
fn a_load_outside_the_cells_lifts_or_touches() {
    let patch =
        "patches = [ { plate = \"cot\", x_mm = 0.0, y_mm = 370.0, length_mm = 30.0, width_mm = 30.0, kg = 20.0 } ]";
    let folder = deck(&[("even_kg = 20.0", patch)]);
    warned(folder.path(), &["lifts off B"]);
    let found = warned(folder.path(), &["touches its base", "the reading is too low"]);
    assert!(found["plates"][0]["cases"][0]["shunted_pct"].as_f64().unwrap() > 1.0);
}
