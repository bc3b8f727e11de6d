//! `weigh` for a person: the last weight and whether it may be believed, what happened, what failed.

use std::fmt::Write as _;

use formats::weights::State;
use weigh::{Event, EventKind, Fault, FaultKind, WeighReport};

use super::{CAUTION, heading};
use crate::number::{fixed, optional, share_pct, with_uncertainty};
use crate::table::Sheet;

/// The screen of `weigh`.
#[must_use]
pub fn weighing(deck: &str, report: &WeighReport) -> String {
    let mut out = heading(&format!("{deck} · weighing"));
    // Writing to a String cannot fail, here and below.
    match &report.last {
        Some(last) => {
            let weight = match (last.patient_kg, last.u_kg) {
                (Some(kg), Some(u)) => format!("{} kg", with_uncertainty(kg, u)),
                (Some(kg), None) => format!("{} kg", fixed(kg, 3)),
                _ => "no weight".to_owned(),
            };
            let _ = writeln!(out, "Last, at {}: {weight}, {}", clock(last.t_s), state_words(last.state));
        }
        None => out.push_str("The recording holds no samples.\n"),
    }
    let share = if report.rows > 0 { to_f64(report.settled) / to_f64(report.rows) } else { 0.0 };
    let _ = writeln!(
        out,
        "Rows: {} written, {} settled ({} %). Tare {} kg; items since then {} kg; open questions {} kg.",
        report.rows,
        report.settled,
        share_pct(share),
        optional(report.tare_kg, |t| fixed(t, 3)),
        fixed(report.items_kg, 3),
        fixed(report.open_kg, 3)
    );
    out.push_str(&questions(report));
    out.push_str(&events(&report.events));
    for fault in &report.faults {
        out.push_str(&fault_line(fault));
    }
    if let Some(first_s) = report.actions_left_s.first() {
        let n = report.actions_left_s.len();
        let (what, lie) = if n == 1 { ("action", "lies") } else { ("actions", "lie") };
        let at = clock(*first_s);
        let _ =
            writeln!(out, "! {n} {what} {lie} after the recording's end, the first at {at}: nothing was done for it");
    }
    let _ = write!(out, "\n± is a standard uncertainty.\n{CAUTION}");
    out
}

/// A fault in a line.
#[must_use]
pub fn fault_line(fault: &Fault) -> String {
    format!("! {} cell {}: {}\n", clock(fault.t_s), fault.cell, fault_word(fault.kind))
}

/// Both weights of what is asked about: without the changes and with them.
fn questions(report: &WeighReport) -> String {
    let mut out = String::new();
    for question in &report.open {
        let (Some(without), Some(with)) = (question.patient_kg, question.patient_kg_if_own) else { continue };
        if question.entered {
            let note = if question.note.is_empty() { String::new() } else { format!(" ({})", question.note) };
            let _ = writeln!(
                out,
                "? since {}: {} kg{note} were entered, and the load did not change. If so: {} kg; if not: {} kg.",
                clock(question.t_s),
                with_uncertainty(question.kg, question.u_kg),
                fixed(without, 2),
                fixed(with, 2)
            );
            continue;
        }
        let _ = writeln!(
            out,
            "? since {}: {} kg that nobody explained. Not the patient's: {} kg; the patient's own: {} kg.",
            clock(question.t_s),
            with_uncertainty(question.kg, question.u_kg),
            fixed(without, 2),
            fixed(with, 2)
        );
    }
    out
}

/// What happened, without the contacts: on a busy ward they are hundreds, and none changes the patient's weight.
fn events(events: &[Event]) -> String {
    let (contacts, others): (Vec<&Event>, Vec<&Event>) = events.iter().partition(|e| e.kind == EventKind::Contact);
    let mut out = String::new();
    if !others.is_empty() {
        let mut sheet = Sheet::new(&["at", "kg", "<what happened"]);
        for event in others {
            let size = match (event.kg, event.u_kg) {
                (Some(kg), Some(u)) => with_uncertainty(kg, u),
                (kg, _) => optional(kg, |k| fixed(k, 3)),
            };
            sheet.row([clock(event.t_s), size, event.text.clone()]);
        }
        let _ = write!(out, "\n{}", sheet.print());
    }
    if !contacts.is_empty() {
        let _ = writeln!(out, "\n{} times someone leaned on the bed and let go; --json lists them.", contacts.len());
    }
    out
}

fn state_words(state: State) -> &'static str {
    match state {
        State::Settled => "settled: may be believed within twice its uncertainty",
        State::Moving => "moving: not to be believed yet",
        State::Held => "held: the last settled weight, care is being given",
        State::Empty => "no patient on the deck",
        State::Overload => "overload: beyond the deck's range",
        State::Fault => "fault: the deck cannot weigh",
    }
}

/// How a cell failed, in words.
#[must_use]
pub fn fault_word(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Stuck => "stuck at one count",
        FaultKind::Lost => "no samples",
        FaultKind::Saturated => "at the end of the converter's range",
        FaultKind::Drifting => "its zero wanders",
        FaultKind::Overload => "more than its rated load",
    }
}

/// Seconds since the start as hours, minutes and seconds.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "a recording lasts far less than 2^63 seconds")]
pub fn clock(t_s: f64) -> String {
    let t = t_s.floor() as i64;
    format!("{}:{:02}:{:02}", t / 3600, t / 60 % 60, t % 60)
}

#[expect(clippy::cast_precision_loss, reason = "row counts are far below 2^52")]
fn to_f64(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    /// ± is one standard uncertainty (JCGM 100:2008, 7.2.2 asks to say which): once it holds two times out of three, twice it nineteen
    /// times out of twenty.
    #[test]
    fn a_settled_weight_is_to_be_believed_within_twice_what_stands_beside_it() {
        let words = super::state_words(formats::weights::State::Settled);
        assert!(words.contains("within twice its uncertainty"), "{words}");
    }

    #[test]
    fn a_clock_counts_hours_on() {
        assert_eq!(super::clock(0.9), "0:00:00");
        assert_eq!(super::clock(93_784.0), "26:03:04");
    }
}
