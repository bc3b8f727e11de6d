//! A deck's plan from what `check` found: the drawing that page, workbench and report share.

use ::design::{CheckReport, PlateReport};
use formats::deck::{Cell, Deck, Plate};
use report::svg::{BodyMark, CellMark, DeckPlan, Field, PlanWords, PlatePlan, SectionPlan};

use crate::words::Reader;

/// What there is to see in the drawing, for its caption.
pub(crate) fn legend(reader: Reader) -> &'static str {
    reader.say(
        "Seen from above, head end left, the patient's right at the bottom. Each step of shade bends further down, by the key. The cross marks the lowest place of each plate. Each ring is a cell; the filled part is its load as a share of its capacity.",
    )
}

/// The plan of the deck's load case number `case`.
pub(crate) fn plan(reader: Reader, deck: &Deck, report: &CheckReport, case: usize) -> DeckPlan {
    let name = deck.load_cases.get(case).map_or("", |c| &c.name);
    DeckPlan {
        title: reader.fill("{}: deflection under {}", [&deck.name, name]),
        sections: sections(deck),
        plates: plates(deck, &report.plates, case),
        side: None,
        words: words(reader),
    }
}

/// Words of a drawing.
pub(crate) fn words(reader: Reader) -> PlanWords {
    PlanWords { mm_down: reader.say("mm down"), of_capacity: reader.say("of capacity") }
}

/// A plate that is not bent, with what stands on it and each cell's load, % of its capacity.
pub(crate) fn flat_plate(plate: &Plate, load_pct: impl Fn(usize, &Cell) -> f64, body: Option<BodyMark>) -> PlatePlan {
    let mark = |(i, cell): (usize, &Cell)| CellMark {
        name: cell.name.clone(),
        at_mm: cell.at_mm,
        load_pct: load_pct(i, cell),
    };
    PlatePlan {
        name: plate.name.clone(),
        origin_mm: plate.origin_mm,
        size_mm: plate.size_mm,
        cells: plate.cells.iter().enumerate().map(mark).collect(),
        field: None,
        body,
    }
}

/// A body's name with what it weighs.
pub(crate) fn weighed(reader: Reader, name: &str, kg: f64) -> String {
    // To the gram, and no digits beyond what is known of a round mass.
    format!("{name} · {} kg", reader.signs(&((1e3 * kg).round() / 1e3).to_string()))
}

/// The bed's sections, as a plan names them.
pub(crate) fn sections(deck: &Deck) -> Vec<SectionPlan> {
    deck.sections.iter().map(|s| SectionPlan { name: s.name.clone(), length_mm: s.length_mm }).collect()
}

/// The plates of a plan, bent by the load case number `case`.
pub(crate) fn plates(deck: &Deck, found: &[PlateReport], case: usize) -> Vec<PlatePlan> {
    deck.plates
        .iter()
        .zip(found)
        .map(|(plate, found)| {
            let found = found.cases.get(case);
            PlatePlan {
                name: plate.name.clone(),
                origin_mm: plate.origin_mm,
                size_mm: plate.size_mm,
                cells: plate
                    .cells
                    .iter()
                    .enumerate()
                    .map(|(i, cell)| CellMark {
                        name: cell.name.clone(),
                        at_mm: cell.at_mm,
                        load_pct: found.and_then(|f| f.cells.get(i)).map_or(0.0, |c| c.load_pct_of_capacity),
                    })
                    .collect(),
                // A plate that nothing lies on has no lowest place to mark.
                field: found.filter(|f| f.load_kg > 0.0).and_then(|f| {
                    let nx = f.deflection_mm.first()?.len();
                    Some(Field {
                        nx,
                        ny: f.deflection_mm.len(),
                        deflection_mm: f.deflection_mm.concat(),
                        max_mm: f.max_deflection_mm,
                        max_at_mm: f.at_mm,
                    })
                }),
                body: None,
            }
        })
        .collect()
}
