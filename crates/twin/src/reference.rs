//! The reference of the twin's files, made of the sources of the types that a scenario is read into, of the default scenario
//! and of the table of ranges: a key that the reader takes cannot be missing here.

use std::collections::HashMap;
use std::fmt::Write;

use formats::reference::{fields, plain};

use crate::scenario::{Scenario, range_of};

/// Where the types of a scenario are written.
const SOURCES: &[&str] = &[
    include_str!("scenario/mod.rs"),
    include_str!("scenario/patient.rs"),
    include_str!("scenario/ward.rs"),
    include_str!("scenario/fluid.rs"),
    include_str!("scenario/happening.rs"),
    include_str!("scenario/fault.rs"),
    include_str!("fluid/charting.rs"),
    include_str!("fluid/regimen.rs"),
    include_str!("fluid/story.rs"),
];

/// A scenario with some of what it can hold.
pub const EXAMPLE: &str = include_str!("../data/scenario.toml");

/// A key of a table, a word of a list of words, or one of the things a `[[list]]` can hold.
#[derive(Debug, Default, Clone)]
struct Entry {
    name: String,
    of: String,
    said: String,
    /// What follows it in braces.
    holds: Vec<Entry>,
}

/// The sections on `scenario.toml` and `truth.json` as Markdown.
#[must_use]
pub fn markdown() -> String {
    let mut out = scenario();
    out.push_str(
        "\n## truth.json\n\nWhat is true of a night, written beside its recording. `twin` writes it; nothing of the program reads it but `twin trial`, which sets the weights against it.\n",
    );
    fields(&mut out, include_str!("night/truth.rs"));
    out
}

fn scenario() -> String {
    let mut out = format!(
        "\n## scenario.toml\n\nWhat happens in a night of the twin. Every key of a table may be absent and then has its default, but those of the lists\n\
         `[[...]]`, whose defaults are named where there are some. Times are hours from the start (`_h`), or seconds (`_s`).\n\n\
         ```toml\n{EXAMPLE}```\n\n| key | default | takes | holds |\n|---|---|---|---|\n"
    );
    let types = types();
    let defaults = toml::Value::try_from(Scenario::default()).ok();
    table(&mut out, &types, "Scenario", "", defaults.as_ref());
    for (list, of) in [("happening", "Planned"), ("fault", "Fault")] {
        let _ = write!(
            out,
            "\n### {list}\n\n{}\n\n| what | keys | is |\n|---|---|---|\n",
            match list {
                "happening" => "`[[happening]]` with a key `what`, and the keys of that:",
                _ => "`[[fault]]`, likewise:",
            }
        );
        for Entry { name, said, holds, .. } in types.get(of).into_iter().flatten() {
            let keys: Vec<String> = holds.iter().map(|key| key_told(list, key)).collect();
            let _ = writeln!(out, "| `{}` | {} | {said} |", snake(name), keys.join("; "));
        }
    }
    out
}

fn key_told(list: &str, Entry { name, of, said, .. }: &Entry) -> String {
    let absent = if of.starts_with("Option<") { ", may be absent" } else { "" };
    let range = range_of(&format!("{list}.{name}")).map_or(String::new(), |(low, high)| format!(", {low} to {high}"));
    format!("`{name}` ({}{range}{absent})", said.trim_end_matches('.'))
}

/// The rows of one table and of the tables in it; `path` with `[]` after the names of lists, as in the other sections.
fn table(out: &mut String, types: &HashMap<String, Vec<Entry>>, of: &str, path: &str, defaults: Option<&toml::Value>) {
    for entry in types.get(of).into_iter().flatten() {
        let Entry { name, of, said, .. } = entry;
        let list = of.starts_with("Vec<") && types.contains_key(inner(of));
        let key = format!("{path}{name}{}", if list { "[]" } else { "" });
        let default = defaults.and_then(|table| table.get(name));
        match types.get(inner(of)) {
            // Told below, each kind with its keys.
            Some(kinds) if kinds.iter().any(|kind| !kind.holds.is_empty()) => {}
            Some(words) if words.iter().any(|word| word.of.is_empty()) => {
                let words: Vec<String> = words
                    .iter()
                    .map(|word| format!("`{}` ({})", word.name.to_lowercase(), word.said.trim_end_matches('.')))
                    .collect();
                row(out, &key, default, &words.join(", "), said);
            }
            Some(_) => table(out, types, inner(of), &format!("{key}."), default),
            None => {
                let takes = match range_of(&key.replace("[]", "")) {
                    Some((low, high)) => format!("{low} to {high}"),
                    None if of == "bool" => "`true` or `false`".to_owned(),
                    None => "a text".to_owned(),
                };
                row(out, &key, default, &takes, said);
            }
        }
    }
}

