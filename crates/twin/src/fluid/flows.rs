//! The streams of a regimen while they run, and what each step moves.

use super::course::{Given, STEP_S, Source, Stream};
use super::metabolism::Physique;
use super::regimen::{Loss, Regimen, Way};
use crate::chance::Chance;

/// How far a pump's true rate may be from its set rate, ± share (common practice: 5 % pumps; most do better).
const PUMP_ERROR: f64 = 0.02;
/// B₀ of the module's equations, mL/kg.
const KIDNEY_ML_KG: f64 = 4.0;
/// What one step moved.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Moved {
    pub(super) mass_in_g: f64,
    pub(super) mass_out_g: f64,
    pub(super) water_in_g: f64,
    pub(super) water_out_g: f64,
    pub(super) into_vein_ml: f64,
    pub(super) into_gut_ml: f64,
    pub(super) into_pad_g: f64,
}

impl Moved {
    fn enter(&mut self, way: Way, ml: f64) {
        self.mass_in_g += ml * way.density_g_ml();
        self.water_in_g += ml * way.water_g_ml();
        if matches!(way, Way::Oral | Way::Enteral) {
            self.into_gut_ml += ml * way.water_g_ml();
        } else {
            self.into_vein_ml += ml * way.water_g_ml();
        }
    }

    fn leave(&mut self, way: Way, ml: f64, leaves_deck: bool) {
        self.mass_out_g += ml * way.density_g_ml();
        self.water_out_g += ml * way.water_g_ml();
        if !leaves_deck {
            self.into_pad_g += ml * way.density_g_ml();
        }
    }
}

/// The streams of a regimen while they run: infusions, then losses, then urine, then spills by their way.
pub(super) struct Flows {
    pub(super) streams: Vec<Stream>,
    pub(super) given: Vec<Given>,
}

impl Flows {
    pub(super) fn new(regimen: &Regimen, n_steps: usize, chance: &mut Chance) -> Self {
        let stream = |way, intake, source, leaves_deck, shown_over_true| Stream {
            way,
            intake,
            source,
            leaves_deck,
            shown_over_true,
            total_ml: Vec::with_capacity(n_steps + 1),
        };
        let mut streams = Vec::new();
        for infusion in &regimen.infusions {
            let shown = 1.0 / (1.0 + chance.within(PUMP_ERROR));
            streams.push(stream(infusion.way, true, Source::Pump, true, shown));
        }
        for loss in &regimen.losses {
            streams.push(stream(loss.way, false, source_of(loss), loss.leaves_deck, 1.0));
        }
        streams.push(stream(Way::Urine, false, Source::Kidney, regimen.kidney.catheter, 1.0));
        for spill in &regimen.spills {
            streams.push(stream(spill.way, false, Source::Pad, false, 1.0));
        }
        for s in &mut streams {
            s.total_ml.push(0.0);
        }
        let given =
            regimen.doses.iter().map(|d| Given { way: d.way, from_s: d.at_s, done_s: d.at_s + d.over_s, ml: d.ml });
        let given = given.collect();
        Self { streams, given }
    }

    pub(super) fn step(
        &mut self,
        regimen: &Regimen,
        physique: &Physique,
        t_s: f64,
        blood_ml: f64,
        noise: f64,
    ) -> Moved {
        let hour = STEP_S / 3600.0;
        let mut moved = Moved::default();
        let mut streams = self.streams.iter_mut();
        let mut flow = |ml: f64, moved: &mut Moved| {
            let Some(stream) = streams.next() else { return };
            stream.total_ml.push(stream.total_ml.last().copied().unwrap_or(0.0) + ml);
            if stream.intake {
                moved.enter(stream.way, ml);
            } else {
                moved.leave(stream.way, ml, stream.leaves_deck);
            }
        };
        for infusion in &regimen.infusions {
            flow(infusion.ml_h * overlap_s(t_s, infusion.from_s, infusion.to_s) / 3600.0, &mut moved);
        }
        for loss in &regimen.losses {
            flow(loss.ml_h_at(t_s) * hour, &mut moved);
        }
        let function = regimen.kidney.function_at(t_s);
        let surplus = (1.0 + blood_ml / (KIDNEY_ML_KG * physique.mass_kg)).clamp(0.2, 5.0);
        let extra: f64 = regimen.diuretics.iter().map(|d| d.ml_h(t_s)).sum();
        let urine_ml_h = function * (regimen.kidney.base_ml_kg_h * physique.mass_kg * noise.exp() * surplus + extra);
        flow(urine_ml_h * hour, &mut moved);
        for spill in &regimen.spills {
            let now = (t_s..t_s + STEP_S).contains(&spill.at_s);
            flow(if now { spill.ml } else { 0.0 }, &mut moved);
        }
        for dose in &regimen.doses {
            let part = overlap_s(t_s, dose.at_s, dose.at_s + dose.over_s.max(STEP_S)) / dose.over_s.max(STEP_S);
            moved.enter(dose.way, dose.ml * part);
        }
        moved
    }
}

fn source_of(loss: &Loss) -> Source {
    match (loss.charted, loss.way, loss.leaves_deck) {
        (false, ..) => Source::Hidden,
        (true, Way::Ultrafiltrate, _) => Source::Pump,
        (true, _, true) => Source::Bag,
        (true, _, false) => Source::Pad,
    }
}

/// Seconds of the step that begins at `t_s` within from … to.
fn overlap_s(t_s: f64, from_s: f64, to_s: f64) -> f64 {
    ((t_s + STEP_S).min(to_s) - t_s.max(from_s)).max(0.0)
}
