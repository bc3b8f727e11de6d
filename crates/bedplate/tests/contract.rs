//! Every verb on the demo's own files: `--json` carries the contract's fields, tables go to standard output, and the files
//! are those that the next stage reads.

mod common;

use std::path::Path;
use std::sync::LazyLock;

use common::{bedplate, json};
use serde_json::Value;

/// The demo's files, made once.
static FILES: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let ran = bedplate(folder.path(), &["demo", "--no-serve", "--dir", "."]);
    assert_eq!(ran.status, 0, "{}\n{}", ran.out, ran.err);
    assert!(ran.err.is_empty(), "nothing belongs on standard error: {}", ran.err);
    for verb in ["check", "twin", "calibrate", "verify", "agree", "weigh", "balance"] {
        assert!(ran.out.contains(&format!("$ bedplate {verb} ")), "the demo shows no {verb}");
    }
    folder
});

fn files() -> &'static Path {
    FILES.path()
}

#[track_caller]
fn has(value: &Value, keys: &[&str]) {
    for key in keys {
        assert!(
            value.get(key).is_some(),
            "no {key:?} in {}",
            serde_json::to_string(value).unwrap().chars().take(300).collect::<String>()
        );
    }
}

#[test]
fn the_demo_leaves_every_file_of_the_contract() {
    for name in [
        "deck.toml",
        "run.csv",
        "calibration.json",
        "tests.csv",
        "pairs.csv",
        "recording.csv",
        "actions.csv",
        "weights.csv",
        "patient.toml",
        "chart.csv",
        "truth.json",
        "truth.csv",
    ] {
        assert!(files().join(name).metadata().is_ok_and(|m| m.len() > 0), "no {name}");
    }
}

#[test]
fn check_tells_plates_budget_bill_and_requirements() {
    let ran = bedplate(files(), &["check", "deck.toml", "--json"]);
    let out = json(&ran);
    assert_eq!(ran.status, i32::from(out["requirements"].as_array().unwrap().iter().any(|r| r["met"] == false)));
    has(&out, &["plates", "budget", "expanded_u_g", "mass_kg", "cost", "bill", "requirements"]);
    has(&out["plates"][0], &["name", "mass_kg", "cases"]);
    let case = &out["plates"][0]["cases"][0];
    has(
        case,
        &[
            "case",
            "max_deflection_mm",
            "at_mm",
            "clearance_left_mm",
            "touches",
            "shunted_pct",
            "max_stress_MPa",
            "safety_factor",
            "cells",
        ],
    );
    has(&case["cells"][0], &["name", "reaction_N", "load_pct_of_capacity", "lifts"]);
    has(&out["budget"][0], &["source", "kind", "u_g"]);
    has(&out["bill"][0], &["item", "quantity", "mass_kg", "cost"]);
    has(&out["requirements"][0], &["name", "value", "limit", "met"]);
    assert!(out["expanded_u_g"].get("200").is_some(), "loads are keys: {}", out["expanded_u_g"]);
    // Reactions and what is shunted add up to the load on the plate.
    for plate in out["plates"].as_array().unwrap() {
        for case in plate["cases"].as_array().unwrap() {
            let sum: f64 = case["cells"].as_array().unwrap().iter().map(|c| c["reaction_N"].as_f64().unwrap()).sum();
            let load = case["load_N"].as_f64().unwrap();
            let carried = load * (1.0 - case["shunted_pct"].as_f64().unwrap() / 100.0);
            assert!((sum - carried).abs() <= 5e-3 * load + 1e-6, "{}: {sum} N of {load} N", plate["name"]);
        }
    }
}

