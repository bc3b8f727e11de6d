//! Which load passed the cells by, when and how much, as the night goes on.

use super::truth::{NightTruth, TrueEvent, TrueKind, TrueShunt};

/// From this on a plate counts as shunted, kg, so that a touch in passing makes no list of its own.
const FROM_KG: f64 = 0.02;
/// A shunt that comes again within this time is one, s.
const TOGETHER_S: f64 = 10.0;
/// A shunt of this size and length is an event of the night, kg and s.
const EVENT: (f64, f64) = (0.1, 10.0);

/// Follows the plates.
#[derive(Debug, Clone)]
pub(crate) struct Shunts {
    plates: Vec<String>,
    open: Vec<Option<Open>>,
}

#[derive(Debug, Clone, Copy)]
struct Open {
    from_s: f64,
    to_s: f64,
    largest_kg: f64,
}

impl Shunts {
    pub(crate) fn new(plates: Vec<String>) -> Self {
        let open = vec![None; plates.len()];
        Self { plates, open }
    }

    /// A sample: what passes the cells of each plate, kg.
    pub(crate) fn at(&mut self, t_s: f64, shunted_kg: &[f64], truth: &mut NightTruth) {
        for (plate, &kg) in shunted_kg.iter().enumerate() {
            let open = &mut self.open[plate];
            match open {
                Some(o) if kg >= FROM_KG => {
                    o.to_s = t_s;
                    o.largest_kg = o.largest_kg.max(kg);
                }
                Some(o) if t_s - o.to_s > TOGETHER_S => {
                    close(&self.plates[plate], *o, truth);
                    *open = None;
                }
                None if kg >= FROM_KG => *open = Some(Open { from_s: t_s, to_s: t_s, largest_kg: kg }),
                _ => {}
            }
        }
    }

    /// The night is over.
    pub(crate) fn end(&mut self, truth: &mut NightTruth) {
        for (plate, open) in self.plates.iter().zip(&mut self.open) {
            if let Some(open) = open.take() {
                close(plate, open, truth);
            }
        }
    }
}

fn close(plate: &str, Open { from_s, to_s, largest_kg }: Open, truth: &mut NightTruth) {
    truth.shunts.push(TrueShunt { plate: plate.to_owned(), from_s, to_s, largest_kg });
    if largest_kg >= EVENT.0 && to_s - from_s >= EVENT.1 {
        let text = format!("{largest_kg:.2} kg of {plate} pass the cells by");
        let event = TrueEvent {
            t_s: from_s,
            until_s: to_s,
            kind: TrueKind::Shunt,
            kg: -largest_kg,
            at_mm: None,
            told: false,
            text,
        };
        let place = truth.events.partition_point(|e| e.t_s <= from_s);
        truth.events.insert(place, event);
    }
}
