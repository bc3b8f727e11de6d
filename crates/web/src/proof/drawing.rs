//! A step's bodies, drawn where they are to stand.

use formats::deck::{Deck, Plate};
use report::svg::{BedSide, BodyMark, DeckPlan};
use verify::plan::{Placed, Setting, Step};

use crate::plan;
use crate::words::Reader;

/// Side of a body's foot in the drawings, mm.
const FOOT_MM: f64 = 150.0;

/// The deck with the bodies of a step; those of one plate stand on one mark.
pub(super) fn drawing(reader: Reader, deck: &Deck, step: &Step) -> DeckPlan {
    let on = |plate: &Plate| step.bodies.iter().filter(|b| b.plate == plate.name).collect::<Vec<_>>();
    let plates = deck.plates.iter().map(|plate| {
        let here = on(plate);
        let kg: f64 = here.iter().map(|b| b.mass_kg).sum();
        let body = here.first().map(|b| BodyMark {
            name: plan::weighed(reader, &names(&here), kg),
            at_mm: b.at_mm,
            foot_mm: FOOT_MM,
        });
        plan::flat_plate(plate, |_, _| 0.0, body)
    });
    let mut words: Vec<String> = deck
        .plates
        .iter()
        .map(|p| (p, on(p)))
        .filter(|(_, here)| !here.is_empty())
        .map(|(p, here)| reader.fill("{} on plate {}", [&names(&here), &p.name]))
        .collect();
    let side = side(deck, step);
    if side.is_some() {
        words.extend(turned(reader, step));
    }
    DeckPlan {
        title: words.join("; "),
        sections: plan::sections(deck),
        plates: plates.collect(),
        side,
        words: plan::words(reader),
    }
}

/// The bed from the side where a step is about an angle.
fn side(deck: &Deck, step: &Step) -> Option<BedSide> {
    let Some(Setting::Tilt { section, deg, .. }) = &step.setting else { return None };
    let angles_deg = deck.sections.iter().map(|s| if s.name == *section { *deg } else { 0.0 }).collect();
    // As the workbench draws it: sections turn about the hinge towards the one that never moves.
    let still =
        deck.sections.iter().position(|s| s.angle_deg.iter().all(|deg| *deg == 0.0)).unwrap_or(deck.sections.len() / 2);
    Some(BedSide { angles_deg, still })
}

/// How a section stands, in words.
fn turned(reader: Reader, step: &Step) -> Option<String> {
    match &step.setting {
        Some(Setting::Tilt { section, deg, .. }) => {
            Some(reader.fill("section {} at {}°", [section, &reader.signs(&deg.to_string())]))
        }
        _ => None,
    }
}

/// Names of bodies on one mark, equal ones counted: `2 × F20 + F5`.
fn names(bodies: &[&Placed]) -> String {
    let mut counted: Vec<(&str, usize)> = Vec::new();
    for body in bodies {
        match counted.iter_mut().find(|(name, _)| *name == body.body) {
            Some((_, n)) => *n += 1,
            None => counted.push((&body.body, 1)),
        }
    }
    let named = |(name, n): &(&str, usize)| if *n > 1 { format!("{n} × {name}") } else { (*name).to_owned() };
    counted.iter().map(named).collect::<Vec<_>>().join(" + ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_bodies_on_one_mark_are_counted() {
        let body = |name: &str| Placed { body: name.into(), mass_kg: 1.0, plate: "seat".into(), at_mm: [1.0, 1.0] };
        let [a, b, c] = [body("F20"), body("F5"), body("F20")];
        assert_eq!(names(&[&a, &b, &c]), "2 × F20 + F5");
    }
}