#[test]
fn calibrate_tells_cells_loads_and_covariance() {
    let ran = bedplate(files(), &["calibrate", "deck.toml", "run.csv", "--json"]);
    let out = json(&ran);
    has(
        &out,
        &[
            "deck",
            "made_at",
            "gravity_m_s2",
            "cells",
            "residual_sd_g",
            "degrees_of_freedom",
            "lack_of_fit_p",
            "max_residual_g",
            "loads",
            "covariance",
            "findings",
        ],
    );
    has(&out["cells"][0], &["name", "zero_counts", "kg_per_count", "u_kg_per_count", "status"]);
    has(&out["loads"][0], &["label", "kg", "u_kg"]);
    assert_eq!(ran.status, i32::from(!out["findings"].as_array().unwrap().is_empty()));
    // The truth beside the run, which the fit has not seen.
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(files().join("truth.json")).unwrap()).unwrap();
    for cell in truth["bench"]["cells"].as_array().unwrap() {
        let found = out["cells"].as_array().unwrap().iter().find(|c| c["name"] == cell["name"]).unwrap();
        let (k, u) = (found["kg_per_count"].as_f64().unwrap(), found["u_kg_per_count"].as_f64().unwrap());
        let true_k = cell["kg_per_count"].as_f64().unwrap();
        // The truth is the slope at no load. A cell that bows by its sheet's 0.02 % of rated output at half load leaves
        // that slope by up to 4 × 0.02 %.
        assert!((k - true_k).abs() < 4.0 * u + 8e-4 * true_k, "{}: {k} ± {u}, true {true_k}", cell["name"]);
    }
}

#[test]
fn verify_tells_tests_with_limits() {
    let ran = bedplate(files(), &["verify", "deck.toml", "calibration.json", "tests.csv", "--json"]);
    let out = json(&ran);
    has(&out, &["class", "e_g", "tests", "deviation_pct", "passed"]);
    has(&out["tests"][0], &["test", "worst_error_g", "limit_g", "passed", "rows"]);
    has(&out["deviation_pct"], &["mean", "max"]);
    assert_eq!(ran.status, i32::from(out["passed"] == false));
    let service =
        json(&bedplate(files(), &["verify", "deck.toml", "calibration.json", "tests.csv", "--in-service", "--json"]));
    let limit = |v: &Value| {
        v["tests"].as_array().unwrap().iter().find(|t| t["test"] == "weighing").unwrap()["limit_g"].as_f64().unwrap()
    };
    assert!(
        (limit(&service) - 2.0 * limit(&out)).abs() < 1e-9,
        "limits in service are twice those of initial verification"
    );
}

