//! What is wrong with a file that a reader brought to a page, in the reader's language.
//!
//! A message stands line by line: place and key, what was found, what was expected; below it the line of the file, which stays as it is.
//! Numbers keep their points, as the file wants them. What the parser of the syntax says and is not known stays English.

use std::borrow::Cow;

use super::sentences::{Table, filled, told_with};
use super::{Language, Reader};

/// The earlier one is taken where two fit: what wraps another stands first.
const TABLE: Table = &include!("german_files.in");

impl Reader {
    /// What is wrong with a file, or with a change to it, in the reader's language.
    pub(crate) fn of_file(self, message: &str) -> String {
        match self.language {
            Language::English => message.to_owned(),
            Language::German => message.lines().map(german_line).collect::<Vec<_>>().join("\n"),
        }
    }
}

fn german_line(line: &str) -> String {
    // The line of the file, and the mark below its column.
    if line.starts_with("  ") {
        return line.to_owned();
    }
    let starts = line.match_indices("found ").map(|(at, _)| at).find(|at| *at == 0 || line[..*at].ends_with(": "));
    let split = starts.and_then(|at| Some((&line[..at], line[at + "found ".len()..].split_once(", expected ")?)));
    match split {
        Some((place, (found, expected))) => {
            let sentence = TABLE.iter().find(|(en, _)| *en == "found {}, expected {}").map_or(line, |(_, de)| de);
            format!("{place}{}", filled(sentence, [found, expected].map(|part| Cow::Owned(german(part)))))
        }
        None => german(line),
    }
}

