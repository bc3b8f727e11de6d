//! What the reader chose, language and unit, and all texts of the pages in it. English texts are the keys; another language is a table
//! beside them.
//!
//! | module      | what it does |
//! |-------------|--------------|
//! | `german.in` | texts of the ward's pages |
//! | `german_bench.in` | texts of the pages of `bench` and `demo`, drawn by the server |
//! | `german_documents.in` | texts of the documents: certificate, reports, checklist |
//! | `german_scripts.in` | texts of their scripts, served as a module |
//! | `sentences` | sentences with holes, and their translation |
//! | `files`     | what is wrong with a file that a reader brought |
//! | `stages`    | what the stages before the ward say: findings, gaps, warnings |

mod files;
pub(crate) mod sentences;
mod stages;

use std::collections::HashMap;
use std::sync::LazyLock;

use axum::http::{HeaderMap, header};

/// Cookies with the reader's choice.
pub(crate) const LANGUAGE: &str = "bedplate_language";
pub(crate) const UNIT: &str = "bedplate_unit";
/// Pounds in a kilogram: 1 lb is 0.45359237 kg exactly (international pound, 1959).
const LB_KG: f64 = 0.453_592_37;

/// A language of the pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Language {
    /// English.
    English,
    /// German.
    German,
}

impl Language {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::English, Self::German];
}

/// What the reader chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reader {
    pub(crate) language: Language,
    pub(crate) in_pounds: bool,
}

/// A cookie's value.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).into_iter().filter_map(|v| v.to_str().ok());
    all.flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_owned())
}

