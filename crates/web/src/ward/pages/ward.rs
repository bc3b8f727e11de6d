//! All beds: who needs attention first, and why.

use std::borrow::Cow;
use std::cmp::Ordering;

use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::service::{Bed, Trouble};
use formats::weights::State;
use maud::{Markup, html};
use weigh::Lies;

use super::frame;
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::words::Reader;

/// Beds that one page holds: more than a person takes in at a look, and few enough to be made and sent at once.
const BEDS_A_PAGE: usize = 100;
/// The page is made anew so often whatever is heard, s: a deck that falls silent says nothing, and a bed that is not shown may come to ask.
const ANEW_S: u32 = 15;

/// How much a bed asks for attention: the least number first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Urgency {
    Now,
    Soon,
    None,
}

/// Why a bed asks for attention. A cell at fault is named: whoever comes is to know where to look. That nothing can be kept hides no worse:
/// the live weight is then what people go by.
pub(super) fn asks(bed: &Bed, live: &Live, reader: Reader) -> (Urgency, Cow<'static, str>) {
    if bed.has_stopped() {
        return (
            Urgency::Now,
            reader.say("stopped by a fault of the program: the service must be started anew").into(),
        );
    }
    let trouble = bed.trouble();
    let by_itself = asks_for_itself(&trouble, live, reader);
    if trouble.stay.is_some() {
        unkept(by_itself, reader.say("who lies here cannot be read from the record: nobody is admitted or discharged"))
    } else if trouble.memory.is_some() {
        unkept(by_itself, reader.say("what is weighed cannot be kept just now"))
    } else if trouble.state.is_some() {
        unkept(by_itself, reader.say("its tare cannot be kept just now: a restart of the service would need a new one"))
    } else {
        by_itself
    }
}

/// What a bed asks of which something cannot be kept.
fn unkept((urgency, why): (Urgency, Cow<'static, str>), lost: &'static str) -> (Urgency, Cow<'static, str>) {
    (Urgency::Now, if urgency == Urgency::Now { format!("{why}; {lost}").into() } else { lost.into() })
}

/// Why a bed asks, but for the memory.
fn asks_for_itself(trouble: &Trouble, live: &Live, reader: Reader) -> (Urgency, Cow<'static, str>) {
    let failed = live.faults.iter().map(|(cell, _)| cell.as_str()).collect::<Vec<_>>().join(", ");
    if live.state == Some(State::Fault) {
        let why = if failed.is_empty() {
            reader.say("the deck cannot weigh: weigh by another way, and have it looked at").into()
        } else {
            reader
                .fill("the deck cannot weigh, at fault: {}. Weigh by another way, and have it looked at", [&failed])
                .into()
        };
        return (Urgency::Now, why);
    }
    if live.state == Some(State::Overload) {
        return (Urgency::Now, reader.say("more lies on the deck than it can weigh").into());
    }
    if !live.link.up || live.is_silent(now_us()) {
        let why = if trouble.has_rival && !live.link.up {
            reader.say("nothing comes from the deck: most likely a second service uses this ward's name at the broker")
        } else {
            reader.say("nothing comes from the deck")
        };
        return (Urgency::Now, why.into());
    }
    if trouble.start.is_some() {
        return (Urgency::Now, reader.say("a new tare on the empty deck is needed").into());
    }
    if !live.questions.is_empty() {
        return (Urgency::Soon, reader.say("not sure: a step that nobody has explained").into());
    }
    if live.tare_kg.is_none() {
        return (Urgency::Soon, reader.say("no tare yet: tare the empty deck").into());
    }
    if !failed.is_empty() {
        return (Urgency::Soon, reader.fill("at fault: {}. The deck goes on, less surely", [&failed]).into());
    }
    (Urgency::None, believe(reader, live).into())
}

/// Labels as people count: L2 stands before L10.
fn by_label(one: &str, other: &str) -> Ordering {
    let (mut a, mut b) = (one, other);
    while let (Some(x), Some(y)) = (a.chars().next(), b.chars().next()) {
        let order = if x.is_ascii_digit() && y.is_ascii_digit() {
            let (first, second) = (number(&mut a), number(&mut b));
            // Of two numbers the longer is the greater; of equal length the first digit that differs says it.
            first.len().cmp(&second.len()).then_with(|| first.cmp(second))
        } else {
            (a, b) = (&a[x.len_utf8()..], &b[y.len_utf8()..]);
            x.cmp(&y)
        };
        if order != Ordering::Equal {
            return order;
        }
    }
    // What begins alike: the shorter first; and "1" and "01" still in one order.
    a.len().cmp(&b.len()).then_with(|| one.cmp(other))
}

/// Takes the digits at the front, without zeros before them.
fn number<'a>(text: &mut &'a str) -> &'a str {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    *text = rest;
    digits.trim_start_matches('0')
}

