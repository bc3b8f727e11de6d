//! The change of a weight since a chosen moment.

use ::ward::bed::Live;
use ::ward::clock::now_us;
use ::ward::records::Stay;
use formats::weights::State;
use jiff::Timestamp;
use maud::{Markup, html};
use store::entry::Kind;
use store::journal::{self, Query};

use super::on_record;
use crate::ward::call::Call;
use crate::ward::pages::frame::local;
use crate::words::Reader;

/// Moments since which a change is shown, h.
const SINCE_H: [i64; 5] = [1, 6, 12, 24, 72];
const SINCE_USUAL_H: i64 = 12;
const HOUR_US: i64 = 3_600_000_000;

/// The change since a chosen moment, from the first settled weight after it of who lies here now: the weight of who lay here before
/// is no reference, and without a stay nobody knows whose weight any is.
pub(super) fn change(call: &Call, live: &Live, stay: Option<&Stay>) -> Markup {
    let reader = call.reader;
    let Some(stay) = stay else {
        let text = reader.say("no change is shown: no patient is entered for this bed");
        return html! { div.change { p.delta { span.unit { (text) } } } };
    };
    let chosen = call.query.get("since").and_then(|h| h.parse().ok()).filter(|h| SINCE_H.contains(h));
    let hours = chosen.unwrap_or(SINCE_USUAL_H);
    let query = Query {
        chain: Some(stay.bed.clone()),
        kind: Some(Kind::Weight),
        from_us: Some(stay.from_us.max(now_us() - hours * HOUR_US)),
        most: Some(1),
        ..Query::default()
    };
    let Some(mut first) = on_record(call, |tx| journal::entries(tx, &query)) else {
        return html! { div.change { p.delta { span.unit { (reader.say("the record cannot be read just now")) } } } };
    };
    let reference = first.pop().and_then(|entry| {
        let body: serde_json::Value = serde_json::from_str(&entry.new.body).ok()?;
        Some((Timestamp::from_microsecond(entry.new.at_us).ok()?, body["patient_kg"].as_f64()?, body["u_kg"].as_f64()))
    });
    // Of a load that moves no change is known.
    let now_kg = live.patient_kg.filter(|_| matches!(live.state, Some(State::Settled | State::Held)));
    html! {
        div.change {
            p.delta {
                @if let Some((at, kg, u_kg)) = reference {
                    span data-value="change" data-reference=(kg) data-reference-u=[u_kg] data-stay=[crate::ward::api::beds::at(stay.from_us)] { (now_kg.map_or_else(|| "–".into(), |now| signed(reader, now - kg))) }
                    span.unit {
                        // What two weights have in common is counted as if it were not: too wide rather than too narrow.
                        " ± " span data-value="change_u" { (now_kg.and(live.u_kg).zip(u_kg).map_or_else(|| "–".into(), |(now, then)| reader.number(now.hypot(then), 2))) }
                        " kg " (reader.say("since")) " " (local(call, at))
                        @if let Some(pounds) = now_kg.and_then(|now| reader.pounds(now - kg)) {
                            " (" span data-value="change_pounds" { (with_plus(pounds)) } ")"
                        }
                    }
                } @else { span.unit { (reader.say("no settled weight in this time")) } }
            }
            nav.since aria-label=(reader.say("Change since")) {
                @for h in SINCE_H { a href=(format!("?since={h}")) aria-current=[(h == hours).then_some("true")] { (h) " " (reader.say("h")) } }
            }
        }
    }
}

pub(super) fn signed(reader: Reader, kg: f64) -> String {
    with_plus(reader.number(kg, 2))
}

fn with_plus(text: String) -> String {
    if text.starts_with('−') { text } else { format!("+{text}") }
}
