//! Each page in plain words.

use maud::{Markup, html};

use super::frame;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;

pub(super) fn help(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let main = html! {
        h1 { (reader.say("Help")) }
        (part("ward", reader.say("Ward"), &[
            reader.say("Beds that ask for attention stand first: ▲ now, ◆ soon. The others: ● settled, the weight may be believed; ○ not at rest, held during care, or nobody there. The line below the weight says why."),
            reader.say("A bed is silent when no sample came for 15 seconds: look at its plug and its cable."),
        ]))
        (part("bedside", reader.say("Bedside"), &[
            reader.say("Settled means: the load is at rest and the weight may be believed within the ± beside it, two times out of three; within twice that, 19 times out of 20."),
            reader.say("Tare on the empty deck, with mattress and linen as they will lie there. While the patient lies there, or while nothing comes from the deck, none is taken. A tare waits two minutes for the load to rest, and is then forgotten."),
            reader.say("Hold before care, release after it: in between the last weight stays, and what changed is judged at the end."),
            reader.say("A step that nobody explained keeps two weights: say what it was, and only one is left. Until then the patient's weight is not changed by it. Of several steps each has its own answer; the newest stands first."),
            reader.say("What was entered as coming or leaving, and did not change the load in three minutes, is asked about: it is there, or it did not come."),
            reader.say("An action can be taken back for ten minutes; both records stay."),
        ]))
        (part("patient", reader.say("Patient"), &[
            reader.say("Chart volumes as they come; a wrong entry is struck out or replaced, never erased."),
            reader.say("The fused mass rests on weights and chart together. Unexplained is what the deck saw and the chart does not tell: sweat, breath, pads, forgotten cups, or an error."),
            reader.say("The forecast shows where the weight goes if the plan is kept; the what-if plan changes nothing on record."),
        ]))
        p { a.button href="/" { (reader.say("To the ward")) } " " a.button href="/manual" lang="en" { (reader.say("The whole manual")) } }
    };
    Ok(Answer::Page(frame::bare(reader, reader.say("Help"), &main)))
}

fn part(id: &str, title: &str, lines: &[&str]) -> Markup {
    html! { section.panel id=(id) { h2 { (title) } ul.plain { @for line in lines { li { (line) } } } } }
}
