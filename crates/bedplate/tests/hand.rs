//! The whole way from a run to a weight on files that a person kept, not the twin: other column order, a byte-order mark,
//! CRLF line ends, columns of their own. The truth is in `data/hand/README.md`.

mod common;

use common::{bedplate, copy_of, json};

#[test]
fn a_hand_kept_run_gives_its_lines_and_its_can() {
    let folder = copy_of("hand");
    let ran = bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json", "--json"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    for (cell, zero, gain) in [("A", 1200.0, 2.0e-4), ("B", -850.0, 2.5e-4), ("C", 430.0, 1.6e-4)] {
        let found = out["cells"].as_array().unwrap().iter().find(|c| c["name"] == cell).unwrap();
        let (k, u) = (found["kg_per_count"].as_f64().unwrap(), found["u_kg_per_count"].as_f64().unwrap());
        assert!((k - gain).abs() < 4.0 * u, "{cell}: {k} ± {u}, true {gain}");
        assert!(u < 3e-3 * gain, "{cell}: u {u}");
        // Counts scatter by 1 in each of 5 zero readings.
        assert!((found["zero_counts"].as_f64().unwrap() - zero).abs() < 2.0, "{cell}: {found}");
    }
    let can = out["loads"][0]["kg"].as_f64().unwrap();
    let u_can = out["loads"][0]["u_kg"].as_f64().unwrap();
    assert!((can - 14.320).abs() < 4.0 * u_can && u_can < 0.01, "can {can} ± {u_can}");
    assert_eq!(out["findings"], serde_json::json!([]));
}

#[test]
fn a_hand_kept_recording_gives_the_childs_weight() {
    let folder = copy_of("hand");
    bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json"]);
    let ran = bedplate(
        folder.path(),
        &[
            "weigh",
            "deck.toml",
            "calibration.json",
            "recording.csv",
            "--actions",
            "actions.csv",
            "-o",
            "weights.csv",
            "--start",
            "2031-05-06T07:00:00Z",
            "--json",
        ],
    );
    assert_eq!(ran.status, 0, "{}", ran.err);
    let out = json(&ran);
    assert!((out["tare_kg"].as_f64().unwrap() - 8.0).abs() < 0.005, "{}", out["tare_kg"]);
    assert_eq!(out["last"]["state"], "settled", "{}", out["last"]);
    let (kg, u) = (out["last"]["patient_kg"].as_f64().unwrap(), out["last"]["u_kg"].as_f64().unwrap());
    assert!((kg - 5.0).abs() < 0.010, "{kg} ± {u}");
    assert!((kg - 5.0).abs() < 3.0 * u, "{kg} ± {u}");
    let weights = std::fs::read_to_string(folder.path().join("weights.csv")).unwrap();
    assert!(
        weights.starts_with("time,t_s,patient_kg,u_kg,state,open_kg\n2031-05-06T07:00:00Z,0"),
        "{}",
        &weights[..120]
    );
    assert!(weights.lines().any(|l| l.contains(",,empty")), "empty before the child came");
}
