//! What pages say of a patient is of this patient and of this moment.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use serde_json::json;
use store::entry::{Kind, NewEntry};
use store::writer::Job;
use ward::access::Role;
use ward::clock::now_us;

use super::scene::{Scene, scene, text};

const HOUR_US: i64 = 3_600_000_000;

async fn page(scene: &Scene, token: &str, path: &str) -> String {
    let ask = Request::get(path).header(header::AUTHORIZATION, format!("Bearer {token}")).body(Body::empty()).unwrap();
    let answer = scene.ask(ask).await;
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    text(answer).await
}

fn weighs(scene: &Scene, at_us: i64, kg: f64) {
    let entry = NewEntry {
        chain: "A1".into(),
        at_us,
        kind: Kind::Weight,
        subject: String::new(),
        author: "deck".into(),
        corrects: None,
        once: None,
        body: json!({ "patient_kg": kg, "u_kg": 0.03, "state": "settled" }).to_string(),
    };
    scene.ward.memory.keep(Job { entries: vec![entry], ..Job::default() }).unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_change_of_a_weight_is_from_a_weight_of_who_lies_there_now() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    let patient = |label: &str| format!("[patient]\nlabel = \"{label}\"\nsex = \"female\"\nage_y = 50\n");
    for label in ["p-1", "p-2"] {
        scene.ward.put_patient(&patient(label), "nurse").unwrap();
    }
    // Somebody of 91.4 kg lay here an hour ago; nobody had entered who.
    weighs(&scene, now_us() - HOUR_US, 91.4);
    let empty = page(&scene, &token, "/beds/A1").await;
    assert!(!empty.contains("data-reference") && empty.contains("no patient is entered for this bed"), "{empty}");
    scene.ward.admit("A1", "p-1", "nurse").unwrap();
    let first = page(&scene, &token, "/beds/A1").await;
    assert!(!first.contains("data-reference"), "the weight from before the stay is nobody's: {first}");
    weighs(&scene, now_us(), 64.25);
    assert!(page(&scene, &token, "/beds/A1").await.contains("data-reference=\"64.25\""));
    scene.ward.discharge("A1", "nurse").unwrap();
    scene.ward.admit("A1", "p-2", "nurse").unwrap();
    let second = page(&scene, &token, "/beds/A1?since=24").await;
    assert!(!second.contains("data-reference"), "p-2 is told a change from the weight of p-1: {second}");
}