/// What was found or expected; several things that a syntax allows stand with commas between.
fn german(text: &str) -> String {
    let known = |text: &str| told_with(TABLE, text, str::to_owned);
    known(text)
        .or_else(|| {
            let parts =
                text.split(", ").map(|part| known(part).or_else(|| part.starts_with('`').then(|| part.to_owned())));
            Some(parts.collect::<Option<Vec<_>>>()?.join(", "))
        })
        .unwrap_or_else(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::super::sentences::sources::texts;
    use super::*;

    const HERE: Reader = Reader { language: Language::German, in_pounds: false };

    /// Every text of the readers of `deck.toml` and `patient.toml` and of what a workbench asks of a deck; a line more there and this fails
    /// until it has its German.
    #[test]
    fn every_message_about_a_file_of_the_pages_has_its_german() {
        let sources = [
            include_str!("../../../formats/src/deck/approval.rs"),
            include_str!("../../../formats/src/deck/edit.rs"),
            include_str!("../../../formats/src/deck/plate.rs"),
            include_str!("../../../formats/src/deck/practice.rs"),
            include_str!("../../../formats/src/deck/read.rs"),
            include_str!("../../../formats/src/limits.rs"),
            include_str!("../../../formats/src/materials.rs"),
            include_str!("../../../formats/src/patient.rs"),
            include_str!("../../../formats/src/toml_document.rs"),
            include_str!("../../../formats/src/toml_reader.rs"),
            include_str!("../../../formats/src/words.rs"),
            include_str!("../../../design/src/lib.rs"),
            include_str!("../../../design/src/explore/mod.rs"),
            include_str!("../../../design/src/explore/table.rs"),
            include_str!("../../../deck/src/error.rs"),
            include_str!("../../../body/src/anthropometry.rs"),
            include_str!("../../../plates/src/plate/error.rs"),
        ];
        // Not for a page: forms that a file is written in, pieces that are told whole below, and the reference of formats.
        let not_shown = [
            ", expected ",
            "duplicate key",
            "7 7 mm",
            "cells_per_plate, inset_mm",
            "7 7, expected 7",
            "explore.7: found 7, expected 7",
            "7 cell7",
            " (a number with a decimal comma counts as two: write a point)",
            "the section",
            "at least one 7",
        ];
        let (mut n, mut missing) = (0, Vec::new());
        for text in sources.iter().flat_map(|s| texts(s)) {
            let is_written = text.contains(" = ") && (text.contains("= 7") || text.contains('\\'));
            let is_told = text.contains(' ') && text.chars().any(char::is_lowercase);
            if !is_told || is_written || text.contains("\\n") || not_shown.contains(&text.as_str()) {
                continue;
            }
            n += 1;
            if told_with(TABLE, &text, str::to_owned).is_none() {
                missing.push(text);
            }
        }
        assert_eq!(missing, Vec::<String>::new(), "no German");
        assert!(n > 90, "{n} messages were found");
        for (i, (en, de)) in TABLE.iter().enumerate() {
            assert_eq!(en.matches("{}").count(), de.matches("{}").count(), "holes of {en:?}");
            assert!(!TABLE[..i].iter().any(|(other, _)| other == en), "{en:?} stands there twice");
        }
    }

    /// English words that a German message has none of, but for place and key before what was found, and what stands between marks: those are
    /// the file's.
    fn english(message: &str) -> Vec<String> {
        let mut told = String::new();
        for line in message.lines().filter(|line| !line.starts_with("  ")) {
            let line = line.find("gefunden ").map_or(line, |at| &line[at..]);
            let outside: Vec<&str> = line.split('`').step_by(2).collect();
            told += &outside.join(" ");
            told.push(' ');
        }
        let words = [
            "the",
            "a",
            "an",
            "of",
            "and",
            "or",
            "with",
            "without",
            "expected",
            "found",
            "number",
            "missing",
            "invalid",
            "unexpected",
            "unclosed",
            "table",
            "key",
            "value",
            "cannot",
            "must",
            "below",
            "above",
            "from",
            "to",
            "at",
            "least",
            "one",
            "list",
            "newline",
            "extra",
            "quoted",
            "string",
            "plate",
            "section",
            "cell",
        ];
        let is_english = |word: &&str| words.contains(&word.to_lowercase().as_str());
        told.split(|c: char| !c.is_alphanumeric() && c != '_').filter(is_english).map(str::to_owned).collect()
    }

    /// A deck file broken in every way that its reader tells apart, by its own text.
    #[test]
    fn a_broken_deck_is_told_in_german_alone() {
        let deck = twin::demo::DECK_TOML;
        let broken = |from: &str, to: &str| {
            assert!(deck.contains(from), "{from:?} is not in the deck");
            deck.replacen(from, to, 1)
        };
        let added = |more: &str| format!("{deck}\n{more}\n");
        let texts = [
            String::new(),
            "not toml at all".into(),
            added("x"),
            added("x ="),
            added("x = [1, 2"),
            added("x = { a = 1"),
            added("x = \"open"),
            added("x = 'open"),
            added("[half"),
            added("[[half]"),
            added("x = 1 2"),
            added("x = word"),
            added("x = 01"),
            added("x = 0xZZ"),
            added("x = 1__0"),
            added("x = 1.e5"),
            added("x = ++1"),
            added("= 1"),
            added("x = [1,,2]"),
            added("x = [a = 1]"),
            added("x = \"\\q\""),
            added("x = \"\\u12\""),
            added("x = 2031-13-01"),
            added("x == 1"),
            added("[deck]"),
            added("x = {a=1,,b=2}"),
            broken("[deck]", "odd = 1\n[deck]"),
            broken("max_kg = ", "max_kgs = "),
            broken("max_kg = 200.0", "max_kg = -1"),
            broken("max_kg = 200.0", "max_kg = 200,5"),
            broken("max_kg = 200.0", "max_kg = \"200\""),
            broken("max_kg = 200.0", "max_kg = \"200 kg\""),
            broken("max_kg = 200.0", "max_kg = true"),
            broken("max_kg = 200.0", "max_kg = inf"),
            broken("max_kg = 200.0", "max_kg = [1, 2]"),
            broken("max_kg = 200.0", "max_kg = 0.01"),
            broken("class = \"III\"", "class = \"V\""),
            broken("class = \"III\"", "class = 3"),
            broken("class = \"III\"", "class = \"\""),
            broken("[converter]", "[[converter]]"),
            broken("[converter]", "[converters]"),
            broken("[[plate]]", "[plate]"),
            broken("section = \"seat\"", "section = \"saet\""),
            broken("name = \"seat\"", "name = \"back\""),
        ];
        let mut left = Vec::new();
        for (i, text) in texts.iter().enumerate() {
            let Err(problems) = formats::deck::read("deck.toml", text) else {
                left.push(format!("text {i} is no broken one: it ends {:?}", text.lines().last()));
                continue;
            };
            let told = HERE.of_file(&problems.to_string());
            if !english(&told).is_empty() {
                left.push(told);
            }
        }
        assert_eq!(left, Vec::<String>::new());
    }

    #[test]
    fn whole_messages_are_told_in_german_and_the_line_of_the_file_stays() {
        for (english, german) in [
            (
                "deck.toml:3:10: deck.max_kg: found 200,5, expected a number above 0, written with a decimal point: `200.5`\n      3 | max_kg = 200,5\n        |          ^",
                "deck.toml:3:10: deck.max_kg: gefunden 200,5, nötig eine Zahl über 0, mit Dezimalpunkt geschrieben: `200.5`\n      3 | max_kg = 200,5\n        |          ^",
            ),
            (
                "explore.cell_types: found an empty list, expected at least one name of a [[cell_type]]",
                "explore.cell_types: gefunden eine leere Liste, nötig mindestens 1 Name eines [[cell_type]]",
            ),
            (
                "there is no thickness of layer 7 of plate seat to change",
                "die Dicke der Lage 7 der Platte seat gibt es nicht zu ändern",
            ),
            (
                "plate `seat`: 2 springs under a free plate, expected at least 3",
                "Platte `seat`: 2 Federn unter einer freien Platte, nötig mindestens 3",
            ),
            ("… and 4 more problems", "… und 4 weitere Fehler"),
            (
                "patient.toml:4:9: patient.age_y: found 300, expected a number from 0 to 130\n      4 | age_y = 300",
                "patient.toml:4:9: patient.age_y: gefunden 300, nötig eine Zahl von 0 bis 130\n      4 | age_y = 300",
            ),
        ] {
            assert_eq!(HERE.of_file(english), german);
        }
        assert_eq!(Reader::ENGLISH.of_file("found 1, expected a number"), "found 1, expected a number");
    }
}
