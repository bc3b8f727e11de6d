//! The report of `check`: everything that was found about a deck before it is cut, for the file and the workshop.

mod build;
mod load_path;
mod uncertainty;

use ::design::CheckReport;
use formats::deck::Deck;
use maud::{Markup, html};
use report::number::{fixed, significant};
use report::text::requirement_words;

use crate::document::{Document, Section};
use crate::layout::{headline, table, verdict};
use crate::words::Reader;

/// The report of a deck that was read from `file`, made at a time (RFC 3339).
#[must_use]
pub fn check(reader: Reader, deck: &Deck, file: &str, report: &CheckReport, made_at: &str) -> Document {
    let mut sections = vec![Section::new(reader.say("Requirements"), requirements(reader, deck, report))];
    sections.extend(load_path::sections(reader, deck, report));
    sections.extend(uncertainty::sections(reader, deck, report));
    sections.extend(build::sections(reader, deck, report));
    sections.push(Section::new(reader.say("Before a person lies on it"), before_use(reader, report)));
    Document {
        reader,
        title: reader.fill("{}: check before cutting", [&deck.name]),
        lede: reader.say("Will it carry, stay stiff, be accurate, affordable and liftable?").into(),
        facts: facts(reader, deck, file),
        made_at: made_at.into(),
        cautions: vec![
            reader
                .say(
                    "Computed from the deck file alone: nothing was built or tested. Material, joints and cells must be as the file says.",
                )
                .into(),
        ],
        sections,
    }
}

fn facts(reader: Reader, deck: &Deck, file: &str) -> Vec<(String, String)> {
    let fact = |label: &str, value: String| (label.to_owned(), value);
    let [cold, warm] = deck.ambient_c;
    let range = [significant(deck.max_kg, 4), significant(deck.e_g, 3), format!("{:?}", deck.class)];
    vec![
        fact(reader.say("deck file"), file.to_owned()),
        fact(
            reader.say("weighing range"),
            reader.fill("{} kg in intervals of {} g, class {}", range.each_ref().map(String::as_str)),
        ),
        fact(
            reader.say("built of"),
            reader.fill("{} plates on {} cells", [&deck.plates.len().to_string(), &deck.cells().count().to_string()]),
        ),
        fact(reader.say("used between"), reader.fill("{} and {} °C", [&fixed(cold, 0), &fixed(warm, 0)])),
    ]
}

/// The answer first, then each limit.
fn requirements(reader: Reader, deck: &Deck, report: &CheckReport) -> Markup {
    let n_missed = report.requirements.iter().filter(|r| !r.met).count();
    let rows: Vec<Vec<Markup>> = report
        .requirements
        .iter()
        .map(|r| {
            let (name, unit) = requirement_words(&r.name, &deck.currency);
            let sign = r.sign();
            vec![
                html! { (reader.stage(&name)) },
                html! { (significant(r.value, 3)) "\u{a0}" (unit) },
                html! { (sign) "\u{a0}" (significant(r.limit, 3)) "\u{a0}" (unit) },
                verdict(reader, r.met),
            ]
        })
        .collect();
    let patient_kg = significant(report.change.patient_kg, 3);
    let note = reader.fill("patient of {} kg, {}", [&patient_kg, &reader.stage(report.change.criterion)]);
    html! {
        p.answer {
            (verdict(reader, report.passed())) " "
            @match n_missed {
                0 => { (reader.say("Every requirement of the deck file is met.")) }
                1 => { (reader.say("One requirement is not met.")) }
                n => { (reader.fill("{} requirements are not met.", [&n.to_string()])) }
            }
            @if !report.warnings.is_empty() { " " (reader.say("There are warnings: see the last section.")) }
        }
        div.headlines {
            (headline(reader.say("Smallest change told over 24 h"), &significant(report.change.resolvable_24h_g, 2), "g", &note))
            (headline(reader.say("Expanded uncertainty of a weight"), &significant(report.expanded_u_g.largest(), 3), "g", reader.say("k = 2, the largest up to max")))
            (headline(reader.say("Mass of the deck"), &fixed(report.mass_kg, 1), "kg",
                if report.lift.is_complete { reader.say("plates, ribs, cells, bases") } else { reader.say("as far as the deck file states masses") }))
            (headline(reader.say("Cost"), &fixed(report.cost, 0), &deck.currency, reader.say("plates, ribs, cells, channels")))
        }
        (table(reader.say("What is asked, and what was found"), &[reader.say("requirement"), reader.say("found"), reader.say("limit"), reader.say("verdict")], &rows))
    }
}

