//! A text and a change in; the new text, its drawing and its figures out.

use axum::http::StatusCode;
use formats::deck::{Deck, Edit};
use report::number::{fixed, significant};
use report::svg::DeckPlan;
use report::text::requirement_words;
use serde::Deserialize;
use serde_json::{Value, json};

use super::Refusal;
use crate::words::Reader;

/// What the page sends.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    file: String,
    text: String,
    /// Which load case is drawn.
    #[serde(default)]
    case: usize,
    #[serde(default)]
    changes: Vec<Change>,
}

/// One change, as the page names it.
#[derive(Deserialize)]
#[serde(untagged, deny_unknown_fields)]
enum Change {
    Cell { cell: String, x_mm: f64, y_mm: f64 },
    Layer { plate: String, layer: usize, thickness_mm: f64 },
    Clearance { plate: String, clearance_mm: f64 },
}

impl From<Change> for Edit {
    fn from(change: Change) -> Self {
        match change {
            Change::Cell { cell, x_mm, y_mm } => Self::Cell { cell, at_mm: [x_mm, y_mm] },
            Change::Layer { plate, layer, thickness_mm } => Self::Thickness { plate, layer, mm: thickness_mm },
            Change::Clearance { plate, clearance_mm } => Self::Clearance { plate, mm: clearance_mm },
        }
    }
}

fn asked(body: &[u8]) -> Result<Asked, Refusal> {
    serde_json::from_slice(body).map_err(|e| Refusal(StatusCode::BAD_REQUEST, format!("what was sent: {e}")))
}

fn unfit(words: String) -> Refusal {
    Refusal(StatusCode::UNPROCESSABLE_ENTITY, words)
}

fn read(reader: Reader, file: &str, text: &str) -> Result<Deck, Refusal> {
    formats::deck::read(file, text).map_err(|problems| unfit(reader.of_file(&problems.to_string())))
}

/// The deck of a body, for the search.
pub(super) fn text_of(reader: Reader, body: &[u8]) -> Result<Deck, Refusal> {
    let asked = asked(body)?;
    read(reader, &asked.file, &asked.text)
}

/// Answers for a text with its changes.
pub(super) fn answer(reader: Reader, body: &[u8]) -> Result<Value, Refusal> {
    let begun = std::time::Instant::now();
    let Asked { file, mut text, case, changes } = asked(body)?;
    for change in changes {
        text = formats::deck::edit(&text, &change.into()).map_err(|e| unfit(reader.of_file(&e.to_string())))?;
    }
    let deck = read(reader, &file, &text)?;
    let seen = design::glance(&deck).map_err(|e| unfit(reader.of_file(&e.to_string())))?;
    let case = case.min(deck.load_cases.len().saturating_sub(1));
    let mut answer = told(reader, &deck, &seen, case);
    answer["text"] = text.into();
    answer["took_ms"] = (begun.elapsed().as_secs_f64() * 1e3).into();
    Ok(answer)
}

fn told(reader: Reader, deck: &Deck, seen: &design::Glance, case: usize) -> Value {
    let cases = || seen.plates.iter().flat_map(|p| &p.cases);
    let requirements: Vec<Value> = seen
        .requirements
        .iter()
        .map(|r| {
            let (name, unit) = requirement_words(&r.name, &deck.currency);
            let sign = r.sign();
            json!({ "name": reader.stage(&name), "found": reader.signs(&format!("{} {unit}", significant(r.value, 3))),
                    "limit": reader.signs(&format!("{sign} {} {unit}", significant(r.limit, 3))), "met": r.met })
        })
        .collect();
    let mut budget: Vec<_> = seen.budget.iter().filter(|s| s.u_at_max_g > 0.0 || s.u_change_24h_g > 0.0).collect();
    budget.sort_by(|a, b| b.u_at_max_g.total_cmp(&a.u_at_max_g));
    let warnings: Vec<String> = seen
        .plates
        .iter()
        .flat_map(|p| p.cases.iter().map(move |c| (p, c)))
        .filter_map(|(plate, case)| match (case.tips, case.touches) {
            (true, _) => Some(reader.fill("{} is tipped off its cells under {}", [&plate.name, &case.case])),
            (false, true) => {
                Some(reader.fill("{} touches its base, load passes the cells by, under {}", [&plate.name, &case.case]))
            }
            _ => None,
        })
        .collect();
    json!({
        "name": deck.name,
        "currency": deck.currency,
        "case": case,
        "cases": deck.load_cases.iter().map(|c| &c.name).collect::<Vec<_>>(),
        "svg": reader.drawn(&plan(reader, deck, seen, case).svg()),
        "figures": {
            "deflection_mm": cases().map(|c| c.max_deflection_mm).fold(0.0, f64::max),
            "expanded_u_g": seen.expanded_u_g.largest(),
            "resolvable_24h_g": seen.resolvable_24h_g,
            "mass_kg": seen.mass_kg,
            "cost": seen.cost,
        },
        "requirements": requirements,
        "budget": budget.iter().map(|s| json!({ "source": reader.stage(s.source), "u_at_max_g": s.u_at_max_g, "u_change_24h_g": s.u_change_24h_g })).collect::<Vec<_>>(),
        "bill": seen.bill.iter().map(|b| json!({ "item": reader.stage(&b.item), "pieces": b.quantity,
            "kg": b.mass_kg.map(|m| fixed(m, 2)), "cost": b.cost.map(|c| fixed(c, 2)) })).collect::<Vec<_>>(),
        "warnings": warnings,
        "sections": deck.sections.iter().map(|s| json!({ "name": s.name, "length_mm": s.length_mm,
            "angle_deg": s.angle_deg })).collect::<Vec<_>>(),
        "plates": deck.plates.iter().zip(&seen.plates).map(|(plate, found)| {
            let max_mm = found.cases.get(case).map_or(0.0, |f| f.max_deflection_mm);
            json!({
                "name": plate.name, "section": plate.section, "origin_mm": plate.origin_mm, "size_mm": plate.size_mm,
                "clearance_mm": plate.clearance_mm, "mass_kg": found.mass_kg,
                "max_mm": max_mm,
                "layers": plate.layers.iter().map(|l| json!({ "material": l.material, "thickness_mm": l.thickness_mm })).collect::<Vec<_>>(),
                "cells": plate.cells.iter().map(|c| json!({ "name": c.name, "at_mm": c.at_mm })).collect::<Vec<_>>(),
            })
        }).collect::<Vec<_>>(),
    })
}

fn plan(reader: Reader, deck: &Deck, seen: &design::Glance, case: usize) -> DeckPlan {
    let name = deck.load_cases.get(case).map_or(reader.say("no load"), |c| &c.name);
    DeckPlan {
        title: reader.fill("{}: deflection under {}", [&deck.name, name]),
        sections: crate::plan::sections(deck),
        plates: crate::plan::plates(deck, &seen.plates, case),
        side: None,
        words: crate::plan::words(reader),
    }
}
