//! From load to cells: plans, plates, cells, layers, and the proof that the contact is right.

use ::design::CheckReport;
use ::design::report::{CaseReport, PlateReport};
use formats::deck::Deck;
use maud::{Markup, PreEscaped, html};
use report::number::{fixed, optional, significant};

use crate::document::Section;
use crate::layout::table;
use crate::plan::{legend, plan};
use crate::words::Reader;

/// The sections of this part.
pub(super) fn sections(reader: Reader, deck: &Deck, report: &CheckReport) -> Vec<Section> {
    if deck.load_cases.is_empty() {
        let none = html! { p { (reader.say("The deck file names no load case: nothing was bent.")) } };
        return vec![Section::new(reader.say("Load cases"), none)];
    }
    vec![
        Section::new(reader.say("Deflection on the bed"), plans(reader, deck, report)),
        Section::new(reader.say("Plates under each load case"), plates(reader, &report.plates)),
        Section::new(reader.say("Cells under each load case"), cells(reader, &report.plates)),
        Section::new(reader.say("Stress of layers and ribs"), layers(reader, &report.plates)),
        Section::new(reader.say("Proof of contact and mesh"), proof(reader, &report.plates)),
    ]
}

fn plans(reader: Reader, deck: &Deck, report: &CheckReport) -> Markup {
    html! {
        @for (i, case) in deck.load_cases.iter().enumerate() {
            figure {
                div.scroll { (PreEscaped(plan(reader, deck, report, i).svg())) }
                figcaption { (reader.say("Load case:")) " " (case.name) "." @if i == 0 { " " (legend(reader)) } }
            }
        }
    }
}

/// Plates with what lies on them; a patch on one plate leaves the others without a load: nothing to say.
fn loaded(plates: &[PlateReport]) -> impl Iterator<Item = (&PlateReport, &CaseReport)> {
    plates.iter().flat_map(|p| p.cases.iter().filter(|c| c.load_kg > 0.0).map(move |c| (p, c)))
}