/// May the weight be believed, in words.
pub(super) fn believe(reader: Reader, live: &Live) -> &'static str {
    match live.state {
        Some(State::Settled) => reader.say("settled: may be believed"),
        Some(State::Moving) => reader.say("the load moves: wait"),
        Some(State::Held) => reader.say("held: the weight from before the care"),
        Some(State::Empty) if live.lies == Lies::Somebody => {
            reader.say("said to leave, and somebody still lies on the deck")
        }
        Some(State::Empty) => reader.say("nobody on the deck"),
        Some(State::Overload) => reader.say("beyond the range of the deck"),
        Some(State::Fault) => reader.say("the deck cannot weigh"),
        None => reader.say("no weight yet"),
    }
}

/// The mark of attention; where nothing asks for any, filled for a weight that may be believed and hollow for one that may not.
pub(super) fn belief_mark(urgency: Urgency, live: &Live) -> Markup {
    match (urgency, live.state) {
        (Urgency::None, Some(State::Settled)) | (Urgency::Now | Urgency::Soon, _) => mark(urgency),
        _ => html! { span.sign aria-hidden="true" { "○" } },
    }
}

/// The mark of how much a bed asks: shape and word say what the colour says.
pub(super) fn mark(call: Urgency) -> Markup {
    match call {
        Urgency::Now => html! { span.sign.now aria-hidden="true" { "▲" } },
        Urgency::Soon => html! { span.sign.soon aria-hidden="true" { "◆" } },
        Urgency::None => html! { span.sign.none aria-hidden="true" { "●" } },
    }
}

/// A bed among the others, and how much it asks.
struct Shown<'a> {
    asks: Urgency,
    why: Cow<'static, str>,
    bed: &'a Bed,
    live: Live,
}

pub(super) fn overview(call: &Call) -> Result<Answer, Problem> {
    let reader = call.reader;
    let wanted = call.query.get("find").map_or("", |f| f.trim());
    let mut beds: Vec<Shown<'_>> = call
        .ward
        .beds()
        .filter(|bed| is_wanted(bed, wanted))
        .map(|bed| {
            let live = bed.live();
            let (asks, why) = asks(bed, &live, reader);
            Shown { asks, why, bed, live }
        })
        .collect();
    beds.sort_by(|a, b| a.asks.cmp(&b.asks).then_with(|| by_label(&a.live.bed, &b.live.bed)));
    let all = call.ward.beds().count();
    let asking = beds.iter().filter(|b| b.asks != Urgency::None).count();
    let pages = beds.len().div_ceil(BEDS_A_PAGE).max(1);
    let page = call.query.get("page").and_then(|p| p.parse().ok()).unwrap_or(1_usize).clamp(1, pages);
    let here = beds.iter().skip((page - 1) * BEDS_A_PAGE).take(BEDS_A_PAGE);
    let labels: Vec<&str> = here.clone().map(|b| b.bed.setup.bed.as_str()).collect();
    let main = html! {
        header.title {
            h1 { (call.ward.name) }
            p.question role="status" {
                @if all == 0 { (reader.say("No bed is named in the ward file.")) }
                @else if beds.is_empty() { (reader.say("No bed and no patient of that name.")) }
                @else if asking == 0 { (reader.say("No bed asks for attention.")) }
                @else if asking == 1 { (reader.say("One bed asks for attention; it stands first.")) }
                @else { (asking) " " (reader.say("beds ask for attention, the first ones first")) }
            }
        }
        @if all > BEDS_A_PAGE { (ways(reader, wanted, page, pages, beds.len())) }
        ul.beds data-live=(live_address(&labels, all)) data-order="1" data-anew-s=(ANEW_S) {
            @for shown in here { (tile(reader, shown)) }
        }
    };
    Ok(Answer::Page(frame::page(call, "/", &call.ward.name, "ward", &main)))
}

/// Whether somebody who looks for `wanted` means this bed: by how its label or its patient's begins.
fn is_wanted(bed: &Bed, wanted: &str) -> bool {
    let begins = |label: &str| label.get(..wanted.len()).is_some_and(|start| start.eq_ignore_ascii_case(wanted));
    begins(&bed.setup.bed) || bed.stay().is_some_and(|stay| begins(&stay.patient))
}

/// What a page listens to: its own beds, where it does not show all of them.
fn live_address(labels: &[&str], all: usize) -> String {
    if labels.is_empty() || labels.len() == all {
        return "/api/live".to_owned();
    }
    let beds = url::form_urlencoded::byte_serialize(labels.join(",").as_bytes()).collect::<String>();
    format!("/api/live?beds={beds}")
}

