//! A glance gives the figures of `check` for the same deck, and nothing of its own.

use design::{check, glance};

#[test]
fn a_glance_agrees_with_check_in_every_figure_that_it_shows() {
    let text = include_str!("../../twin/data/deck.toml");
    let deck = formats::deck::read("deck.toml", text).unwrap();
    let (seen, found) = (glance(&deck).unwrap(), check(&deck).unwrap());
    // The mesh is refined until every case is fine enough: fewer cases may need a coarser one, each within its promise of 1 % in
    // deflection and 0.5 % of the load in a reaction.
    let near = |a: f64, b: f64| (a - b).abs() <= 0.02 * b.abs() + 1e-9;
    assert_eq!(seen.requirements.len(), found.requirements.len());
    for (a, b) in seen.requirements.iter().zip(&found.requirements) {
        assert!(
            (&a.name, a.met) == (&b.name, b.met) && near(a.value, b.value) && near(a.limit, b.limit),
            "{a:?} {b:?}"
        );
    }
    assert!(near(seen.expanded_u_g.largest(), found.expanded_u_g.largest()));
    assert_eq!(seen.bill, found.bill);
    assert!((seen.mass_kg - found.mass_kg).abs() < 1e-12 && (seen.cost - found.cost).abs() < 1e-9);
    assert!(near(seen.resolvable_24h_g, found.change.resolvable_24h_g));
    for row in &found.budget {
        let at_max = row.u_g.0.last().unwrap().1;
        let shown = seen.budget.iter().find(|s| s.source == row.source).unwrap();
        assert!(near(shown.u_at_max_g, at_max), "{}: {} and {at_max}", row.source, shown.u_at_max_g);
    }
    for (a, b) in seen.plates.iter().zip(&found.plates) {
        for (case, with_ward) in a.cases.iter().zip(&b.cases) {
            assert!(
                near(case.max_deflection_mm, with_ward.max_deflection_mm),
                "{} {}: {} and {}",
                a.name,
                case.case,
                case.max_deflection_mm,
                with_ward.max_deflection_mm
            );
            for (x, y) in case.cells.iter().zip(&with_ward.cells) {
                assert!((x.reaction_newton - y.reaction_newton).abs() <= 0.01 * case.load_newton, "{}", x.name);
            }
        }
    }
}