/// A row a plate and load; shared with the loads of a ward.
pub(super) fn plate_rows(reader: Reader, plates: &[PlateReport]) -> Vec<Vec<Markup>> {
    loaded(plates)
        .map(|(plate, case)| {
            let most = case.cells.iter().map(|c| c.load_pct_of_capacity).fold(0.0, f64::max);
            let [x, y] = case.at_mm;
            vec![
                html! { (plate.name) },
                html! { span.left { (reader.word(&case.case)) } },
                html! { (fixed(case.load_kg, 1)) },
                html! { (fixed(case.max_deflection_mm, 2)) },
                html! { (fixed(x, 0)) ",\u{a0}" (fixed(y, 0)) },
                html! { (fixed(case.clearance_left_mm, 1)) @if case.touches { " " (reader.say("touches")) } @if case.tips { " " (reader.say("tips")) } },
                html! { (fixed(case.shunted_pct, 1)) },
                html! { (significant(case.max_stress_mpa, 2)) },
                html! { (optional(case.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(most, 0)) },
            ]
        })
        .collect()
}

/// Headings of [`plate_rows`].
pub(super) fn plate_head(reader: Reader) -> [&'static str; 10] {
    [
        reader.say("plate"),
        reader.say("<load"),
        "kg",
        reader.say("down, mm"),
        reader.say("at x, y, mm"),
        reader.say("clearance left, mm"),
        reader.say("shunted, %"),
        reader.say("stress, MPa"),
        reader.say("strength over stress"),
        reader.say("most loaded cell, %"),
    ]
}

fn plates(reader: Reader, plates: &[PlateReport]) -> Markup {
    table(
        reader.say(
            "Down: the largest deflection from the unloaded plate, whose own weight is tare. Shunted: share of the load that passes the cells by. Stress and factor: the worst of all layers and ribs.",
        ),
        &plate_head(reader),
        &plate_rows(reader, plates),
    )
}

fn cells(reader: Reader, plates: &[PlateReport]) -> Markup {
    let mut rows = Vec::new();
    for (plate, case) in loaded(plates) {
        let list = |value: &dyn Fn(&::design::report::CellReport) -> String| -> Markup {
            html! { @for (i, c) in case.cells.iter().enumerate() { @if i > 0 { br; } (value(c)) } }
        };
        rows.push(vec![
            html! { (plate.name) },
            html! { span.left { (reader.word(&case.case)) } },
            list(&|c| c.name.clone()),
            list(&|c| if c.lifts { reader.say("lifts").into() } else { fixed(c.reaction_newton, 1) }),
            list(&|c| fixed(c.load_pct_of_capacity, 1)),
            list(&|c| fixed(c.slope_permille, 2)),
            list(&|c| fixed(c.side_load_newton, 2)),
        ]);
    }
    table(
        reader.say("Slope: of the plate at the cell. Side load: what that slope turns of the reaction. A cell that lifts carries nothing."),
        &[
            reader.say("plate"),
            reader.say("<load"),
            reader.say("cell"),
            reader.say("reaction, N"),
            reader.say("of capacity, %"),
            reader.say("slope, mm/m"),
            reader.say("side load, N"),
        ],
        &rows,
    )
}

/// The worst case of each layer and rib of each plate.
fn layers(reader: Reader, plates: &[PlateReport]) -> Markup {
    let mut rows = Vec::new();
    for plate in plates {
        let n_layers = plate.cases.first().map_or(0, |c| c.layers.len());
        for i in 0..n_layers {
            let tightness = |c: &&CaseReport| c.layers.get(i).and_then(|l| l.safety_factor).unwrap_or(f64::INFINITY);
            let worst = plate.cases.iter().min_by(|a, b| tightness(a).total_cmp(&tightness(b)));
            let Some((case, layer)) = worst.and_then(|c| Some((c, c.layers.get(i)?))) else { continue };
            if layer.safety_factor.is_none() {
                continue;
            }
            rows.push(vec![
                html! { (plate.name) },
                html! { span.left { (face(reader, i + 1, &layer.material, layer.face)) } },
                html! { span.left { (reader.word(&case.case)) } },
                html! { (significant(layer.stress_mpa, 2)) },
                html! { (optional(layer.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(layer.at_mm[0], 0)) ", " (fixed(layer.at_mm[1], 0)) },
            ]);
        }
    }
    table(
        reader.say("Layers from the top, then ribs: the load case that strains each most, and where"),
        &[
            reader.say("plate"),
            reader.say("<layer or rib"),
            reader.say("<load"),
            reader.say("stress, MPa"),
            reader.say("strength over stress"),
            reader.say("at x, y, mm"),
        ],
        &rows,
    )
}

/// A layer or rib by its number, and the face of it that is strained most.
fn face(reader: Reader, number: usize, material: &str, face: &str) -> String {
    let number = number.to_string();
    match face {
        "upper" => reader.fill("{} {}, upper face", [&number, material]),
        "upper, rib" => reader.fill("{} {}, upper face of a rib", [&number, material]),
        "lower, rib" => reader.fill("{} {}, lower face of a rib", [&number, material]),
        _ => reader.fill("{} {}, lower face", [&number, material]),
    }
}

fn proof(reader: Reader, plates: &[PlateReport]) -> Markup {
    let rows: Vec<Vec<Markup>> = plates
        .iter()
        .map(|plate| {
            let most = |value: &dyn Fn(&CaseReport) -> f64| plate.cases.iter().map(value).fold(0.0, f64::max);
            vec![
                html! { (plate.name) },
                html! { (plate.cases.iter().map(|c| c.contact.points_mm.len()).sum::<usize>()) },
                html! { (significant(most(&|c| c.contact.penetration_mm), 1)) },
                html! { (significant(most(&|c| c.contact.pull_newton), 1)) },
                html! { (significant(most(&|c| c.contact.residual_newton_m), 1)) },
                html! { (significant(most(&|c| c.mesh_deflection_pct), 2)) },
                html! { (significant(most(&|c| c.mesh_reaction_pct), 2)) },
            ]
        })
        .collect();
    table(
        reader.say(
            "Cells only press and the base only stops: what is left of a pull, of a dip below the base, and of force times gap is round-off and the grid of contact points. The mesh's error is estimated, in % of the largest deflection and of the load. The worst of all load cases.",
        ),
        &[
            reader.say("plate"),
            reader.say("contacts"),
            reader.say("dip, mm"),
            reader.say("pull, N"),
            reader.say("residual, N·m"),
            reader.say("mesh, deflection, %"),
            reader.say("mesh, reaction, %"),
        ],
        &rows,
    )
}
