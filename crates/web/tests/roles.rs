//! Every endpoint tried with each role, and what a request must pass besides: nothing opens that should not.

#[path = "ward/bodies.rs"]
mod bodies;
#[path = "ward/pages.rs"]
mod pages;
#[path = "ward/scene.rs"]
mod scene;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use bedplate_web::ward::endpoints;
use scene::{PASSWORD, request, scene, text};
use serde_json::{Value, json};
use ward::access::secret::PASSWORD_MOST;
use ward::access::{Access, Role};
use ward::clock::now_us;

/// What a refusal for want of a right looks like.
fn is_shut(status: StatusCode) -> bool {
    matches!(status, StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_endpoint_opens_to_the_roles_that_have_its_right_and_to_no_other() {
    let scene = scene();
    let mut tried = 0;
    for role in Role::ALL {
        for (method, path, right) in endpoints() {
            // Ends the session, or never ends.
            if path.ends_with("/end") || path == "/sign-out" || path.ends_with("live") && path.starts_with("/api") {
                continue;
            }
            // A session of its own for each: some endpoints end it. The rate limit is not what is tried here.
            *scene.ward.rate.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
            *scene.ward.sign_ins.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
            let (token, _) = scene.token(role);
            let ask = request(method, path).header(header::AUTHORIZATION, format!("Bearer {token}"));
            let status = scene.ask(ask.body(Body::from("{}")).unwrap()).await.status();
            let may = right.is_none_or(|right| role.may(right));
            let of_password = path.contains("password") || path.ends_with("session") || path == "/sign-in";
            assert!(
                is_shut(status) != may || (may && of_password),
                "{method} {path} as {}: {status}, may: {may}",
                role.word()
            );
            assert!(!status.is_server_error(), "{method} {path} as {}: {status}", role.word());
            tried += 1;
        }
    }
    assert!(tried > 150, "{tried}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_a_session_only_the_open_endpoints_answer() {
    let scene = scene();
    for (method, path, right) in endpoints() {
        *scene.ward.rate.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
        *scene.ward.sign_ins.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
        let response = scene.ask(request(method, path).body(Body::from("{}")).unwrap()).await;
        let shut =
            is_shut(response.status()) || response.headers().get(header::LOCATION).is_some_and(|to| to == "/sign-in");
        assert!(shut || right.is_none(), "{method} {path}: {}", response.status());
    }
    let open: Vec<String> =
        endpoints().into_iter().filter(|e| e.2.is_none()).map(|(method, path, _)| format!("{method} {path}")).collect();
    assert_eq!(
        open,
        [
            "POST /api/session",
            "GET /health/live",
            "GET /health/ready",
            "GET /api/openapi.json",
            "GET /help",
            "GET /sign-in",
            "POST /sign-in",
            "POST /reader"
        ]
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_longest_password_that_may_be_chosen_signs_in() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    let longest = &"plain words ".repeat(PASSWORD_MOST)[..PASSWORD_MOST];
    let change = json!({ "old": PASSWORD, "new": longest }).to_string();
    let ask = request("POST", "/api/password").header(header::AUTHORIZATION, format!("Bearer {token}"));
    assert_eq!(scene.ask(ask.body(Body::from(change)).unwrap()).await.status(), StatusCode::OK);
    let sign_in = json!({ "account": Role::Nurse.word(), "password": longest }).to_string();
    let status = scene.ask(request("POST", "/api/session").body(Body::from(sign_in)).unwrap()).await.status();
    assert_eq!(status, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_forged_form_is_refused_and_a_meant_one_is_taken() {
    let scene = scene();
    let (token, guard) = scene.token(Role::Nurse);
    let form = |guard: &str, origin: Option<&str>| {
        let mut ask = Request::post("/beds/A1/act")
            .header(header::HOST, "ward.test")
            .header(header::COOKIE, format!("bedplate_session={token}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        if let Some(origin) = origin {
            ask = ask.header(header::ORIGIN, origin);
        }
        ask.body(Body::from(format!("guard={guard}&action=hold&once=a"))).unwrap()
    };
    assert_eq!(scene.ask(form("", None)).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(scene.ask(form("wrong", Some("http://ward.test"))).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(scene.ask(form(&guard, Some("http://evil.test"))).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(scene.ask(form(&guard, Some("null"))).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(scene.ask(form(&guard, Some("http://ward.test"))).await.status(), StatusCode::SEE_OTHER);
    let kept = || scene.ward.memory.look(|tx| Ok(ward::records::actions(tx, "A1", 0))).unwrap().unwrap().len();
    assert_eq!(kept(), 1, "the meant one alone was kept");
    // HTTP/2, as browsers speak over TLS, says its host in the address alone.
    let over_tls = |host: &str, origin: &str| {
        Request::post(format!("https://{host}/beds/A1/act"))
            .header(header::COOKIE, format!("bedplate_session={token}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::ORIGIN, origin)
            .body(Body::from(format!("guard={guard}&action=release&once=b")))
            .unwrap()
    };
    let evil = scene.ask(over_tls("ward.test:8443", "https://evil.test:8443")).await;
    assert_eq!((evil.status(), kept()), (StatusCode::FORBIDDEN, 1));
    let meant = scene.ask(over_tls("ward.test:8443", "https://ward.test:8443")).await;
    assert_eq!((meant.status(), kept()), (StatusCode::SEE_OTHER, 2));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_button_pressed_twice_acts_once_and_an_action_can_be_taken_back() {
    let scene = scene();
    let (token, _) = scene.token(Role::Nurse);
    let post = |path: &str, body: Value| {
        Request::post(path)
            .header(header::AUTHORIZATION, format!("Bearer {token}"))
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body.to_string()))
            .unwrap()
    };
    let body = json!({ "action": "add", "kg": 1.5, "note": "blanket", "once": "page-7" });
    let first: Value =
        serde_json::from_str(&text(scene.ask(post("/api/beds/A1/actions", body.clone())).await).await).unwrap();
    let again: Value = serde_json::from_str(&text(scene.ask(post("/api/beds/A1/actions", body)).await).await).unwrap();
    assert_eq!(first["number"], again["number"]);
    let undo = format!("/api/beds/A1/actions/{}/undo", first["number"]);
    assert_eq!(scene.ask(post(&undo, json!({}))).await.status(), StatusCode::OK);
    let again = scene.ask(post(&undo, json!({}))).await;
    assert_eq!(again.status(), StatusCode::CONFLICT, "once is enough");
    assert!(text(again).await.contains("was taken back before"));
    let never = scene.ask(post("/api/beds/A1/actions/999/undo", json!({}))).await;
    assert_eq!(never.status(), StatusCode::NOT_FOUND);
    // What the deck was told because of it is on record too: after a restart it is told the same again.
    let told = scene.ward.memory.look(|tx| Ok(ward::records::actions(tx, "A1", 0))).unwrap().unwrap();
    let words: Vec<&str> = told.iter().map(|(_, action)| action.kind.word()).collect();
    assert_eq!(words, ["add", "remove"]);
    let bad = json!({ "action": "tarre" });
    let refused = scene.ask(post("/api/beds/A1/actions", bad)).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(text(refused).await.contains("patient_step"), "the refusal says what is expected");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_cannot_be_seen_marks_no_act_and_names_no_alert() {
    let scene = scene();
    scene.ward.put_patient("[patient]\nlabel = \"p-1\"\nsex = \"female\"\nage_y = 50\n", "test").unwrap();
    let (token, _) = scene.token(Role::Nurse);
    let chart = json!({ "time": "2026-01-01T10:00:00Z", "direction": "output", "route": "urine", "volume_mL": 10 });
    for bad in ["a\nb", "\r", "\u{1b}[2J", "nul \0", "\u{85}"] {
        let with = |field: &str, mut body: Value| {
            body[field] = bad.into();
            body
        };
        for (path, field, body) in [
            ("/api/beds/A1/actions", "once", with("once", json!({ "action": "hold" }))),
            ("/api/patients/p-1/chart", "once", with("once", chart.clone())),
            (
                "/api/patients/p-1/answers",
                "kind",
                with("kind", json!({ "time": "2026-01-01T10:00:00Z", "answer": "seen" })),
            ),
        ] {
            let ask = Request::post(path).header(header::AUTHORIZATION, format!("Bearer {token}"));
            let ask = ask.header(header::CONTENT_TYPE, "application/json").body(Body::from(body.to_string())).unwrap();
            let answer = scene.ask(ask).await;
            assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path} {bad:?}");
            let told: Value = serde_json::from_str(&text(answer).await).unwrap();
            let detail = told["detail"].as_str().unwrap();
            assert!(
                detail.starts_with(&format!("{field}: found ")) && detail.contains("control character"),
                "{detail}"
            );
            assert!(!detail.chars().any(char::is_control), "it is handed back as it came: {detail:?}");
        }
    }
    let all = scene.ward.memory.look(|tx| store::journal::entries(tx, &store::journal::Query::default())).unwrap();
    assert!(all.iter().all(|e| !e.new.once.iter().any(|once| once.chars().any(char::is_control))), "one was kept");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_password_that_somebody_else_gave_opens_nothing_but_its_change() {
    let scene = scene();
    let access = || Access::new(&scene.ward.memory, &scene.ward.failures, now_us());
    access().make("fresh", Role::Nurse, "given by another", "test").unwrap();
    let token = access().sign_in("fresh", "given by another").unwrap().token;
    let get = |path: &str| {
        Request::get(path).header(header::AUTHORIZATION, format!("Bearer {token}")).body(Body::empty()).unwrap()
    };
    assert_eq!(scene.ask(get("/api/beds")).await.status(), StatusCode::FORBIDDEN);
    assert_eq!(scene.ask(get("/password")).await.status(), StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_hash_of_a_password_leaves_the_ward() {
    let scene = scene();
    let (token, _) = scene.token(Role::Administrator);
    for path in ["/api/records", "/api/accounts", "/accounts"] {
        let ask =
            Request::get(path).header(header::AUTHORIZATION, format!("Bearer {token}")).body(Body::empty()).unwrap();
        let body = text(scene.ask(ask).await).await;
        assert!(body.contains("nurse") && !body.contains("argon2"), "{path}: {body}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_asks_without_end_is_told_to_wait() {
    let scene = scene();
    let mut last = StatusCode::OK;
    for _ in 0..400 {
        last = scene.ask(Request::get("/health/live").body(Body::empty()).unwrap()).await.status();
    }
    assert_eq!(last, StatusCode::TOO_MANY_REQUESTS);
}