fn row(out: &mut String, key: &str, default: Option<&toml::Value>, takes: &str, said: &str) {
    let default = default.map_or_else(String::new, |value| format!("`{value}`"));
    let _ = writeln!(out, "| `{key}` | {default} | {takes} | {said} |");
}

/// `T` of `Vec<T>` and `Option<T>`.
fn inner(of: &str) -> &str {
    of.strip_prefix("Vec<").or_else(|| of.strip_prefix("Option<")).map_or(of, |rest| rest.trim_end_matches('>'))
}

fn snake(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.extend(c.to_lowercase());
    }
    out
}

/// Every public structure and enumeration of the sources with what is said of its parts.
fn types() -> HashMap<String, Vec<Entry>> {
    let mut found = HashMap::new();
    for source in SOURCES {
        let mut lines = source.lines().map(str::trim);
        while let Some(line) = lines.next() {
            let Some(rest) = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum ")) else {
                continue;
            };
            if let Some(name) = rest.strip_suffix(" {") {
                found.insert(name.to_owned(), parts(&mut lines));
            }
        }
    }
    found
}

/// The parts up to the brace that closes them.
fn parts<'a>(lines: &mut impl Iterator<Item = &'a str>) -> Vec<Entry> {
    let mut out = Vec::new();
    let mut next = Entry::default();
    while let Some(line) = lines.next() {
        if line == "}" || line == "}," {
            break;
        }
        if let Some(said) = line.strip_prefix("/// ") {
            next.said = if next.said.is_empty() { said.to_owned() } else { format!("{} {said}", next.said) };
            continue;
        }
        if let Some((_, name)) = line.split_once("rename = \"") {
            name.split('"').next().unwrap_or_default().clone_into(&mut next.name);
            continue;
        }
        if line.starts_with("#[") {
            continue;
        }
        let line = line.trim_start_matches("pub ").trim_end_matches(',');
        if let Some(name) = line.strip_suffix(" {") {
            name.clone_into(&mut next.name);
            next.holds = parts(lines);
        } else {
            let (name, of) = line.split_once(": ").unwrap_or((line, ""));
            if next.name.is_empty() {
                name.clone_into(&mut next.name);
            }
            of.clone_into(&mut next.of);
        }
        next.said = plain(&next.said);
        out.push(core::mem::take(&mut next));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_with_a_range_is_told_with_it() {
        let text = markdown();
        for (key, _, _) in crate::scenario::LIMITS {
            let in_a_table = text.lines().any(|line| line.replace("[]", "").starts_with(&format!("| `{key}` |")));
            let of_a_kind = key.split_once('.').is_some_and(|(list, name)| {
                ["happening", "fault"].contains(&list) && text.contains(&format!("`{name}` ("))
            });
            let told = in_a_table || of_a_kind;
            assert!(told, "{key}\n{text}");
        }
    }

    #[test]
    fn the_example_is_read_and_every_kind_of_thing_is_told() {
        Scenario::read("scenario.toml", EXAMPLE).unwrap();
        let text = markdown();
        for told in [
            "| `power_cut` |",
            "| `bed_moved` |",
            "`resuscitation` (Septic shock",
            "| `patient.mass_kg` | `72.0` | 0.4 to 450 |",
        ] {
            assert!(text.contains(told), "{told}\n{text}");
        }
    }
}
