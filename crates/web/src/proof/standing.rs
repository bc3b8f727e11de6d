//! At which angle, or at which temperature, a step is read: what the person beside the deck entered, or what the deck itself measures.
//!
//! Flat is what the bed's own stop makes: nobody is asked for it. What is far from what is asked for is a slip of the hand, or another step's.

use axum::http::StatusCode;
use serde_json::Value;

use crate::guided::against;
use crate::guided::listening::Tilt;
use crate::workbench::Refusal;

/// So far from what is asked for an entry is taken, ° and °C: a bed or a chamber that ends early is still told from a slip (engineering choice).
pub(super) const FAR: f64 = 10.0;
/// A section that the deck measures counts as flat up to here, °: the cosine of half a degree is 4e-5 from 1, a gram in 30 kg.
const FLAT_DEG: f64 = 0.5;
/// A section may give way by so much under its load, °; more was moved (engineering choice).
const GIVES_WAY_DEG: f64 = 1.0;
/// A section whose angle differs by more from one half of a reading to the other still moves, °.
const STILL_DEG: f64 = 0.2;
/// The weigher disbelieves steeper angles.
const STEEPEST_DEG: f64 = 80.0;
/// Characters of an entry that are told back.
const TOLD: usize = 24;

/// What may be entered about an angle asked for, °.
pub(super) fn angles_deg(asked_deg: f64) -> [f64; 2] {
    [asked_deg - FAR, asked_deg + FAR].map(|deg| deg.clamp(-STEEPEST_DEG, STEEPEST_DEG))
}

/// The angle of a section at a step.
pub(super) struct Angle<'a> {
    pub(super) section: &'a str,
    pub(super) asked_deg: f64,
    /// What the deck's own sensor shows.
    pub(super) measured: Option<Tilt>,
    /// At what the same load's reading without load was taken, °.
    pub(super) empty_deg: Option<f64>,
}

impl Angle<'_> {
    /// The angle, °: measured where the deck does so, else as entered.
    pub(super) fn read(&self, entered: &Value) -> Result<f64, Refusal> {
        let (section, asked) = (self.section, self.asked_deg);
        let [low, high] = angles_deg(asked);
        if let Some(Tilt { deg, moved_deg }) = self.measured {
            if moved_deg > STILL_DEG {
                return Err(against(&format!(
                    "section {section} still moves: {moved_deg:.1}° from one half of the reading to the other"
                )));
            }
            let [low, high] = if asked == 0.0 { [-FLAT_DEG, FLAT_DEG] } else { [low, high] };
            if !(low..=high).contains(&deg) {
                return Err(against(&format!(
                    "section {section} stands at {deg:.1}° by the deck's own sensor, expected {low} to {high}°: {asked}° are asked for"
                )));
            }
        }
        if asked == 0.0 {
            return Ok(0.0);
        }
        let deg = match self.measured {
            Some(Tilt { deg, .. }) => (100.0 * deg).round() / 100.0,
            None => number(
                entered,
                &format!("enter the angle that an inclinometer shows on section {section}, in degrees"),
                |found| format!("found {found} as the angle, expected a number of degrees"),
            )?,
        };
        if !(low..=high).contains(&deg) {
            return Err(refused(format!(
                "found {deg}° as the angle of section {section}, expected {low} to {high}°: {asked}° are asked for"
            )));
        }
        match self.empty_deg {
            Some(empty) if (deg - empty).abs() > GIVES_WAY_DEG => Err(refused(format!(
                "found {deg}° as the angle of section {section}, which stood at {empty}° for the reading without load; expected the same within {GIVES_WAY_DEG}°"
            ))),
            _ => Ok(deg),
        }
    }
}

/// The temperature of the deck at a step, °C, as entered.
pub(super) fn temperature_c(asked_c: f64, entered: &Value) -> Result<f64, Refusal> {
    let celsius = number(entered, "enter the temperature that a thermometer beside the deck shows, in °C", |found| {
        format!("found {found} as the temperature, expected a number of °C")
    })?;
    let [low, high] = [asked_c - FAR, asked_c + FAR];
    if (low..=high).contains(&celsius) {
        return Ok(celsius);
    }
    Err(refused(format!(
        "found {celsius} °C as the temperature, expected {low} to {high} °C: {asked_c} °C are asked for"
    )))
}

