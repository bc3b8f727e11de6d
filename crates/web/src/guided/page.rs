//! The page around the task: what is to be done, drawn; how the reading settles; what may be pressed.

use maud::{Markup, html};

use crate::layout::{self, Place, panel};
use crate::words::Reader;

/// What is the page's own.
pub(crate) struct Own {
    pub(crate) place: Place,
    /// Its script.
    pub(crate) script: &'static str,
    /// Said until the script has asked.
    pub(crate) unscripted: &'static str,
    /// Beside the box that takes readings by themselves.
    pub(crate) by_itself: &'static str,
    /// Heading of the list of all steps.
    pub(crate) steps: &'static str,
    /// Panels below the task.
    pub(crate) found: Markup,
    /// Below the list of all steps.
    pub(crate) after: Markup,
    pub(crate) help: Markup,
}

/// The page of a guided run.
pub(crate) fn page(reader: Reader, deck: &str, places: &[Place], own: &Own) -> Markup {
    layout::page_among(
        reader,
        places,
        own.place,
        deck,
        &html! {
            p.soft #stage role="status" { (own.unscripted) }
            p.said #problem role="alert" hidden {}
            section.panel #task-panel aria-live="polite" {
                h2 #task { "…" }
                p #how {}
                div.pair.wide {
                    figure { div #drawing tabindex="0" {} figcaption #drawing-words {} }
                    div #settling {
                        p.shown #shown {}
                        p.settling-words #settling-words {}
                        progress #settling-bar max="10" value="0" aria-label=(reader.say("Seconds of the reading")) {}
                        p.soft #drift {}
                        div.row #entry {}
                        div.row #buttons {}
                        label.field #by-itself-label { input #by-itself type="checkbox"; " " (own.by_itself) }
                    }
                }
            }
            (own.found)
            details.panel { summary #steps-head { (own.steps) } div #steps {} }
            (own.after)
            (own.help)
            script type="module" src=(own.script) {}
        },
    )
}

/// The page where none is under way: how to begin one, by commands.
pub(crate) fn without(
    reader: Reader,
    deck: &str,
    places: &[Place],
    place: Place,
    (heading, words, commands): (&str, &str, &str),
    help: &Markup,
) -> Markup {
    let how = html! { p { (words) } pre tabindex="0" { (commands) } };
    layout::page_among(reader, places, place, deck, &html! { (panel(heading, &how)) (help) })
}

/// The help of a guided page: what holds for both, its own lines, and the page of the manual.
pub(crate) fn help(reader: Reader, own: &Markup, manual: &str, manual_name: &str) -> Markup {
    html! {
        details.panel.help {
            summary { (reader.say("Help with this page")) }
            ul.plain {
                li { (reader.say("Nobody lies on the bed. Bed flat, brakes on, mattress and linen off; no cable pulls at a plate. Lift by your local rules.")) }
                (own)
                li { a href=(manual) { (manual_name) } }
            }
        }
    }
}
