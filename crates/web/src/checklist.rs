//! The checklist of a planned calibration: what to do, step by step, each placement with its drawing, to be printed and
//! ticked off beside the deck.

use calibrate::plan::{Lift, Plan};
use calibrate::touch::{TouchPlace, touch_places};
use formats::deck::{Deck, Plate};
use maud::{Markup, PreEscaped, html};
use report::number::{fixed, significant};
use report::svg::{BodyMark, DeckPlan};

use crate::document::{Document, Section};
use crate::layout::table;
use crate::plan;
use crate::words::Reader;

/// Side of a body's foot in the drawings, mm.
const FOOT_MM: f64 = 150.0;
/// Side of the place that a hand presses, mm.
const HAND_MM: f64 = 90.0;

/// The whole file. `masses`: where the bodies were read from; `made_at`: RFC 3339.
#[must_use]
pub fn checklist(reader: Reader, deck: &Deck, plan: &Plan, masses: &str, made_at: &str) -> Document {
    let open = (!plan.open.is_empty()).then(|| {
        reader.fill("These placements leave cells open: {}. Weights will not be determined.", [&plan.open.join(", ")])
    });
    let fact = |label: &str, value: String| (label.to_owned(), value);
    Document {
        reader,
        title: reader.fill("{}: checklist of a calibration", [&deck.name]),
        lede: reader
            .say("Which body to put where, in what order, and what the calibration will then be good for.")
            .into(),
        facts: vec![
            fact(reader.say("deck"), deck.name.clone()),
            fact(reader.say("masses"), masses.into()),
            fact(
                reader.say("placements"),
                reader.fill("{}, {} pieces carried", [&plan.lifts.len().to_string(), &plan.pieces.to_string()]),
            ),
            fact(reader.say("criterion"), reader.stage(plan.criterion)),
        ],
        made_at: made_at.into(),
        cautions: [
            reader
                .say(
                    "Lift by your local rules, two people where they say so; feet and fingers clear of plates and of the bed's moving sections. No load above the bed's safe working load less the deck. Nobody lies on the bed.",
                )
                .to_owned(),
        ]
        .into_iter()
        .chain(open)
        .chain(plan.notes.iter().map(|note| reader.stage(note)))
        .collect(),
        sections: vec![
            Section::new(reader.say("Before"), before(reader)),
            Section::new(reader.say("Touch check"), touch(reader, deck)),
            Section::new(reader.say("Placements"), placements(reader, deck, plan)),
            Section::new(reader.say("What is to be expected"), expected(reader, plan)),
            Section::new(reader.say("Afterwards"), afterwards(reader)),
        ],
    }
}

/// A line to tick off.
fn tick(text: &str) -> Markup {
    html! { li { "☐ " (text) } }
}

fn before(reader: Reader) -> Markup {
    html! {
        ul.plain {
            (tick(reader.say("Bed flat, brakes on, mattress and linen off. Nothing touches the plates, no cable pulls at them.")))
            (tick(reader.say("Deck and masses for an hour in the room. Converters on for half an hour. Temperature: ________ °C.")))
            (tick(reader.say("Masses by their certificates: name, mass, uncertainty as in the file. Certificate numbers: ________________.")))
            (tick(reader.say("Cans of unknown mass closed and dry. Nobody opens or changes them until the last reading.")))
        }
        div.signature { span { (reader.say("made by")) } span { (reader.say("date")) } span { (reader.say("room")) } }
    }
}

fn touch(reader: Reader, deck: &Deck) -> Markup {
    let rows: Vec<Vec<Markup>> = touch_places(deck)
        .iter()
        .enumerate()
        .map(|(i, p)| {
            vec![
                html! { (i + 1) },
                html! { span.left { (p.plate) } },
                html! { (fixed(p.x_mm, 0)) },
                html! { (fixed(p.y_mm, 0)) },
                html! { span.left { (p.cell) } },
                html! { "☐" },
            ]
        })
        .collect();
    html! {
        p { (reader.say("Record, hands off for three seconds, then press each place with the flat hand for three seconds, some 10 kg, three seconds between. The cell named should answer most, and upwards.")) }
        (table(reader.say("Places to press, from the plate's head end (x) and from the patient's right (y)"),
            &[reader.say("press"), reader.say("<plate"), "x, mm", "y, mm", reader.say("<should answer"), reader.say("done")], &rows))
    }
}

fn placements(reader: Reader, deck: &Deck, plan: &Plan) -> Markup {
    let mut next = 1;
    let nothing = |step: usize| {
        html! { p.keep { "☐ " strong { (reader.fill("Step {}", [&step.to_string()])) } ": " (reader.say("nothing on the deck.")) } }
    };
    html! {
        p { (reader.say("Put the middle of the body on the mark, within 2 mm. Wait 30 s, then take the mean of 10 s as the counts of the step and write it into run.csv. Where a step says nothing on the deck, everything is off.")) }
        @for lift in &plan.lifts {
            @for step in std::mem::replace(&mut next, lift.step + 1)..lift.step { (nothing(step)) }
            (placement(reader, deck, lift))
        }
        (nothing(next))
    }
}

