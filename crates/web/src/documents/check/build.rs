//! What it takes to build and carry the deck, whether its electronics fit, and what it bears.

use ::design::CheckReport;
use ::design::lift::{LIFT_KG, LIFT_WIDE_KG, SAFETY};
use formats::deck::Deck;
use maud::{Markup, html};
use report::number::{fixed, optional, safe_kg, significant};

use super::load_path::{plate_head, plate_rows};
use crate::document::Section;
use crate::layout::{headline, table, verdict};
use crate::words::Reader;

/// The sections of this part.
pub(super) fn sections(reader: Reader, deck: &Deck, report: &CheckReport) -> Vec<Section> {
    vec![
        Section::new(reader.say("Cells and converter together"), modules(reader, report)),
        Section::new(reader.say("Safe load and loads of a ward"), loads(reader, deck, report)),
        Section::new(reader.say("Bill, and who can lift it"), bill(reader, deck, report)),
    ]
}

fn modules(reader: Reader, report: &CheckReport) -> Markup {
    let modules = &report.modules;
    let rows: Vec<Vec<Markup>> = modules
        .conditions
        .iter()
        .map(|c| {
            vec![
                html! { (reader.stage(&c.name)) },
                html! { (significant(c.value, 3)) },
                html! { (significant(c.limit, 3)) },
                verdict(reader, c.met),
            ]
        })
        .collect();
    html! {
        div.headlines {
            (headline(reader.say("Counts per interval e"), &significant(modules.counts_per_e, 3), "", reader.say("on the least sensitive cell")))
            (headline(reader.say("Noise-free divisions of max"), &significant(modules.noise_free_divisions, 3), "", reader.say("by peak-to-peak noise of a sample")))
            (headline(reader.say("Noise of the sum"), &significant(modules.averaged_noise_g_rms, 2), "g rms",
                &reader.fill("settled; a single sample has {} g", [&significant(modules.noise_g_rms, 2)])))
        }
        (table(
            reader.say("Conditions of module compatibility after OIML R 76-1, Annex F, and WELMEC 2, with counts per interval and noise-free divisions above"),
            &[reader.say("condition"), reader.say("found"), reader.say("asked"), reader.say("verdict")], &rows,
        ))
        @if !modules.open.is_empty() {
            (table(
                reader.say("Open: what the deck file does not state of the certificates (approval = { … } of cell type and converter)"),
                &[reader.say("<condition"), reader.say("<found"), reader.say("<what would settle it")],
                &modules
                    .open
                    .iter()
                    .map(|c| vec![html! { (reader.stage(&c.name)) }, html! { span.left { (reader.stage(&c.found)) } }, html! { span.left { (reader.stage(c.needs)) } }])
                    .collect::<Vec<_>>(),
            ))
        }
        p { (reader.fill("Source: {}. The cells' certificates decide.", [&reader.stage(modules.note)])) }
    }
}

fn loads(reader: Reader, deck: &Deck, report: &CheckReport) -> Markup {
    let safe = &report.safe_load;
    html! {
        div.headlines {
            (headline(reader.say("Safe load of the deck"), &safe_kg(safe.load_kg), "kg",
                &reader.fill("limited by the {}; lying as a patient lies, beside the mattress", [&reader.stage(&safe.limited_by)])))
            @if let Some(edge) = report.safe_edge.iter().min_by(|a, b| a.load_kg.total_cmp(&b.load_kg)) {
                (headline(reader.say("Safe load on an edge"), &safe_kg(edge.load_kg), "kg", &reader.fill("{}, the least of all plates", [&edge.plate])))
            }
            (headline(reader.say("Largest load to be weighed"), &fixed(deck.max_kg, 0), "kg", reader.say("max of the deck file")))
        }
        p {
            (reader.fill("Safe: every cell within its capacity, strength over stress of every layer at least {} (an engineering choice: IEC 60601-1, 9.8.2, asks for 2.5 and more, from memory), no plate on its base. Scaled from the usual load. It is not a standard's safe working load. The bed's own safe working load may be lower, and counts deck, mattress and accessories too.", [&significant(SAFETY, 2)]))
        }
        (table(
            reader.say("Loads that happen on a ward, on each plate: an elbow or knee of a carer in the middle, someone sitting on the edge, and on the first section a chest compression on top of the patient. Reading low for seconds is no fault; a cell beyond its capacity or a layer beyond its strength is."),
            &plate_head(reader), &plate_rows(reader, &report.ward_loads),
        ))
        (table(
            reader.say("The largest load of someone who sits on the long edge of a plate (400 × 250 mm) for which every cell keeps within its capacity and strength over stress of every layer is as above; found with lifting cells and the base. That the bed itself does not tip is for its manufacturer to say."),
            &[reader.say("plate"), reader.say("safe on its edge, kg"), reader.say("<limited by"), reader.say("<then")],
            &report
                .safe_edge
                .iter()
                .map(|edge| vec![
                    html! { (edge.plate) },
                    html! { (safe_kg(edge.load_kg)) },
                    html! { span.left { (reader.stage(&edge.limited_by)) } },
                    html! { span.left { @if edge.touches { (reader.say("bears on its base, reads low")) } @else { (reader.say("stays off its base")) } } },
                ])
                .collect::<Vec<_>>(),
        ))
    }
}

fn bill(reader: Reader, deck: &Deck, report: &CheckReport) -> Markup {
    let mut rows: Vec<Vec<Markup>> = report
        .bill
        .iter()
        .map(|row| {
            vec![
                html! { (reader.stage(&row.item)) },
                html! { (row.quantity) },
                html! { (optional(row.mass_kg, |m| fixed(m, 2))) },
                html! { (optional(row.cost, |c| fixed(c, 2))) },
            ]
        })
        .collect();
    rows.push(vec![
        html! { strong { (reader.say("whole deck")) } },
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
                verdict(reader, p.mass_kg <= LIFT_KG),
                verdict(reader, p.mass_kg <= LIFT_WIDE_KG),
            ]
        })
        .collect();
    let lift = &report.lift;
    let lifted = [fixed(lift.deck_kg, 1), LIFT_KG.to_string()];
    html! {
        (table(
            reader.say("What to buy. The price of base and cables, housing and labour are not in the deck file and not in these figures."),
            &[reader.say("item"), reader.say("pieces"), "kg", &deck.currency], &rows,
        ))
        (table(
            reader.say("Each plate alone"),
            &[reader.say("plate"), "kg", &reader.fill("within {} kg", [&LIFT_KG.to_string()]), &reader.fill("within {} kg", [&LIFT_WIDE_KG.to_string()])], &plates,
        ))
        p {
            (if lift.deck_within_one_lift {
                reader.fill("All plates at once: {} kg, within one person's lift of {} kg.", lifted.each_ref().map(String::as_str))
            } else {
                reader.fill("All plates at once: {} kg, beyond one person's lift of {} kg.", lifted.each_ref().map(String::as_str))
            }) " "
            (reader.fill("Guideline: {}.", [&reader.stage(lift.guideline)]))
            @if !lift.is_complete { " " (reader.say("The mass of bases or cells that the deck file does not state is not in it: what is lifted is heavier.")) }
        }
    }
}
