//! The steps of each kind of test.

use deck::oiml::r76;
use formats::deck::{AccuracyClass, Deck};
use formats::tests::TestKind;

use super::loads::{Piece, Pieces, on, sum};
use super::{Act, Placed, Step};
use crate::kinds::about;

/// Loads of the weighing test, parts of Max, beside Min, Max and the steps of the permissible error.
const PARTS: [f64; 4] = [0.125, 0.25, 0.5, 0.75];
/// Loads of the test with a tare, parts of Max.
const NET_PARTS: [f64; 5] = [0.05, 0.2, 0.4, 0.6, 0.8];
/// Tare, a part of Max.
const TARE_PART: f64 = 0.075;
/// Readings under a load that lies, min (3.9.4.1: the ends and the quarter of an hour; the others show the course).
const CREEP_MIN: [f64; 6] = [0.0, 5.0, 10.0, 15.0, 20.0, 30.0];
/// An eccentricity load this share from the one asked for still counts as it (as where it is judged).
const NEAR: f64 = 0.2;

/// Steps under way.
pub(super) struct Planned<'a> {
    pub(super) deck: &'a Deck,
    pub(super) pieces: &'a Pieces,
    pub(super) steps: Vec<Step>,
    pub(super) open: Vec<String>,
}

impl<'a> Planned<'a> {
    pub(super) fn new(deck: &'a Deck, pieces: &'a Pieces) -> Self {
        Self { deck, pieces, steps: Vec::new(), open: Vec::new() }
    }

    pub(super) fn finish(self) -> (Vec<Step>, Vec<String>) {
        (self.steps, self.open)
    }

    pub(super) fn add(&mut self, kind: TestKind, step: &str, act: Act, bodies: Vec<Placed>, tare_kg: f64) {
        let stands: f64 = bodies.iter().map(|b| b.mass_kg).sum();
        // The sum of nothing is −0, which nobody wants to read.
        let load_kg = ((stands - tare_kg) * 1e7).round() / 1e7 + 0.0;
        self.steps.push(Step { kind, step: step.into(), act, bodies, load_kg, minutes: None, setting: None });
    }

    /// Pieces for a load of the whole deck as it can be laid there.
    pub(super) fn laid(&self, kg: f64) -> Vec<Placed> {
        self.pieces.spread(self.deck, &self.pieces.towards(kg.min(self.deck.max_kg), &[]))
    }

    fn most_kg(&self) -> f64 {
        self.laid(self.deck.max_kg).iter().map(|b| b.mass_kg).sum()
    }

    fn min_kg(&self) -> f64 {
        r76::class_limits(self.deck.class, self.deck.e_g).map_or(0.0, |l| l.min_capacity_e * self.deck.e_g / 1e3)
    }

    pub(super) fn zero(&mut self) {
        self.add(TestKind::Zero, "zero set", Act::SetZero, Vec::new(), 0.0);
        self.add(TestKind::Zero, "after zero setting", Act::Read, Vec::new(), 0.0);
    }

    pub(super) fn weighing(&mut self) {
        let (min_kg, max_kg) = (self.min_kg(), self.deck.max_kg);
        let steps_kg = r76::mpe_steps_kg(self.deck.class, self.deck.e_g, max_kg);
        let named = [(min_kg, "Min"), (max_kg, "Max")]
            .into_iter()
            .chain(steps_kg.iter().map(|kg| (*kg, "a step of the permissible error")));
        for (kg, name) in named {
            let found: f64 = self.laid(kg).iter().map(|b| b.mass_kg).sum();
            if !about(found, kg) {
                self.open.push(format!("weighing: no load near {kg:.3} kg, {name}, with these masses (A.4.4)"));
            }
        }
        let most_kg = self.most_kg();
        let wanted = [min_kg, max_kg].into_iter().chain(steps_kg).chain(PARTS.map(|part| part * max_kg));
        // Where the masses end early, parts of what they reach.
        let wanted = wanted
            .chain([0.2, 0.4, 0.6, 0.8, 1.0].map(|part| part * most_kg).into_iter().filter(|_| most_kg < 0.9 * max_kg));
        let mut loads: Vec<(f64, Vec<Placed>)> = wanted
            .map(|kg| self.laid(kg))
            .map(|bodies| (bodies.iter().map(|b| b.mass_kg).sum(), bodies))
            .filter(|(kg, _)| *kg > 0.0)
            .collect();
        loads.sort_by(|a, b| a.0.total_cmp(&b.0));
        loads.dedup_by(|a, b| (a.0 - b.0).abs() <= 1e-4 * self.deck.e_g);
        self.add(TestKind::Weighing, "up", Act::Read, Vec::new(), 0.0);
        for (_, bodies) in &loads {
            self.add(TestKind::Weighing, "up", Act::Read, bodies.clone(), 0.0);
        }
        for (_, bodies) in loads.iter().rev().skip(1) {
            self.add(TestKind::Weighing, "down", Act::Read, bodies.clone(), 0.0);
        }
        self.add(TestKind::Weighing, "down", Act::Read, Vec::new(), 0.0);
    }