fn before_use(reader: Reader, report: &CheckReport) -> Markup {
    let deck_kg = fixed(report.mass_kg, 1);
    html! {
        @if report.warnings.is_empty() {
            p { (reader.say("The computation itself found nothing to warn of.")) }
        } @else {
            h3 { (reader.say("Found by the computation")) }
            ul.plain { @for warning in &report.warnings { li { (reader.stage(warning)) } } }
        }
        h3 { (reader.say("Not computed here: to be judged by qualified people on the built deck")) }
        ul.plain {
            li { (reader.say("Trapping: gaps between plates, and between plates and bed, open and close as the sections move. Fingers, skin, tubes and linen must not be caught, at any angle of the bed.")) }
            li {
                @if report.lift.is_complete {
                    (reader.fill("Overload: the bed's own safe working load includes deck, mattress, accessories and patient together. The deck takes {} kg of it.", [&deck_kg]))
                } @else {
                    (reader.fill("Overload: the bed's own safe working load includes deck, mattress, accessories and patient together. The deck takes {} kg of it; bases and cells whose mass the deck file does not state come on top.", [&deck_kg]))
                }
            }
            li { (reader.say("Sharp edges and corners of metal sheets: break, round and cover them; skin lies near.")) }
            li { (reader.say("Cleaning: joints, holes and the gap below the plates hold fluid and dirt; they must bear the ward's disinfectants and be reachable.")) }
            li { (reader.say("Electrical safety at the bed: supply, leakage currents, cables in moving sections, fluid ingress, defibrillation.")) }
            li { (reader.say("Stability and resuscitation: the deck must not shift on the bed, nor soften chest compressions, nor hide the bed's controls.")) }
            li { (reader.say("Local rules, the manufacturer of the bed and licensed practice come first.")) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DECK: &str = include_str!("../../../../twin/data/deck.toml");

    fn html(toml: &str) -> String {
        let deck = formats::deck::read("deck.toml", toml).unwrap();
        let found = ::design::check(&deck).unwrap();
        check(Reader::ENGLISH, &deck, "deck.toml", &found, "2031-11-04T18:00:00Z").render()
    }

    #[test]
    fn the_report_stands_alone_and_shows_every_part() {
        let html = html(DECK);
        // The name of the SVG vocabulary is no link: nothing is fetched by it.
        let without_names = html.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        for word in ["http", "<script", "<link", "url(", "<details"] {
            assert!(!without_names.contains(word), "{word}");
        }
        assert!(!html.contains("NaN") && !html.contains("inf "), "a figure that is none");
        // A plan for each load case, the budget and the tornado.
        assert_eq!(html.matches("<svg class=\"deck\"").count(), 4);
        assert_eq!(html.matches("<svg class=\"chart\"").count(), 2);
        for words in [
            "Every requirement of the deck file is met",
            "Smallest change told over 24 h",
            "sitting on the edge",
            "chest compression",
            "Safe load of the deck",
            "IEC 60601-1, 9.8.2",
            "ISO 11228-1",
            "counts per interval",
            "noise-free divisions",
            "What to improve first",
            "converter channel",
            "safe working load includes deck",
            "Trapping",
            "Electrical safety",
        ] {
            assert!(html.contains(words), "no {words:?}");
        }
    }

    #[test]
    fn a_missed_limit_is_the_first_thing_said() {
        let html = html(&DECK.replace("cost = 450.0", "cost = 45.0"));
        assert!(html.contains("One requirement is not met."));
        let (answer, first_section) = (html.find("not met").unwrap(), html.find("What is asked").unwrap());
        assert!(answer < first_section);
    }

    #[test]
    fn names_from_the_file_stay_text() {
        let html = html(
            &DECK
                .replace("name = \"seat\"", "name = \"<b>seat\"")
                .replace("section = \"seat\"", "section = \"<b>seat\""),
        );
        assert!(!html.contains("<b>") && html.contains("&lt;b&gt;seat"));
    }
}
