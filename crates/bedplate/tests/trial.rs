//! `twin trial` as a user types it: the same card from the same seed whatever the threads, plain JSON, refusals that say why.

use std::process::{Command, Output};

fn trial(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bedplate")).args(["twin", "trial"]).args(args).output().unwrap()
}

fn json(args: &[&str]) -> serde_json::Value {
    let output = trial(&[args, &["--json"]].concat());
    assert!(matches!(output.status.code(), Some(0 | 1)), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_card_whatever_the_threads() {
    let one = json(&["--runs", "3", "--hours", "0.4", "--seed", "5", "--threads", "1"]);
    let two = json(&["--runs", "3", "--hours", "0.4", "--seed", "5", "--threads", "2"]);
    assert_eq!(one, two);
    assert_ne!(one, json(&["--runs", "3", "--hours", "0.4", "--seed", "6"]));
    assert_eq!((one["runs"].as_u64(), one["runs_asked"].as_u64()), (Some(3), Some(3)));
    for key in ["limits", "conditions", "groups", "events", "placed_mm", "settled_again_s"] {
        assert!(one[key].is_array(), "{key}");
    }
    assert!(one["all"]["settled_rows"].as_u64().unwrap() > 0, "{one}");
}

/// Runs without a cable are counted apart, and are what they are without the option.
#[test]
fn cables_are_laid_in_half_of_the_runs_and_change_no_other() {
    let args = ["--runs", "6", "--hours", "0.4", "--seed", "5"];
    let runs_of = |card: &serde_json::Value, group: &str| {
        let of: Vec<_> = card["groups"].as_array().unwrap().iter().filter(|g| g["group"] == group).cloned().collect();
        of.iter()
            .map(|g| (g["condition"].as_str().unwrap().to_owned(), g["runs"].as_u64().unwrap()))
            .collect::<Vec<_>>()
    };
    let (without, with) = (json(&args), json(&[&args[..], &["--cables"]].concat()));
    assert!(runs_of(&without, "cables").is_empty());
    let cables = runs_of(&with, "cables");
    assert_eq!(cables.iter().map(|(_, runs)| runs).sum::<u64>(), 6, "{cables:?}");
    assert_eq!(cables.len(), 2, "{cables:?}");
    for group in ["plates", "patient", "ward", "faults"] {
        assert_eq!(runs_of(&with, group), runs_of(&without, group));
    }
    let refused = trial(&["--cables", "--deck", "deck.toml"]);
    assert_eq!(refused.status.code(), Some(2), "{refused:?}");
}

#[test]
fn the_exit_status_says_whether_what_is_asked_was_met() {
    let output = trial(&["--runs", "2", "--hours", "0.4", "--seed", "5", "--json"]);
    let card: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let missed = card["limits"].as_array().unwrap().iter().any(|l| l["met"] == false);
    assert_eq!(output.status.code(), Some(i32::from(missed)));
    assert!(output.stderr.is_empty(), "{output:?}");
}

#[test]
fn scenarios_of_ones_own_are_taken_in_turn_and_counted_apart() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    std::fs::write(path("a.toml"), "name = \"calm\"\nhours = 0.4\n").unwrap();
    std::fs::write(path("b.toml"), "name = \"light\"\nhours = 0.4\n[patient]\nmass_kg = 50.0\n").unwrap();
    let card = json(&[&path("a.toml"), &path("b.toml"), "--runs", "3"]);
    let groups: Vec<(&str, u64)> = card["groups"]
        .as_array()
        .unwrap()
        .iter()
        .map(|g| (g["condition"].as_str().unwrap(), g["runs"].as_u64().unwrap()))
        .collect();
    assert_eq!(groups, [("calm", 2), ("light", 1)]);
}

#[test]
fn what_cannot_be_run_is_refused_in_one_message() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    std::fs::write(path("bad.toml"), "huors = 1.0\n").unwrap();
    std::fs::write(path("cell.toml"), "hours = 0.3\n[[fault]]\nwhat = \"stuck\"\ncell = \"Z9\"\nfrom_h = 0.1\n")
        .unwrap();
    for (args, word) in [
        (vec![path("none.toml")], "none.toml"),
        (vec![path("bad.toml")], "huors"),
        (vec![path("cell.toml")], "Z9"),
        (vec!["--hours".into(), "0".into()], "0.2 to 1440"),
        (vec!["--hours".into(), "NaN".into()], "0.2 to 1440"),
        (vec!["--runs".into(), "0".into()], "--runs"),
        (vec!["--threads".into(), "257".into()], "1..=256"),
        (vec!["--threads".into(), "0".into()], "1..=256"),
        (vec!["--deck".into(), path("none.toml")], "none.toml"),
    ] {
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let output = trial(&args);
        let message = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {message}");
        assert!(message.contains(word) && !message.contains("panicked"), "{args:?}: {message}");
        assert!(output.stdout.is_empty());
    }
}
