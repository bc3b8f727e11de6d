//! The page: what stands still. Its script asks where the run stands and what the counts do.

use maud::{Markup, html};

use crate::guided::page::{self as guided, Own};
use crate::layout::{self, Place, panel};
use crate::words::Reader;

/// The page of a guided calibration, in a site that has these places.
#[must_use]
pub fn page(reader: Reader, deck: &str, places: &[Place]) -> Markup {
    let found = html! {
        div.pair {
            (panel(reader.say("What is found so far"), &html! { div #found { p.soft { (reader.say("Nothing yet.")) } } div #residuals {} }))
            (panel(reader.say("Counts just now"), &html! { div #counts {} }))
        }
    };
    let own = Own {
        place: layout::GUIDE,
        script: "/static/guide.js",
        unscripted: reader.say("The page needs its script; where the run stands is kept by the server."),
        by_itself: reader.say("take the reading by itself once it has settled"),
        steps: reader.say("The whole run"),
        found,
        after: html! {},
        help: help(reader),
    };
    guided::page(reader, deck, places, &own)
}

/// The page where no calibration is under way: how to begin one.
#[must_use]
pub fn without(reader: Reader, deck: &str, places: &[Place]) -> Markup {
    let words = (
        reader.say("No calibration is under way"),
        reader.say("Say which bodies are at hand and where the deck's counts come from, and start again:"),
        "bedplate bench deck.toml --masses masses.csv --tcp 192.0.2.7:4000 -o run-1\nbedplate bench deck.toml --masses masses.csv --twin 1 -o trial   # a virtual deck",
    );
    guided::without(reader, deck, places, layout::GUIDE, words, &help(reader))
}

fn help(reader: Reader) -> Markup {
    let own = html! {
        li { strong { (reader.say("Touch check")) } ": " (reader.say("hands off for ten seconds, then press each place for three seconds with the flat hand, some 10 kg, three seconds between. It finds cells that are exchanged, reversed or dead before any mass is carried.")) }
        li { strong { (reader.say("Settled")) } ": " (reader.say("in ten seconds no cell moved by more than its own noise, or by less than e/40. The reading is the mean of those ten seconds.")) }
        li { (reader.say("Every reading is on the disk before the page goes on. After a power cut start the same command with the same folder: the run goes on at the same step. Zero readings in between tell what the pause changed.")) }
        li { (reader.say("A finding names what is wrong and where. Go back a step to take a reading again; mend a cell and begin anew in another folder.")) }
    };
    guided::help(reader, &own, "/manual/stages/calibrate", reader.say("The manual on calibration"))
}