/// The first language that the browser asks for and the pages speak; its list stands in the order of liking as a rule.
fn preferred(headers: &HeaderMap) -> Language {
    let asked = headers.get(header::ACCEPT_LANGUAGE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let spoken = asked.split(',').find_map(|tag| match tag.trim().get(..2)?.to_ascii_lowercase().as_str() {
        "de" => Some(Language::German),
        "en" => Some(Language::English),
        _ => None,
    });
    spoken.unwrap_or(Language::English)
}

impl Reader {
    /// Who reads English and kilograms.
    #[cfg(test)]
    pub(crate) const ENGLISH: Self = Self { language: Language::English, in_pounds: false };

    /// Somebody who reads a language, and kilograms alone.
    #[must_use]
    pub fn of_language(language: Language) -> Self {
        Self { language, in_pounds: false }
    }

    pub(crate) fn of(headers: &HeaderMap) -> Self {
        let language = match cookie(headers, LANGUAGE).as_deref() {
            Some("de") => Language::German,
            Some(_) => Language::English,
            None => preferred(headers),
        };
        Self { language, in_pounds: cookie(headers, UNIT).as_deref() == Some("lb") }
    }

    /// The tag of the language.
    pub(crate) fn tag(self) -> &'static str {
        match self.language {
            Language::English => "en",
            Language::German => "de",
        }
    }

    /// A text in the reader's language; what has no translation stays English rather than vanish.
    pub(crate) fn say(self, english: &'static str) -> &'static str {
        static GERMAN: LazyLock<HashMap<&str, &str>> =
            LazyLock::new(|| OF_WARD.iter().chain(OF_BENCH).chain(OF_DOCUMENTS).copied().collect());
        match self.language {
            Language::English => english,
            Language::German => GERMAN.get(english).copied().unwrap_or(english),
        }
    }

    /// A text with holes, `{}`, in the reader's language, its holes filled in their order.
    pub(crate) fn fill<const N: usize>(self, english: &'static str, holes: [&str; N]) -> String {
        sentences::filled(self.say(english), holes.map(std::borrow::Cow::Borrowed))
    }

    /// A number with the reader's decimal sign.
    pub(crate) fn number(self, number: f64, decimals: usize) -> String {
        // A true minus: a hyphen is easily overlooked across a room.
        let text = report::number::fixed(number, decimals).replace('-', "−");
        if self.language == Language::German { text.replace('.', ",") } else { text }
    }

    /// A number in words that were made elsewhere, with the reader's signs.
    pub(crate) fn signs(self, text: &str) -> String {
        let text = crate::layout::signs(text);
        if self.language == Language::German { sentences::with_comma(&text) } else { text }
    }

    /// A drawing, or another piece of a page, with true minus signs and the reader's decimal sign where it is read.
    pub(crate) fn drawn(self, html: &str) -> String {
        sentences::in_page(html, |text| self.signs(text))
    }

    /// A day and a time of the clock on the wall; in the hour that comes twice as clocks go back, with its offset.
    pub(crate) fn clock(self, at: &jiff::Zoned) -> String {
        let is_twice = at.time_zone().to_ambiguous_timestamp(at.datetime()).is_ambiguous();
        let time = at.strftime(if is_twice { "%H:%M (%:z)" } else { "%H:%M" });
        format!("{} {time}", self.day_of_month(at))
    }

    /// A day of a year that is known.
    pub(crate) fn day_of_month(self, at: &jiff::Zoned) -> String {
        match self.language {
            Language::English => at.strftime("%-d %b"),
            Language::German => at.strftime("%-d.%-m."),
        }
        .to_string()
    }

    /// A day with its year.
    pub(crate) fn day(self, date: jiff::civil::Date) -> String {
        match self.language {
            Language::English => date.strftime("%-d %B %Y"),
            Language::German => date.strftime("%-d.%-m.%Y"),
        }
        .to_string()
    }

    /// When something was made, for a document: a time of RFC 3339 as it stands in the files, in German as it is written there. What is no
    /// time stays.
    pub(crate) fn moment(self, made_at: &str) -> String {
        match (self.language, made_at.parse::<jiff::Timestamp>()) {
            (Language::German, Ok(time)) => time.strftime("%-d.%-m.%Y, %H:%M:%S UTC").to_string(),
            _ => made_at.to_owned(),
        }
    }

    /// A date, `2031-11-04`, as a document writes it; what is none stays.
    pub(crate) fn date(self, date: &str) -> String {
        match (self.language, date.parse::<jiff::civil::Date>()) {
            (Language::German, Ok(date)) => self.day(date),
            _ => date.to_owned(),
        }
    }

    /// A date with hours and minutes, `2031-11-04T18:00`, as a table of a document writes it; what is none stays.
    pub(crate) fn minute(self, time: &str) -> String {
        match (self.language, time.parse::<jiff::civil::DateTime>()) {
            (Language::German, Ok(time)) => time.strftime("%-d.%-m.%Y %H:%M").to_string(),
            _ => time.replace('T', " "),
        }
    }

    /// A mass beside its kilograms, where the reader wants pounds: kilograms are always shown.
    pub(crate) fn pounds(self, kg: f64) -> Option<String> {
        self.in_pounds.then(|| format!("{} lb", self.number(kg / LB_KG, 1)))
    }
}

/// English and German, in the order of the pages.
const OF_WARD: &[(&str, &str)] = &include!("german.in");
const OF_BENCH: &[(&str, &str)] = &include!("german_bench.in");
const OF_DOCUMENTS: &[(&str, &str)] = &include!("german_documents.in");
const OF_SCRIPTS: &[(&str, &str)] = &include!("german_scripts.in");

/// The texts of the scripts, as a module that they import.
pub(crate) fn module() -> &'static str {
    static MODULE: LazyLock<String> = LazyLock::new(|| {
        let texts: serde_json::Map<String, serde_json::Value> =
            OF_SCRIPTS.iter().map(|(en, de)| ((*en).to_owned(), (*de).into())).collect();
        format!("export const GERMAN = {};\n", serde_json::Value::Object(texts))
    });
    &MODULE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every text that a source says by `say("…")` or `fill("…")`, and what a place is called and asks.
    fn said(sources: &[&str]) -> Vec<String> {
        let mut found = Vec::new();
        for source in sources {
            let source = source.split("#[cfg(test)]").next().unwrap();
            // A long text stands on a line of its own behind the bracket.
            for part in
                ["say(", "fill(", "name: ", "question: "].into_iter().flat_map(|call| source.split(call).skip(1))
            {
                if let Some(text) = part.trim_start().strip_prefix('"') {
                    found.push(text.split('"').next().unwrap().to_owned());
                }
            }
        }
        found
    }

    fn held_to(sources: &[&str], tables: &[&[(&str, &str)]], least: usize) {
        let said = said(sources);
        assert!(said.len() > least, "{}", said.len());
        let all: Vec<_> = tables.iter().copied().flatten().collect();
        for text in &said {
            assert!(all.iter().any(|(en, _)| en == text), "no German for {text:?}");
        }
        for (i, (en, de)) in all.iter().enumerate() {
            assert!(said.iter().any(|s| s == en), "{en:?} is said nowhere");
            assert!(!all[..i].iter().any(|(other, _)| other == en), "{en:?} stands there twice");
            assert_eq!(en.matches("{}").count(), de.matches("{}").count(), "holes of {en:?}");
        }
    }

    #[test]
    fn every_text_of_the_pages_has_its_translation_and_none_is_left_over() {
        let sources = [
            include_str!("../ward/pages/mod.rs"),
            include_str!("../ward/pages/frame.rs"),
            include_str!("../ward/pages/ward.rs"),
            include_str!("../ward/pages/bedside/mod.rs"),
            include_str!("../ward/pages/bedside/change.rs"),
            include_str!("../ward/pages/bedside/questions.rs"),
            include_str!("../ward/pages/bedside/forms.rs"),
            include_str!("../ward/pages/patient.rs"),
            include_str!("../ward/pages/chart.rs"),
            include_str!("../ward/pages/day.rs"),
            include_str!("../ward/pages/account.rs"),
            include_str!("../ward/pages/help.rs"),
            include_str!("../ward/pages/terms.rs"),
            include_str!("../ward/pages/weights.rs"),
            include_str!("../layout.rs"),
            include_str!("../manual.rs"),
            include_str!("../plan.rs"),
            include_str!("../plot.rs"),
            include_str!("../pages/overview.rs"),
            include_str!("../pages/design.rs"),
            include_str!("../pages/calibration.rs"),
            include_str!("../pages/verification.rs"),
            include_str!("../pages/weight.rs"),
            include_str!("../pages/balance.rs"),
            include_str!("../workbench/page.rs"),
            include_str!("../workbench/answer.rs"),
            include_str!("../checklist.rs"),
            include_str!("../guided/page.rs"),
            include_str!("../guide/page.rs"),
            include_str!("../guide/session.rs"),
            include_str!("../proof/page.rs"),
            include_str!("../proof/session.rs"),
            include_str!("../proof/session/told.rs"),
            include_str!("../proof/drawing.rs"),
            include_str!("../rehearsal/page.rs"),
            include_str!("../rehearsal/run.rs"),
            include_str!("../document.rs"),
            include_str!("../certificate.rs"),
            include_str!("../documents/mod.rs"),
            include_str!("../documents/agreement.rs"),
            include_str!("../documents/checks.rs"),
            include_str!("../documents/verification.rs"),
            include_str!("../documents/check/mod.rs"),
            include_str!("../documents/check/build.rs"),
            include_str!("../documents/check/load_path.rs"),
            include_str!("../documents/check/uncertainty.rs"),
        ];
        held_to(&sources, &[OF_WARD, OF_BENCH, OF_DOCUMENTS], 400);
    }

    #[test]
    fn every_text_of_the_scripts_has_its_translation_and_none_is_left_over() {
        let sources = [
            crate::assets::SHARED_SCRIPT,
            crate::assets::GUIDED_SCRIPT,
            crate::assets::GUIDE_SCRIPT,
            crate::assets::TESTS_SCRIPT,
            crate::assets::WORKBENCH_SCRIPT,
            crate::assets::REHEARSAL_SCRIPT,
            crate::assets::TOUR_SCRIPT,
            crate::assets::SOLID_SCRIPT,
        ];
        held_to(&sources, &[OF_SCRIPTS], 80);
    }

    #[test]
    fn pounds_stand_beside_kilograms_with_the_sign_of_the_language() {
        let reader = Reader { language: Language::German, in_pounds: true };
        // 72.575 kg is 160.0 lb (NIST SP 811, table of factors: 1 lb = 0.453 592 37 kg).
        assert_eq!(reader.pounds(72.574_779_2).as_deref(), Some("160,0 lb"));
        assert_eq!(reader.number(-72.35, 2), "−72,35");
        assert_eq!(Reader { in_pounds: false, ..reader }.pounds(70.0), None);
    }

    #[test]
    fn the_hour_that_comes_twice_is_told_apart() {
        let zone = jiff::tz::TimeZone::get("Europe/Oslo").unwrap();
        let told = ["2031-10-26T00:30:00Z", "2031-10-26T01:30:00Z", "2031-10-26T02:30:00Z"]
            .map(|at| Reader::ENGLISH.clock(&at.parse::<jiff::Timestamp>().unwrap().to_zoned(zone.clone())));
        assert_eq!(told, ["26 Oct 02:30 (+02:00)", "26 Oct 02:30 (+01:00)", "26 Oct 03:30"]);
    }

    #[test]
    fn without_a_choice_the_browser_says_the_language() {
        let of = |pairs: &[(header::HeaderName, &'static str)]| {
            let headers =
                pairs.iter().map(|(name, value)| (name.clone(), header::HeaderValue::from_static(value))).collect();
            Reader::of(&headers).language
        };
        let asked = header::ACCEPT_LANGUAGE;
        assert_eq!(of(&[]), Language::English);
        assert_eq!(of(&[(asked.clone(), "de-AT,de;q=0.9,en;q=0.5")]), Language::German);
        assert_eq!(of(&[(asked.clone(), "fr, en-GB;q=0.8, de;q=0.5")]), Language::English);
        assert_eq!(of(&[(asked, "de"), (header::COOKIE, "bedplate_language=en")]), Language::English);
    }

    #[test]
    fn holes_are_filled_in_their_order_in_both_languages() {
        let told = |language| Reader::of_language(language).fill("{} of {}", ["3", "18"]);
        assert_eq!((told(Language::English), told(Language::German)), ("3 of 18".into(), "3 von 18".into()));
    }
}
