//! `plan` as a person uses it: a plan, its files, the run made on the twin's bench and calibrated; the touch check; bad input.

mod common;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use calibrate::plan::{PlanOptions, plan, run_to_fill};
use common::{bedplate, json};
use formats::deck::Deck;
use twin::cell::CellSpread;
use twin::{BenchFault, BenchOptions, Press};

const MASSES: &str = "name,mass_kg,u_g,count,about_kg\nF1,20,0.58,1,\ncan,,,4,19.5\n";

/// A folder with the example deck and masses.
fn folder() -> (tempfile::TempDir, Deck) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("deck.toml"), twin::demo::DECK_TOML).unwrap();
    fs::write(folder.path().join("masses.csv"), MASSES).unwrap();
    (folder, formats::deck::read("deck.toml", twin::demo::DECK_TOML).unwrap())
}

#[test]
fn a_plan_is_printed_filled_in_and_calibrated() {
    let (folder, deck) = folder();
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--masses", "masses.csv", "-o", "out", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let made = json(&ran);
    let lifts = made["lifts"].as_array().unwrap();
    assert_eq!(made["open"], serde_json::json!([]));
    let empty = fs::read_to_string(folder.path().join("out/run.csv")).unwrap();
    assert_eq!(empty.lines().filter(|l| l.contains(",F1,") || l.contains(",can")).count(), lifts.len());
    // Not before it is filled in: the message names the first empty place.
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "out/run.csv"]);
    assert!(ran.status == 2 && ran.err.contains("run.csv:2:11: B1: found nothing"), "{}", ran.err);

    let masses = formats::masses::read("masses.csv", MASSES).unwrap();
    let same = plan(&deck, &masses, &PlanOptions::default()).unwrap();
    let options = BenchOptions { spread: CellSpread::ideal(), ..BenchOptions::default() };
    let cans = ["can 1", "can 1-2", "can 1-4"].map(|label| (label.to_owned(), 19.0));
    let run = twin::planned_run(&deck, 5, &options, &run_to_fill(&deck, &same), &BTreeMap::from(cans)).unwrap();
    fs::write(folder.path().join("out/run.csv"), formats::run::write(&run.run)).unwrap();
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "out/run.csv", "--json"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    for (cell, forecast) in json(&ran)["cells"].as_array().unwrap().iter().zip(made["cells"].as_array().unwrap()) {
        let u_pct = 100.0 * cell["u_kg_per_count"].as_f64().unwrap() / cell["kg_per_count"].as_f64().unwrap();
        // Ideal cells scatter less than their sheet: never more than was forecast, but for the estimate's own spread.
        assert!(u_pct < 1.5 * forecast["u_pct"].as_f64().unwrap(), "{cell} against {forecast}");
    }
    // Readings are never overwritten.
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--masses", "masses.csv", "-o", "out"]);
    assert!(ran.status == 2 && ran.err.contains("may hold readings"), "{}", ran.err);
}

#[test]
fn the_checklist_has_every_step_and_a_drawing_for_each_placement() {
    let (folder, deck) = folder();
    let deck_text = twin::demo::DECK_TOML.replace("Hornbeam deck", "Horn<b>eam & deck");
    fs::write(folder.path().join("deck.toml"), deck_text).unwrap();
    let args = ["plan", "deck.toml", "--masses", "masses.csv", "--report", "list.html", "--json"];
    let ran = bedplate(folder.path(), &args);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let made = json(&ran);
    let html = fs::read_to_string(folder.path().join("list.html")).unwrap();
    let lifts = made["lifts"].as_array().unwrap();
    assert_eq!(html.matches("<svg class=\"deck\"").count(), lifts.len());
    assert_eq!(html.matches("class=\"body\"").count(), lifts.len());
    let last = lifts.last().unwrap()["step"].as_u64().unwrap();
    for step in 1..=last + 1 {
        assert!(html.contains(&format!("Step {step}<")), "step {step}");
    }
    assert!(deck.cells().all(|(_, c)| html.contains(&format!(">{}<", c.name))), "the touch check names every cell");
    assert!(!html.contains("<b>") && html.contains("Horn&lt;b&gt;eam &amp; deck"));
}

#[test]
fn the_screen_says_how_it_stands_against_masses_on_the_centres() {
    let (folder, _) = folder();
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--masses", "masses.csv"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let screen = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in
        ["A weight of 80 kg", "in the same", "Criterion: least sum", "Not needed: can", "Lift by your local rules"]
    {
        assert!(screen.contains(words), "{words}: {screen}");
    }
    assert!(ran.out.lines().all(|l| l.chars().count() <= 100), "{}", ran.out);
}

#[test]
fn too_few_placements_exit_1_and_name_what_is_open_and_what_closes_it() {
    let (folder, _) = folder();
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--masses", "masses.csv", "--lifts", "4"]);
    assert_eq!(ran.status, 1, "{}", ran.err);
    assert!(ran.out.contains("! Open: ") && ran.out.contains("further placements would close them"), "{}", ran.out);
    assert!(ran.out.contains("no weight is determined"), "{}", ran.out);
}

