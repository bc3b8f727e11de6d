//! The page: what stands still. Its script asks where the run stands and what the counts do.

use maud::{Markup, html};

use crate::layout::{self, Place, panel};

/// The page of a guided calibration, in a site that has these places.
#[must_use]
pub fn page(deck: &str, places: &[Place]) -> Markup {
    layout::page_among(
        places,
        layout::GUIDE,
        deck,
        &html! {
            p.soft #stage role="status" { "The page needs its script; where the run stands is kept by the server." }
            p.said #problem role="alert" hidden {}
            section.panel #task-panel aria-live="polite" {
                h2 #task { "…" }
                p #how {}
                div.pair.wide {
                    figure { div #drawing {} figcaption #drawing-words {} }
                    div #settling {
                        p.settling-words #settling-words {}
                        progress #settling-bar max="10" value="0" aria-label="Seconds of the reading" {}
                        p.soft #drift {}
                        div.row #buttons {}
                        label.field #by-itself-label { input #by-itself type="checkbox"; " take the reading by itself once it has settled" }
                    }
                }
            }
            div.pair {
                (panel("What is found so far", &html! { div #found { p.soft { "Nothing yet." } } div #residuals {} }))
                (panel("Counts just now", &html! { div #counts {} }))
            }
            details.panel { summary #steps-head { "The whole run" } div #steps {} }
            (help())
            script type="module" src="/static/guide.js" {}
        },
    )
}

/// The page where no calibration is under way: how to begin one.
#[must_use]
pub fn without(deck: &str, places: &[Place]) -> Markup {
    layout::page_among(
        places,
        layout::GUIDE,
        deck,
        &html! {
            (panel("No calibration is under way", &html! {
                p { "Say which bodies are at hand and where the deck's counts come from, and start again:" }
                pre tabindex="0" { "bedplate bench deck.toml --masses masses.csv --tcp 192.0.2.7:4000 -o run-1\nbedplate bench deck.toml --masses masses.csv --twin 1 -o trial   # to try it without a deck" }
            }))
            (help())
        },
    )
}

fn help() -> Markup {
    html! {
        details.panel.help {
            summary { "Help with this page" }
            ul.plain {
                li { "Nobody lies on the bed. Bed flat, brakes on, mattress and linen off; no cable pulls at a plate. Lift by your local rules." }
                li { strong { "Touch check" } ": hands off for ten seconds, then press each place for three seconds with the flat hand, some 10 kg, three seconds between. It finds cells that are exchanged, reversed or dead before any mass is carried." }
                li { strong { "Settled" } " means that in ten seconds no cell moved by more than its own noise, or by less than e/40. The reading is the mean of those ten seconds." }
                li { "Every reading is on the disk before the page goes on. After a power cut start the same command with the same folder: the run goes on at the same step. Zero readings in between tell what the pause changed." }
                li { "A finding names what is wrong and where. Go back a step to take a reading again; mend a cell and begin anew in another folder." }
                li { a href="/manual/stages/calibrate" { "The manual on calibration" } }
            }
        }
    }
}
