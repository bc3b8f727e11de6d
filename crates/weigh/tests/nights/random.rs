//! Nights of random deeds.

use super::*;

/// A night of random deeds; none of them lies about itself, some are late or early.
fn random_night(seed: u64) -> Night {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let decks = [
        deck(&[("back", 760.0), ("seat", 400.0), ("legs", 800.0)], 1, 4, 50.0),
        deck(&[("back", 800.0), ("rest", 1160.0)], 2, 4, 50.0),
        deck(&[("head", 600.0), ("middle", 560.0), ("foot", 800.0)], 2, 3, 100.0),
        deck(&[("back", 700.0), ("seat", 300.0), ("thigh", 300.0), ("calf", 660.0)], 2, 4, 20.0),
    ];
    let mut night = Night {
        deck: decks[rng.random_range(0..decks.len())].clone(),
        seed: seed + 1000,
        dt: [0.1, 0.2, 0.5, 0.025][rng.random_range(0..4)],
        jitter: rng.random_range(0.0..0.8),
        noise_g: rng.random_range(0.5..6.0),
        bed_kg: rng.random_range(8.0..25.0),
        patient_kg: rng.random_range(42.0..140.0),
        loss_kg_h: rng.random_range(-0.25..0.25),
        breath_kg: [rng.random_range(0.02..0.3), rng.random_range(0.0..0.02)],
        slip: rng.random_range(0.0..0.1),
        ..begun(0.0)
    };
    let mut t = 150.0;
    let mut raised = false;
    while t < 1500.0 {
        let kg = rng.random_range(0.15..2.5);
        let (x, y) = (rng.random_range(100.0..1800.0), rng.random_range(80.0..800.0));
        let late = rng.random_range(-15.0..25.0);
        match rng.random_range(0..7) {
            0 => {
                night.deeds.push(Deed::Thing { at: t, over: 3.0, kg, x, y });
                night.actions.push((t + late, Add, rng.random_bool(0.6).then(|| (kg * 50.0).round() / 50.0)));
            }
            1 => {
                night.deeds.push(Deed::Thing { at: t, over: 2.0, kg: -kg.min(0.6), x, y });
                night.actions.push((t + late, Remove, None));
            }
            2 => {
                night.deeds.push(Deed::Turn { at: t, share: rng.random_range(-1.0..1.0) });
                night.deeds.push(Deed::Restless { from: t, to: t + 9.0, kg: rng.random_range(0.3..2.0) });
            }
            3 | 4 => {
                let (push, wobble_kg) = (rng.random_range(1.0..20.0), rng.random_range(0.0..3.0));
                let kg = if rng.random_bool(0.2) { -0.2 * push } else { push };
                night.deeds.push(Deed::Push { from: t, to: t + rng.random_range(3.0..60.0), kg, wobble_kg, x, y });
            }
            5 => {
                let end = t + rng.random_range(30.0..90.0);
                night.actions.extend([(t, Hold, None), (end, Release, None)]);
                night.deeds.push(Deed::Restless { from: t + 5.0, to: end - 8.0, kg: 1.0 });
                night.deeds.push(Deed::Thing { at: t + 12.0, over: 2.0, kg: -kg.min(0.7), x, y });
                night.deeds.push(Deed::Thing { at: t + 16.0, over: 2.0, kg: 0.4 * kg, x, y });
            }
            _ => {
                raised = !raised;
                let deg = if raised { rng.random_range(10.0..45.0) } else { 0.0 };
                night.deeds.push(Deed::Tilt { section: 0, at: t, over: 15.0, deg });
            }
        }
        t += rng.random_range(110.0..200.0);
    }
    night.end = t;
    night
}

/// `NIGHTS=400 cargo test … -- --nocapture` runs more of them and prints the figures.
#[test]
#[expect(clippy::print_stderr, reason = "the figures of a longer run are for whoever asked for it")]
fn random_nights_keep_their_promises() {
    let asked: Option<u64> = std::env::var("NIGHTS").ok().and_then(|n| n.parse().ok());
    let (mut errors, mut in_2u, mut broken) = (Vec::new(), 0, Vec::new());
    let (mut rows, mut settled) = (0, 0);
    for seed in 0..asked.unwrap_or(24) {
        let night = random_night(seed);
        let out = weigh(&night);
        let tol = 0.05_f64.max(1e-3 * night.patient_kg);
        for row in out.settled(100.0, night.end) {
            let error = (row.patient_kg.unwrap() - out.truth(row.t_s)).abs();
            errors.push(error / tol);
            in_2u += usize::from(error < 2.0 * row.u_kg.unwrap());
        }
        rows += out.rows.len() - 100;
        settled += out.settled(100.0, night.end).len();
        let last = out.report.last.unwrap();
        let off = (last.patient_kg.unwrap() - out.truth(night.end)).abs();
        if off > 0.1_f64.max(3.0 * last.u_kg.unwrap())
            || !out.false_settled().is_empty()
            || out.report.faults.iter().any(|fault| fault.kind != FaultKind::Overload)
        {
            broken.push(format!(
                "night {seed}: last off by {off:.3}, settled while disturbed at {:?}, open {:.3}, faults {:?}",
                out.false_settled(),
                out.report.open_kg,
                out.report.faults
            ));
        }
    }
    errors.sort_by(f64::total_cmp);
    let p95 = errors[errors.len() * 95 / 100];
    let covered = in_2u as f64 / errors.len() as f64;
    let share = settled as f64 / rows as f64;
    if asked.is_some() {
        let worst = errors.last().unwrap();
        eprintln!(
            "error/tolerance: p95 {p95:.3}, worst {worst:.2}; within 2 u {covered:.4}; settled {share:.3}\n{}",
            broken.join("\n")
        );
    }
    assert!(broken.is_empty(), "{broken:#?}");
    // 0.1 % of the load or 50 g, the larger, at the 95th percentile.
    assert!(p95 < 1.0, "{p95}");
    assert!(covered > 0.93, "{covered}");
    assert!(share > 0.6, "{share}");
}