/// To the other beds, where there are more than one page holds.
fn ways(reader: Reader, wanted: &str, page: usize, pages: usize, beds: usize) -> Markup {
    let to = |page: usize| {
        let find = url::form_urlencoded::byte_serialize(wanted.as_bytes()).collect::<String>();
        if wanted.is_empty() { format!("/?page={page}") } else { format!("/?find={find}&page={page}") }
    };
    let (first, last) = ((page - 1) * BEDS_A_PAGE + 1, (page * BEDS_A_PAGE).min(beds));
    html! {
        nav.ways aria-label=(reader.say("Beds")) {
            form.inline method="get" action="/" {
                label.inline { (reader.say("Bed or patient")) input name="find" value=(wanted) maxlength="32"; }
                button { (reader.say("Find")) }
            }
            @if beds > 0 {
                span.soft { (reader.say("Beds")) " " (first) "–" (last) " " (reader.say("of")) " " (beds) }
                @if page > 1 { a.button rel="prev" href=(to(page - 1)) { (reader.say("Those before")) } }
                @if page < pages { a.button rel="next" href=(to(page + 1)) { (reader.say("Those after")) } }
            }
        }
    }
}

fn tile(reader: Reader, Shown { asks, why, bed, live }: &Shown<'_>) -> Markup {
    html! {
        li.bed data-bed=(live.bed) {
            a href=(format!("/beds/{}", live.bed)) {
                h2 { (belief_mark(*asks, live)) " " (live.bed) @if let Some(stay) = bed.stay() { span.patient { (stay.patient) } } }
                p.weight.unsure[live.state != Some(State::Settled)] {
                    (weight(reader, live))
                    (uncertainty(reader, live))
                    (pounds(reader, live))
                }
                p.why { (why) }
            }
        }
    }
}

/// The weight of a bed in kilograms, or a dash.
pub(super) fn weight(reader: Reader, live: &Live) -> Markup {
    html! {
        span.kg data-value="patient_kg" data-decimals="2" { (live.patient_kg.map_or_else(|| "–".to_owned(), |kg| reader.number(kg, 2))) }
        span.unit { " kg" }
    }
}

/// Its standard uncertainty.
pub(super) fn uncertainty(reader: Reader, live: &Live) -> Markup {
    html! { @if let Some(u_kg) = live.u_kg { span.u { " ± " span data-value="u_kg" data-decimals="2" { (reader.number(u_kg, 2)) } " kg" } } }
}

/// The same in pounds, on a line of its own and apart from the ±, which is of the kilograms.
pub(super) fn pounds(reader: Reader, live: &Live) -> Markup {
    html! { @if let Some(pounds) = live.patient_kg.and_then(|kg| reader.pounds(kg)) { span.pounds data-value="pounds" { (pounds) } } }
}

#[cfg(test)]
mod tests {

    use super::*;
    use crate::words::Language;

    #[test]
    fn that_nothing_can_be_kept_hides_no_worse() {
        let lost = "what is weighed cannot be kept just now";
        let told = |urgency, why: &'static str| unkept((urgency, why.into()), lost);
        assert_eq!(told(Urgency::None, "settled"), (Urgency::Now, lost.into()));
        assert_eq!(told(Urgency::Soon, "no tare yet"), (Urgency::Now, lost.into()));
        let (urgency, why) = told(Urgency::Now, "nothing comes from the deck");
        assert_eq!((urgency, why.as_ref()), (Urgency::Now, format!("nothing comes from the deck; {lost}").as_str()));
    }

    #[test]
    fn a_silent_bed_whose_service_has_a_rival_says_so() {
        let live = Live::before_all("A1", "invented", Lies::Nobody);
        let trouble = |has_rival| Trouble { has_rival, ..Trouble::default() };
        for (language, words) in [
            (Language::English, "a second service uses this ward's name at the broker"),
            (Language::German, "ein zweiter Dienst den Namen dieser Station am Broker"),
        ] {
            let told = |has_rival| asks_for_itself(&trouble(has_rival), &live, Reader::of_language(language)).1;
            assert!(told(true).contains(words) && !told(false).contains(words), "{}", told(true));
        }
    }

    #[test]
    fn beds_stand_as_people_count_them() {
        let mut labels = ["L10", "L2", "bed", "L1", "L02", "A3", "L", "L1b", "L12", "Ä1", "L1a9", "L1a10"];
        labels.sort_by(|a, b| by_label(a, b));
        assert_eq!(labels, ["A3", "L", "L1", "L1a9", "L1a10", "L1b", "L02", "L2", "L10", "L12", "bed", "Ä1"]);
    }
}
