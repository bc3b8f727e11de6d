//! The routine of a ward and the stated happenings, as a programme.

use formats::deck::Deck;

use super::lying::Pose;
use super::programme::{ItemTold, Planner, Programme};
use crate::built::{BuiltDeck, Patch};
use crate::chance::Chance;
use crate::error::TwinError;
use crate::scenario::{Planned, Scenario};

const HOUR: f64 = 3600.0;

/// Things that come and go: name, mass from and to, kg, size, mm (own choices).
const THINGS: [(&str, [f64; 2], [f64; 2]); 8] = [
    ("blanket", [0.7, 1.4], [1200.0, 700.0]),
    ("pillow", [0.4, 0.9], [500.0, 400.0]),
    ("second pillow", [0.4, 0.9], [500.0, 400.0]),
    ("syringe pump", [1.6, 2.6], [300.0, 150.0]),
    ("monitor", [2.5, 4.0], [300.0, 250.0]),
    ("tray", [0.8, 1.8], [400.0, 300.0]),
    ("book", [0.25, 0.8], [220.0, 160.0]),
    ("towels", [0.3, 0.9], [400.0, 300.0]),
];

/// Draws the programme of a scenario.
///
/// # Errors
/// A section that the deck does not have.
pub(crate) fn programme(
    deck: &Deck,
    built: &BuiltDeck,
    scenario: &Scenario,
    seed: u64,
) -> Result<Programme, TwinError> {
    let mut planner = Planner::new(scenario, built);
    for angle in &scenario.bed.angle {
        let section = angle.section.as_deref().map(|name| planner.section(&deck.sections, name)).transpose()?;
        planner.take(angle.at_h * HOUR, angle.over_s);
        let name = angle.section.as_deref().unwrap_or("bed");
        planner.tilt(angle.at_h * HOUR, section, angle.deg, angle.over_s, name);
    }
    for planned in &scenario.happening {
        stated(&mut planner, planned, &mut Chance::stream(seed, "stated"));
    }
    journeys(&mut planner, &mut Chance::stream(seed, "journeys"));
    washing(&mut planner, &mut Chance::stream(seed, "washing"));
    turning(&mut planner, &mut Chance::stream(seed, "turning"));
    items(&mut planner, &mut Chance::stream(seed, "items"));
    contacts(&mut planner, &mut Chance::stream(seed, "contacts"));
    sitters(&mut planner, &mut Chance::stream(seed, "sitters"));
    restlessness(&mut planner, &mut Chance::stream(seed, "restless"));
    moves(&mut planner, &mut Chance::stream(seed, "moves"));
    Ok(planner.finish())
}

fn stated(planner: &mut Planner<'_>, planned: &Planned, chance: &mut Chance) {
    match planned {
        Planned::Add { at_h, name, kg, at_mm, size_mm, until_h, told } => {
            let late_s = planner.scenario.ward.action_late_s;
            let told = told.then_some(ItemTold { weighed: true, late_s });
            planner.take(at_h * HOUR, 60.0);
            let until_s = until_h.map(|h| h * HOUR);
            if let Some(until_s) = until_s {
                planner.take(until_s, 60.0);
            }
            planner.item(name, *kg, Patch::about(*at_mm, *size_mm), at_h * HOUR, until_s, told);
        }
        Planned::Lean { at_h, for_s, kg, at_mm } => {
            planner.take(at_h * HOUR, *for_s);
            planner.lean(at_h * HOUR, *for_s, *kg, *at_mm);
        }
        Planned::Sit { at_h, for_s, kg, at_mm } => {
            planner.take(at_h * HOUR, *for_s);
            planner.sit(at_h * HOUR, *for_s, *kg, *at_mm);
        }
        Planned::Turn { at_h, across_mm } => {
            planner.take(at_h * HOUR, 30.0);
            planner.turn(at_h * HOUR, Pose { down_mm: chance.within(30.0), across_mm: *across_mm }, false);
        }
        Planned::Care { at_h, for_s } => {
            planner.take(at_h * HOUR - 10.0, for_s + 30.0);
            let presses = presses(planner.built, *for_s, chance);
            planner.care(at_h * HOUR, *for_s, &presses, some_pose(chance, 60.0), "care");
        }
        Planned::Journey { at_h, for_s } => {
            planner.take(at_h * HOUR - 10.0, for_s + 60.0);
            planner.journey(at_h * HOUR, *for_s);
        }
        Planned::Restless { at_h, for_s } => {
            planner.take(at_h * HOUR, *for_s);
            planner.restless(at_h * HOUR, *for_s, some_pose(chance, 25.0));
        }
        Planned::Seizure { at_h, for_s } => {
            planner.take(at_h * HOUR, *for_s);
            let at_mm = [0.5 * planner.built.length_mm(), 0.5 * planner.built.width_mm];
            planner.rhythm(at_h * HOUR, *for_s, 5.0, 3.0, at_mm, "seizure");
        }
        Planned::Compressions { at_h, for_s } => {
            planner.take(at_h * HOUR, *for_s);
            // 100–120 a minute (published); 45 kg at the peak is the middle of the published forces.
            let at_mm = [0.25 * planner.built.length_mm(), 0.5 * planner.built.width_mm];
            planner.rhythm(at_h * HOUR, *for_s, 45.0, 110.0 / 60.0, at_mm, "chest compressions");
        }
        Planned::BedMoved { at_h, for_s, slope_deg } => {
            planner.take(at_h * HOUR, *for_s);
            planner.bed_moved(at_h * HOUR, *for_s, *slope_deg, chance.number());
        }
    }
}

