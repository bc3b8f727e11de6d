//! Six invented plates on springs against another program.
//!
//! Source: data/plate_reference.json, computed with scikit-fem 12.0.2 by make_plate_reference.py, bicubic elements of 1/64 of
//! the shorter side, which is within 1e-4 of its mesh of half as many lines. Glued plates are given by their D alone.

use plates::{Bending, Load, LoadCase, Plate, Spring, solve};
use serde_json::Value;

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

fn plate_and_load(case: &Value) -> (Plate, LoadCase) {
    let size = numbers(&case["size_m"]);
    let d = rows(&case["bending_Nm"]);
    let bending = Bending::from_matrix(std::array::from_fn(|i| std::array::from_fn(|j| d[i][j])));
    let springs = rows(&case["springs"]).iter().map(|s| Spring::point([s[0], s[1]], s[2])).collect();
    let mut loads = vec![Load::Uniform { pressure_pa: case["pressure_Pa"].as_f64().unwrap() }];
    loads.extend(rows(&case["patches"]).iter().map(|p| Load::patch_of([p[0], p[1]], [p[2], p[3]], p[4])));
    (Plate::new([size[0], size[1]], bending, springs), loads.into())
}

#[test]
fn six_plates_agree_with_another_program() {
    let reference: Value = serde_json::from_str(include_str!("data/plate_reference.json")).unwrap();
    let cases = reference["plates"].as_array().unwrap();
    assert_eq!(cases.len(), 6);
    for case in cases {
        let (plate, load) = plate_and_load(case);
        let solution = solve(&plate, &[load]).unwrap().remove(0);
        let theirs = numbers(&case["deflection_9x9_m"]);
        let largest = theirs.iter().fold(0.0_f64, |a, w| a.max(w.abs()));
        // 1 % of the deflection and 0.5 % of the load are what `check` promises.
        for (ours, w) in solution.sample_m(9, 9).iter().flatten().zip(&theirs) {
            assert!((ours - w).abs() < 0.01 * largest, "{}: {ours} against {w} m", case["name"]);
        }
        let load_newton = case["load_N"].as_f64().unwrap();
        for (ours, newton) in solution.reactions_newton.iter().zip(numbers(&case["reactions_N"])) {
            assert!((ours - newton).abs() < 0.005 * load_newton, "{}: {ours} against {newton} N", case["name"]);
        }
    }
}
