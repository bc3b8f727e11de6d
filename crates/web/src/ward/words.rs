//! What the reader chose: language and unit. English texts are the keys; another language is a table beside them.

use axum::http::HeaderMap;

use super::guard::cookie;

/// Cookies with the reader's choice.
pub(super) const LANGUAGE: &str = "bedplate_language";
pub(super) const UNIT: &str = "bedplate_unit";
/// Pounds in a kilogram: 1 lb is 0.45359237 kg exactly (international pound, 1959).
const LB_KG: f64 = 0.453_592_37;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Language {
    English,
    German,
}

/// What the reader chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Reader {
    pub(super) language: Language,
    pub(super) in_pounds: bool,
}

impl Reader {
    pub(super) fn of(headers: &HeaderMap) -> Self {
        let language =
            if cookie(headers, LANGUAGE).as_deref() == Some("de") { Language::German } else { Language::English };
        Self { language, in_pounds: cookie(headers, UNIT).as_deref() == Some("lb") }
    }

    /// The tag of the language.
    pub(super) fn tag(self) -> &'static str {
        match self.language {
            Language::English => "en",
            Language::German => "de",
        }
    }

    /// A text in the reader's language; what has no translation stays English rather than vanish.
    pub(super) fn say(self, english: &'static str) -> &'static str {
        match self.language {
            Language::English => english,
            Language::German => GERMAN.iter().find(|(en, _)| *en == english).map_or(english, |(_, de)| de),
        }
    }

    /// A number with the reader's decimal sign.
    pub(super) fn number(self, number: f64, decimals: usize) -> String {
        // A true minus: a hyphen is easily overlooked across a room.
        let text = report::number::fixed(number, decimals).replace('-', "−");
        if self.language == Language::German { text.replace('.', ",") } else { text }
    }

    /// A day and a time of the clock on the wall.
    pub(super) fn clock(self, at: &jiff::Zoned) -> String {
        match self.language {
            Language::English => at.strftime("%-d %b %H:%M"),
            Language::German => at.strftime("%-d.%-m. %H:%M"),
        }
        .to_string()
    }

    /// A mass beside its kilograms, where the reader wants pounds: kilograms are always shown.
    pub(super) fn pounds(self, kg: f64) -> Option<String> {
        self.in_pounds.then(|| format!("{} lb", self.number(kg / LB_KG, 1)))
    }
}

/// English and German, in the order of the pages.
const GERMAN: &[(&str, &str)] = &include!("german.in");

#[cfg(test)]
mod tests {
    use super::*;

    /// Every text that a page says, from the sources.
    fn said() -> Vec<String> {
        let sources = [
            include_str!("pages/mod.rs"),
            include_str!("pages/frame.rs"),
            include_str!("pages/ward.rs"),
            include_str!("pages/bedside.rs"),
            include_str!("pages/patient.rs"),
            include_str!("pages/account.rs"),
            include_str!("pages/help.rs"),
            include_str!("pages/terms.rs"),
            include_str!("pages/weights.rs"),
            include_str!("../pages/balance.rs"),
        ];
        let mut found = Vec::new();
        for source in sources {
            // A long text stands on a line of its own behind the bracket.
            for part in source.split("say(").skip(1).filter_map(|p| p.trim_start().strip_prefix('"')) {
                found.push(part.split('"').next().unwrap().to_owned());
            }
        }
        found
    }

    #[test]
    fn every_text_of_the_ward_pages_has_its_translation_and_none_is_left_over() {
        let said = said();
        assert!(said.len() > 60, "{}", said.len());
        for text in &said {
            assert!(GERMAN.iter().any(|(en, _)| en == text), "no German for {text:?}");
        }
        for (en, _) in GERMAN {
            assert!(said.iter().any(|s| s == en), "{en:?} is said nowhere");
        }
    }

    #[test]
    fn pounds_stand_beside_kilograms_with_the_sign_of_the_language() {
        let reader = Reader { language: Language::German, in_pounds: true };
        // 72.575 kg is 160.0 lb (NIST SP 811, table of factors: 1 lb = 0.453 592 37 kg).
        assert_eq!(reader.pounds(72.574_779_2).as_deref(), Some("160,0 lb"));
        assert_eq!(reader.number(-72.35, 2), "−72,35");
        assert_eq!(Reader { in_pounds: false, ..reader }.pounds(70.0), None);
    }
}