fn some_pose(chance: &mut Chance, across_mm: f64) -> Pose {
    Pose { down_mm: chance.within(30.0), across_mm: chance.within(across_mm) }
}

/// A place near one of the long edges.
fn at_edge(built: &BuiltDeck, chance: &mut Chance) -> [f64; 2] {
    let near = chance.between(20.0, 180.0);
    let y = if chance.happens(0.5) { near } else { built.width_mm - near };
    [chance.between(0.1, 0.9) * built.length_mm(), y]
}

/// Hands during care: when, how long, how hard, where.
fn presses(built: &BuiltDeck, for_s: f64, chance: &mut Chance) -> Vec<(f64, f64, f64, [f64; 2])> {
    let mut at = chance.waiting(10.0);
    let mut presses = Vec::new();
    while at < for_s {
        let press_s = chance.between(3.0, 25.0).min(for_s - at).max(1.0);
        presses.push((at, press_s, chance.log_normal(7.0, 4.0), at_edge(built, chance)));
        at += press_s + chance.waiting(12.0);
    }
    presses
}

/// Times at a rate, with the first after one waiting time.
fn times(end_s: f64, mean_s: f64, chance: &mut Chance) -> Vec<f64> {
    let mut times = Vec::new();
    let mut at = 600.0 + chance.waiting(mean_s);
    while at < end_s {
        times.push(at);
        at += chance.waiting(mean_s);
    }
    times
}

fn journeys(planner: &mut Planner<'_>, chance: &mut Chance) {
    let rate = planner.scenario.ward.journeys_per_day;
    if rate <= 0.0 {
        return;
    }
    for at in times(planner.end_s, 24.0 * HOUR / rate, chance) {
        let for_s = chance.between(0.5, 1.5) * HOUR;
        let at = planner.free(at, for_s + 60.0);
        planner.journey(at, for_s);
    }
}

fn washing(planner: &mut Planner<'_>, chance: &mut Chance) {
    let start_h = planner.scenario.start_time().map_or(18.0, |t| t.as_second().rem_euclid(86_400) as f64 / HOUR);
    let mut rounds: Vec<(f64, f64)> = Vec::new();
    for clock_h in planner.scenario.ward.wash_at_clock_h.clone() {
        let mut at_h = (clock_h - start_h).rem_euclid(24.0);
        while at_h * HOUR < planner.end_s {
            rounds.push(((at_h + chance.within(0.25)) * HOUR, chance.between(9.0, 18.0) * 60.0));
            at_h += 24.0;
        }
    }
    let pads_every_h = planner.scenario.ward.pads_every_h;
    if pads_every_h > 0.0 {
        for at in times(planner.end_s, pads_every_h * HOUR, chance) {
            rounds.push((at, chance.between(2.0, 5.0) * 60.0));
        }
    }
    for (at, for_s) in rounds {
        let at = planner.free(at.max(600.0) - 10.0, for_s + 40.0) + 10.0;
        let presses = presses(planner.built, for_s, chance);
        planner.care(at, for_s, &presses, some_pose(chance, 60.0), "wash, pads changed");
    }
}

fn turning(planner: &mut Planner<'_>, chance: &mut Chance) {
    let every_h = planner.scenario.ward.turn_every_h;
    if every_h <= 0.0 {
        return;
    }
    let mut at = every_h * HOUR * chance.between(0.5, 1.2);
    let mut side = if chance.happens(0.5) { 1.0 } else { -1.0 };
    while at < planner.end_s {
        let held = chance.happens(planner.scenario.ward.turns_held);
        let t_s = planner.free(at - 10.0, 50.0) + 10.0;
        let across_mm = if chance.happens(0.33) { chance.within(20.0) } else { side * chance.between(50.0, 120.0) };
        planner.turn(t_s, Pose { down_mm: chance.within(40.0), across_mm }, held);
        side = -side;
        at = t_s + every_h * HOUR * chance.log_normal(1.0, 0.35);
    }
}