/// A recording of a touch check on the twin, as a file.
fn record(folder: &Path, deck: &Deck, faults: Vec<BenchFault>) {
    let presses: Vec<Press> = calibrate::touch::touch_places(deck)
        .iter()
        .map(|p| Press {
            plate: deck.plates.iter().position(|plate| plate.name == p.plate).unwrap(),
            at_mm: [p.x_mm, p.y_mm],
        })
        .collect();
    let options = BenchOptions { faults, ..BenchOptions::default() };
    let (header, samples) = twin::touch_recording(deck, 3, &options, &presses).unwrap();
    let mut writer = formats::recording::Writer::new(Vec::new(), &header).unwrap();
    samples.iter().for_each(|s| writer.write(s).unwrap());
    fs::write(folder.join("touch.csv"), writer.finish().unwrap()).unwrap();
}

#[test]
fn a_touch_check_is_listed_recorded_and_judged() {
    let (folder, deck) = folder();
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--touch"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("should answer") && deck.cells().all(|(_, c)| ran.out.contains(&c.name)), "{}", ran.out);

    record(folder.path(), &deck, Vec::new());
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--touched", "touch.csv"]);
    assert_eq!(ran.status, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("Every cell answers at its own place"), "{}", ran.out);

    let swapped = BenchFault::Swapped { cell: "B1".into(), with: "L6".into() };
    record(folder.path(), &deck, vec![swapped, BenchFault::Reversed { cell: "S2".into() }]);
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--touched", "touch.csv", "--json"]);
    assert_eq!(ran.status, 1, "{}", ran.err);
    let found: Vec<(String, String)> = json(&ran)["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (f["kind"].as_str().unwrap().to_owned(), f["cell"].as_str().unwrap().to_owned()))
        .collect();
    let pair = |kind: &str, cell: &str| (kind.to_owned(), cell.to_owned());
    assert_eq!(found, [pair("swapped", "B1"), pair("reversed", "S2"), pair("swapped", "L6")]);
}

#[test]
fn bad_masses_and_options_end_with_2_and_say_what_to_change() {
    let (folder, deck) = folder();
    record(folder.path(), &deck, Vec::new());
    let head = "name,mass_kg,u_g,count\n";
    for (masses, words) in [
        (String::new(), vec!["masses.csv"]),
        (head.to_owned(), vec!["masses.csv", "at least one body"]),
        (format!("{head}F1,-20,0.5,1\n"), vec!["masses.csv:2", "mass_kg", "-20"]),
        (format!("{head}F1,20,0.5,1\nF1,10,0.5,1\n"), vec!["masses.csv:3", "line 2", "count"]),
        (format!("{head}F1,20,0.5,1.5\n"), vec!["masses.csv:2", "count", "whole"]),
        (format!("{head}F1,30,0.5,1\n"), vec!["masses.csv", "25 kg", "fixes the scale"]),
        (format!("{head}can,,,4\n"), vec!["masses.csv", "fixes the scale"]),
    ] {
        fs::write(folder.path().join("masses.csv"), &masses).unwrap();
        let ran = bedplate(folder.path(), &["plan", "deck.toml", "--masses", "masses.csv", "-o", "out"]);
        assert!(ran.status == 2 && ran.out.is_empty() && !ran.err.contains("panicked"), "{masses}: {}", ran.err);
        assert!(words.iter().all(|w| ran.err.contains(w)), "{masses}: {}", ran.err);
        assert!(!folder.path().join("out").exists(), "no half-written folder");
    }
    fs::write(folder.path().join("masses.csv"), MASSES).unwrap();
    let with = |more: &[&str]| {
        let args = [&["plan", "deck.toml", "--masses", "masses.csv"], more].concat();
        bedplate(folder.path(), &args)
    };
    for (more, words) in [
        (vec!["--lifts", "0"], "--lifts is 0, expected 1 to 200"),
        (vec!["--lifts", "5000"], "--lifts is 5000, expected 1 to 200"),
        (vec!["--plate-kg", "5"], "the bound set for a plate"),
        (vec!["--u-pct", "nan"], "--u-pct"),
        (vec!["--touch"], "cannot be used with"),
    ] {
        let ran = with(&more);
        assert!(ran.status == 2 && ran.out.is_empty() && ran.err.contains(words), "{more:?}: {}", ran.err);
    }
    for (recording, words) in [("t_s,B1\n0,1\n", "B2"), ("touch\n", "t_s")] {
        fs::write(folder.path().join("other.csv"), recording).unwrap();
        let ran = bedplate(folder.path(), &["plan", "deck.toml", "--touched", "other.csv"]);
        assert!(ran.status == 2 && ran.err.contains(words), "{}", ran.err);
    }
    let whole = fs::read_to_string(folder.path().join("touch.csv")).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    fs::write(folder.path().join("half.csv"), lines[..lines.len() / 2].join("\n")).unwrap();
    let ran = bedplate(folder.path(), &["plan", "deck.toml", "--touched", "half.csv"]);
    assert!(ran.status == 2 && ran.err.contains("presses, expected 18"), "{}", ran.err);
}