    pub(super) fn eccentricity(&mut self) {
        let n = self.deck.cells().count();
        let wanted_kg = r76::eccentricity_load_kg(self.deck.max_kg, n);
        // The sum nearest to what is asked: from below, or with one more piece.
        let below = self.pieces.towards(wanted_kg, &[]);
        let above = self.pieces.towards(wanted_kg * (1.0 + NEAR), &[]);
        let off = |pieces: &[Piece]| (sum(pieces) - wanted_kg).abs();
        let pieces = if off(&above) < off(&below) { above } else { below };
        if pieces.is_empty() || off(&pieces) > NEAR * wanted_kg {
            let found = sum(&pieces);
            self.open.push(format!(
                "eccentricity: {wanted_kg:.2} kg over each support are asked for, these masses make {found:.2} kg (3.6.2)"
            ));
        }
        if pieces.is_empty() {
            return;
        }
        self.add(TestKind::Eccentricity, "zero", Act::Read, Vec::new(), 0.0);
        for plate in &self.deck.plates {
            for cell in &plate.cells {
                let stack = pieces.iter().map(|p| on(p, plate, cell.at_mm)).collect();
                self.add(TestKind::Eccentricity, &cell.name, Act::Read, stack, 0.0);
            }
        }
    }

    pub(super) fn repeatability(&mut self) {
        let times = match self.deck.class {
            AccuracyClass::I | AccuracyClass::II => 6,
            AccuracyClass::III | AccuracyClass::IIII => 3,
        };
        let mut loads: Vec<Vec<Placed>> = [0.5, 0.8].map(|part| self.laid(part * self.deck.max_kg)).into();
        loads.retain(|bodies| !bodies.is_empty());
        loads.dedup();
        for bodies in loads {
            let kg: f64 = bodies.iter().map(|b| b.mass_kg).sum();
            for i in 1..=times {
                self.add(TestKind::Repeatability, &format!("zero {i}"), Act::Read, Vec::new(), 0.0);
                self.add(TestKind::Repeatability, &format!("{kg:.0} kg, {i}"), Act::Read, bodies.clone(), 0.0);
            }
        }
    }

    pub(super) fn discrimination(&mut self) {
        let least_kg = r76::discrimination_load_g(self.deck.e_g) / 1e3;
        // More than two intervals would show on a display that skips one.
        let most_kg = 2.0 * self.deck.e_g / 1e3;
        let Some(addition) = self.pieces.between(least_kg, most_kg, &[]) else {
            self.open.push(format!(
                "discrimination: a small mass of {:.0} to {:.0} g is not at hand (3.8.2.2)",
                1e3 * least_kg,
                1e3 * most_kg
            ));
            return;
        };
        let mut done: Vec<f64> = Vec::new();
        for kg in [self.min_kg(), 0.5 * self.deck.max_kg, self.deck.max_kg] {
            let pieces = self.pieces.towards(kg.min(self.deck.max_kg - sum(&addition)), &addition);
            let bodies = self.pieces.spread(self.deck, &pieces);
            let stands: f64 = bodies.iter().map(|b| b.mass_kg).sum();
            if stands == 0.0 || done.iter().any(|d| (d - stands).abs() < 1e-9) {
                continue;
            }
            done.push(stands);
            let step = format!("at {stands:.1} kg");
            self.add(TestKind::Discrimination, &step, Act::Read, bodies.clone(), 0.0);
            // The addition goes where the load by area is least, on what stands there already.
            let both: Vec<Piece> = pieces.iter().chain(&addition).cloned().collect();
            let mut with = bodies;
            with.extend(self.pieces.spread(self.deck, &both).into_iter().rev().take(addition.len()));
            self.add(TestKind::Discrimination, &step, Act::Read, with, 0.0);
        }
    }

    pub(super) fn tare(&mut self) {
        let max_kg = self.deck.max_kg;
        // The lightest tare that leaves something for the net loads.
        let tare = self.pieces.towards((TARE_PART * max_kg).min(self.pieces.total_kg() / 2.0), &[]);
        if tare.is_empty() {
            self.open.push("tare: these masses leave none for a net load beside a tare (4.6.3)".into());
            return;
        }
        let tare_kg = sum(&tare);
        let laid = self.pieces.spread(self.deck, &tare);
        self.add(TestKind::Tare, "tare set", Act::SetTare, laid.clone(), tare_kg);
        self.add(TestKind::Tare, "after tare setting", Act::Read, laid.clone(), tare_kg);
        let mut done: Vec<f64> = vec![0.0];
        for part in NET_PARTS {
            let net = self.pieces.towards((part * max_kg).min(max_kg - tare_kg), &tare);
            let both: Vec<Piece> = tare.iter().chain(&net).cloned().collect();
            let bodies: Vec<Placed> =
                laid.iter().cloned().chain(self.pieces.spread(self.deck, &both).into_iter().skip(laid.len())).collect();
            let net_kg = bodies.iter().map(|b| b.mass_kg).sum::<f64>() - tare_kg;
            if done.iter().any(|d| (d - net_kg).abs() < 1e-9) {
                continue;
            }
            done.push(net_kg);
            self.add(TestKind::Tare, &format!("net, tare {tare_kg:.1} kg"), Act::Read, bodies, tare_kg);
        }
    }

    pub(super) fn creep(&mut self) {
        let bodies = self.laid(self.deck.max_kg);
        let kg = self.most_kg();
        if !about(kg, self.deck.max_kg) {
            self.open.push(format!("creep: these masses make {kg:.1} kg, near Max is asked for (3.9.4.1)"));
        }
        self.add(TestKind::ZeroReturn, "before", Act::Read, Vec::new(), 0.0);
        for minutes in CREEP_MIN {
            self.add(TestKind::Creep, "load left lying", Act::Read, bodies.clone(), 0.0);
            if let Some(step) = self.steps.last_mut() {
                step.minutes = Some(minutes);
            }
        }
        self.add(TestKind::ZeroReturn, "after 30 min", Act::Read, Vec::new(), 0.0);
    }
}
