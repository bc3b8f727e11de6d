//! The page: what stands still. Its script asks, draws and compares.

use maud::{Markup, PreEscaped, html};

use super::Opened;
use crate::layout::{self, Place, panel};
use crate::words::Reader;

/// The page, with a deck file opened on it, in a site that has these places.
#[must_use]
pub fn page(reader: Reader, opened: &Opened, places: &[Place]) -> Markup {
    // A closing tag inside the text must not end the data element early.
    let data = serde_json::json!({ "file": opened.file, "text": opened.text }).to_string().replace('<', "\\u003c");
    layout::page_among(
        reader,
        places,
        layout::WORKBENCH,
        &opened.file,
        &html! {
            script type="application/json" id="opened" { (PreEscaped(data)) }
            p #asking role="status" { (reader.say("The page needs its script; what it shows is computed by the server from the file.")) }
            p.said #problem role="alert" hidden {}
            p.said #kept-here role="status" hidden {}
            div.headlines #figures {}
            section.panel {
                div.row {
                    h2 { (reader.say("The deck")) }
                    label.field { (reader.say("Load case")) " " select #case {} }
                    label.field { input #alike type="checkbox" checked; " " (reader.say("change layers of all plates alike")) }
                    button #undo type="button" disabled { (reader.say("Undo")) }
                    button #redo type="button" disabled { (reader.say("Redo")) }
                }
                div.pair.wide {
                    figure { div #plan {} figcaption { (reader.say("Seen from above, head end left, the patient's right at the bottom. Drag a cell, or choose it and press an arrow key: 5 mm a press, 1 mm with Shift. Shades bend further down, by the key; the filled part of a ring is the cell's load as a share of its capacity.")) } }
                    figure { div #solid {} div.row #angles {} figcaption { (reader.say("The sections at their angles, from the patient's right. Plates are shaded as in the plan; dots are cells.")) } }
                }
                details { summary { (reader.say("Every figure that can be changed")) } div #inputs {} }
            }
            div.pair.wide {
                (panel(reader.say("Requirements"), &html! { div #requirements {} ul.plain #warnings {} p.soft { (reader.say("The loads that happen on a ward, the draws and the postures are in the verb check alone: judge a deck by that before material is cut.")) } }))
                (panel(reader.say("Where the uncertainty comes from"), &html! { div #budget {} }))
            }
            (panel(reader.say("Two designs side by side"), &html! {
                p { button #keep type="button" { (reader.say("Keep this design as A")) } " " (reader.say("and go on changing: the table says what changed.")) }
                div #compare {}
            }))
            (panel(reader.say("Designs explored"), &html! {
                p { (reader.say("Searches the designs that the table [explore] of the file opens; those stay that no other beats in cost, mass, stiffness and resolvable change. Choose one to open it here; the design that was open is kept as A.")) }
                p { button #search type="button" { (reader.say("Search")) } " " span #found role="status" {} }
                div #front-plot {}
                div #front {}
            }))
            section.panel {
                h2 { (reader.say("The file")) }
                div.row {
                    a.button #download { (reader.fill("Download {}", [&opened.file])) }
                    label.field { (reader.say("Open another file")) " " input #upload type="file" accept=".toml"; }
                }
                details { summary { (reader.say("What was changed since the file was opened")) } pre #diff tabindex="0" { (reader.say("Nothing.")) } }
                details { summary { (reader.say("Write in the file itself")) }
                    label { (reader.say("Text of the file")) textarea #text rows="18" spellcheck="false" {} }
                    button #apply type="button" { (reader.say("Use this text")) }
                }
            }
            (help(reader))
            script type="module" src="/static/workbench.js" {}
        },
    )
}

fn help(reader: Reader) -> Markup {
    html! {
        details.panel.help {
            summary { (reader.say("Help with this page")) }
            ul.plain {
                li { (reader.say("The file is the truth. Each change is made in its text where the figure stands; comments stay. Nothing is kept on the server: download what you want to keep.")) }
                li { strong { (reader.say("Largest deflection")) } ": " (reader.say("how far any plate bends down under any load case of the file. Less than the clearance, or load passes the cells by.")) }
                li { strong { (reader.say("Uncertainty")) } ": " (reader.say("of one weight, k = 2, the largest up to max.")) " " strong { (reader.say("Resolvable change")) } ": " (reader.say("the smallest change over 24 h that is told from none.")) }
                li { (reader.say("A cell near the edge bends the middle more; a cell far inside lets the edge dip and the plate tip. Thicker layers cost mass; a lighter core keeps stiffness at less mass.")) }
                li { a href="/manual/stages/design" { (reader.say("The manual on design")) } }
            }
        }
    }
}
