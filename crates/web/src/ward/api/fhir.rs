//! HL7 FHIR R4 (4.0.1): weights and fluid totals as Observations.
//!
//! | what | code (LOINC) | note |
//! |------|--------------|------|
//! | body weight | 29463-7, 3141-9 measured | profile bodyweight, category vital-signs, unit kg (UCUM) |
//! | fluid intake | 9103-3, total measured | of one day in the ward's time zone, mL |
//! | fluid output | 9256-9, total estimated | of one day, mL: charts estimate; 9192-6 is urine alone |
//!
//! FHIR has no field for an uncertainty: it stands in a note.

use std::collections::BTreeMap;

use formats::chart::{Direction, Entry};
use formats::weights::{State, Weight};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, Unit};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

const LOINC: &str = "http://loinc.org";
const UCUM: &str = "http://unitsofmeasure.org";
/// Characters of a label.
const LABEL_MOST: usize = 32;

/// A bundle of type `collection`: the last settled weight of each hour, and each day's totals.
pub(crate) fn bundle(patient: &str, weights: &[Weight], chart: &[Entry], zone: &TimeZone, now: Timestamp) -> Value {
    let mut hours: BTreeMap<i64, &Weight> = BTreeMap::new();
    for weight in weights.iter().filter(|w| w.state == State::Settled && w.patient_kg.is_some()) {
        if let Some(time) = weight.time {
            hours.insert(time.as_second().div_euclid(3600), weight);
        }
    }
    let mut days: BTreeMap<(Date, bool), f64> = BTreeMap::new();
    for entry in chart {
        let day = entry.time.to_zoned(zone.clone()).date();
        *days.entry((day, entry.direction == Direction::Intake)).or_default() += entry.volume_ml;
    }
    let patient_id = &id_of(patient);
    let mut entries = vec![json!({ "fullUrl": url("Patient", patient_id), "resource": {
        "resourceType": "Patient", "id": patient_id, "identifier": [{ "value": patient }] } })];
    let totals = days.iter().filter_map(|((day, is_intake), ml)| total(patient_id, *day, *is_intake, *ml, zone, now));
    let observations = hours.values().filter_map(|w| weight(patient_id, w)).chain(totals);
    for observation in observations {
        let id = observation["id"].as_str().unwrap_or_default().to_owned();
        entries.push(json!({ "fullUrl": url("Observation", &id), "resource": observation }));
    }
    json!({ "resourceType": "Bundle", "type": "collection", "timestamp": second(now), "entry": entries })
}

/// The id of a label: FHIR R4 (data types, type id) allows `[A-Za-z0-9\-\.]{1,64}`, a label also `_`. A label without
/// one is its own id. Any other is written with `-u` for `_` and `--` for `-`, and with `-p` before it until it is longer than a
/// label can be: so no two labels have the same id.
fn id_of(label: &str) -> String {
    if !label.contains('_') {
        return label.to_owned();
    }
    let written = label.replace('-', "--").replace('_', "-u");
    "-p".repeat((LABEL_MOST + 1).saturating_sub(written.len()).div_ceil(2)) + &written
}

