//! Sentences for events.

use signal::{Mass, Open};

use super::{Asked, Expected, Judge};
use crate::report::{Event, EventKind};

impl Judge {
    pub(super) fn tell(&mut self, t_s: f64, kind: EventKind, text: &str) {
        self.tell_at(t_s, kind, None, None, None, text);
    }

    pub(super) fn tell_size(
        &mut self,
        t_s: f64,
        kind: EventKind,
        kg: Option<f64>,
        u_kg: Option<f64>,
        text: &str,
    ) -> usize {
        self.tell_at(t_s, kind, kg, u_kg, None, text)
    }

    /// Keeps an event and gives its number.
    pub(super) fn tell_at(
        &mut self,
        t_s: f64,
        kind: EventKind,
        kg: Option<f64>,
        u_kg: Option<f64>,
        place_mm: Option<[f64; 2]>,
        text: &str,
    ) -> usize {
        let [x_mm, y_mm] = place_mm.map_or([None; 2], |place| place.map(Some));
        self.log.tell(Event { t_s, kind, kg, u_kg, x_mm, y_mm, text: text.to_owned() })
    }

    pub(super) fn tell_item(
        &mut self,
        t_s: f64,
        item: &Expected,
        kg: f64,
        u_kg: f64,
        place_mm: Option<[f64; 2]>,
    ) -> usize {
        let kind = if item.sign > 0.0 { EventKind::Added } else { EventKind::Removed };
        let verb = if item.sign > 0.0 { "came onto" } else { "left" };
        let text = format!("{:.2} kg {verb} the deck{}.", kg.abs(), noted(item));
        self.tell_at(t_s, kind, Some(kg), Some(u_kg), place_mm, &text)
    }

    /// Puts the size of an event right that a later change mended.
    pub(super) fn retell(&mut self, index: usize, kg: f64, care: bool) {
        let Some(event) = self.log.mend(index) else { return };
        event.kg = Some(kg);
        if care {
            (event.kind, event.text) = care_text(kg);
        } else if let (Some((_, rest)), EventKind::Added | EventKind::Removed) =
            (event.text.split_once(" kg "), event.kind)
        {
            event.text = format!("{:.2} kg {rest}", kg.abs());
        }
    }

    pub(super) fn tell_care(&mut self, t_s: f64, kg: f64, u_kg: f64) -> usize {
        let (kind, text) = care_text(kg);
        self.tell_at(t_s, kind, Some(kg), Some(u_kg), None, &text)
    }

    /// Puts an event of care right, by the pace that was learned since.
    pub(super) fn retell_care(&mut self, index: usize, kg: f64, u_kg: f64) {
        let Some(event) = self.log.mend(index) else { return };
        (event.kg, event.u_kg) = (Some(kg), Some(u_kg));
        if kg.abs() > 0.0 {
            (event.kind, event.text) = care_text(kg);
        } else {
            "What changed in care was the patient's own fluid, by the pace after it.".clone_into(&mut event.text);
        }
    }

    /// Opens a question and tells it.
    pub(super) fn ask(&mut self, open: Open, question: &str) {
        let Mass { kg, u_kg } = open.mass;
        let text = format!("{kg:+.2} kg {question}");
        let event = self.tell_at(open.t_s, EventKind::Step, Some(kg), Some(u_kg), open.place_mm, &text);
        self.asked_by(open, event);
    }

    /// Opens a question that an event has asked.
    pub(super) fn asked_by(&mut self, open: Open, event: usize) {
        self.ledger.ask(open);
        let kept = self.kept(self.mendable);
        self.asked.retain(|asked| kept.contains(&asked.event));
        self.asked.push(Asked { t_s: open.t_s, event, seen: true, unsure: self.unsure, note: String::new() });
    }

    /// The event that asked the question of a time, to be put right.
    pub(super) fn asking(&mut self, asked_s: f64) -> Option<&mut Event> {
        let at = self.asked.iter().rposition(|asked| asked.t_s.total_cmp(&asked_s).is_eq())?;
        let Asked { event, .. } = self.asked.remove(at);
        self.log.mend(event)
    }

    /// What was asked about was nothing that came or went.
    pub(super) fn retell_none(&mut self, asked_s: f64, why: &str) {
        let Some(event) = self.asking(asked_s) else { return };
        event.text.push_str(why);
    }

    /// What was asked about was a hand or a body, which let go.
    pub(super) fn retell_contact(&mut self, asked_s: f64, stayed_s: f64) {
        let Some(event) = self.asking(asked_s) else { return };
        event.kind = EventKind::Contact;
        let kg = event.kg.unwrap_or(0.0);
        event.text =
            format!("Someone leaned on the bed by {kg:.2} kg for {stayed_s:.0} s, and let go: the load is as before.");
    }
}

fn care_text(kg: f64) -> (EventKind, String) {
    let (kind, verb) = if kg > 0.0 { (EventKind::Added, "came onto") } else { (EventKind::Removed, "left") };
    (kind, format!("{:.2} kg {verb} the deck in care, and is not the patient's.", kg.abs()))
}

/// The note of an item, in brackets.
pub(super) fn noted(item: &Expected) -> String {
    in_brackets(&item.note)
}

/// A note, in brackets.
pub(super) fn in_brackets(note: &str) -> String {
    if note.is_empty() { String::new() } else { format!(" ({note})") }
}
