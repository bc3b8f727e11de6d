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
pub(super) fn sections(deck: &Deck, report: &CheckReport) -> Vec<Section> {
    if deck.load_cases.is_empty() {
        return vec![Section::new("Load cases", html! { p { "The deck file names no load case: nothing was bent." } })];
    }
    vec![
        Section::new("Deflection on the bed", plans(deck, report)),
        Section::new("Plates under each load case", plates(&report.plates)),
        Section::new("Cells under each load case", cells(&report.plates)),
        Section::new("Stress of layers and ribs", layers(&report.plates)),
        Section::new("Proof of contact and mesh", proof(&report.plates)),
    ]
}

fn plans(deck: &Deck, report: &CheckReport) -> Markup {
    html! {
        @for (i, case) in deck.load_cases.iter().enumerate() {
            figure {
                div.scroll { (PreEscaped(plan(Reader::ENGLISH, deck, report, i).svg())) }
                figcaption { "Load case: " (case.name) "." @if i == 0 { " " (legend(Reader::ENGLISH)) } }
            }
        }
    }
}

/// Plates with what lies on them; a patch on one plate leaves the others without a load: nothing to say.
fn loaded(plates: &[PlateReport]) -> impl Iterator<Item = (&PlateReport, &CaseReport)> {
    plates.iter().flat_map(|p| p.cases.iter().filter(|c| c.load_kg > 0.0).map(move |c| (p, c)))
}

/// A row a plate and load; shared with the loads of a ward.
pub(super) fn plate_rows(plates: &[PlateReport]) -> Vec<Vec<Markup>> {
    loaded(plates)
        .map(|(plate, case)| {
            let most = case.cells.iter().map(|c| c.load_pct_of_capacity).fold(0.0, f64::max);
            let [x, y] = case.at_mm;
            vec![
                html! { (plate.name) },
                html! { span.left { (case.case) } },
                html! { (fixed(case.load_kg, 1)) },
                html! { (fixed(case.max_deflection_mm, 2)) },
                html! { (fixed(x, 0)) ",\u{a0}" (fixed(y, 0)) },
                html! { (fixed(case.clearance_left_mm, 1)) @if case.touches { " touches" } @if case.tips { " tips" } },
                html! { (fixed(case.shunted_pct, 1)) },
                html! { (significant(case.max_stress_mpa, 2)) },
                html! { (optional(case.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(most, 0)) },
            ]
        })
        .collect()
}

/// Headings of [`plate_rows`].
pub(super) const PLATE_HEAD: [&str; 10] = [
    "plate",
    "<load",
    "kg",
    "down, mm",
    "at x, y, mm",
    "clearance left, mm",
    "shunted, %",
    "stress, MPa",
    "strength over stress",
    "most loaded cell, %",
];

fn plates(plates: &[PlateReport]) -> Markup {
    table(
        "Down: the largest deflection from the unloaded plate, whose own weight is tare. Shunted: share of the load that passes the \
         cells by. Stress and factor: the worst of all layers and ribs.",
        &PLATE_HEAD,
        &plate_rows(plates),
    )
}

fn cells(plates: &[PlateReport]) -> Markup {
    let mut rows = Vec::new();
    for (plate, case) in loaded(plates) {
        let list = |value: &dyn Fn(&::design::report::CellReport) -> String| -> Markup {
            html! { @for (i, c) in case.cells.iter().enumerate() { @if i > 0 { br; } (value(c)) } }
        };
        rows.push(vec![
            html! { (plate.name) },
            html! { span.left { (case.case) } },
            list(&|c| c.name.clone()),
            list(&|c| if c.lifts { "lifts".into() } else { fixed(c.reaction_newton, 1) }),
            list(&|c| fixed(c.load_pct_of_capacity, 1)),
            list(&|c| fixed(c.slope_permille, 2)),
            list(&|c| fixed(c.side_load_newton, 2)),
        ]);
    }
    table(
        "Slope: of the plate at the cell. Side load: what that slope turns of the reaction. A cell that lifts carries nothing.",
        &["plate", "<load", "cell", "reaction, N", "of capacity, %", "slope, mm/m", "side load, N"],
        &rows,
    )
}

/// The worst case of each layer and rib of each plate.
fn layers(plates: &[PlateReport]) -> Markup {
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
                html! { span.left { (i + 1) " " (layer.material) ", " (layer.face) " face" } },
                html! { span.left { (case.case) } },
                html! { (significant(layer.stress_mpa, 2)) },
                html! { (optional(layer.safety_factor, |f| significant(f, 2))) },
                html! { (fixed(layer.at_mm[0], 0)) ", " (fixed(layer.at_mm[1], 0)) },
            ]);
        }
    }
    table(
        "Layers from the top, then ribs: the load case that strains each most, and where",
        &["plate", "<layer or rib", "<load", "stress, MPa", "strength over stress", "at x, y, mm"],
        &rows,
    )
}

fn proof(plates: &[PlateReport]) -> Markup {
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
        "Cells only press and the base only stops: what is left of a pull, of a dip below the base, and of force times gap is \
         round-off and the grid of contact points. The mesh's error is estimated, in % of the largest deflection and of the load. \
         The worst of all load cases.",
        &["plate", "contacts", "dip, mm", "pull, N", "residual, N·m", "mesh, deflection, %", "mesh, reaction, %"],
        &rows,
    )
}