/// What was entered, as a number; people write a comma, and pages a true minus.
fn number(entered: &Value, missing: &str, broken: impl Fn(&str) -> String) -> Result<f64, Refusal> {
    let text = match &entered["entered"] {
        Value::Null => return Err(refused(missing.to_owned())),
        Value::String(text) if text.trim().is_empty() => return Err(refused(missing.to_owned())),
        Value::String(text) => text.trim().replace('−', "-").replace(',', "."),
        other => other.to_string(),
    };
    let found = text.parse::<f64>().ok().filter(|number| number.is_finite());
    found.ok_or_else(|| {
        let told: String = text.chars().filter(|c| !c.is_control()).take(TOLD).collect();
        refused(broken(&format!("{told:?}")))
    })
}

fn refused(words: String) -> Refusal {
    Refusal(StatusCode::UNPROCESSABLE_ENTITY, words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn back(asked_deg: f64) -> Angle<'static> {
        Angle { section: "back", asked_deg, measured: None, empty_deg: None }
    }

    fn said(found: Result<f64, Refusal>) -> String {
        found.unwrap_err().1
    }

    #[test]
    fn an_angle_is_taken_as_a_number_or_as_people_write_it() {
        for (entered, deg) in [(json!(64.93), 64.93), (json!(" 64,93 "), 64.93), (json!("65"), 65.0)] {
            assert_eq!(back(65.0).read(&json!({ "entered": entered })).ok(), Some(deg));
        }
        assert_eq!(back(-15.0).read(&json!({ "entered": "−14.8" })).ok(), Some(-14.8));
        // Nobody is asked what flat is.
        assert_eq!(back(0.0).read(&json!({})).ok(), Some(0.0));
    }

    #[test]
    fn what_is_no_angle_near_the_one_asked_for_is_refused_with_what_was_found_and_expected() {
        for entered in [json!("steep"), json!("NaN"), json!("inf"), json!(true), json!([1]), json!("65°")] {
            let words = said(back(65.0).read(&json!({ "entered": entered })));
            assert!(words.contains("expected a number of degrees"), "{entered}: {words}");
        }
        for entered in [json!(1e9), json!(-65.0), json!("6.5"), json!(80.5), json!("-1e300")] {
            let words = said(back(65.0).read(&json!({ "entered": entered })));
            assert!(words.contains("expected 55 to 75°: 65° are asked for"), "{entered}: {words}");
        }
        for entered in [json!(null), json!(""), json!("  ")] {
            assert!(said(back(65.0).read(&json!({ "entered": entered }))).contains("inclinometer"), "{entered}");
        }
        let long = said(back(65.0).read(&json!({ "entered": "x".repeat(100_000) })));
        assert!(long.len() < 120, "{}", long.len());
    }

    #[test]
    fn a_section_that_was_moved_between_its_two_readings_is_refused() {
        let held = Angle { empty_deg: Some(64.9), ..back(65.0) };
        assert_eq!(held.read(&json!({ "entered": 64.2 })).ok(), Some(64.2));
        assert!(said(held.read(&json!({ "entered": 62.0 }))).contains("stood at 64.9°"));
    }

    #[test]
    fn what_the_deck_measures_is_taken_and_what_is_entered_beside_it_is_not() {
        let shown = |asked, deg, moved_deg| {
            Angle { measured: Some(Tilt { deg, moved_deg }), ..back(asked) }.read(&json!({ "entered": 60.0 }))
        };
        let measured = |asked, deg| shown(asked, deg, 0.0);
        assert!(said(shown(65.0, 64.0, 2.0)).contains("still moves: 2.0°"));
        assert!(said(shown(0.0, 0.1, 2.0)).contains("still moves: 2.0°"));
        assert_eq!(measured(65.0, 64.456_7).ok(), Some(64.46));
        assert!(said(measured(65.0, 3.0)).contains("stands at 3.0° by the deck's own sensor, expected 55 to 75°"));
        assert_eq!(measured(0.0, 0.3).ok(), Some(0.0));
        assert!(said(measured(0.0, 3.0)).contains("expected -0.5 to 0.5°"));
    }

    #[test]
    fn a_temperature_is_held_to_ten_degrees_about_the_one_asked_for() {
        assert_eq!(temperature_c(19.0, &json!({ "entered": "18,7" })).ok(), Some(18.7));
        for entered in [json!(1e9), json!(-40), json!("190")] {
            let words = said(temperature_c(19.0, &json!({ "entered": entered })));
            assert!(words.contains("expected 9 to 29 °C: 19 °C are asked for"), "{entered}: {words}");
        }
        assert!(said(temperature_c(19.0, &json!({ "entered": "warm" }))).contains("found \"warm\" as the temperature"));
        assert!(said(temperature_c(19.0, &json!({}))).contains("thermometer"));
    }
}