fn placement(reader: Reader, deck: &Deck, lift: &Lift) -> Markup {
    let mass = match lift.mass_kg {
        Some(kg) => format!("{kg} kg"),
        None => reader.fill("unknown mass, about {} kg", [&significant(lift.about_kg, 3)]),
    };
    let names = deck.plate(&lift.plate).map(|p| p.cells.iter().map(|c| c.name.as_str()).collect::<Vec<_>>());
    let shares: Vec<String> = names
        .unwrap_or_default()
        .iter()
        .zip(&lift.cells_kg)
        .map(|(name, kg)| format!("{name} {} kg", fixed(*kg, 1)))
        .collect();
    html! {
        figure.keep {
            p {
                "☐ " strong { (reader.fill("Step {}", [&lift.step.to_string()])) } ": " strong { (lift.load) } " (" (mass) ") " (reader.say("on plate")) " " strong { (lift.plate) }
                ", x " strong { (fixed(lift.x_mm, 0)) } " mm, y " strong { (fixed(lift.y_mm, 0)) } " mm."
            }
            (PreEscaped(drawing_of(reader, deck, lift).svg()))
            figcaption {
                (reader.fill("To be expected on the cells, roughly: {}.", [&shares.join("; ")]))
                @if !lift.lifts_off.is_empty() {
                    " " (reader.fill("The plate lifts off {} by a hair: the sum stays right.", [&lift.lifts_off.join(", ")]))
                }
            }
        }
    }
}

/// A placement on the deck.
pub(crate) fn drawing_of(reader: Reader, deck: &Deck, lift: &Lift) -> DeckPlan {
    let capacity_kg =
        |kind: &str| deck.cell_types.iter().find(|t| t.name == kind).map_or(f64::INFINITY, |t| t.capacity_kg);
    let plates = deck.plates.iter().map(|plate| {
        let is_loaded = plate.name == lift.plate;
        let kg = |i: usize| lift.cells_kg.get(i).copied().filter(|_| is_loaded).unwrap_or(0.0);
        let load_pct = |i: usize, cell: &formats::deck::Cell| 100.0 * kg(i).max(0.0) / capacity_kg(&cell.cell_type);
        let body = is_loaded.then(|| BodyMark {
            name: lift.mass_kg.map_or_else(|| lift.load.clone(), |kg| plan::weighed(reader, &lift.load, kg)),
            at_mm: [lift.x_mm, lift.y_mm],
            foot_mm: FOOT_MM,
        });
        plan::flat_plate(plate, load_pct, body)
    });
    DeckPlan {
        title: reader.fill(
            "Step {}: {} on plate {} at x {} mm, y {} mm",
            [&lift.step.to_string(), &lift.load, &lift.plate, &lift.x_mm.to_string(), &lift.y_mm.to_string()],
        ),
        sections: plan::sections(deck),
        plates: plates.collect(),
        side: None,
        words: plan::words(reader),
    }
}

/// Where the touch check wants a press.
pub(crate) fn touch_drawing(reader: Reader, deck: &Deck, place: &TouchPlace) -> DeckPlan {
    let here = |plate: &Plate| {
        (plate.name == place.plate).then(|| BodyMark {
            name: reader.fill("press here: {}", [&place.cell]),
            at_mm: [place.x_mm, place.y_mm],
            foot_mm: HAND_MM,
        })
    };
    DeckPlan {
        title: reader.fill("Press over cell {} of plate {}", [&place.cell, &place.plate]),
        sections: plan::sections(deck),
        plates: deck.plates.iter().map(|plate| plan::flat_plate(plate, |_, _| 0.0, here(plate))).collect(),
        side: None,
        words: plan::words(reader),
    }
}

fn expected(reader: Reader, plan: &Plan) -> Markup {
    let cells: Vec<Vec<Markup>> = plan
        .cells
        .iter()
        .map(|c| {
            let u = if c.determined { significant(c.u_pct, 2) } else { reader.say("open").into() };
            vec![html! { (c.name) }, html! { (u) }, html! { (fixed(c.even_pct, 1)) }]
        })
        .collect();
    let weights: Vec<Vec<Markup>> = plan
        .weights
        .iter()
        .map(|w| {
            [w.kg, w.centres_u_g, w.even_u_g, w.uneven_u_g]
                .iter()
                .zip([3, 2, 2, 2])
                .map(|(x, d)| html! { (significant(*x, d)) })
                .collect()
        })
        .collect();
    html! {
        @if plan.open.is_empty() {
            (table(reader.say("What the gains will make of a weight (standard uncertainty, g)"),
                &[reader.say("load, kg"), reader.say("on the plates' centres"), reader.say("spread evenly"), reader.say("towards one cell of each plate")], &weights))
        }
        (table(reader.say("What each gain will be known to (standard uncertainty)"), &[reader.say("cell"), "u, %", reader.say("bears of an even load, %")], &cells))
        p { (reader.stage(&plan.centres.text)) }
        p { (reader.say("Bow, hysteresis and creep, which every run has alike, are not in these figures.")) }
    }
}

fn afterwards(reader: Reader) -> Markup {
    html! {
        ul.plain {
            (tick(reader.say("Every step has its counts, and a temperature where one was read.")))
            (tick(reader.say("`calibrate` with the deck and run.csv: every finding read and cleared before the deck is used.")))
            (tick(reader.say("Masses back in their case. Bed as it was found.")))
        }
        div.signature { span { (reader.say("checked by")) } span { (reader.say("date")) } }
    }
}
