//! A question that was asked too soon: the load had not come to rest yet.
//!
//! A restless infant rests for some seconds between two moves, and the deck finds a plateau there that is off by 50 g. As it lies down again the load slides back by as much, too little
//! to be a change of its own. So for a while after it was asked, a question is held against the load as it comes to rest: where the load is, but for what flows, what
//! it was before the question, nothing came or went.
//!
//! Symbols: R the remainder (load less tare, items, lean and open questions), q the question; R + q − R₀ − q₀ = moved, q + moved = left. Closed where left is no larger than what counts as no change,
//! and than half of q. Not while load may pass the cells by: then more than hands moves it.

use signal::Motion;
use signal::{Mass, Open};

use super::Judge;
use crate::setup::{Path, Rest};

/// The plateau has to last so long, s: the low-pass has come to rest, and breath is averaged.
const RESTS_S: f64 = 12.0;

/// Of the question, what may be left.
const LEFT_REL: f64 = 0.5;

/// The newest question, and what the deck bore when it was asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fresh {
    asked_s: f64,
    from_s: f64,
    mass: Mass,
    remainder_kg: f64,
}

impl Judge {
    /// A question was asked about a change to this rest.
    pub(super) fn begin_trial_of(&mut self, open: Open, after: &Rest) {
        let fresh =
            |remainder_kg: f64| Fresh { asked_s: open.t_s, from_s: after.level.t_s, mass: open.mass, remainder_kg };
        self.fresh = self.ledger.remainder_kg(after.level.kg).map(fresh);
    }

    /// Closes the newest question where the load has come to rest at what it was before it; called with every sample.
    pub(super) fn try_fresh(&mut self, path: &Path, temperature_c: Option<f64>) {
        let Some(fresh) = self.fresh else { return };
        let now_s = path.reading().t_s;
        if now_s - fresh.from_s > self.rules.contact_s
            || self.hold.is_some()
            || !self.is_open(fresh.asked_s)
            || self.is_shunted()
        {
            self.fresh = None;
            return;
        }
        if path.reading().motion != Motion::Settled || now_s - self.found_s < RESTS_S {
            return;
        }
        let Some(now_kg) = self.ledger.remainder_kg(path.now(temperature_c).level.kg) else { return };
        let fluid = self.fluid(now_s, now_s - fresh.from_s);
        let left_kg = fresh.mass.kg + now_kg - fresh.remainder_kg - fluid.kg;
        let least_kg = self.least(fresh.mass.u_kg.hypot(fluid.u_kg));
        if left_kg.abs() <= least_kg.min(LEFT_REL * fresh.mass.kg.abs()) {
            self.happened += 1;
            self.fresh = None;
            self.close(&[fresh.asked_s], " It was none: the load came to rest at what it was before.");
        }
    }
}
