//! The search of a design space: what it finds holds, and it finds the same again.

use design::check;
use design::explore::{ExploreError, Explorer, Scored, explore};
use formats::deck::Deck;

fn rowan() -> Deck {
    let mut deck = formats::deck::read("rowan.toml", include_str!("data/rowan.toml")).unwrap();
    // A smaller space than the file's, so that tests are quick.
    let table = deck.explore.as_mut().unwrap();
    table.insert("inset_mm".into(), toml::Value::from(vec![60.0, 80.0]));
    table.insert("cells_per_plate".into(), toml::Value::from(vec![3, 4]));
    table.insert("rounds".into(), toml::Value::from(4));
    table.insert("candidates_per_round".into(), toml::Value::from(300));
    deck
}

fn run(deck: &Deck) -> Explorer {
    let mut explorer = explore(deck).unwrap();
    while !explorer.step().unwrap().is_done() {}
    explorer
}

#[test]
fn every_design_holds_when_checked_in_full() {
    let explorer = run(&rowan());
    let front = explorer.front();
    assert!(front.len() > 5, "{}", front.len());
    for design in front.iter().step_by(front.len() / 5) {
        let deck = explorer.deck(&design.candidate);
        let report = check(&deck).unwrap();
        let s = &design.scores;
        assert!((report.mass_kg / s.mass_kg - 1.0).abs() < 1e-9);
        assert!((report.cost / s.cost - 1.0).abs() < 1e-9);
        // Budgets differ by the mesh alone: reactions to 0.5 %.
        assert!((report.change.resolvable_24h_g / s.resolvable_24h_g - 1.0).abs() < 5e-3, "{design:?}");
        assert!((report.expanded_u_g.largest() / s.expanded_u_g - 1.0).abs() < 5e-3, "{design:?}");
        let margin = report
            .plates
            .iter()
            .flat_map(|p| &p.cases)
            .map(|c| deck.target.deflection_mm.unwrap() - c.max_deflection_mm)
            .fold(f64::INFINITY, f64::min);
        // 1 % of the deflection of up to 4 mm.
        assert!((margin - s.deflection_margin_mm).abs() < 0.04, "{margin} {}", s.deflection_margin_mm);
    }
}

#[test]
fn no_design_of_the_front_dominates_another() {
    let front = run(&rowan()).front();
    for (i, a) in front.iter().enumerate() {
        for (j, b) in front.iter().enumerate() {
            assert!(i == j || !a.scores.dominate(&b.scores));
        }
    }
}

#[test]
fn the_same_file_gives_the_same_designs_in_any_order_of_work() {
    let by_step = run(&rowan()).front();
    // As a caller with threads would: units last first, candidates from the back, put in order again.
    let mut explorer = explore(&rowan()).unwrap();
    for unit in explorer.unprepared().into_iter().rev() {
        let prepared = explorer.prepare(unit).unwrap();
        explorer.accept(prepared);
    }
    loop {
        let candidates = explorer.candidates();
        if candidates.is_empty() {
            break;
        }
        let mut scored: Vec<Option<Scored>> = candidates.iter().rev().map(|c| explorer.evaluate(c)).collect();
        scored.reverse();
        explorer.finish_round(scored.into_iter().flatten().collect());
    }
    assert!(explorer.progress().is_done());
    assert_eq!(by_step, explorer.front());
}

#[test]
fn one_stack_on_every_plate_is_kept() {
    let mut deck = rowan();
    deck.explore.as_mut().unwrap().insert("one_stack".into(), toml::Value::from(true));
    let explorer = run(&deck);
    for design in explorer.front() {
        let built = explorer.deck(&design.candidate);
        assert!(built.plates.windows(2).all(|w| w[0].layers == w[1].layers));
        assert!(built.explore.is_none());
    }
}

#[test]
fn a_design_written_out_is_read_again() {
    let explorer = run(&rowan());
    let best = &explorer.front()[0];
    let deck = explorer.deck(&best.candidate);
    let text = formats::deck::write(&deck);
    let again = formats::deck::read("design.toml", &text).unwrap();
    assert_eq!(again.plates, deck.plates);
    assert_eq!(explorer.describe(&best.candidate).len(), 2 + deck.plates.len());
}

#[test]
fn a_wrong_table_is_named() {
    let mut none = rowan();
    none.explore = None;
    assert!(matches!(explore(&none), Err(ExploreError::NoTable)));
    let with = |key: &str, value: toml::Value| {
        let mut deck = rowan();
        deck.explore.as_mut().unwrap().insert(key.into(), value);
        explore(&deck).err().unwrap().to_string()
    };
    assert!(with("colour", toml::Value::from("red")).contains("colour"));
    assert!(with("cells_per_plate", toml::Value::from(vec![2])).contains("found 2, expected 3 to 6"));
    assert!(with("inset_mm", toml::Value::from(vec![300.0])).contains("inset_mm"));
    assert!(with("cell_types", toml::Value::from(vec!["no such"])).contains("\"no such\""));
    assert!(with("rounds", toml::Value::from(0)).contains("rounds"));
    assert!(with("candidates_per_round", toml::Value::from(1_i64 << 40)).contains("1 to 1000000"));
    assert!(with("inset_mm", toml::Value::from(vec![40.0; 51])).contains("found 51 values, expected 50 or fewer"));
}

/// Eight layers of twenty thicknesses would be 25 thousand million stacks before the first is tried.
#[test]
fn choices_are_counted_before_they_are_written_out() {
    let mut deck = rowan();
    let layer = format!(
        "{{ material = \"{}\", thickness_mm = [{}] }}",
        deck.materials[0].name,
        (0..20).map(|n| format!("{n}.0")).collect::<Vec<_>>().join(", ")
    );
    let text = format!("stack = [{{ bond = \"glued\", layers = [{}] }}]", vec![layer; 8].join(", "));
    deck.explore = Some(text.parse().unwrap());
    let told = explore(&deck).err().unwrap().to_string();
    assert!(told.contains("stack[0].layers: found 25600000000 choices, expected 20000 or fewer"), "{told}");
}

/// A rib takes its height from the gap: a design is offered with the room that `check` finds below it, or not at all.
#[test]
fn ribs_take_their_height_from_the_margin() {
    let mut deck = rowan();
    deck.target.deflection_mm = None;
    for plate in &mut deck.plates {
        plate.clearance_mm = 12.0;
        plate.ribs = vec![formats::deck::Rib {
            along: formats::deck::Axis::X,
            at_mm: plate.size_mm[1] / 2.0,
            width_mm: 5.0,
            height_mm: 7.0,
            material: plate.layers[0].material.clone(),
        }];
    }
    let explorer = run(&deck);
    let front = explorer.front();
    assert!(!front.is_empty());
    for design in front.iter().step_by(front.len().div_ceil(4)) {
        let report = check(&explorer.deck(&design.candidate)).unwrap();
        let cases = report.plates.iter().flat_map(|p| &p.cases);
        let left_mm = cases.map(|c| c.clearance_left_mm).fold(f64::INFINITY, f64::min);
        let said_mm = design.scores.deflection_margin_mm;
        assert!(left_mm < 5.0 && (left_mm - said_mm).abs() < 0.06, "{left_mm} {said_mm}");
    }
}
