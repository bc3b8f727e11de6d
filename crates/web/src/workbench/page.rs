//! The page: what stands still. Its script asks, draws and compares.

use maud::{Markup, PreEscaped, html};

use super::Opened;
use crate::layout::{self, Place, panel};

/// The page, with a deck file opened on it, in a site that has these places.
#[must_use]
pub fn page(opened: &Opened, places: &[Place]) -> Markup {
    // A closing tag inside the text must not end the data element early.
    let data = serde_json::json!({ "file": opened.file, "text": opened.text }).to_string().replace('<', "\\u003c");
    layout::page_among(
        places,
        layout::WORKBENCH,
        &opened.file,
        &html! {
            script type="application/json" id="opened" { (PreEscaped(data)) }
            p #asking role="status" { "The page needs its script; what it shows is computed by the server from the file." }
            p.said #problem role="alert" hidden {}
            div.headlines #figures {}
            section.panel {
                div.row {
                    h2 { "The deck" }
                    label.field { "Load case " select #case {} }
                    label.field { input #alike type="checkbox" checked; " change layers of all plates alike" }
                    button #undo type="button" disabled { "Undo" }
                    button #redo type="button" disabled { "Redo" }
                }
                div.pair.wide {
                    figure { div #plan {} figcaption { "Seen from above, head end left, the patient's right at the bottom. Drag a cell, or choose it and press an arrow key: 5 mm a press, 1 mm with Shift. Shades bend further down, by the key; the filled part of a ring is the cell's load as a share of its capacity." } }
                    figure { div #solid {} div.row #angles {} figcaption { "The sections at their angles, from the patient's right. Plates are shaded as in the plan; dots are cells." } }
                }
                details { summary { "Every figure that can be changed" } div #inputs {} }
            }
            div.pair.wide {
                (panel("Requirements", &html! { div #requirements {} ul.plain #warnings {} p.soft { "The loads that happen on a ward, the draws and the postures are in " code { "check" } " alone: judge a deck by that before material is cut." } }))
                (panel("Where the uncertainty comes from", &html! { div #budget {} }))
            }
            (panel("Two designs side by side", &html! {
                p { button #keep type="button" { "Keep this design as A" } " and go on changing: the table says what changed." }
                div #compare {}
            }))
            (panel("Designs explored", &html! {
                p { "Searches the designs that the file's table " code { "[explore]" } " opens; those stay that no other beats in cost, mass, stiffness and resolvable change. Choose one to open it here; the design that was open is kept as A." }
                p { button #search type="button" { "Search" } " " span #found role="status" {} }
                div #front-plot {}
                div #front {}
            }))
            section.panel {
                h2 { "The file" }
                div.row {
                    a.button #download { "Download " (opened.file) }
                    label.field { "Open another file " input #upload type="file" accept=".toml"; }
                }
                details { summary { "What was changed since the file was opened" } pre #diff tabindex="0" { "Nothing." } }
                details { summary { "Write in the file itself" }
                    label { "Text of the file" textarea #text rows="18" spellcheck="false" {} }
                    button #apply type="button" { "Use this text" }
                }
            }
            (help())
            script src="/static/solid.js" defer {}
            script type="module" src="/static/workbench.js" {}
        },
    )
}

fn help() -> Markup {
    html! {
        details.panel.help {
            summary { "Help with this page" }
            ul.plain {
                li { "The file is the truth. Each change is made in its text where the figure stands; comments stay. Nothing is kept on the server: download what you want to keep." }
                li { strong { "Largest deflection" } ": how far any plate bends down under any load case of the file. Less than the clearance, or load passes the cells by." }
                li { strong { "Uncertainty" } ": of one weight, k = 2, the largest up to max. " strong { "Resolvable change" } ": the smallest change over 24 h that is told from none." }
                li { "A cell near the edge bends the middle more; a cell far inside lets the edge dip and the plate tip. Thicker layers cost mass; a lighter core keeps stiffness at less mass." }
                li { a href="/manual/stages/design" { "The manual on design" } }
            }
        }
    }
}
