//! What a number of a scenario may be, in one table: a night that asks for more is refused before it is lived through.
//!
//! The limits are wide: they keep out what is no bed, no ward and no body, and what would take for ever (a visit every
//! millisecond), not what is rare.

use toml::Value;

use super::Scenario;
use crate::error::{TwinError, in_range};

/// The longest night, h.
pub(super) const LONGEST_H: f64 = 24.0 * 60.0;
/// The same, s.
const LONGEST_S: f64 = LONGEST_H * 3600.0;
/// What can lie on a bed, kg.
const HEAVIEST_KG: f64 = 700.0;

/// Key as it stands in the file, without the places in its lists; lowest and highest.
pub(crate) const LIMITS: &[(&str, f64, f64)] = &[
    ("hours", 0.01, LONGEST_H),
    ("rate_hz", 0.01, 1000.0),
    ("patient.age_y", 0.0, 130.0),
    ("patient.height_mm", 250.0, 2600.0),
    ("patient.mass_kg", 0.4, 450.0),
    ("patient.admission_kg", 0.4, 450.0),
    ("patient.temperature_C", 25.0, 43.0),
    ("patient.breaths_min", 0.0, 120.0),
    ("patient.pulse_min", 0.0, 300.0),
    ("patient.restless_per_h", 0.0, 1000.0),
    ("patient.coughs_per_h", 0.0, 1000.0),
    ("bed.mattress_kg", 0.0, 100.0),
    ("bed.linen_kg", 0.0, 100.0),
    ("bed.slip", 0.0, 1.0),
    ("bed.angle_error_deg", 0.0, 10.0),
    ("bed.angle.at_h", 0.0, LONGEST_H),
    ("bed.angle.deg", -89.0, 89.0),
    ("bed.angle.over_s", 0.0, 86_400.0),
    ("ward.turn_every_h", 0.0, LONGEST_H),
    ("ward.turns_held", 0.0, 1.0),
    ("ward.contacts_per_h", 0.0, 1000.0),
    ("ward.wash_at_clock_h", 0.0, 24.0),
    ("ward.pads_every_h", 0.0, LONGEST_H),
    ("ward.items_per_day", 0.0, 1000.0),
    ("ward.items_told", 0.0, 1.0),
    ("ward.items_weighed", 0.0, 1.0),
    ("ward.sitters_per_day", 0.0, 1000.0),
    ("ward.journeys_per_day", 0.0, 1000.0),
    ("ward.bed_moves_per_day", 0.0, 1000.0),
    ("ward.action_late_s", 0.0, 3600.0),
    ("room.temperature_C", -20.0, 50.0),
    ("room.swing_C", 0.0, 50.0),
    ("room.body_warmth_C", -20.0, 20.0),
    ("room.floor_mm_s2", 0.0, 10_000.0),
    ("cells.sheet", 0.0, 1000.0),
    ("cells.wander_g_sqrt_h", 0.0, 1e5),
    ("cells.hum_nV", 0.0, 1e9),
    ("fluid.hidden.from_h", 0.0, LONGEST_H),
    ("fluid.hidden.to_h", 0.0, LONGEST_H),
    ("fluid.hidden.mL", 0.0, 1e5),
    ("fluid.habits.urine_mark_ml", 0.0, 1000.0),
    ("fluid.habits.bag_mark_ml", 0.0, 1000.0),
    ("fluid.habits.cup_mark_ml", 0.0, 1000.0),
    ("fluid.habits.bag_every_h", 0.1, LONGEST_H),
    ("fluid.habits.favourite_digits", 0.0, 1.0),
    ("fluid.habits.forgotten", 0.0, 1.0),
    ("fluid.habits.late_min", 0.0, 1440.0),
    ("fluid.habits.twice", 0.0, 1.0),
    ("fluid.habits.wrong_side", 0.0, 1.0),
    ("fluid.habits.slipped_point", 0.0, 1.0),
    ("fluid.habits.guess_sd", 0.0, 3.0),
    ("fluid.regimen.infusions.from_s", 0.0, LONGEST_S),
    ("fluid.regimen.infusions.to_s", 0.0, LONGEST_S),
    ("fluid.regimen.infusions.ml_h", 0.0, 1e5),
    ("fluid.regimen.doses.at_s", 0.0, LONGEST_S),
    ("fluid.regimen.doses.over_s", 0.0, LONGEST_S),
    ("fluid.regimen.doses.ml", 0.0, 1e5),
    ("fluid.regimen.losses.from_s", 0.0, LONGEST_S),
    ("fluid.regimen.losses.to_s", 0.0, LONGEST_S),
    ("fluid.regimen.losses.ml_h", 0.0, 1e5),
    ("fluid.regimen.losses.halves_in_s", 1.0, LONGEST_S),
    ("fluid.regimen.spills.at_s", 0.0, LONGEST_S),
    ("fluid.regimen.spills.ml", 0.0, 1e5),
    ("fluid.regimen.kidney.base_ml_kg_h", 0.0, 100.0),
    // Pairs of a time in seconds and a share.
    ("fluid.regimen.kidney.function", 0.0, LONGEST_S),
    ("fluid.regimen.diuretics.at_s", 0.0, LONGEST_S),
    ("fluid.regimen.diuretics.peak_ml_h", 0.0, 1e5),
    ("fluid.regimen.diuretics.tau_s", 1.0, LONGEST_S),
    ("fluid.regimen.burned_share", 0.0, 1.0),
    ("fluid.regimen.surplus_ml", -1e5, 1e5),
    ("happening.at_h", 0.0, LONGEST_H),
    ("happening.until_h", 0.0, LONGEST_H),
    ("happening.for_s", 0.0, LONGEST_S),
    ("happening.kg", -HEAVIEST_KG, HEAVIEST_KG),
    ("happening.slope_deg", -20.0, 20.0),
    ("happening.across_mm", -2000.0, 2000.0),
    ("happening.at_mm", -10_000.0, 10_000.0),
    ("happening.size_mm", 1.0, 10_000.0),
    ("fault.from_h", 0.0, LONGEST_H),
    ("fault.to_h", 0.0, LONGEST_H),
    ("fault.for_s", 0.0, LONGEST_S),
    ("fault.share", 0.0, 1.0),
    ("fault.kg_h", -10_000.0, 10_000.0),
    ("fault.times", 0.0, 1e6),
    ("fault.per_h", 0.0, 1e6),
    ("fault.gap_mm", 0.0, 1000.0),
    // A stiffer one is no cable; its push follows the plate by a sample, which a plate of 0.005 mm/N stands up to twice that.
    ("fault.stiffness_N_mm", 0.0, 50.0),
    ("fault.friction_N", 0.0, 1e4),
    ("fault.reach_mm", -5000.0, 5000.0),
    ("fault.at_mm", -10_000.0, 10_000.0),
];

