//! Random plates against converged references.
//!
//! Source: `tests/data/random_plates.py`, scikit-fem 12.0.2, invented plates of a fixed seed on 3 to 6 springs, extrapolated
//! from meshes of 24 and 48 elements over the shorter side. Springs and patches lie anywhere between our grid lines.

use plates::{Bending, Load, Plate, Spring, solve};
use published::within;
use serde_json::Value;

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn automatic_mesh_keeps_its_promise_on_random_plates() {
    let all: Value = serde_json::from_str(include_str!("../data/random_plates.json")).unwrap();
    let all = all.as_array().unwrap();
    assert_eq!(all.len(), 24);
    for (index, p) in all.iter().enumerate() {
        let (size, d, patch) = (numbers(&p["size_m"]), numbers(&p["d"]), numbers(&p["patch_m"]));
        let bending = Bending { d11: d[0], d12: d[1], d16: 0.0, d22: d[2], d26: 0.0, d66: d[3] };
        let spring = |s: &Value| {
            let s = numbers(s);
            Spring::point([s[0], s[1]], s[2])
        };
        let springs = p["springs"].as_array().unwrap().iter().map(spring).collect();
        let plate = Plate::new([size[0], size[1]], bending, springs);
        let loads = vec![
            Load::Uniform { pressure_pa: p["even_pa"].as_f64().unwrap() },
            Load::patch_of([patch[0], patch[1]], [patch[2], patch[3]], p["patch_newton"].as_f64().unwrap()),
        ];
        let s = &solve(&plate, &[loads.into()]).unwrap()[0];
        for (found, exact) in s.reactions_newton.iter().zip(numbers(&p["reactions_newton"])) {
            let off = (found - exact).abs() / s.load_newton;
            // What is promised: 0.5 % of the load.
            assert!(off <= 0.005, "plate {index}: reaction {found}, reference {exact}");
        }
        let largest = s.max.deflection_m.max(-s.min.deflection_m);
        let points = p["points_m"].as_array().unwrap();
        for (at, exact) in points.iter().map(numbers).zip(numbers(&p["deflections_m"])) {
            let found = s.deflection_m([at[0], at[1]]);
            // What is promised: 1 % of the largest deflection.
            within(found, exact, 0.01 * largest);
        }
    }
}
