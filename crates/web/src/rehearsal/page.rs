//! The page: what stands still. Its script asks and draws.

use maud::{Markup, html};

use super::Offered;
use crate::layout::{self, Place, panel};

/// Speeds that the page offers, times ours; 0 is as fast as the machine computes.
const SPEEDS: [(u32, &str); 5] = [
    (60, "a minute a second"),
    (600, "ten minutes a second"),
    (3600, "an hour a second"),
    (21_600, "six hours a second"),
    (0, "as fast as can be"),
];
const SPEED_USUAL: u32 = 600;

/// The page of the twin, in a site that has these places.
#[must_use]
pub fn page(deck: &str, offered: &[Offered], places: &[Place]) -> Markup {
    layout::page_among(
        places,
        layout::TWIN,
        deck,
        &html! {
            p.invented { "Everything here is invented: patient, ward, cells and faults. The deck is the one of this site; the weigher is the one that a ward has." }
            p.said #problem role="alert" hidden {}
            section.panel {
                h2 { "A night on this deck" }
                form.row #begin {
                    label.field { "Scenario " select #scenario { @for o in offered { option value=(o.file) { (o.file.trim_end_matches(".toml").replace('_', " ")) } } } }
                    label.field { "Seed " input #seed type="number" min="0" max="4294967295" step="1" value="1" required; }
                    label.field { "Speed " select #speed { @for (speed, words) in SPEEDS { option value=(speed) selected[speed == SPEED_USUAL] { (words) } } } }
                    button { "Begin" }
                }
                p #clock role="status" { "No night is under way." }
                progress #progress max="1" value="0" aria-label="Part of the night that was lived through" {}
            }
            div.headlines #figures {}
            div.pair.wide {
                (panel("The bed", &html! { figure { div #bed {} figcaption { "Sections at their angles; the darker a plate, the more it bears." } } }))
                (panel("Shown and true", &html! { figure { div #curve {} figcaption { "The settled weight as the deck shows it, and what is true. A gap is a time in which no weight was called settled." } } }))
            }
            div.pair {
                (panel("Report card", &html! { div #card { p.soft { "Counted while the night runs." } } }))
                (panel("What the weigher said", &html! { ul.plain #events {} p.soft #happened {} }))
            }
            (help())
            script src="/static/solid.js" defer {}
            script type="module" src="/static/rehearsal.js" {}
        },
    )
}

fn help() -> Markup {
    html! {
        details.panel.help {
            summary { "Help with this page" }
            ul.plain {
                li { "A virtual deck is built from deck.toml, its cells drawn from the seed; a virtual bench calibrates it; then the night runs and is weighed as on a ward. The same scenario and seed give the same night." }
                li { strong { "Error" } ": the settled weight less what a perfect deck would show. " strong { "Within 1.96 u" } ": how often the truth lay in the stated interval; 95 % is what it promises." }
                li { "A night that goes badly is worth most: look at the events beside the curve, then at the deck on the workbench." }
                li { "For many nights and conditions at once: " code { "bedplate twin trial" } "; for files to keep: " code { "bedplate twin" } "." }
                li { a href="/manual/stages/twin" { "The manual on the twin" } }
            }
        }
    }
}
