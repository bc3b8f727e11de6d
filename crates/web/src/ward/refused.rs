//! Why a request was not answered, in the reader's language. Programs get the same in English (RFC 9457); what is not known stays English.

use crate::words::sentences::{Table, told};
use crate::words::{Language, Reader};

/// The earlier one is taken where two fit.
const TABLE: Table = &include!("german_problems.in");

impl Reader {
    /// Title or detail of a problem.
    pub(crate) fn problem(self, text: &str) -> String {
        // What was entered of a patient is read as the file that is kept of it.
        if text.starts_with("patient.toml:") {
            return self.of_file(text);
        }
        let own = match self.language {
            Language::English => None,
            Language::German => told(TABLE, text),
        };
        own.unwrap_or_else(|| text.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every title that a source gives a problem: the first text behind a status.
    fn titles(source: &str) -> impl Iterator<Item = &str> {
        source.split("StatusCode::").skip(1).filter_map(|rest| {
            let (status, rest) = rest.split_once(", \"")?;
            let title = rest.split('"').next()?;
            (status.chars().all(|c| c.is_ascii_uppercase() || c == '_') && !title.contains('/')).then_some(title)
        })
    }

    #[test]
    fn every_title_has_its_german() {
        let sources = [
            include_str!("answer.rs"),
            include_str!("router.rs"),
            include_str!("guard.rs"),
            include_str!("api/health.rs"),
            include_str!("pages/bedside/forms.rs"),
            include_str!("api/patients.rs"),
            include_str!("api/beds.rs"),
            include_str!("api/session.rs"),
        ];
        let all: Vec<&str> = sources.into_iter().flat_map(titles).collect();
        assert!(all.len() > 20, "{all:?}");
        for title in all {
            assert!(told(TABLE, title).is_some(), "no German for {title:?}");
        }
    }

    #[test]
    fn what_people_meet_is_told_in_german() {
        let reader = Reader::of_language(Language::German);
        for (english, german) in [
            ("name and password do not belong together", "Name und Passwort gehören nicht zusammen"),
            ("kg: found \"abc\", expected a mass in kg", "kg: gefunden \"abc\", nötig eine Masse in kg"),
            (
                "once: found \"a\\n\", expected 1 to 64 characters, none of them a control character",
                "once: gefunden \"a\\n\", nötig 1 bis 64 Zeichen, kein Steuerzeichen darunter",
            ),
            (
                "kind: found \"\\u{1b}\", expected the kind of an alert, without control characters",
                "kind: gefunden \"\\u{1b}\", nötig die Art einer Warnung, ohne Steuerzeichen",
            ),
            ("kg: found -5, expected 0 to 700", "kg: gefunden -5, nötig 0 bis 700"),
            ("there is no bed \"ZZ\"", "ein Bett \"ZZ\" gibt es nicht"),
            ("anna lies in bed 3: discharge first", "anna liegt in Bett 3: zuerst entlassen"),
        ] {
            assert_eq!(reader.problem(english), german);
        }
        let entered =
            formats::patient::read("patient.toml", "[patient]\nlabel = \"a\"\nage_y = 300\nheight_cm = \"x\"\n");
        let told = reader.problem(&entered.unwrap_err().to_string());
        assert!(told.contains("age_y: gefunden 300, nötig eine Zahl von") && !told.contains("expected"), "{told}");
        assert_eq!(Reader::of_language(Language::English).problem("Not here"), "Not here");
    }
}