#[test]
fn agree_tells_bias_limits_and_lines() {
    let ran = bedplate(files(), &["agree", "pairs.csv", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    has(
        &out,
        &[
            "n",
            "bias",
            "sd",
            "limits",
            "limits_ci",
            "bias_ci",
            "concordance",
            "deming",
            "passing_bablok",
            "within_5_pct",
            "within_10_pct",
            "repeatability",
        ],
    );
    has(&out["deming"], &["slope", "intercept"]);
    has(&out["passing_bablok"], &["slope", "slope_ci", "intercept", "intercept_ci"]);
}

#[test]
fn weigh_tells_rows_events_and_faults_and_keeps_the_truth_within_its_doubt() {
    let ran = bedplate(
        files(),
        &[
            "weigh",
            "deck.toml",
            "calibration.json",
            "recording.csv",
            "--actions",
            "actions.csv",
            "--every",
            "60",
            "-o",
            "again.csv",
            "--json",
        ],
    );
    let out = json(&ran);
    has(&out, &["settled", "rows", "last", "tare_kg", "events", "faults"]);
    has(&out["last"], &["t_s", "patient_kg", "u_kg", "state"]);
    has(&out["events"][0], &["t_s", "kind", "kg", "u_kg", "x_mm", "y_mm", "text"]);
    assert_eq!(ran.status, i32::from(out["last"]["state"] == "fault"));
    let again = std::fs::read_to_string(files().join("again.csv")).unwrap();
    assert!(again.starts_with("t_s,patient_kg,u_kg,state,open_kg\n"), "without a start there is no time");
    assert_eq!(again.lines().count() - 1, usize::try_from(out["rows"].as_u64().unwrap()).unwrap());
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(files().join("truth.json")).unwrap()).unwrap();
    let (tare, true_tare) = (out["tare_kg"].as_f64().unwrap(), truth["night"]["tare_kg"].as_f64().unwrap());
    // A tenth of e: what a class III deck of 100 g may be asked of a tare at rest.
    assert!((tare - true_tare).abs() < 0.010, "tare {tare}, true {true_tare}");
}

#[test]
fn balance_tells_rows_overload_forecast_and_alerts() {
    let ran = bedplate(files(), &["balance", "patient.toml", "weights.csv", "chart.csv", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    has(&out, &["rows", "overload_pct", "insensible_mL_h", "forecast", "resolvable_mL_24h", "alerts"]);
    has(
        &out["rows"][0],
        &["time", "mass_kg", "u_kg", "weighed_mL", "charted_mL", "unexplained_mL", "u_unexplained_mL"],
    );
    has(&out["overload_pct"], &["charted", "weighed", "fused", "u_fused"]);
    has(&out["forecast"][0], &["time", "mass_kg", "low_kg", "high_kg"]);
    for row in out["rows"].as_array().unwrap() {
        let of = |key: &str| row[key].as_f64().unwrap();
        assert!((of("unexplained_mL") - (of("weighed_mL") - of("charted_mL"))).abs() < 1e-6, "{row}");
    }
}

#[test]
fn dose_tells_weights_quantities_effects_and_refusals() {
    let ran = bedplate(files(), &["dose", "patient.toml", "--measured", "74.2", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    has(&out, &["label", "reference", "weights", "heights", "quantities", "effects", "refused", "cautions"]);
    has(&out["weights"][0], &["name", "kind", "kg", "difference_pct", "facts"]);
    assert_eq!(out["reference"], "measured weight");
    for quantity in out["quantities"].as_array().unwrap() {
        has(quantity, &["unit", "facts", "values"]);
        has(&quantity["facts"], &["name", "formula", "source", "status", "range", "caution"]);
        for key in ["name", "formula", "source", "range"] {
            assert!(quantity["facts"][key].as_str().is_some_and(|text| !text.is_empty()), "{key}: {quantity}");
        }
    }
    let screen = bedplate(files(), &["dose", "patient.toml", "--measured", "74.2"]);
    assert_eq!(screen.status, 0, "{}", screen.err);
    for words in ["MEASURED", "Refused, and why", "What the figures rest on", "not for dosing"] {
        assert!(screen.out.contains(words), "no {words:?} in {}", screen.out);
    }
    let widest = screen.out.lines().map(|line| line.chars().count()).max();
    assert!(widest.is_some_and(|n| n <= 100), "a line is wider than a terminal of 100 columns");
}

#[test]
fn the_twin_repeats_itself_from_its_seed() {
    let once = tempfile::tempdir().unwrap();
    let scenario =
        std::fs::read_to_string(files().join("scenario.toml")).unwrap().replace("hours = 72.0", "hours = 2.0");
    std::fs::write(once.path().join("short.toml"), scenario).unwrap();
    let deck = files().join("deck.toml");
    for folder in ["one", "two"] {
        let ran = bedplate(
            once.path(),
            &["twin", deck.to_str().unwrap(), "--scenario", "short.toml", "-o", folder, "--seed", "5", "--json"],
        );
        assert_eq!(ran.status, 0, "{}", ran.err);
        assert_eq!(json(&ran)["seed"], 5);
    }
    for name in ["run.csv", "recording.csv", "actions.csv", "chart.csv", "truth.json"] {
        let read = |folder: &str| std::fs::read(once.path().join(folder).join(name)).unwrap();
        assert!(read("one") == read("two"), "{name} differs between two runs of one seed");
    }
}

#[test]
fn every_verb_helps() {
    for verb in ["demo", "check", "calibrate", "verify", "weigh", "agree", "balance", "dose", "twin"] {
        let ran = bedplate(files(), &[verb, "--help"]);
        assert_eq!(ran.status, 0);
        assert!(ran.out.contains("Usage: bedplate") && ran.out.lines().count() > 10, "{}", ran.out);
    }
}
