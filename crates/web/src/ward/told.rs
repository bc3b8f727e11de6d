//! What the balance says, in the reader's language: answers, alerts, and why there is none.
//!
//! Its texts are put together of sentences with "; " between; each of those is looked up by itself where the whole is not known. What is not
//! known stays English rather than vanish. Times are written as the clock on the wall shows them.

use std::borrow::Cow;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::words::sentences::{Table, told};
use crate::words::{Language, Reader};

/// The earlier one is taken where two fit.
const TABLE: Table = &include!("german_balance.in");

impl Reader {
    /// A text of the balance in the reader's language and clock.
    pub(crate) fn balance(self, text: &str, zone: &TimeZone) -> String {
        let own = match self.language {
            Language::English => None,
            Language::German => german(text),
        };
        self.clocks(&crate::layout::signs(own.as_deref().unwrap_or(text)), zone)
    }

    /// Times of a text as the clock on the wall shows them.
    pub(crate) fn clocks(self, text: &str, zone: &TimeZone) -> String {
        let word = |word: &str| {
            let bare = word.trim_end_matches([',', ':', ';', ')']);
            let time: Timestamp = bare.parse().ok()?;
            Some(self.clock(&time.to_zoned(zone.clone())) + &word[bare.len()..])
        };
        let words: Vec<Cow<'_, str>> = text.split(' ').map(|w| word(w).map_or(Cow::Borrowed(w), Cow::Owned)).collect();
        words.join(" ")
    }
}

fn german(text: &str) -> Option<String> {
    told(TABLE, text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::sentences::sources::texts;

    const HERE: Reader = Reader { language: Language::German, in_pounds: false };

    /// Sentences of the balance that a page shows, from its sources; a line more there and this fails until it has its German.
    #[test]
    fn every_sentence_of_the_balance_has_its_german() {
        let sources = [
            include_str!("../../../balance/src/alerts.rs"),
            include_str!("../../../balance/src/answers.rs"),
            include_str!("../../../balance/src/insensible.rs"),
            include_str!("../../../balance/src/error.rs"),
            include_str!("../../../balance/src/ledger/mod.rs"),
            include_str!("../../../balance/src/estimate/mod.rs"),
            include_str!("../../../balance/src/estimate/notes.rs"),
            include_str!("../../../balance/src/windows.rs"),
        ];
        // Keys of the JSON, and halves that are told whole below.
        let not_shown = ["of the baseline", "the answer to 7 at 7 fits no alert of this record", "unknown time zone"];
        let halves = [
            "last 7 h",
            "7 h from 7",
            "7 weighed",
            "no weight at both ends",
            "by the chart, still less",
            "7 7",
            "lines 7",
        ];
        let mut n = 0;
        for text in sources.iter().flat_map(|s| texts(s)) {
            let text = text.trim_start_matches("; ").trim_start_matches(", ");
            let is_sentence = text.split(' ').count() >= 3 && text.chars().any(char::is_lowercase);
            if !is_sentence || not_shown.contains(&text) || halves.contains(&text) || text.contains("::") {
                continue;
            }
            n += 1;
            assert!(german(text).is_some(), "no German for {text:?}");
        }
        assert!(n > 40, "{n} sentences were found");
    }

    /// Texts as they come, told whole; no English word is left.
    #[test]
    fn whole_texts_are_told_in_german_with_local_times_and_signs() {
        let zone = TimeZone::get("Europe/Oslo").unwrap();
        for (english, told) in [
            (
                "last 23 h: +170 ± 119 mL fused; +322 charted, +656 weighed",
                "letzte 23 h: +170 ± 119 mL zusammen; +322 eingetragen, +656 gewogen",
            ),
            (
                "6 h from 2031-11-06T00:00:00Z: -170 ± 119 mL fused (-1.2 mL/kg); +322 charted, no weight at both ends",
                "6 h ab 6.11. 01:00: −170 ± 119 mL zusammen (−1,2 mL/kg); +322 eingetragen, kein Gewicht an beiden Enden",
            ),
            (
                "165 ± 53 mL less than chart and expected loss of 26 mL/h explain, since about 2031-11-06T00:00:00Z (3.1 standard deviations); 502 mL by 2031-11-07T00:37:00Z",
                "165 ± 53 mL weniger, als Einträge und der erwartete Verlust von 26 mL/h erklären, seit etwa 6.11. 01:00 (3,1 Standardabweichungen); 502 mL bis 7.11. 01:37",
            ),
            (
                "chart line 131 says +150 mL, the deck saw -94 ± 32 g: intake and output exchanged? It is counted, but the estimate does not rely on it",
                "Eintrag in Zeile 131: +150 mL, die Waage sah −94 ± 32 g: Einfuhr und Ausfuhr vertauscht? Er ist mitgezählt, aber die Schätzung verlässt sich nicht auf ihn",
            ),
            (
                "chart line 5: stands 2.0 h in the future; it counts in no total",
                "Eintrag in Zeile 5: steht 2,0 h in der Zukunft; er zählt in keiner Summe",
            ),
            (
                "skin 400 + lungs 400 mL/day per 1.73 m²; humidified gas: no loss through the airways; 0.5 °C above 37; breathed gases 3.2 g/h",
                "Haut 400 + Lunge 400 mL/Tag je 1,73 m²; befeuchtetes Gas: kein Verlust über die Atemwege; 0,5 °C über 37; Atemgase 3,2 g/h",
            ),
            (
                "charted urine over admission weight 72.0 kg, without lines 3, 4, in doubt; KDIGO 2012; a weight raised by fluid hides oliguria",
                "eingetragener Urin je kg Aufnahmegewicht, 72,0 kg, ohne die Zeilen 3, 4, die zweifelhaft sind; KDIGO 2012; ein durch Flüssigkeit erhöhtes Gewicht verdeckt Oligurie",
            ),
            (
                "found no settled weight in 0 rows, expected at least 2",
                "kein verlässliches Gewicht in 0 Zeilen, mindestens 2 sind nötig",
            ),
        ] {
            assert_eq!(HERE.balance(english, &zone), told);
        }
        let english = Reader { language: Language::English, ..HERE };
        assert_eq!(english.balance("-3 mL by 2031-11-07T00:37:00Z", &zone), "−3 mL by 7 Nov 01:37");
    }
}
