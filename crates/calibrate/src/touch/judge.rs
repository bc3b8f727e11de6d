//! Which channel answers at which place, and what that says.

use super::press::{Press, Traces};
use super::{TouchPlace, Touched};
use formats::calibration::{Finding, FindingKind};
use formats::deck::Deck;
use stats::robust::median;

/// A cell that never moves by this part of a press is dead: pressed over, a sound one bears more than half, and one of a
/// wrong type or with half its bridge open still a tenth.
const DEAD_PART: f64 = 0.05;
/// Where no press was seen over a cell, it is dead only if its fellows' presses leave it this still: a sound one moves by
/// hundredths with them.
const SILENT_PART: f64 = 0.002;
/// A cell answers at a place when it moves by this part of the press there.
const ANSWER_PART: f64 = 0.4;
/// It answers at another place than its own when it moves so many times more there.
const FOREIGN_RATIO: f64 = 1.5;
/// A press over a dead cell moves only its fellows; it counts as at least this part of a usual one.
const LEAST_OF_USUAL: f64 = 0.3;
/// A cell that lost more than this part of its samples gives no answer.
const LOST_PART: f64 = 0.5;

/// What answered at a place.
pub(crate) fn touched(place: TouchPlace, press: Option<&Press>, deck: &Deck, traces: &Traces) -> Touched {
    let Some(press) = press else {
        return Touched { place, seconds: None, answered: None, moved_counts: 0.0, moved_kg: 0.0, share_pct: 0.0 };
    };
    let most = (0..press.moved_kg.len()).max_by(|a, b| press.moved_kg[*a].abs().total_cmp(&press.moved_kg[*b].abs()));
    let c = most.unwrap_or(0);
    let moved_kg = press.moved_kg[c];
    Touched {
        place,
        seconds: Some(press.seconds),
        answered: deck.cells().nth(c).map(|(_, cell)| cell.name.clone()),
        moved_counts: moved_kg * traces.counts_per_kg[c],
        moved_kg,
        share_pct: 100.0 * moved_kg.abs() / press.total_kg(),
    }
}

/// How a channel answered.
struct Answer {
    /// Place at which it moved most.
    home: usize,
    /// Part of the press there, signed.
    part: f64,
    /// Part at its own place.
    own: Option<f64>,
}

/// What is wrong, cell by cell.
pub(crate) fn findings(
    places: &[TouchPlace],
    presses: &[Press],
    of_place: &[Option<usize>],
    traces: &Traces,
) -> Vec<Finding> {
    let usual_kg = median(&presses.iter().map(Press::total_kg).collect::<Vec<f64>>()).unwrap_or(0.0);
    let part = |c: usize, m: usize| {
        let total_kg = presses[m].total_kg().max(LEAST_OF_USUAL * usual_kg);
        if total_kg > 0.0 { presses[m].moved_kg[c] / total_kg } else { 0.0 }
    };
    let answer = |c: usize| {
        let at = of_place.iter().enumerate().filter_map(|(i, m)| Some((i, part(c, (*m)?))));
        let (home, most) = at.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap_or((c, 0.0));
        Answer { home, part: most, own: of_place[c].map(|m| part(c, m)) }
    };
    let answers: Vec<Answer> = (0..places.len()).map(answer).collect();
    let mut all = Vec::new();
    for (c, a) in answers.iter().enumerate() {
        let name = &places[c].cell;
        let mut say = |kind, text| all.push(Finding { kind, cell: Some(name.clone()), text });
        if traces.lost[c] > LOST_PART {
            say(
                FindingKind::Dead,
                format!(
                    "Cell {name} is silent: {:.0} % of its samples are lost. Look at its plug and its converter.",
                    100.0 * traces.lost[c]
                ),
            );
            continue;
        }
        if a.part.abs() < if a.own.is_some() { DEAD_PART } else { SILENT_PART } {
            say(FindingKind::Dead, dead(places, c, a, of_place[c].is_some()));
            continue;
        }
        if is_foreign(c, a) {
            say(FindingKind::Swapped, swapped(places, c, a, &answers));
        } else if a.own.is_none() {
            say(
                FindingKind::NotDetermined,
                format!(
                    "No press was seen over cell {name}, which moves a little ({:.1} %) with those over its neighbours: press all \
                 places again, and if it is missing again look at the cell.",
                    100.0 * a.part.abs()
                ),
            );
        }
        if a.part < 0.0 && (is_foreign(c, a) || a.own.is_some()) {
            say(
                FindingKind::Reversed,
                format!(
                    "Cell {name} is reversed: its counts fall when the place of {} on plate {} is pressed ({:.0} % of the press). \
                 Exchange its two signal wires, or turn the cell over if it stands upside down.",
                    places[a.home].cell,
                    places[a.home].plate,
                    100.0 * a.part
                ),
            );
        }
    }
    all
}

fn is_foreign(c: usize, a: &Answer) -> bool {
    a.home != c && a.part.abs() >= ANSWER_PART && a.part.abs() > FOREIGN_RATIO * a.own.unwrap_or(0.0).abs()
}

fn dead(places: &[TouchPlace], c: usize, a: &Answer, is_pressed: bool) -> String {
    let place = &places[c];
    let evidence = if is_pressed {
        format!(
            "it moves by no more than {:.1} % of any press, also when its own place is pressed",
            100.0 * a.part.abs()
        )
    } else {
        "no cell answered when its place was due, and it answers nowhere else".to_owned()
    };
    format!(
        "Cell {} on plate {} is dead: {evidence}. Look at its plug, its wires, and whether the plate bears on it.",
        place.cell, place.plate
    )
}

fn swapped(places: &[TouchPlace], c: usize, a: &Answer, answers: &[Answer]) -> String {
    let (this, there) = (&places[c], &places[a.home]);
    let other = &answers[a.home];
    let mutual = other.home == c && is_foreign(a.home, other);
    let part = 100.0 * a.part.abs();
    if mutual {
        format!(
            "Cells {} and {} are exchanged: {} answers when the place of {} on plate {} is pressed ({part:.0} % of the press), \
             and {} when that of {} is. Exchange the two plugs or their names. If the places were pressed in another order \
             than the list's, press again.",
            this.cell, there.cell, this.cell, there.cell, there.plate, there.cell, this.cell
        )
    } else {
        format!(
            "Cell {} answers at the place of {} on plate {} ({part:.0} % of the press), not at its own: its plug or its name \
             belongs there. If the places were pressed in another order than the list's, press again.",
            this.cell, there.cell, there.plate
        )
    }
}
