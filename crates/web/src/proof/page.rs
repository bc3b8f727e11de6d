//! The page: what stands still. Its script asks where the verification stands and what the deck shows.

use maud::{Markup, html};

use crate::layout::{self, Place, panel};

/// The page of a guided verification, in a site that has these places.
#[must_use]
pub fn page(deck: &str, places: &[Place]) -> Markup {
    layout::page_among(
        places,
        layout::TESTS,
        deck,
        &html! {
            p.soft #stage role="status" { "The page needs its script; where the verification stands is kept by the server." }
            p.said #problem role="alert" hidden {}
            section.panel #task-panel aria-live="polite" {
                h2 #task { "…" }
                p #how {}
                div.pair.wide {
                    figure { div #drawing {} figcaption #drawing-words {} }
                    div #settling {
                        p.shown #shown {}
                        p.settling-words #settling-words {}
                        progress #settling-bar max="10" value="0" aria-label="Seconds of the reading" {}
                        p.soft #drift {}
                        div.row #buttons {}
                        label.field #by-itself-label { input #by-itself type="checkbox"; " take the reading by itself once it has settled near the load" }
                    }
                }
            }
            div.pair.wide {
                (panel("Inside the limits so far", &html! { figure { div #chart {} figcaption #chart-words {} } }))
                (panel("Each kind of test", &html! { div #kinds {} ul.plain #gaps {} }))
            }
            details.panel { summary #steps-head { "All readings" } div #steps {} }
            (panel("What stays to be tested by hand", &html! { ul #open {} }))
            (help())
            script type="module" src="/static/tests.js" {}
        },
    )
}

/// The page where no masses are at hand: how to begin.
#[must_use]
pub fn without(deck: &str, places: &[Place]) -> Markup {
    layout::page_among(
        places,
        layout::TESTS,
        deck,
        &html! {
            (panel("No verification is under way", &html! {
                p { "Say which bodies are at hand, where the deck's counts come from, and which calibration is to be verified; then start again. Without a calibration the guided calibration comes first." }
                pre tabindex="0" { "bedplate bench deck.toml --masses masses.csv --calibration calibration.json --tcp 192.0.2.7:4000 -o run-1\nbedplate bench deck.toml --masses masses.csv --calibration calibration.json --twin 1 -o trial   # to try it without a deck" }
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
                li { "At each step just what is drawn stands on the deck. Bodies that stand on one mark may stand one on the other." }
                li { "The tests and limits are those of OIML R 76-1. The deck is read to a tenth of a gram, so that no small masses need to be added to find where the display changes over." }
                li { strong { "Half an hour under load" } ": the readings are taken by themselves, five minutes apart; stay off the bed. If the power goes meanwhile, the half hour begins anew." }
                li { "A test can be left out; the report then says that it was not made. Go back a step to take a reading again." }
                li { "Every reading is on the disk before the page goes on. After a power cut start the same command with the same folder." }
                li { "The deck is read where it was calibrated, at the gravity of its calibration. At the place of use a few loads show that the conversion holds there." }
                li { a href="/manual/stages/verify" { "The manual on verification" } }
            }
        }
    }
}
