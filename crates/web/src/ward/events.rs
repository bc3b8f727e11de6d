//! What happened on a deck, in the reader's language.
//!
//! The record holds the weigher's own sentences. Here each has its like with the same holes, `{}`, in the same order: for figures,
//! for what somebody noted, and for names of plates. A sentence that is not known stays as it is rather than vanish.

use std::borrow::Cow;

use crate::words::sentences::{Table, filled, holes};
use crate::words::{Language, Reader};

/// English as the weigher writes it, and German. Where two fit, the earlier one is taken.
const SENTENCES: Table = &[
    ("The patient is on the deck.", "Der Patient liegt auf der Waage."),
    ("The patient has left the deck.", "Der Patient hat die Waage verlassen."),
    ("The patient has left the deck; nobody said so.", "Der Patient hat die Waage verlassen; niemand hat es gesagt."),
    (
        "The deck is bare after care: the patient has left it.",
        "Die Waage ist nach der Pflege leer: Der Patient hat sie verlassen.",
    ),
    ("Whoever was on the bed has left it.", "Wer auf dem Bett war, hat es verlassen."),
    (
        "Someone seems to be on the bed, and nobody said so: no weight until it is said.",
        "Jemand scheint auf dem Bett zu sein, und niemand hat es gesagt: kein Gewicht, bis es gesagt ist.",
    ),
    ("The bare deck bears another load than at the tare.", "Die leere Waage trägt eine andere Last als bei der Tara."),
    (
        "An item was entered without its mass, and the load did not change.",
        "Ein Gegenstand wurde ohne seine Masse eingetragen, und die Last änderte sich nicht.",
    ),
    (
        "Tare was asked for with the patient on the deck: not taken.",
        "Tara wurde verlangt, während der Patient auf der Waage lag: nicht genommen.",
    ),
    (
        "The patient came before the load rested for the tare: it was not taken, and the weight rests on the tare before it. Weigh anew on an empty deck if mattress or linen were changed.",
        "Der Patient kam, ehe die Last für die Tara ruhte: Sie wurde nicht genommen, und das Gewicht beruht auf der Tara davor. Auf leerer Waage neu wiegen, wenn Matratze oder Wäsche gewechselt wurden.",
    ),
    (
        "The patient came before the load rested for the tare: there is no tare, and no weight until one is taken.",
        "Der Patient kam, ehe die Last für die Tara ruhte: Es gibt keine Tara, und kein Gewicht, bis eine genommen ist.",
    ),
    (
        "A change was said to be the patient's own, and none of that size is open: nothing was done.",
        "Eine Änderung soll der Patient selbst gewesen sein, und keine dieser Größe ist offen: Nichts wurde geändert.",
    ),
    (
        "Tare was asked for, and the load did not rest within {} s: not taken.",
        "Tara wurde verlangt, und die Last ruhte nicht innerhalb von {} s: nicht genommen.",
    ),
    (
        "The tare was taken back before the load rested: not taken.",
        "Die Tara wurde zurückgenommen, ehe die Last ruhte: nicht genommen.",
    ),
    (
        "An answer named a question that is not open any more: nothing was done.",
        "Eine Antwort nannte eine Frage, die nicht mehr offen ist: Nichts wurde geändert.",
    ),
    ("{} kg did not come onto the deck, as was said{}.", "{} kg kamen nicht auf die Waage, wie gesagt wurde{}."),
    ("{} kg did not leave the deck, as was said{}.", "{} kg gingen nicht von der Waage, wie gesagt wurde{}."),
    ("{} kg was the patient's own, as was said{}.", "{} kg waren der Patient selbst, wie gesagt wurde{}."),
    (
        "{} kg came onto the deck again: what had left and was asked about. The load is as before.",
        "{} kg kamen wieder auf die Waage: was gegangen war und wonach gefragt wurde. Die Last ist wie vorher.",
    ),
    (
        "{} kg left the deck again: what had come and was asked about. The load is as before.",
        "{} kg gingen wieder von der Waage: was gekommen war und wonach gefragt wurde. Die Last ist wie vorher.",
    ),
    (
        "{} kg left the deck: what had been found there while the deck was bare.",
        "{} kg gingen von der Waage: was man auf ihr gefunden hatte, während sie leer war.",
    ),
    (
        "{} kg came onto the deck: what had been missing there while the deck was bare.",
        "{} kg kamen auf die Waage: was auf ihr gefehlt hatte, während sie leer war.",
    ),
    (
        "{} kg were there again after {} s: someone lifted or pressed.",
        "{} kg waren nach {} s wieder da: Jemand hat angehoben oder gedrückt.",
    ),
    (
        "{} kg came onto the deck in care, and is not the patient's.",
        "{} kg kamen während der Pflege auf die Waage und gehören nicht zum Patienten.",
    ),
    (
        "{} kg left the deck in care, and is not the patient's.",
        "{} kg gingen während der Pflege von der Waage und gehörten nicht zum Patienten.",
    ),
    ("{} kg came onto the deck{}.", "{} kg kamen auf die Waage{}."),
    ("{} kg left the deck{}.", "{} kg gingen von der Waage{}."),
    (
        "{} kg came or went and nobody said so: what was it? Until then the weight is not settled.",
        "{} kg kamen oder gingen, und niemand hat es gesagt: Was war das? Bis dahin ist das Gewicht nicht verlässlich.",
    ),
    (
        "{} kg came or went while a section moved: what was it?",
        "{} kg kamen oder gingen, während sich ein Bettteil bewegte: Was war das?",
    ),
    (
        "{} kg came or went while a cell was at fault and nobody said so: what was it?",
        "{} kg kamen oder gingen, während eine Zelle ausgefallen war, und niemand hat es gesagt: Was war das?",
    ),
    (
        "{} kg came or went in care, while load may pass the cells by: how much of it was linen?",
        "{} kg kamen oder gingen während der Pflege, und Last geht vielleicht an den Zellen vorbei: Wie viel davon war Wäsche?",
    ),
    ("{} kg is still open: what left was something else.", "{} kg sind noch offen: Was ging, war etwas anderes."),
    (
        "All cells give again: what was asked about since one failed was its stand-in's error.",
        "Alle Zellen messen wieder: Wonach seit dem Ausfall gefragt wurde, war ein Fehler des Ersatzwerts.",
    ),
    (
        "All cells give again: one had wandered by {} kg before it was named, and the weight is put right by as much.",
        "Alle Zellen messen wieder: Eine war um {} kg gewandert, ehe es auffiel, und das Gewicht ist um so viel berichtigt.",
    ),
    (
        "What changed in care was the patient's own fluid, by the pace after it.",
        "Was sich in der Pflege änderte, war nach dem Verlauf danach Flüssigkeit des Patienten.",
    ),
    (
        "{} kg is more than linen: who or what came or went in care?",
        "{} kg sind mehr als Wäsche: Wer oder was kam oder ging während der Pflege?",
    ),
    (
        "{} kg was entered, and beside a patient the deck does not bear it: is it on the bed?",
        "{} kg wurden eingetragen, und neben einem Patienten trägt die Waage das nicht: Liegt es auf dem Bett?",
    ),
    (
        "{} kg was entered, and the load did not change: is it on the bed?",
        "{} kg wurden eingetragen, und die Last änderte sich nicht: Liegt es auf dem Bett?",
    ),
    (
        "Came with the patient and was not weighed{}: the weight is uncertain by it.",
        "Kam mit dem Patienten und wurde nicht gewogen{}: Um so viel ist das Gewicht unsicher.",
    ),
    (
        "The patient lies otherwise: the centre of load moved by {} mm, the sum stayed.",
        "Der Patient liegt anders: Der Schwerpunkt verschob sich um {} mm, die Summe blieb.",
    ),
    (
        "The bed was moved: for {} s all its sections swung together, by up to {}°. The load is as before.",
        "Das Bett wurde bewegt: {} s lang schwankten alle seine Teile gemeinsam, um bis zu {}°. Die Last ist wie vorher.",
    ),
    (
        "The bed was moved: for {} s all its sections swung together, by up to {}°. The load changed by {} kg.",
        "Das Bett wurde bewegt: {} s lang schwankten alle seine Teile gemeinsam, um bis zu {}°. Die Last änderte sich um {} kg.",
    ),
    (
        "Someone leaned on the bed by {} kg on average, and let go.",
        "Jemand stützte sich mit im Mittel {} kg aufs Bett und ließ los.",
    ),
    (
        "Someone leaned on the bed by {} kg for {} s, and let go: the load is as before.",
        "Jemand stützte sich mit {} kg für {} s aufs Bett und ließ los: Die Last ist wie vorher.",
    ),
    (
        "Load may still pass the cells{} by: look beneath it, and tare the empty deck. Until then no weight is settled.",
        "Last geht vielleicht noch an den Zellen{} vorbei: darunter nachsehen und die leere Waage tarieren. Bis dahin ist kein Gewicht verlässlich.",
    ),
    (
        "{} kg are missing at plate {}, which bends by about {} of its {} mm: it may touch its base.",
        "{} kg fehlen an der Platte {}, die sich um etwa {} von ihren {} mm biegt: Sie liegt vielleicht auf ihrer Grundplatte.",
    ),
    (
        "{} kg are missing at plate {}, more than the {} kg that lie there loose: load may pass its cells by. Is something jammed beneath it, or someone partly off the bed?",
        "{} kg fehlen an der Platte {}, mehr als die {} kg, die dort lose liegen: Last geht vielleicht an ihren Zellen vorbei. Klemmt etwas darunter, oder ist jemand teils vom Bett?",
    ),
];
/// What may be said after a sentence.
const AFTER: Table = &[
    (" The load was back after {} s.", " Die Last war nach {} s wieder da."),
    (
        " It was none: the load came to rest at what it was before.",
        " Es war keine: Die Last kam bei dem zur Ruhe, was sie vorher war.",
    ),
    (
        " It was none: flat, with all cells and no load past them, the deck bore at {} s what it bore before.",
        " Es war keine: Flach, mit allen Zellen und ohne Last daran vorbei, trug die Waage bei {} s, was sie vorher trug.",
    ),
];

