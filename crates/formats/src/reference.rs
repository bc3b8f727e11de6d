//! The reference of the formats, made of the readers themselves: each reader reads the example of its file while what it
//! asks for is written down. A key that a reader asks for cannot be missing here, and an example that it does not read
//! shows in the tests.

use std::fmt::Write;

use crate::asked::{Asked, asked_by};
use crate::deck::Deck;
use crate::{
    Problems, actions, answers, calibration, certificate, chart, checks, deck, events, masses, pairs, patient, plans,
    recording, removals, run, tests, ward, weights,
};

/// One file of the contract.
struct File {
    name: &'static str,
    /// The source of its module: what is said of the file stands at its head.
    source: &'static str,
    example: &'static str,
    read: fn(&str, &str, &Deck) -> Result<(), Problems>,
}

/// A file by its name, its module, and how it is read.
macro_rules! file {
    ($name:literal, $module:literal, $read:expr) => {
        File {
            name: $name,
            source: include_str!(concat!($module, ".rs")),
            example: include_str!(concat!("../data/examples/", $name)),
            read: $read,
        }
    };
}

/// In the order of the job.
const FILES: &[File] = &[
    file!("deck.toml", "deck", |f, t, _| deck::read(f, t).map(drop)),
    file!("masses.csv", "masses", |f, t, _| masses::read(f, t).map(drop)),
    file!("run.csv", "run", |f, t, d| run::read(f, t, d).map(drop)),
    file!("calibration.json", "calibration", |f, t, _| calibration::read(f, t).map(drop)),
    file!("certificate.toml", "certificate", |f, t, _| certificate::read(f, t).map(drop)),
    file!("checks.csv", "checks", |f, t, _| checks::read(f, t).map(drop)),
    file!("tests.csv", "tests", |f, t, d| tests::read(f, t, d).map(drop)),
    file!("pairs.csv", "pairs", |f, t, _| pairs::read(f, t).map(drop)),
    file!("recording.csv", "recording", read_recording),
    file!("actions.csv", "actions", |f, t, _| actions::read(f, t).map(drop)),
    file!("weights.csv", "weights", |f, t, _| weights::read(f, t).map(drop)),
    file!("patient.toml", "patient", |f, t, _| patient::read(f, t).map(drop)),
    file!("plans.toml", "plans", |f, t, _| plans::read(f, t).map(drop)),
    file!("chart.csv", "chart", |f, t, _| chart::read(f, t).and_then(|_| chart::corrections(f, t)).map(drop)),
    file!("removals.csv", "removals", |f, t, _| removals::read(f, t).map(drop)),
    file!("answers.csv", "answers", |f, t, _| answers::read(f, t).map(drop)),
    file!("events.json", "events", |f, t, _| events::read(f, t).map(drop)),
    file!("ward.toml", "ward", |f, t, _| ward::read(f, t).map(drop)),
];

fn read_recording(file: &str, text: &str, deck: &Deck) -> Result<(), Problems> {
    let mut reader = recording::Reader::new(file, text.as_bytes(), deck)?;
    let mut sample = recording::Sample::default();
    while reader.next_sample(&mut sample)? {}
    Ok(())
}

/// The reference as Markdown.
///
/// # Errors
/// The problems of an example that its reader refuses.
pub fn markdown() -> Result<String, Problems> {
    let deck = deck::read("deck.toml", FILES[0].example)?;
    let mut out = String::from(
        "# Formats\n\nWhat each file holds, as the readers ask for it. This page is made from the code and checked by its tests.\n\n\
         Text is UTF-8; a byte-order mark and CRLF are accepted. Numbers use a point, never a comma; names carry their unit. Columns\n\
         are found by name in any order, extra ones are passed over. In TOML a key that nobody knows is an error, unless it begins\n\
         with `x_` or is named `note`: those are your own. Needed is what its table, where there is one, cannot be without. All examples are invented.\n",
    );
    for file in FILES {
        let mut read = Ok(());
        let asked = asked_by(|| read = (file.read)(file.name, file.example, &deck));
        read?;
        section(&mut out, file, &asked);
    }
    Ok(out)
}

fn section(out: &mut String, file: &File, asked: &[Asked]) {
    let said = head_of(file.source);
    let said = said.split_once(": ").map_or(said.as_str(), |(_, rest)| rest);
    let kind = if file.name.ends_with(".toml") {
        "toml"
    } else if file.name.ends_with(".json") {
        "json"
    } else {
        "csv"
    };
    // Writing to a text cannot fail.
    let _ = write!(out, "\n## {}\n\n{}\n\n```{kind}\n{}```\n", file.name, capital(said), file.example);
    if !asked.is_empty() {
        let what = if kind == "csv" { "column" } else { "key" };
        let _ = write!(out, "\n| {what} | takes | needed |\n|---|---|---|\n");
        for Asked { path, takes, required } in asked {
            let takes = if takes.is_empty() { "a text" } else { takes };
            let _ =
                writeln!(out, "| `{path}` | {} | {} |", takes.replace('|', "\\|"), if *required { "yes" } else { "" });
        }
    }
    if kind == "json" {
        fields(out, file.source);
    }
}

/// The prose at the head of a module: its examples are left out, for the file has one of its own here.
fn head_of(source: &str) -> String {
    let mut inside = false;
    let lines =
        source.lines().map_while(|line| line.strip_prefix("//!")).map(|line| line.strip_prefix(' ').unwrap_or(line));
    let prose: Vec<&str> = lines
        .filter(|line| {
            let fence = line.starts_with("```");
            inside ^= fence;
            !fence && !inside
        })
        .collect();
    plain(&prose.join("\n")).trim().to_owned()
}

/// Documentation without links into the code.
#[must_use]
pub fn plain(text: &str) -> String {
    text.replace("[`", "`").replace("`]", "`")
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// Writes the public fields of a module with what is said of them, as a table.
pub fn fields(out: &mut String, source: &str) {
    let _ = write!(out, "\n| field of | field | holds |\n|---|---|---|\n");
    let (mut of, mut said) = (String::new(), String::new());
    for line in source.lines().map(str::trim) {
        if let Some(doc) = line.strip_prefix("/// ") {
            said = if said.is_empty() { doc.to_owned() } else { format!("{said} {doc}") };
        } else if let Some(name) = line.strip_prefix("pub struct ") {
            name.trim_end_matches(" {").clone_into(&mut of);
            said.clear();
        } else if let Some((name, _)) =
            line.strip_prefix("pub ").and_then(|l| l.split_once(": ")).filter(|(name, _)| !name.contains('('))
        {
            let _ = writeln!(out, "| {of} | `{name}` | {} |", said.replace('|', "\\|"));
            said.clear();
        } else if !line.starts_with("#[") {
            said.clear();
        }
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn every_example_is_read_and_every_key_that_it_holds_is_told() {
        let text = markdown().unwrap_or_else(|problems| panic!("{problems}"));
        for key in
            ["plate[].layers[].thickness_mm", "conditions.pressure_hPa", "bed[].baud", "tilt_back_deg", "`<cell>`"]
        {
            assert!(text.contains(key), "{key}");
        }
        assert!(!text.contains("`fn "), "a method is told as a field");
        assert!(text.contains("| `deck.class` |") && text.contains("a number above 0"));
        assert!(text.contains("| CellCalibration | `zero_counts` |"));
    }
}
