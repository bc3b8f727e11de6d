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
}