fn items(planner: &mut Planner<'_>, chance: &mut Chance) {
    let ward = planner.scenario.ward.clone();
    if ward.items_per_day <= 0.0 {
        return;
    }
    for at in times(planner.end_s, 24.0 * HOUR / ward.items_per_day, chance) {
        let (name, kg, size_mm) = THINGS[chance.pick(THINGS.len())];
        let kg = chance.between(kg[0], kg[1]);
        let x = chance.between(0.15, 0.85) * planner.built.length_mm();
        let y = chance.between(0.25, 0.75) * planner.built.width_mm;
        let told = chance.happens(ward.items_told);
        let weighed = chance.happens(ward.items_weighed);
        let late_s = chance.waiting(ward.action_late_s).min(60.0);
        let stays_s = chance.log_normal(5.0 * HOUR, 4.0 * HOUR).max(600.0);
        let at = planner.free(at, 60.0);
        let until = planner.free(at + stays_s, 60.0);
        let told = told.then_some(ItemTold { weighed, late_s });
        planner.item(name, kg, Patch::about([x, y], size_mm), at, Some(until), told);
    }
}

/// Visits of 6.7 (SD 6.1) minutes (published, from memory) in which hands lean on the bed now and then.
fn contacts(planner: &mut Planner<'_>, chance: &mut Chance) {
    let rate = planner.scenario.ward.contacts_per_h;
    if rate <= 0.0 {
        return;
    }
    for at in times(planner.end_s, HOUR / rate, chance) {
        let for_s = chance.log_normal(6.7, 6.1).clamp(0.5, 40.0) * 60.0;
        let start = planner.free(at, for_s);
        let mut t_s = start + chance.waiting(20.0);
        while t_s < start + for_s {
            let lean_s = chance.log_normal(12.0, 10.0).clamp(2.0, 60.0);
            let sign = if chance.happens(0.12) { -0.5 } else { 1.0 };
            let kg = sign * chance.log_normal(5.0, 4.0).clamp(0.3, 25.0);
            planner.lean(t_s, lean_s, kg, at_edge(planner.built, chance));
            t_s += lean_s + chance.waiting(80.0);
        }
    }
}

/// The bed is rolled somewhere, half a minute to three minutes long, onto a floor that slopes by some tenths of a degree (own choices).
fn moves(planner: &mut Planner<'_>, chance: &mut Chance) {
    let rate = planner.scenario.ward.bed_moves_per_day;
    if rate <= 0.0 {
        return;
    }
    for at in times(planner.end_s, 24.0 * HOUR / rate, chance) {
        let (for_s, slope_deg) = (chance.between(30.0, 180.0), 0.3 * chance.normal());
        let at = planner.free(at, for_s);
        planner.bed_moved(at, for_s, slope_deg, chance.number());
    }
}

fn sitters(planner: &mut Planner<'_>, chance: &mut Chance) {
    let rate = planner.scenario.ward.sitters_per_day;
    if rate <= 0.0 {
        return;
    }
    for at in times(planner.end_s, 24.0 * HOUR / rate, chance) {
        let for_s = chance.between(3.0, 20.0) * 60.0;
        let at = planner.free(at, for_s);
        planner.sit(at, for_s, chance.between(20.0, 45.0), at_edge(planner.built, chance));
    }
}

fn restlessness(planner: &mut Planner<'_>, chance: &mut Chance) {
    let patient = planner.scenario.patient.clone();
    if patient.restless_per_h > 0.0 {
        for at in times(planner.end_s, HOUR / patient.restless_per_h, chance) {
            let for_s = chance.log_normal(10.0, 10.0).clamp(1.5, 120.0);
            let at = planner.free(at, for_s);
            planner.restless(at, for_s, some_pose(chance, 25.0));
        }
    }
    if patient.coughs_per_h > 0.0 {
        for at in times(planner.end_s, HOUR / patient.coughs_per_h, chance) {
            let for_s = chance.between(1.0, 4.0);
            let at = planner.free(at, for_s);
            let chest_mm = [0.25 * planner.built.length_mm(), 0.5 * planner.built.width_mm];
            planner.rhythm(at, for_s, 2.0, 1.5, chest_mm, "cough");
        }
    }
}