/// A patient in the id of an observation: who keeps observations by their id must not take one patient's for another's. An id has no room for two
/// labels, so it is the beginning of a hash, FIPS 180-4.
fn mark(patient: &str) -> String {
    Sha256::digest(patient).iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

/// A name in a space of names of our own: labels of a ward are no addresses.
fn url(kind: &str, id: &str) -> String {
    format!("http://bedplate.invalid/fhir/{kind}/{id}")
}

fn second(time: Timestamp) -> String {
    time.round(Unit::Second).unwrap_or(time).to_string()
}

fn weight(patient: &str, weight: &Weight) -> Option<Value> {
    let (time, kg) = weight.time.zip(weight.patient_kg)?;
    let note =
        weight.u_kg.map(|u| format!("Expanded uncertainty {:.3} kg (k = 2). Not a verified instrument.", 2.0 * u));
    Some(json!({
        "resourceType": "Observation", "id": format!("weight-{}-{}", mark(patient), time.as_second()),
        "meta": { "profile": ["http://hl7.org/fhir/StructureDefinition/bodyweight"] },
        "status": "final",
        "category": [{ "coding": [{ "system": "http://terminology.hl7.org/CodeSystem/observation-category", "code": "vital-signs" }] }],
        "code": { "coding": [
            { "system": LOINC, "code": "29463-7", "display": "Body weight" },
            { "system": LOINC, "code": "3141-9", "display": "Body weight Measured" } ] },
        "subject": { "reference": format!("Patient/{patient}") },
        "effectiveDateTime": second(time),
        "valueQuantity": { "value": (kg * 1000.0).round() / 1000.0, "unit": "kg", "system": UCUM, "code": "kg" },
        "method": { "text": "Weighed lying, on a deck under the mattress" },
        "note": [{ "text": note.unwrap_or_else(|| "Uncertainty not known. Not a verified instrument.".to_owned()) }],
    }))
}

fn total(patient: &str, day: Date, is_intake: bool, ml: f64, zone: &TimeZone, now: Timestamp) -> Option<Value> {
    let from = zone.to_zoned(day.to_datetime(jiff::civil::Time::midnight())).ok()?.timestamp();
    let to = zone.to_zoned(day.tomorrow().ok()?.to_datetime(jiff::civil::Time::midnight())).ok()?.timestamp();
    let (word, code, display) = if is_intake {
        ("intake", "9103-3", "Fluid intake total Measured")
    } else {
        ("output", "9256-9", "Fluid output total Estimated")
    };
    Some(json!({
        "resourceType": "Observation", "id": format!("fluid-{word}-{}-{day}", mark(patient)),
        // Until the day has ended the sum is of a part of it (FHIR R4, value set observation-status).
        "status": if now < to { "preliminary" } else { "final" },
        "code": { "coding": [{ "system": LOINC, "code": code, "display": display }] },
        "subject": { "reference": format!("Patient/{patient}") },
        "effectivePeriod": { "start": second(from), "end": second(to) },
        "valueQuantity": { "value": (ml * 100.0).round() / 100.0, "unit": "mL", "system": UCUM, "code": "mL" },
        "note": [{ "text": "Sum of what was charted on this day; corrections taken in." }],
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weighed(time: &str, kg: f64) -> Weight {
        Weight {
            time: Some(time.parse().unwrap()),
            t_s: 0.0,
            patient_kg: Some(kg),
            u_kg: Some(0.03),
            state: State::Settled,
        }
    }

    #[test]
    fn an_hour_gives_one_weight_and_a_day_two_totals_in_local_time() {
        let weights = [weighed("2031-03-30T00:10:00Z", 70.0), weighed("2031-03-30T00:50:00Z", 70.2)];
        let entry = |time: &str, direction, ml| Entry {
            line: 0,
            time: time.parse().unwrap(),
            direction,
            route: formats::chart::Route::Other,
            volume_ml: ml,
            leaves_deck: true,
            note: String::new(),
        };
        let chart = [
            entry("2031-03-29T22:30:00Z", Direction::Intake, 100.0),
            entry("2031-03-29T23:30:00Z", Direction::Intake, 200.0),
            entry("2031-03-30T21:30:00Z", Direction::Intake, 50.0),
            entry("2031-03-30T10:00:00Z", Direction::Output, 300.0),
        ];
        let zone = TimeZone::get("Europe/Oslo").unwrap();
        let bundle = bundle("p-1", &weights, &chart, &zone, "2031-04-01T00:00:00Z".parse().unwrap());
        let observations: Vec<&Value> =
            bundle["entry"].as_array().unwrap().iter().skip(1).map(|e| &e["resource"]).collect();
        assert_eq!(observations.len(), 4, "{bundle}");
        assert_eq!(observations[0]["valueQuantity"]["value"], 70.2);
        // The day on which clocks go forward has 23 hours: 23:00Z to 22:00Z.
        let short = observations
            .iter()
            .find(|o| o["id"].as_str().is_some_and(|id| id.starts_with("fluid-intake-") && id.ends_with("-2031-03-30")))
            .unwrap();
        assert_eq!(short["effectivePeriod"]["start"], "2031-03-29T23:00:00Z");
        assert_eq!(short["effectivePeriod"]["end"], "2031-03-30T22:00:00Z");
        assert_eq!(short["valueQuantity"]["value"], 250.0);
        assert!(observations.iter().all(|o| o["status"] == "final"), "{observations:?}");
    }

    #[test]
    fn the_total_of_a_day_that_goes_on_is_preliminary() {
        let zone = TimeZone::get("Europe/Oslo").unwrap();
        let day: Date = "2031-03-30".parse().unwrap();
        let status = |now: &str| total("p-1", day, true, 250.0, &zone, now.parse().unwrap()).unwrap()["status"].clone();
        assert_eq!(status("2031-03-30T21:59:59Z"), "preliminary");
        assert_eq!(status("2031-03-30T22:00:00Z"), "final");
    }

    #[test]
    fn a_total_has_no_more_figures_than_what_was_charted() {
        let day: Date = "2031-03-30".parse().unwrap();
        let total = total("p-1", day, true, 0.1 + 0.2, &TimeZone::UTC, Timestamp::UNIX_EPOCH).unwrap();
        assert_eq!(total["valueQuantity"]["value"].to_string(), "0.3");
    }

    /// Two patients who were weighed in one second, and drank on one day.
    #[test]
    fn observations_of_two_patients_have_two_ids() {
        let zone = TimeZone::UTC;
        let time: Timestamp = "2031-03-30T00:10:00Z".parse().unwrap();
        let ids = |patient: &str| {
            let chart = [Entry {
                line: 0,
                time,
                direction: Direction::Intake,
                route: formats::chart::Route::Oral,
                volume_ml: 100.0,
                leaves_deck: true,
                note: String::new(),
            }];
            let bundle = bundle(patient, &[weighed("2031-03-30T00:10:00Z", 70.0)], &chart, &zone, time);
            let entries = bundle["entry"].as_array().unwrap().iter();
            entries.map(|e| e["resource"]["id"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
        };
        let (one, other) = (ids("p-1"), ids("p-2"));
        assert_eq!(one.len(), 3);
        assert!(one.iter().all(|id| !other.contains(id) && id.len() <= 64), "{one:?} {other:?}");
        assert_eq!(one, ids("p-1"), "an observation keeps its id");
    }

    #[test]
    fn every_label_has_an_id_of_its_own_that_fhir_allows() {
        let longest = ["_".repeat(32), "-_".repeat(16), "a".repeat(32)];
        let mut labels = vec!["p-1", "p_1", "p-u1", "p--1", "_", "-u", "-p-u", "__", "_-", "-_", ".", "._", "a_b-c"];
        labels.extend(longest.iter().map(String::as_str));
        let ids: std::collections::BTreeSet<String> = labels.iter().map(|label| id_of(label)).collect();
        assert_eq!(ids.len(), labels.len(), "{ids:?}");
        for id in &ids {
            assert!((1..=64).contains(&id.len()), "{id}");
            assert!(id.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '.'), "{id}");
        }
        assert_eq!(id_of("p-1"), "p-1");
        let zone = TimeZone::UTC;
        let bundle = bundle("p_1", &[weighed("2031-03-30T00:10:00Z", 70.0)], &[], &zone, Timestamp::UNIX_EPOCH);
        let (patient, weight) = (&bundle["entry"][0], &bundle["entry"][1]["resource"]);
        let id = patient["resource"]["id"].as_str().unwrap();
        assert_eq!(patient["resource"]["identifier"][0]["value"], "p_1");
        assert_eq!(weight["subject"]["reference"], format!("Patient/{id}"));
        assert!(patient["fullUrl"].as_str().unwrap().ends_with(id));
    }
}
