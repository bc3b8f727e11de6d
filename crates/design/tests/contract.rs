//! The JSON of `check` has the fields of the contract, with their kinds.

use serde_json::Value;

fn json() -> Value {
    let deck = formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap();
    serde_json::to_value(design::check(&deck).unwrap()).unwrap()
}

#[test]
fn a_report_has_the_fields_of_the_contract() {
    let json = json();
    let case = &json["plates"][0]["cases"][2];
    assert!(json["plates"][0]["name"].is_string() && json["plates"][0]["mass_kg"].is_number());
    assert_eq!(case["case"], "adult, flat");
    for key in ["max_deflection_mm", "clearance_left_mm", "shunted_pct", "max_stress_MPa", "safety_factor"] {
        assert!(case[key].is_number(), "{key}: {}", case[key]);
    }
    assert!(case["touches"].is_boolean() && case["at_mm"].as_array().unwrap().len() == 2);
    let cell = &case["cells"][0];
    assert_eq!(cell["name"], "R1");
    assert!(cell["reaction_N"].is_number() && cell["load_pct_of_capacity"].is_number() && cell["lifts"].is_boolean());
    for key in ["mass_kg", "cost"] {
        assert!(json[key].is_number(), "{key}");
    }
    for key in ["item", "quantity", "mass_kg", "cost"] {
        assert!(json["bill"][0].get(key).is_some(), "{key}");
    }
    for key in ["name", "value", "limit", "met"] {
        assert!(json["requirements"][0].get(key).is_some(), "{key}");
    }
}

#[test]
fn a_budget_stands_at_five_loads_and_adds_up() {
    let json = json();
    let budget = json["budget"].as_array().unwrap();
    for load in ["0", "50", "100", "150", "200"] {
        let squares: f64 = budget.iter().map(|row| row["u_g"][load].as_f64().unwrap().powi(2)).sum();
        let expanded = json["expanded_u_g"][load].as_f64().unwrap();
        assert!((2.0 * squares.sqrt() / expanded - 1.0).abs() < 1e-12, "{load}");
    }
    assert!(budget.iter().all(|row| row["source"].is_string() && row["kind"].is_string()));
}

/// The deck of the formats page, in the terms of its own remarks.
#[test]
fn the_example_of_a_deck_file_is_checked() {
    let deck = formats::deck::read("deck.toml", include_str!("../../formats/data/examples/deck.toml")).unwrap();
    let report = design::check(&deck).unwrap();
    assert_eq!(report.plates.len(), deck.plates.len());
}

/// Where nothing was laid on the deck, nothing is known of how it bends.
#[test]
fn a_deck_without_a_load_meets_no_limit_of_deflection() {
    let mut deck = formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap();
    assert!(deck.target.deflection_mm.is_some());
    deck.load_cases.clear();
    let report = design::check(&deck).unwrap();
    assert!(report.requirements.iter().all(|r| r.name != "deflection_mm"), "{:?}", report.requirements);
}

/// A deck that rests on its base under one of its own loads weighs that load too low: no limit of the file has to say so.
#[test]
fn a_deck_that_touches_under_its_own_loads_does_not_meet_its_limits() {
    let of = |text: &str| {
        let report = design::check(&formats::deck::read("deck.toml", text).unwrap()).unwrap();
        let found = report.requirements.iter().find(|r| r.name == "shunted_pct").cloned().unwrap();
        (found.met, found.value)
    };
    assert_eq!(of(include_str!("data/rowan.toml")), (true, 0.0));
    let (met, pct) = of(include_str!("../../verify/tests/data/deck.toml"));
    assert!(!met && pct > 10.0, "{pct} %");
}
