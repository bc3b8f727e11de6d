//! The rules of ARCHITECTURE.md that a careless line could break, read from the manifests and the sources.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Who may know whom: a crate knows only crates of the rows above its own.
const ROWS: [&[&str]; 8] = [
    &["stats", "plates", "body", "signal", "formats"],
    &["deck"],
    &["design", "calibrate", "verify", "weigh", "balance", "twin"],
    &["report"],
    &["store", "link"],
    &["ward"],
    &["web"],
    &["bedplate"],
];

/// Rows that compute: functions of their arguments, with no file, clock, network or thread of their own.
const COMPUTING_ROWS: usize = 4;

fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn row_of(name: &str) -> Option<usize> {
    ROWS.iter().position(|row| row.contains(&name))
}

fn manifests() -> BTreeMap<String, toml::Table> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(workspace().join("crates")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(path.join("Cargo.toml")).unwrap();
        found.insert(name, text.parse().unwrap());
    }
    found
}

fn dependencies(manifest: &toml::Table) -> Vec<String> {
    manifest
        .get("dependencies")
        .and_then(toml::Value::as_table)
        .map(|t| t.keys().cloned().collect())
        .unwrap_or_default()
}

fn sources(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
    found
}

/// The code of a source without its comments and its tests.
fn code(text: &str) -> String {
    let before_tests = text.split("#[cfg(test)]").next().unwrap_or_default();
    before_tests.lines().map(|l| l.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

#[test]
fn every_crate_stands_in_a_row() {
    for name in manifests().keys() {
        assert!(row_of(name).is_some(), "crates/{name} stands in no row: give it one here and in ARCHITECTURE.md");
    }
}

#[test]
fn a_crate_knows_only_the_rows_above_it() {
    for (name, manifest) in manifests() {
        let own = row_of(&name).unwrap();
        for dependency in dependencies(&manifest) {
            if let Some(row) = row_of(&dependency) {
                assert!(
                    row < own,
                    "crates/{name} must not know `{dependency}`: it stands in row {row}, `{name}` in row {own}"
                );
            }
        }
    }
}

#[test]
fn the_twin_does_not_know_the_engine_it_tests() {
    let known = dependencies(&manifests()["twin"]);
    for engine in ["signal", "weigh", "calibrate", "verify", "balance", "design"] {
        assert!(!known.iter().any(|k| k == engine), "twin must not know `{engine}`: it proves it");
    }
}

#[test]
fn only_web_knows_http_and_html_and_only_store_knows_sql() {
    for (name, manifest) in manifests() {
        for (only, library) in
            [("web", "axum"), ("web", "maud"), ("web", "plotly"), ("store", "rusqlite"), ("store", "postgres")]
        {
            let knows = dependencies(&manifest).iter().any(|d| d == library);
            assert!(!knows || name == only, "crates/{name} must not know `{library}`: only {only} does");
        }
    }
}

#[test]
fn computing_crates_touch_no_file_clock_network_or_thread() {
    let forbidden = [
        "std::fs",
        "std::net",
        "std::thread",
        "std::process",
        "SystemTime",
        "Instant::now",
        "Timestamp::now",
        "tokio::",
        "rayon::",
    ];
    for name in ROWS[..COMPUTING_ROWS].iter().copied().flatten() {
        for (path, text) in sources(&workspace().join("crates").join(name).join("src")) {
            let code = code(&text);
            for word in forbidden {
                assert!(!code.contains(word), "{} uses {word}: pass it in from the edge", path.display());
            }
        }
    }
}

#[test]
fn plates_knows_newtons_never_kilograms() {
    for (path, text) in sources(&workspace().join("crates/plates/src")) {
        let code = code(&text);
        for word in ["_kg", "gravity", "mass"] {
            assert!(!code.contains(word), "{} says `{word}`: force meets mass in crates/deck", path.display());
        }
    }
}

#[test]
fn the_signal_path_is_no_std() {
    let root = fs::read_to_string(workspace().join("crates/signal/src/lib.rs")).unwrap();
    assert!(root.contains("#![no_std]"), "crates/signal must say #![no_std]");
    for (path, text) in sources(&workspace().join("crates/signal/src")) {
        let code = code(&text);
        for word in ["std::", "alloc::"] {
            assert!(!code.contains(word), "{} uses {word}", path.display());
        }
    }
}

/// A source that no reader can get is none: notes of our own are cited by the papers and standards that they rest on.
#[test]
fn no_source_is_a_numbered_note_of_our_own() {
    let is_note = |text: &str| {
        let lower = text.to_lowercase();
        let mut after = lower.split("reference ").skip(1);
        let is_numbered = after.any(|rest| rest.starts_with(|c: char| c.is_ascii_digit()));
        is_numbered || ["clinical reference", "structure reference"].iter().any(|name| lower.contains(name))
    };
    assert!(is_note("Source: some Reference 1.2, computed") && !is_note("the reference has it: 1.2"));
    let own = Path::new(file!()).file_name();
    let mut texts = sources(&workspace().join("crates"));
    texts.retain(|(path, _)| path.file_name() != own);
    for page in ["docs/validation.md", "docs/formats.md"] {
        let path = workspace().join(page);
        let text = fs::read_to_string(&path).unwrap();
        texts.push((path, text));
    }
    for (path, text) in texts {
        let found = text.lines().find(|line| is_note(line));
        assert_eq!(found, None, "{}: name the paper, the standard or the computation", path.display());
    }
}

#[test]
fn versions_stand_in_one_place() {
    for (name, manifest) in manifests() {
        for table in ["dependencies", "dev-dependencies", "build-dependencies"] {
            let Some(table) = manifest.get(table).and_then(toml::Value::as_table) else { continue };
            for (dependency, value) in table {
                let own = value.as_table().is_some_and(|t| t.contains_key("version")) || value.is_str();
                assert!(!own, "crates/{name}: `{dependency}` states a version; state it in the root Cargo.toml");
            }
        }
    }
}

/// `cargo run` in the workspace, the README's first command, asks which program is meant unless one manifest says so.
#[test]
fn one_program_is_what_cargo_runs() {
    let runs = |m: &toml::Table| {
        m.get("package").and_then(|p| p.get("default-run")).and_then(toml::Value::as_str).map(str::to_owned)
    };
    let found: Vec<String> = manifests().values().filter_map(runs).collect();
    assert_eq!(found, ["bedplate"]);
}