impl Reader {
    /// An event's sentence in the reader's language.
    pub(crate) fn event(self, english: &str) -> String {
        if self.language == Language::English {
            return english.to_owned();
        }
        german(english).unwrap_or_else(|| english.to_owned())
    }
}

fn german(english: &str) -> Option<String> {
    for (en, de) in AFTER {
        let begins = en.split("{}").next().unwrap_or_default();
        if let Some(at) = english.rfind(begins) {
            let found = holes(en, &english[at..])?;
            return Some(german(&english[..at])? + &filled(de, found.into_iter().map(figure)));
        }
    }
    SENTENCES.iter().find_map(|(en, de)| Some(filled(de, holes(en, english)?.into_iter().map(figure))))
}

/// A figure takes the reader's decimal sign; a note stays as it was written.
fn figure(hole: &str) -> Cow<'_, str> {
    if hole.parse::<f64>().is_ok() { hole.replace('.', ",").replace('-', "−").into() } else { hole.into() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::sentences::sources::texts;

    /// Every text of the weigher's sources that looks like a sentence: three words or more, and a full stop or a question mark at
    /// its end; a figure or a note put where it has a hole.
    fn sentences() -> Vec<String> {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../weigh/src/judge");
        let mut found = Vec::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let source = std::fs::read_to_string(file.unwrap().path()).unwrap();
            for text in texts(&source) {
                if text.split(' ').count() >= 3 && text.ends_with(['.', '?']) {
                    found.push(text);
                }
            }
        }
        found
    }

    #[test]
    fn every_sentence_of_the_weigher_has_its_german() {
        // Put together from two literals; told whole below.
        let halves = [
            "7 kg 7. The load is as before.",
            "7 kg 7 the deck7.",
            "7 kg 7 the deck in care, and is not the patient's.",
        ];
        let said = sentences();
        assert!(said.len() >= 20, "{said:?}");
        for text in &said {
            let whole = german(text).or_else(|| german(&format!("7 kg {text}")));
            assert!(
                whole.is_some()
                    || halves.contains(&text.as_str())
                    || AFTER.iter().any(|(en, _)| en.replace("{}", "7") == *text),
                "no German for {text:?}"
            );
        }
        let all = said.join("\n");
        for (en, _) in SENTENCES {
            // The longest fixed part stands in the sources as it stands here.
            let part = en.split("{}").flat_map(|p| p.split(". The load is")).max_by_key(|p| p.len()).unwrap().trim();
            let part = part.trim_start_matches("kg ");
            let is_half = part.contains("the deck");
            assert!(is_half || all.contains(part), "nothing says {part:?}");
        }
    }

    #[test]
    fn figures_take_the_readers_sign_and_notes_stay() {
        let reader = Reader { language: Language::German, in_pounds: false };
        assert_eq!(
            reader.event("0.73 kg came onto the deck (second pillow, 2.5 kg?)."),
            "0,73 kg kamen auf die Waage (second pillow, 2.5 kg?)."
        );
        assert_eq!(
            reader.event("-0.72 kg came or went while a section moved: what was it?"),
            "−0,72 kg kamen oder gingen, während sich ein Bettteil bewegte: Was war das?"
        );
        assert_eq!(
            reader.event("1.20 kg left the deck again: what had come and was asked about. The load is as before."),
            "1,20 kg gingen wieder von der Waage: was gekommen war und wonach gefragt wurde. Die Last ist wie vorher."
        );
        let shunt = "3.10 kg are missing at plate seat, which bends by about 2.1 of its 3.0 mm: it may touch its base. The load was back after 40 s.";
        assert!(
            reader.event(shunt).ends_with("auf ihrer Grundplatte. Die Last war nach 40 s wieder da."),
            "{}",
            reader.event(shunt)
        );
        assert_eq!(reader.event("Something new."), "Something new.");
        assert_eq!(
            Reader { language: Language::English, ..reader }.event("1.0 kg left the deck."),
            "1.0 kg left the deck."
        );
    }
}
