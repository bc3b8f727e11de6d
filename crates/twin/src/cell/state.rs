//! A cell through time: force in, output in newtons.

use super::CellTruth;
use crate::chance::Chance;

/// How a cell stands at one moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CellState {
    play_newton: f64,
    creep_newton: f64,
    travel_newton: f64,
    seat_share: f64,
    wander_newton: f64,
}

/// Share of rated force that a cell must travel before its seat settles anew.
const SEAT_PLAY: f64 = 0.01;
/// Travel over which the seat forgets, share of rated force.
const SEAT_TRAVEL: f64 = 0.2;

impl CellState {
    /// The cell at rest under a constant force for a long time.
    #[must_use]
    pub fn at_rest(cell: &CellTruth, force_newton: f64, chance: &mut Chance) -> Self {
        Self {
            play_newton: force_newton,
            creep_newton: force_newton,
            travel_newton: force_newton,
            seat_share: cell.repeatability_share * chance.normal(),
            wander_newton: 0.0,
        }
    }

    /// One sample later: the output in newtons, before noise.
    pub fn advance(
        &mut self,
        cell: &CellTruth,
        force_newton: f64,
        above_reference_k: f64,
        dt_s: f64,
        chance: &mut Chance,
    ) -> f64 {
        let half = 2.0 * cell.hysteresis_newton * cell.loop_shape(force_newton);
        self.play_newton = self.play_newton.clamp(force_newton - half, force_newton + half);
        // Exact for a force held over the step, so that coarse steps are as right as fine ones.
        self.creep_newton += (force_newton - self.creep_newton) * -(-dt_s / cell.creep_tau_s).exp_m1();
        self.settle_seat(cell, force_newton, chance);
        if cell.wander_newton_sqrt_s > 0.0 {
            self.wander_newton += cell.wander_newton_sqrt_s * dt_s.sqrt() * chance.normal();
        }
        let loaded = force_newton
            + cell.bow(force_newton)
            + (self.play_newton - force_newton)
            + cell.creep_share * self.creep_newton
            + self.seat_share * force_newton;
        loaded * (1.0 + cell.span_per_k * above_reference_k)
            + cell.zero_newton_per_k * above_reference_k
            + self.wander_newton
    }

    /// As the load travels, the way it sits on the cell is drawn anew (an Ornstein-Uhlenbeck process in travel).
    fn settle_seat(&mut self, cell: &CellTruth, force_newton: f64, chance: &mut Chance) {
        let play = SEAT_PLAY * cell.rated_newton;
        let before = self.travel_newton;
        self.travel_newton = before.clamp(force_newton - play, force_newton + play);
        let travelled = (self.travel_newton - before).abs();
        if travelled > 0.0 && cell.repeatability_share > 0.0 {
            let kept = (-travelled / (SEAT_TRAVEL * cell.rated_newton)).exp();
            self.seat_share =
                kept * self.seat_share + cell.repeatability_share * (1.0 - kept * kept).sqrt() * chance.normal();
        }
    }
}
