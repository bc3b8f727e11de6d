//! What it takes to build and carry the deck, whether its electronics fit, and what it bears.

use ::design::CheckReport;
use ::design::lift::{LIFT_KG, LIFT_WIDE_KG, SAFETY};
use formats::deck::Deck;
use maud::{Markup, html};
use report::number::{fixed, optional, significant};

use super::load_path::{PLATE_HEAD, plate_rows};
use crate::document::Section;
use crate::layout::{headline, table, verdict};
use crate::words::Reader;

/// The sections of this part.
pub(super) fn sections(deck: &Deck, report: &CheckReport) -> Vec<Section> {
    vec![
        Section::new("Cells and converter together", modules(report)),
        Section::new("Safe working load and loads of a ward", loads(deck, report)),
        Section::new("Bill, and who can lift it", bill(deck, report)),
    ]
}

fn modules(report: &CheckReport) -> Markup {
    let modules = &report.modules;
    let rows: Vec<Vec<Markup>> = modules
        .conditions
        .iter()
        .map(|c| {
            vec![
                html! { (c.name) },
                html! { (significant(c.value, 3)) },
                html! { (significant(c.limit, 3)) },
                verdict(Reader::ENGLISH, c.met),
            ]
        })
        .collect();
    html! {
        div.headlines {
            (headline("Counts per interval e", &significant(modules.counts_per_e, 3), "", "on the least sensitive cell"))
            (headline("Noise-free divisions of max", &significant(modules.noise_free_divisions, 3), "", "by peak-to-peak noise of a sample"))
            (headline("Noise of the sum", &significant(modules.averaged_noise_g_rms, 2), "g rms",
                &format!("settled; a single sample has {} g", significant(modules.noise_g_rms, 2))))
        }
        (table(
            "Conditions of module compatibility after OIML R 76-1, Annex F, and WELMEC 2, with counts per interval and noise-free divisions above",
            &["condition", "found", "asked", "verdict"], &rows,
        ))
        @if !modules.open.is_empty() {
            (table(
                "Open: what the deck file does not state of the certificates (approval = { … } of cell type and converter)",
                &["<condition", "<found", "<what would settle it"],
                &modules
                    .open
                    .iter()
                    .map(|c| vec![html! { (c.name) }, html! { span.left { (c.found) } }, html! { span.left { (c.needs) } }])
                    .collect::<Vec<_>>(),
            ))
        }
        p { "Source: " (modules.note) ". The cells' certificates decide." }
    }
}

fn loads(deck: &Deck, report: &CheckReport) -> Markup {
    let safe = &report.safe_load;
    html! {
        div.headlines {
            (headline("Safe working load of the deck", &if safe.load_kg.is_finite() { fixed(safe.load_kg, 0) } else { "–".into() }, "kg",
                &format!("limited by the {}; lying as a patient lies, beside the mattress", safe.limited_by)))
            @if let Some(edge) = report.safe_edge.iter().min_by(|a, b| a.load_kg.total_cmp(&b.load_kg)) {
                (headline("Safe load on an edge", &fixed(edge.load_kg, 0), "kg", &format!("{}, the least of all plates", edge.plate)))
            }
            (headline("Largest load to be weighed", &fixed(deck.max_kg, 0), "kg", "max of the deck file"))
        }
        p {
            "Safe: every cell within its capacity, strength over stress of every layer at least " (significant(SAFETY, 2)) " (an engineering choice), \
             no plate on its base. Scaled from the usual load. The bed's own safe working load may be lower, and counts deck, mattress and \
             accessories too."
        }
        (table(
            "Loads that happen on a ward, on each plate: an elbow or knee of a carer in the middle, someone sitting on the edge, and on the \
             first section a chest compression on top of the patient. Reading low for seconds is no fault; a cell beyond its capacity or a \
             layer beyond its strength is.",
            &PLATE_HEAD, &plate_rows(&report.ward_loads),
        ))
        (table(
            "The largest load of someone who sits on the long edge of a plate (400 × 250 mm) for which every cell keeps within its \
             capacity and strength over stress of every layer is as above; found with lifting cells and the base. That the bed itself does not \
             tip is for its manufacturer to say.",
            &["plate", "safe on its edge, kg", "<limited by", "<then"],
            &report
                .safe_edge
                .iter()
                .map(|edge| vec![
                    html! { (edge.plate) },
                    html! { (fixed(edge.load_kg, 0)) },
                    html! { span.left { (edge.limited_by) } },
                    html! { span.left { @if edge.touches { "bears on its base, reads low" } @else { "stays off its base" } } },
                ])
                .collect::<Vec<_>>(),
        ))
    }
}

fn bill(deck: &Deck, report: &CheckReport) -> Markup {
    let mut rows: Vec<Vec<Markup>> = report
        .bill
        .iter()
        .map(|row| {
            vec![
                html! { (row.item) },
                html! { (row.quantity) },
                html! { (optional(row.mass_kg, |m| fixed(m, 2))) },
                html! { (optional(row.cost, |c| fixed(c, 2))) },
            ]
        })
        .collect();
    rows.push(vec![
        html! { strong { "whole deck" } },
        html! {},
        html! { strong { (fixed(report.mass_kg, 2)) } },
        html! { strong { (fixed(report.cost, 2)) } },
    ]);
    let plates: Vec<Vec<Markup>> = report
        .plates
        .iter()
        .map(|p| {
            vec![
                html! { (p.name) },
                html! { (fixed(p.mass_kg, 2)) },
                verdict(Reader::ENGLISH, p.mass_kg <= LIFT_KG),
                verdict(Reader::ENGLISH, p.mass_kg <= LIFT_WIDE_KG),
            ]
        })
        .collect();
    let lift = &report.lift;
    html! {
        (table(
            "What to buy. The price of base and cables, housing and labour are not in the deck file and not in these figures.",
            &["item", "pieces", "kg", &deck.currency], &rows,
        ))
        (table(
            "Each plate alone",
            &["plate", "kg", &format!("within {LIFT_KG} kg"), &format!("within {LIFT_WIDE_KG} kg")], &plates,
        ))
        p {
            "All plates at once: " (fixed(lift.deck_kg, 1)) " kg, "
            @if lift.deck_within_one_lift { "within" } @else { "beyond" }
            " one person's lift of " (LIFT_KG) " kg. Guideline: " (lift.guideline) "."
            @if !lift.is_complete { " The mass of bases or cells that the deck file does not state is not in it: what is lifted is heavier." }
        }
    }
}
