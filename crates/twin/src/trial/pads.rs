//! Fluid that left with a changed pad: by the deck alone nobody can say whether it was the patient's or the pad's. Whichever
//! an engine decides at its next settled weight is taken as right, and it is held to that.

use formats::weights::{State, Weight};

use crate::night::Moment;

/// How an engine booked the pads so far.
#[derive(Debug, Default)]
pub(super) struct Pads {
    gone_kg: f64,
    undecided_kg: f64,
    booked_to_patient_kg: f64,
}

impl Pads {
    /// What a perfect deck shows, given how the engine booked the pads.
    pub(super) fn reference_kg(&mut self, weight: &Weight, now: &Moment) -> f64 {
        if now.gone_with_pads_kg < self.gone_kg {
            *self = Self::default();
        }
        self.undecided_kg += now.gone_with_pads_kg - self.gone_kg;
        self.gone_kg = now.gone_with_pads_kg;
        if let (State::Settled, Some(kg)) = (weight.state, weight.patient_kg) {
            let error = kg - (now.shown_kg() - self.booked_to_patient_kg);
            if (error + self.undecided_kg).abs() < error.abs() {
                self.booked_to_patient_kg += self.undecided_kg;
            }
            self.undecided_kg = 0.0;
        }
        now.shown_kg() - self.booked_to_patient_kg
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_changed_pad_may_be_booked_either_way_but_not_both() {
        let weight =
            |kg| Weight { time: None, t_s: 0.0, patient_kg: Some(kg), u_kg: Some(0.02), state: State::Settled };
        let gone = |gone_with_pads_kg| Moment { patient_kg: 70.0 - 0.2, gone_with_pads_kg, ..Moment::default() };
        let mut kept = Pads::default();
        assert!((kept.reference_kg(&weight(70.01), &gone(0.2)) - 70.0).abs() < 1e-12);
        assert!((kept.reference_kg(&weight(69.8), &gone(0.2)) - 70.0).abs() < 1e-12);
        let mut lost = Pads::default();
        assert!((lost.reference_kg(&weight(69.79), &gone(0.2)) - 69.8).abs() < 1e-12);
        assert!((lost.reference_kg(&weight(70.0), &gone(0.2)) - 69.8).abs() < 1e-12);
        // Weighed anew: nothing is open any more.
        assert!((lost.reference_kg(&weight(69.8), &gone(0.0)) - 69.8).abs() < 1e-12);
    }
}
