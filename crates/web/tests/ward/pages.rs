//! What pages and lists say is of this patient, of this moment, and within stated spans.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use serde_json::json;
use store::entry::{Kind, NewEntry};
use store::readings::Reading;
use store::writer::Job;
use ward::access::{Access, Role};
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
    let patients = scene.ward.memory.look(|tx| Ok(ward::records::patients(tx))).unwrap();
    assert_eq!(patients, Ok(vec!["p-1".to_owned()]), "the damaged end of one patient's chain takes the list away");
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

/// A form as a person sends it, by a session.
async fn send(scene: &Scene, token: &str, path: &str, body: &str) -> (StatusCode, String) {
    send_in(scene, token, "en", path, body).await
}

async fn send_in(scene: &Scene, token: &str, language: &str, path: &str, body: &str) -> (StatusCode, String) {
    let ask = Request::post(path)
        .header(header::AUTHORIZATION, format!("Bearer {token}"))
        .header(header::COOKIE, format!("bedplate_language={language}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
    let answer = scene.ask(ask.body(Body::from(body.to_owned())).unwrap()).await;
    (answer.status(), text(answer).await)
}

const P_1: &str = "[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = 50\nadmission_kg = 3.2\nburned_pct = 4\n";

/// Times of the ward's clock for a form: an hour ago.
fn an_hour_ago() -> String {
    let then = jiff::Timestamp::from_microsecond(now_us() - HOUR_US).unwrap();
    then.to_zoned(jiff::tz::TimeZone::UTC).strftime("%Y-%m-%dT%H:%M").to_string()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_newborns_volumes_are_shown_as_they_were_charted_and_by_the_number_that_alerts_name() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient(P_1, "nurse").unwrap();
    let time = jiff::Timestamp::from_microsecond(now_us()).unwrap();
    let mut numbers = Vec::new();
    for (ml, route) in [(0.4, "urine"), (2.5, "urine"), (12.0, "stool")] {
        let body =
            serde_json::from_value(json!({ "time": time, "direction": "output", "route": route, "volume_mL": ml }))
                .unwrap();
        numbers.push(scene.ward.chart("p-1", "nurse", None, None, &body).unwrap());
    }
    let html = page(&scene, &token, "/patients/p-1").await;
    for told in ["<td>0.4</td>", "<td>2.5</td>", "<td>12</td>", "Strike out 0.4 mL", "Strike out 2.5 mL"] {
        assert!(html.contains(told), "{told}: {html}");
    }
    for number in numbers {
        assert!(html.contains(&format!("<td id=\"line-{number}\">{number}</td>")), "{number}: {html}");
    }
    let day = page(&scene, &token, "/patients/p-1/day").await;
    for told in [
        "<dd>14.9 mL</dd>",
        "<dd>−14.9 mL</dd>",
        "<dd class=\"soft\">2.9 mL</dd>",
        "<td>0.4 mL</td>",
        "<td>2.5 mL</td>",
    ] {
        assert!(day.contains(told), "{told}: {day}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_label_in_use_is_asked_about_and_what_the_form_does_not_hold_stays() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient(P_1, "nurse").unwrap();
    let on_record = || scene.ward.memory.look(|tx| Ok(ward::records::patient_file(tx, "p-1"))).unwrap().unwrap();
    let before = on_record();
    let (status, asked) = send(&scene, &token, "/patients", "label=p-1&age_y=60&dry_kg=").await;
    assert_eq!(status, StatusCode::OK);
    assert!(asked.contains("p-1 is known already") && asked.contains("<td>50</td><td>60</td>"), "{asked}");
    assert!(asked.contains("name=\"age_y\" value=\"60\""), "what was typed goes with the question: {asked}");
    assert_eq!(on_record(), before, "nothing is replaced unasked");
    assert_eq!(send(&scene, &token, "/patients", "label=p-1&age_y=60&sure=yes").await.0, StatusCode::SEE_OTHER);
    let (_, _, after) = on_record();
    let patient = formats::patient::Patient { age_y: Some(60.0), ..before.2.patient };
    assert_eq!(after.patient, patient, "only what was typed is another");
    // One that is new is not asked about.
    assert_eq!(send(&scene, &token, "/patients", "label=p-2&height_cm=175,5").await.0, StatusCode::SEE_OTHER);
    let (.., second) = scene.ward.memory.look(|tx| Ok(ward::records::patient_file(tx, "p-2"))).unwrap().unwrap();
    assert_eq!(second.patient.height_mm, Some(1755.0));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_typed_into_a_form_that_is_refused_stands_there_again() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient(P_1, "nurse").unwrap();
    let time = an_hour_ago();
    let refused = [
        (
            "/patients",
            "label=q-1&age_y=4O&sex=male".to_owned(),
            vec!["value=\"q-1\"", "value=\"4O\"", "value=\"male\" selected", "Age, years: found"],
            "/patients",
        ),
        (
            "/patients",
            "label=q-1&height_cm=1,75".to_owned(),
            vec!["value=\"1,75\"", "Height, cm: found", "20 to 280"],
            "/patients",
        ),
        (
            "/patients/p-1/chart",
            format!("volume=1,500&way=output/urine&time={time}&stays=yes&note=a+pad"),
            vec![
                "value=\"1,500\"",
                "value=\"output/urine\" selected",
                "value=\"yes\" checked",
                "value=\"a pad\"",
                &time,
            ],
            "/patients/p-1",
        ),
        (
            "/beds/A1/act",
            "action=add&kg=abc&note=blanket".to_owned(),
            vec!["value=\"abc\"", "value=\"blanket\"", "a mass in kg"],
            "/beds/A1",
        ),
    ];
    for (path, body, told, back) in refused {
        let (status, html) = send(&scene, &token, path, &body).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path} {body}");
        for told in told.iter().copied().chain([format!("href=\"{back}\">Back").as_str()]) {
            assert!(html.contains(told), "{told}: {html}");
        }
        assert!(!html.contains("height_mm"), "a key that nobody sees: {html}");
    }
    let (administrator, _) = scene.token(Role::Administrator);
    let (_, html) = send(&scene, &administrator, "/accounts", "account=nina&role=engineer&password=short").await;
    assert!(
        html.contains("value=\"nina\"") && html.contains("not a password") && !html.contains("value=\"short\""),
        "{html}"
    );
    let (_, html) = send(&scene, "", "/sign-in", "account=nurse&password=wrong").await;
    assert!(html.contains("value=\"nurse\"") && !html.contains("value=\"wrong\""), "{html}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_way_back_from_a_refusal_leads_to_this_bed_and_this_patient() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    for (path, body, back) in
        [("/beds/A1/undo", "number=999", "/beds/A1"), ("/patients/p-1/strike", "number=x", "/patients/p-1")]
    {
        let (_, html) = send(&scene, &token, path, body).await;
        assert!(html.contains(&format!("href=\"{back}\">Back")) && !html.contains('{'), "{html}");
    }
    let ask = Request::get("/beds/none").header(header::AUTHORIZATION, format!("Bearer {token}"));
    let lost = text(scene.ask(ask.body(Body::empty()).unwrap()).await).await;
    assert!(!lost.contains(">Back<"), "the way back to what is not here: {lost}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_question_is_asked_whose_yes_would_be_refused() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient(P_1, "nurse").unwrap();
    let time = an_hour_ago();
    for volume in ["15000", "nan", "inf"] {
        let body = format!("volume={volume}&way=output/urine&time={time}");
        let (status, html) = send(&scene, &token, "/patients/p-1/chart", &body).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{volume}");
        assert!(!html.contains("is that right?"), "{volume}: {html}");
    }
    let ahead = "volume=2000&way=output/urine&time=2999-01-01T00:00";
    let (status, html) = send_in(&scene, &token, "de", "/patients/p-1/chart", ahead).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(html.contains("gefunden 1.1. 00:00, nötig eine Zeit, die schon war"), "{html}");
    let asked = send(&scene, &token, "/patients/p-1/chart", &format!("volume=2000&way=output/urine&time={time}")).await;
    assert!(asked.0 == StatusCode::OK && asked.1.contains("2000 mL at"), "{}", asked.1);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_chooses_a_language_shuts_nobody_out_who_wants_to_sign_in() {
    let scene = scene();
    for _ in 0..12 {
        assert_eq!(send(&scene, "", "/reader", "language=de").await.0, StatusCode::SEE_OTHER);
    }
    let body = "account=nurse&password=four+plain+words+here";
    assert_eq!(send(&scene, "", "/sign-in", body).await.0, StatusCode::SEE_OTHER);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_way_to_go_on_is_always_said() {
    let scene = scene();
    for back in ["/a%0Ab", "/%09/evil.example/", "//evil.example/"] {
        let ask = Request::post("/reader").header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        let answer = scene.ask(ask.body(Body::from(format!("language=de&back={back}"))).unwrap()).await;
        assert_eq!(answer.headers().get(header::LOCATION).unwrap(), "/", "{back}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_password_that_is_refused_changes_nothing_else() {
    let scene = scene();
    let (administrator, _) = scene.token(Role::Administrator);
    let (nurse, _) = scene.token(Role::Nurse);
    let (_, html) = send(&scene, &administrator, "/accounts/nurse", "role=viewer&closed=yes&password=short").await;
    assert!(html.contains("not a password"), "{html}");
    page(&scene, &nurse, "/patients").await;
    let accounts = Access::new(&scene.ward.memory, &scene.ward.failures, now_us()).all().unwrap();
    let (_, account) = accounts.iter().find(|(name, _)| name == "nurse").unwrap();
    assert!(account.role == Role::Nurse && !account.closed);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_row_of_the_stays_takes_no_chart_and_no_curve_away() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    scene.ward.put_patient(P_1, "nurse").unwrap();
    scene.ward.admit("A1", "p-1", "nurse").unwrap();
    let begin_us = now_us() - HOUR_US;
    let reading = |s: i64, kg: Option<f64>, state: &str| Reading {
        bed: "A1".into(),
        at_us: begin_us + s * 1_000_000,
        kg,
        u_kg: kg.map(|_| 0.02),
        state: state.into(),
    };
    // One patient, a minute of an empty deck, another one: nobody can say any more who they were.
    let weights: Vec<Reading> = (0..1800)
        .map(|s| match s {
            0..900 => reading(s, Some(90.0), "settled"),
            900..960 => reading(s, None, "empty"),
            _ => reading(s, Some(60.0), "settled"),
        })
        .collect();
    scene.ward.memory.write(|tx| store::readings::keep(tx, &weights)).unwrap();
    let damage = "update entry set hash = x'00' where chain = 'A1' and kind = 'admission'";
    assert!(scene.ward.memory.write(|tx| tx.run(damage, &[])).unwrap() > 0);
    assert!(
        scene.ward.memory.look(|tx| Ok(ward::records::stays(tx, "p-1"))).unwrap().is_err(),
        "the scene proves nothing"
    );
    let list = page(&scene, &token, "/patients").await;
    assert!(list.contains("href=\"/beds/A1\""), "where somebody lies is known to the bed: {list}");
    let patient = page(&scene, &token, "/patients/p-1").await;
    assert!(patient.contains("cannot be read just now") && patient.contains("name=\"volume\""), "{patient}");
    let curve = page(&scene, &token, "/beds/A1/weights").await;
    assert!(curve.contains("Who lay here, and when, cannot be read just now."), "{curve}");
    let settled = settled_of(&curve);
    let last = settled.iter().rposition(|kg| kg == 90.0).unwrap();
    assert!(settled[last + 1].is_null(), "a line leads from one to the next");
    let body = format!("volume=100&way=output/urine&time={}", an_hour_ago());
    assert_eq!(send(&scene, &token, "/patients/p-1/chart", &body).await.0, StatusCode::SEE_OTHER);
    assert!(page(&scene, &token, "/patients/p-1").await.contains("<td>100</td>"));
}

fn settled_of(html: &str) -> Vec<serde_json::Value> {
    let data = html.split("id=\"weights-data\">").nth(1).unwrap().split("</script>").next().unwrap();
    let plot: serde_json::Value = serde_json::from_str(data).unwrap();
    plot["series"][0]["y"].as_array().unwrap().clone()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_line_is_drawn_over_hours_in_which_nothing_was_kept() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    let begin_us = now_us() - 9 * HOUR_US;
    let weights: Vec<Reading> = (0..2 * 3600)
        .chain(6 * 3600..8 * 3600)
        .map(|s| Reading {
            bed: "A1".into(),
            at_us: begin_us + s * 1_000_000,
            kg: Some(if s < 3 * 3600 { 80.0 } else { 78.9 }),
            u_kg: Some(0.02),
            state: "settled".into(),
        })
        .collect();
    scene.ward.memory.write(|tx| store::readings::keep(tx, &weights)).unwrap();
    let settled = settled_of(&page(&scene, &token, "/beds/A1/weights").await);
    let last = settled.iter().rposition(|kg| kg == 80.0).unwrap();
    assert!(settled[last + 1].is_null(), "a line leads over four hours: {:?}", &settled[last..last + 2]);
    assert_eq!(settled.iter().filter(|kg| kg.is_null()).count(), 1, "one gap");
}
