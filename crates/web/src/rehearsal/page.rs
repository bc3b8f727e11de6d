//! The page: what stands still. Its script asks and draws.

use maud::{Markup, html};

use super::Offered;
use crate::layout::{self, Place, panel};
use crate::words::Reader;

/// Speeds that the page offers, times ours; 0 is as fast as the machine computes.
fn speeds(reader: Reader) -> [(u32, &'static str); 5] {
    [
        (60, reader.say("a minute a second")),
        (600, reader.say("ten minutes a second")),
        (3600, reader.say("an hour a second")),
        (21_600, reader.say("six hours a second")),
        (0, reader.say("as fast as can be")),
    ]
}
const SPEED_USUAL: u32 = 600;

/// The page of the twin, in a site that has these places.
#[must_use]
pub fn page(reader: Reader, deck: &str, offered: &[Offered], places: &[Place]) -> Markup {
    layout::page_among(
        reader,
        places,
        layout::TWIN,
        deck,
        &html! {
            p.invented { (reader.say("Everything here is invented: patient, ward, cells and faults. The deck is the one of this site; the weigher is the one that a ward has.")) }
            p.said #problem role="alert" hidden {}
            section.panel {
                h2 { (reader.say("A night on this deck")) }
                form.row #begin {
                    label.field { (reader.say("Scenario")) " " select #scenario { @for o in offered { option value=(o.file) { (reader.stage(&o.file.trim_end_matches(".toml").replace('_', " "))) } } } }
                    label.field { (reader.say("Seed")) " " input #seed type="number" min="0" max="4294967295" step="1" value="1" required; }
                    label.field { (reader.say("Speed")) " " select #speed { @for (speed, words) in speeds(reader) { option value=(speed) selected[speed == SPEED_USUAL] { (words) } } } }
                    button { (reader.say("Begin")) }
                }
                p #clock role="status" { (reader.say("No night is under way.")) }
                progress #progress max="1" value="0" aria-label=(reader.say("Part of the night that was lived through")) {}
            }
            div.headlines #figures {}
            div.pair.wide {
                (panel(reader.say("The bed"), &html! { figure { div #bed {} figcaption { (reader.say("Sections at their angles; the darker a plate, the more it bears.")) } } }))
                (panel(reader.say("Shown and true"), &html! { figure { div #curve {} figcaption { (reader.say("The settled weight as the deck shows it, and what is true. A gap is a time in which no weight was called settled.")) } } }))
            }
            div.pair {
                (panel(reader.say("Report card"), &html! { div #card { p.soft { (reader.say("Counted while the night runs.")) } } }))
                (panel(reader.say("What the weigher said"), &html! { ul.plain #events {} p.soft #happened {} }))
            }
            (help(reader))
            script type="module" src="/static/rehearsal.js" {}
        },
    )
}

fn help(reader: Reader) -> Markup {
    html! {
        details.panel.help {
            summary { (reader.say("Help with this page")) }
            ul.plain {
                li { (reader.say("A virtual deck is built from deck.toml, its cells drawn from the seed; a virtual bench calibrates it; then the night runs and is weighed as on a ward. The same scenario and seed give the same night.")) }
                li { strong { (reader.say("Error")) } ": " (reader.say("the settled weight less what a perfect deck would show; with a changed pad, as the weigher booked its fluid.")) " " (reader.say("The report card counts as the verb twin trial does.")) }
                li { (reader.say("A night that goes badly is worth most: look at the events beside the curve, then at the deck on the workbench.")) }
                li { (reader.say("For many nights and conditions at once:")) " " code { "bedplate twin trial" } "; " (reader.say("for files to keep:")) " " code { "bedplate twin" } "." }
                li { a href="/manual/stages/twin" { (reader.say("The manual on the twin")) } }
            }
        }
    }
}
