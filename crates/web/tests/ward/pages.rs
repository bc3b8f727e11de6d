//! What pages and lists say is of this patient, of this moment, and within stated spans.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use serde_json::json;
use store::entry::{Kind, NewEntry};
use store::readings::Reading;
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

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_curve_of_a_day_ends_where_a_patient_leaves_and_says_which_span_it_shows() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    let begin_us = now_us() - 6 * HOUR_US;
    let at = |hours: i64| begin_us + hours * HOUR_US;
    for (label, from_us) in [("p-1", at(0)), ("p-2", at(3))] {
        scene
            .ward
            .put_patient(&format!("[patient]\nlabel = \"{label}\"\nsex = \"female\"\nage_y = 50\n"), "nurse")
            .unwrap();
        if label == "p-2" {
            // As one that is discharged by then: the service's own discharge is of now.
            let leaves = ward::records::stay_entry("A1", "p-1", false, at(3) - 1, "nurse");
            scene.ward.memory.keep(Job { entries: vec![leaves], ..Job::default() }).unwrap();
        }
        let comes = ward::records::stay_entry("A1", label, true, from_us, "nurse");
        scene.ward.memory.keep(Job { entries: vec![comes], ..Job::default() }).unwrap();
    }
    let weights: Vec<Reading> = (0..6 * 3600)
        .map(|s| Reading {
            bed: "A1".into(),
            at_us: begin_us + s * 1_000_000,
            kg: Some(if s < 3 * 3600 { 90.0 } else { 60.0 }),
            u_kg: Some(0.02),
            state: "settled".into(),
        })
        .collect();
    scene.ward.memory.write(|tx| store::readings::keep(tx, &weights)).unwrap();

    let html = page(&scene, &token, "/beds/A1/weights").await;
    assert!(html.contains("the last 24 hours, as the deck saw them"));
    let data = html.split("id=\"weights-data\">").nth(1).unwrap().split("</script>").next().unwrap();
    let plot: serde_json::Value = serde_json::from_str(data).unwrap();
    let settled = plot["series"][0]["y"].as_array().unwrap();
    let last = settled.iter().rposition(|kg| kg == 90.0).unwrap();
    assert!(settled[last + 1].is_null(), "a line leads from one patient to the next: {:?}", &settled[last..last + 2]);
    assert!(settled[last + 2..].iter().any(|kg| kg == 60.0));
    let marks = &plot["series"][2];
    assert_eq!(marks["name"], "a patient comes or leaves");
    let told: Vec<&str> = marks["text"].as_array().unwrap().iter().step_by(3).map(|t| t.as_str().unwrap()).collect();
    assert_eq!(told, ["p-1 comes to this bed", "p-1 leaves this bed", "p-2 comes to this bed"]);
    assert!(html.contains("p-1 leaves this bed"), "in words too");

    // A span of its own is told as that.
    let from = jiff::Timestamp::from_microsecond(at(4)).unwrap();
    let to = jiff::Timestamp::from_microsecond(at(5)).unwrap();
    let html = page(&scene, &token, &format!("/beds/A1/weights?from={from}&to={to}")).await;
    let hour = |t: jiff::Timestamp| t.to_zoned(jiff::tz::TimeZone::UTC).strftime("%-d %B %Y %H:%M").to_string();
    assert!(!html.contains("the last 24 hours"), "{html}");
    assert!(html.contains(&format!("{} to {}, as the deck saw it", hour(from), hour(to))), "{html}");
    assert!(!html.contains("comes to this bed"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_row_of_the_record_takes_no_beds_page_away() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient("[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = 50\n", "nurse").unwrap();
    scene.ward.admit("A1", "p-1", "nurse").unwrap();
    let hold = serde_json::from_value(json!({ "action": "hold" })).unwrap();
    scene.ward.act("A1", "nurse", None, &hold).unwrap();
    weighs(&scene, now_us(), 64.25);
    let paths = ["/", "/beds/A1", "/beds/A1?since=24", "/api/beds", "/api/beds/A1"];
    for path in paths {
        page(&scene, &token, path).await;
    }
    assert!(page(&scene, &token, "/beds/A1").await.contains("data-reference=\"64.25\""));
    // Newest action, weights and stays of the bed, and the end of the patient's chain: by a hash that is none.
    for damage in
        ["update entry set hash = x'00' where chain = 'A1'", "update chain set hash = x'00' where name = 'patient/p-1'"]
    {
        assert!(scene.ward.memory.write(|tx| tx.run(damage, &[])).unwrap() > 0, "{damage}");
    }
    assert!(
        scene.ward.memory.look(|tx| store::journal::newest(tx, "A1", Kind::Action)).is_err(),
        "the scene proves nothing"
    );
    assert!(scene.ward.memory.look(|tx| Ok(ward::records::patients(tx))).unwrap().is_err(), "the scene proves nothing");
    for path in paths {
        page(&scene, &token, path).await;
    }
    let bed = page(&scene, &token, "/beds/A1").await;
    assert!(bed.contains("data-value=\"patient_kg\"") && bed.contains("p-1"), "{bed}");
    assert!(bed.contains("the record cannot be read just now"), "{bed}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_call_asks_for_more_days_than_the_description_states() {
    let scene = scene();
    let (token, _) = scene.token(Role::Administrator);
    scene.ward.put_patient("[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = 50\n", "nurse").unwrap();
    let lists = [
        ("/api/beds/A1/readings", 7),
        ("/beds/A1/weights", 7),
        ("/api/beds/A1/records", 31),
        ("/api/patients/p-1/records", 31),
        ("/api/records", 31),
    ];
    for (path, most_d) in lists {
        let most = jiff::Timestamp::from_second(1_900_000_000).unwrap();
        for (over_s, status) in [(0, StatusCode::OK), (1, StatusCode::UNPROCESSABLE_ENTITY)] {
            let from = jiff::Timestamp::from_second(1_900_000_000 - most_d * 86_400 - over_s).unwrap();
            let ask = Request::get(format!("{path}?from={from}&to={most}"));
            let ask = ask.header(header::AUTHORIZATION, format!("Bearer {token}")).body(Body::empty()).unwrap();
            let answer = scene.ask(ask).await;
            assert_eq!(answer.status(), status, "{path} of {most_d} days and {over_s} s");
            let told = text(answer).await;
            assert!(over_s == 0 || told.contains(&format!("at most {most_d} days")), "{told}");
        }
    }
    let described: serde_json::Value = serde_json::from_str(&page(&scene, &token, "/api/openapi.json").await).unwrap();
    for (path, most_d) in [("/api/beds/{bed}/readings", 7), ("/api/beds/{bed}/records", 31), ("/api/records", 31)] {
        let told = described["paths"][path]["get"]["parameters"].to_string();
        assert!(told.contains(&format!("at most {most_d} days before")), "{path}: {told}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_replaced_is_shown_to_who_may_manage_and_to_nobody_else() {
    let scene = scene();
    for age in [50, 51] {
        let text = format!("[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = {age}\n");
        scene.ward.put_patient(&text, "nurse").unwrap();
    }
    let path = "/api/patients/p-1/records";
    let (administrator, _) = scene.token(Role::Administrator);
    let now = page(&scene, &administrator, path).await;
    assert!(now.contains("age_y = 51") && !now.contains("age_y = 50"), "{now}");
    let history = page(&scene, &administrator, &format!("{path}?history=yes")).await;
    assert!(history.contains("age_y = 51") && history.contains("age_y = 50"), "{history}");
    let (nurse, _) = scene.token(Role::Nurse);
    for (asks, status) in
        [("yes", StatusCode::FORBIDDEN), ("no", StatusCode::OK), ("all", StatusCode::UNPROCESSABLE_ENTITY)]
    {
        let ask =
            Request::get(format!("{path}?history={asks}")).header(header::AUTHORIZATION, format!("Bearer {nurse}"));
        assert_eq!(scene.ask(ask.body(Body::empty()).unwrap()).await.status(), status, "{asks}");
    }
}
