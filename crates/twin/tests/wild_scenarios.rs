//! A right scenario with some of its numbers made wild: it is refused with the key's name, or it is lived through.

use bedplate_twin::cell::CellSpread;
use bedplate_twin::{BuiltDeck, Night, Scenario, demo};
use formats::recording::Sample;
use proptest::prelude::*;
use proptest::sample::Index;
use toml::Value;

/// Every key that a file can hold, several kinds of each list.
const FULL: &str = r#"
hours = 0.03
rate_hz = 4.0
[patient]
admission_kg = 72.0
[[bed.angle]]
at_h = 0.002
section = "back"
deg = 20.0
over_s = 5.0
[ward]
turn_every_h = 0.05
contacts_per_h = 60.0
items_per_day = 400.0
sitters_per_day = 400.0
journeys_per_day = 100.0
[[fluid.hidden]]
from_h = 0.0
to_h = 0.02
mL = 40.0
[fluid.regimen]
infusions = [{ way = "iv", from_s = 0.0, to_s = 90.0, ml_h = 80.0 }]
doses = [{ way = "oral", at_s = 20.0, over_s = 10.0, ml = 100.0 }]
losses = [{ way = "drain", from_s = 0.0, to_s = 80.0, ml_h = 50.0, halves_in_s = 30.0, leaves_deck = true, charted = true }]
spills = [{ way = "stool", at_s = 40.0, ml = 100.0 }]
kidney = { base_ml_kg_h = 1.0, function = [[0.0, 1.0], [60.0, 0.4]], catheter = true }
diuretics = [{ at_s = 10.0, peak_ml_h = 300.0, tau_s = 60.0 }]
burned_share = 0.1
surplus_ml = 500.0
[[happening]]
what = "add"
at_h = 0.002
name = "a pillow"
kg = 0.9
at_mm = [400.0, 400.0]
size_mm = [300.0, 200.0]
until_h = 0.02
[[happening]]
what = "lean"
at_h = 0.004
for_s = 8.0
kg = 9.0
at_mm = [500.0, 30.0]
[[happening]]
what = "turn"
at_h = 0.006
across_mm = 120.0
[[happening]]
what = "seizure"
at_h = 0.01
for_s = 10.0
[[happening]]
what = "journey"
at_h = 0.015
for_s = 20.0
[[fault]]
what = "noisy"
cell = "H1"
from_h = 0.0
to_h = 0.01
times = 4.0
[[fault]]
what = "spikes"
cell = "H2"
from_h = 0.0
per_h = 400.0
[[fault]]
what = "drifting"
cell = "H3"
from_h = 0.0
kg_h = 2.0
[[fault]]
what = "lost"
cell = "H1"
from_h = 0.01
to_h = 0.02
share = 0.5
[[fault]]
what = "jam"
plate = "P1"
from_h = 0.0
to_h = 0.01
gap_mm = 0.5
at_mm = [100.0, 100.0]
[[fault]]
what = "jam"
plate = "P1"
from_h = 0.02
share = 0.2
at_mm = [100.0, 100.0]
[[fault]]
what = "power_cut"
from_h = 0.02
for_s = 5.0
"#;

/// The numbers of a file, in its order.
fn numbers(value: &mut Value) -> Vec<&mut Value> {
    match value {
        Value::Float(_) | Value::Integer(_) => vec![value],
        Value::Array(items) => items.iter_mut().flat_map(numbers).collect(),
        Value::Table(entries) => entries.iter_mut().flat_map(|(_, entry)| numbers(entry)).collect(),
        _ => Vec::new(),
    }
}

/// With every default written out, so that each of them can be spoilt too. The deck of the demo names its cells its own way.
fn full() -> Value {
    let deck = formats::deck::read("deck.toml", demo::DECK_TOML).unwrap();
    let mut text = FULL.to_owned();
    for (i, cell) in deck.plates.iter().flat_map(|p| &p.cells).take(3).enumerate() {
        text = text.replace(&format!("\"H{}\"", i + 1), &format!("{:?}", cell.name));
    }
    text = text.replace("\"P1\"", &format!("{:?}", deck.plates[0].name));
    Value::try_from(Scenario::read("full.toml", &text).unwrap()).unwrap()
}

fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![
        Just(0.0),
        Just(-1.0),
        Just(1.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        -1e4..1e4f64,
        0.0..1e-3f64,
        proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL,
        any::<i32>().prop_map(f64::from),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, rng_seed: proptest::test_runner::RngSeed::Fixed(37),
        ..ProptestConfig::with_cases(std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(300)) })]

    #[test]
    fn are_refused_by_name_or_lived_through(spoilt in proptest::collection::vec((any::<Index>(), wild()), 1..4)) {
        let mut values = full();
        for (place, number) in spoilt {
            let mut all = numbers(&mut values);
            let n = all.len();
            *all[place.index(n)] = Value::Float(number);
        }
        let text = toml::to_string(&values).unwrap();
        match Scenario::read("wild.toml", &text) {
            Err(error) => {
                let message = error.to_string();
                prop_assert!(message.starts_with("wild.toml:") && message.contains("expected"), "{message}");
            }
            Ok(mut scenario) => {
                // What is allowed may be long: a few minutes of it tell.
                scenario.hours = scenario.hours.min(0.03);
                scenario.rate_hz = scenario.rate_hz.min(4.0);
                live(&scenario)?;
            }
        }
    }
}

fn live(scenario: &Scenario) -> Result<(), TestCaseError> {
    static BUILT: std::sync::OnceLock<(formats::deck::Deck, BuiltDeck)> = std::sync::OnceLock::new();
    let (deck, built) = BUILT.get_or_init(|| {
        let deck = formats::deck::read("deck.toml", demo::DECK_TOML).unwrap();
        let built = BuiltDeck::build(&deck, &CellSpread::default(), 1).unwrap();
        (deck, built)
    });
    let mut night = match Night::new(deck, built, scenario, 1) {
        Ok(night) => night,
        Err(error) => {
            let message = error.to_string();
            prop_assert!(message.contains("expected") || message.contains("patient"), "{message}");
            return Ok(());
        }
    };
    let mut sample = Sample::default();
    while night.next_sample(&mut sample).unwrap() {
        prop_assert!(sample.counts.iter().flatten().all(|c| c.is_finite()), "{:?}", sample.counts);
        prop_assert!(night.now().patient_kg.is_finite());
    }
    Ok(())
}
