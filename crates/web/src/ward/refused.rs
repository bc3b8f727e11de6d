//! Why a request was not answered, in the reader's language. Programs get the same in English (RFC 9457); what is not known stays English.

use jiff::tz::TimeZone;

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

    /// The same with times as the clock on the wall shows them, as they were typed.
    pub(crate) fn problem_at(self, text: &str, zone: &TimeZone) -> String {
        self.clocks(&self.problem(text), zone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::sentences::sources::texts;

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

    /// What stands behind a mark of a source up to its end: the bracket that closes, or the end of the statement.
    fn behind<'a>(source: &'a str, mark: &str) -> Vec<&'a str> {
        let end_of = |rest: &str| {
            let (mut depth, mut is_text, mut is_quoted) = (1, false, false);
            for (at, c) in rest.char_indices() {
                match c {
                    _ if is_quoted => is_quoted = false,
                    '\\' if is_text => is_quoted = true,
                    '"' => is_text = !is_text,
                    _ if is_text => {}
                    '(' | '{' => depth += 1,
                    ')' | '}' => depth -= 1,
                    ';' if mark.starts_with("let ") && depth == 1 => return at,
                    _ => {}
                }
                if depth == 0 {
                    return at;
                }
            }
            rest.len()
        };
        source.split(mark).skip(1).map(|rest| &rest[..end_of(rest)]).collect()
    }

    #[test]
    fn every_reason_of_a_refusal_has_its_german() {
        let sources = [
            include_str!("answer.rs"),
            include_str!("call.rs"),
            include_str!("guard.rs"),
            include_str!("router.rs"),
            include_str!("api/beds.rs"),
            include_str!("api/health.rs"),
            include_str!("api/patients.rs"),
            include_str!("api/session.rs"),
            include_str!("pages/account.rs"),
            include_str!("pages/bedside/forms.rs"),
            include_str!("pages/chart.rs"),
            include_str!("pages/day.rs"),
            include_str!("pages/patient.rs"),
            include_str!("../../../ward/src/access/accounts.rs"),
            include_str!("../../../ward/src/access/mod.rs"),
            include_str!("../../../ward/src/access/secret.rs"),
            include_str!("../../../ward/src/records/action.rs"),
            include_str!("../../../ward/src/records/chart.rs"),
            include_str!("../../../ward/src/records/mod.rs"),
            include_str!("../../../ward/src/records/patient.rs"),
            include_str!("../../../ward/src/service/balance.rs"),
            include_str!("../../../ward/src/service/care.rs"),
        ];
        let marks = [
            "Problem::bad(",
            "Problem::new(",
            "RecordError::value(",
            "RecordError::Against(",
            "Self::new(",
            "#[error(",
            "forged(",
            "refuse(",
            "millilitres(",
            "let detail = ",
            "let expected = ",
            "let why = ",
            "let said =",
        ];
        // What is told of a damaged record, to the log alone.
        let not_told = [
            "action on record",
            "chart on record",
            "the system gives no random bytes",
            "an account's entry cannot be read: 7",
        ];
        let mut n = 0;
        for source in sources {
            let code = source.split("#[cfg(test)]").next().unwrap();
            for told_at in marks.iter().flat_map(|mark| behind(code, mark)) {
                for text in texts(told_at) {
                    let is_sentence = text.split(' ').count() >= 2 && text.chars().any(char::is_lowercase);
                    if is_sentence && !not_told.contains(&text.as_str()) {
                        n += 1;
                        assert!(told(TABLE, &text).is_some(), "no German for {text:?}");
                    }
                }
            }
        }
        assert!(n > 60, "{n} reasons were found");
    }

    #[test]
    fn a_time_is_told_as_it_was_typed() {
        let zone = TimeZone::get("Europe/Oslo").unwrap();
        let refused =
            "time: found 2031-11-29T22:30:00Z, expected a time that has been: what is to come belongs into the plan";
        let told = Reader::of_language(Language::German).problem_at(refused, &zone);
        assert_eq!(told, "Zeit: gefunden 29.11. 23:30, nötig eine Zeit, die schon war: was kommt, gehört in den Plan");
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
            (
                "time: found 2031-11-29T22:30:00Z, expected a time that has been: what is to come belongs into the plan",
                "Zeit: gefunden 2031-11-29T22:30:00Z, nötig eine Zeit, die schon war: was kommt, gehört in den Plan",
            ),
            (
                "volume_mL: found -3, expected 0 to 10000 mL; enter larger volumes in parts",
                "Menge in mL: gefunden -3, nötig 0 bis 10000 mL; größere Mengen in Teilen eintragen",
            ),
            (
                "entry 2 of \"patient/baby-1\" cannot be corrected: it was corrected before; correct the correction",
                "Eintrag 2 von \"patient/baby-1\" kann nicht berichtigt werden: er wurde schon berichtigt oder gestrichen; die Berichtigung berichtigen",
            ),
            ("the role nurse may not do this", "die Rolle Pflege darf das nicht"),
            (
                "note: found \"a\\n\", expected text without control characters",
                "Notiz: gefunden \"a\\n\", nötig Text ohne Steuerzeichen",
            ),
            ("who lies in bed 3 cannot be read: x", "wer in Bett 3 liegt, ist nicht zu lesen: x"),
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
