//! When a patient lies still, and when nothing is left to be told: what a row is held against.

use crate::night::Night;

/// Whether something goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stillness {
    /// Nothing, and for so long since the last disturbance or action, s.
    Still(f64),
    /// Something, and for so long, s.
    Disturbed(f64),
}

/// Follows the disturbances and actions of a night in the order of time.
#[derive(Debug, Clone)]
pub(super) struct Quiet {
    /// From and to, merged where they overlap, s.
    disturbed: Vec<[f64; 2]>,
    next: usize,
    actions_s: Vec<f64>,
    next_action: usize,
}

impl Quiet {
    pub(super) fn new(night: &Night<'_>) -> Self {
        let mut disturbed: Vec<[f64; 2]> = Vec::new();
        for d in &night.truth().disturbed {
            match disturbed.last_mut() {
                Some(last) if d.from_s <= last[1] => last[1] = last[1].max(d.to_s),
                _ => disturbed.push([d.from_s, d.to_s]),
            }
        }
        let actions_s = night.actions().iter().map(|a| a.t_s).collect();
        Self { disturbed, next: 0, actions_s, next_action: 0 }
    }

    /// At a time that is not before the one last asked.
    pub(super) fn at(&mut self, t_s: f64) -> Stillness {
        while self.disturbed.get(self.next).is_some_and(|d| d[1] < t_s) {
            self.next += 1;
        }
        while self.actions_s.get(self.next_action).is_some_and(|a| *a <= t_s) {
            self.next_action += 1;
        }
        match self.disturbed.get(self.next) {
            Some(d) if d[0] <= t_s => Stillness::Disturbed(t_s - d[0]),
            _ => {
                let calm = self.next.checked_sub(1).map_or(0.0, |i| self.disturbed[i][1]);
                // What was laid down and is told of half a minute later is a question until then.
                let told = self.next_action.checked_sub(1).map_or(0.0, |i| self.actions_s[i]);
                Stillness::Still(t_s - calm.max(told))
            }
        }
    }
}

/// Waits for the next settled row after each disturbance.
#[derive(Debug, Default)]
pub(super) struct Again {
    waiting: bool,
    still_s: f64,
}

/// What came of a waiting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Waited {
    /// Settled after so much stillness, s.
    Settled(f64),
    /// The stillness was over first, after so long, s.
    Over(f64),
}

impl Again {
    /// A row; `answerable`: the patient lies there, and nothing untold or faulty stands against a settled weight.
    pub(super) fn row(&mut self, stillness: Stillness, answerable: bool, settled: bool) -> Option<Waited> {
        match stillness {
            Stillness::Disturbed(_) => {
                let over = self.waiting && self.still_s > 0.0;
                let still_s = std::mem::take(&mut self.still_s);
                self.waiting = true;
                over.then_some(Waited::Over(still_s))
            }
            Stillness::Still(_) if !answerable => {
                *self = Self::default();
                None
            }
            Stillness::Still(since_s) if self.waiting => {
                self.still_s = since_s;
                self.waiting = !settled;
                settled.then_some(Waited::Settled(since_s))
            }
            Stillness::Still(_) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_waiting_ends_with_a_settled_row_or_with_the_next_disturbance() {
        let mut again = Again::default();
        let rows = [
            (Stillness::Still(3.0), true, true, None),
            (Stillness::Disturbed(1.0), true, false, None),
            (Stillness::Disturbed(2.0), true, false, None),
            (Stillness::Still(4.0), true, false, None),
            (Stillness::Still(5.0), true, true, Some(Waited::Settled(5.0))),
            (Stillness::Still(6.0), true, true, None),
            (Stillness::Disturbed(0.0), true, false, None),
            (Stillness::Still(40.0), true, false, None),
            (Stillness::Disturbed(0.5), true, false, Some(Waited::Over(40.0))),
            // Something untold lies there: nobody asks for a settled weight.
            (Stillness::Still(90.0), false, false, None),
            (Stillness::Still(91.0), true, true, None),
        ];
        for (i, (stillness, answerable, settled, expected)) in rows.into_iter().enumerate() {
            assert_eq!(again.row(stillness, answerable, settled), expected, "row {i}");
        }
    }
}