/// Keys that are 0 for "never"; between that and this many hours a night would hold little else.
const SHORTEST_H: f64 = 0.05;
const NEVER_AT_0: &[&str] = &["ward.turn_every_h", "ward.pads_every_h"];

/// The range of a key, where it is a number's.
pub(crate) fn range_of(key: &str) -> Option<(f64, f64)> {
    LIMITS.iter().find(|(known, _, _)| *known == key).map(|&(_, low, high)| (low, high))
}

/// Refuses the first number that the table does not allow, by its key.
pub(super) fn check(scenario: &Scenario) -> Result<(), TwinError> {
    let values = Value::try_from(scenario).map_err(|e| TwinError::Scenario {
        file: "scenario".into(),
        message: format!("found what no file holds ({e}), expected a scenario that can be written"),
    })?;
    walk(&values, "", "")
}

/// `key` as the table has it, `place` as a reader finds it, both of `value`.
fn walk(value: &Value, key: &str, place: &str) -> Result<(), TwinError> {
    match value {
        Value::Float(found) => number(*found, key, place),
        Value::Integer(found) => number(*found as f64, key, place),
        Value::Array(items) => {
            items.iter().enumerate().try_for_each(|(i, item)| walk(item, key, &format!("{place}[{i}]")))
        }
        Value::Table(entries) => entries.iter().try_for_each(|(name, entry)| {
            let below = |path: &str| if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            walk(entry, &below(key), &below(place))
        }),
        Value::String(_) | Value::Boolean(_) | Value::Datetime(_) => Ok(()),
    }
}

fn number(found: f64, key: &str, place: &str) -> Result<(), TwinError> {
    let Some((low, high)) = range_of(key) else {
        return Err(TwinError::Range { what: place.to_owned(), found, expected: "a key with a stated range".into() });
    };
    if NEVER_AT_0.contains(&key) {
        if found == 0.0 {
            return Ok(());
        }
        return in_range(place, found, SHORTEST_H, high, &format!("0 for never, or {SHORTEST_H} to {high}"));
    }
    in_range(place, found, low, high, &format!("{low} to {high}"))
}
