//! The page: what stands still. Its script asks where the verification stands and what the deck shows.

use maud::{Markup, html};

use crate::guided::page::{self as guided, Own};
use crate::layout::{self, Place, panel};
use crate::words::Reader;

/// The page of a guided verification, in a site that has these places.
#[must_use]
pub fn page(reader: Reader, deck: &str, places: &[Place]) -> Markup {
    let found = html! {
        div.pair.wide {
            (panel(reader.say("Inside the limits so far"), &html! { figure { div #chart {} figcaption #chart-words {} } }))
            (panel(reader.say("Each kind of test"), &html! { div #kinds {} ul.plain #gaps {} }))
        }
    };
    let own = Own {
        place: layout::TESTS,
        script: "/static/tests.js",
        unscripted: reader.say("The page needs its script; where the verification stands is kept by the server."),
        by_itself: reader.say("take the reading by itself once it has settled near the load"),
        steps: reader.say("All readings"),
        found,
        after: html! { section.panel #open-panel { h2 { (reader.say("What stays to be tested by hand")) } ul #open {} } },
        help: help(reader),
    };
    guided::page(reader, deck, places, &own)
}

/// The page where no masses are at hand: how to begin.
#[must_use]
pub fn without(reader: Reader, deck: &str, places: &[Place]) -> Markup {
    let words = (
        reader.say("No verification is under way"),
        reader.say("Say which bodies are at hand, where the deck's counts come from, and which calibration is to be verified; then start again. Without a calibration the guided calibration comes first."),
        "bedplate bench deck.toml --masses masses.csv --calibration calibration.json --tcp 192.0.2.7:4000 -o run-1\nbedplate bench deck.toml --masses masses.csv --calibration calibration.json --twin 1 -o trial   # a virtual deck",
    );
    guided::without(reader, deck, places, layout::TESTS, words, &help(reader))
}

fn help(reader: Reader) -> Markup {
    let own = html! {
        li { (reader.say("At each step just what is drawn stands on the deck. Bodies that stand on one mark may stand one on the other.")) }
        li { (reader.say("The tests and limits are those of OIML R 76-1. The deck is read to a tenth of a gram, so that no small masses need to be added to find where the display changes over.")) }
        li { strong { (reader.say("Half an hour under load")) } ": " (reader.say("the readings are taken by themselves, five minutes apart; stay off the bed. If the power goes meanwhile, the half hour begins anew.")) }
        li { (reader.say("Tilt: one section after the other is raised to the ends of its range, read empty and loaded. Enter the angle that an inclinometer shows on it; the section may give way a little under its load. Bodies on a slope are held by a stop or a mat that bears on the plate alone.")) }
        li { (reader.say("Temperature: room or chamber at both ends of the deck's range of use and between them; enter what a thermometer beside the deck shows. Without a chamber leave the test out: the report then says that it stays open.")) }
        li { (reader.say("A test can be left out; the report then says that it was not made. Go back a step to take a reading again.")) }
        li { (reader.say("Every reading is on the disk before the page goes on. After a power cut start the same command with the same folder.")) }
        li { (reader.say("The deck is read where it was calibrated, at the gravity of its calibration. At the place of use a few loads show that the conversion holds there.")) }
    };
    guided::help(reader, &own, "/manual/stages/verify", reader.say("The manual on verification"))
}
