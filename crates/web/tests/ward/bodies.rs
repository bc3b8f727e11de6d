//! Bodies and paths that no honest caller sends, at every endpoint that takes one.

use axum::body::Body;
use axum::http::{StatusCode, header};
use bedplate_web::ward::endpoints;
use serde_json::{Map, Number, Value, json};
use ward::access::Role;

use super::scene::{Scene, request, scene, text};

/// Bodies at each endpoint; the environment variable takes more, for a long run by hand.
const BODIES: &str = "BEDPLATE_BODIES";

/// Keys that some endpoint takes.
const KEYS: [&str; 30] = [
    "action",
    "kg",
    "note",
    "once",
    "time",
    "direction",
    "route",
    "volume_mL",
    "leaves_deck",
    "corrects",
    "patient",
    "label",
    "sex",
    "age_y",
    "height_cm",
    "admission_weight_kg",
    "account",
    "role",
    "closed",
    "password",
    "old",
    "new",
    "kind",
    "answer",
    "intake_mL_h",
    "output_mL_h",
    "ultrafiltration_mL_h",
    "guard",
    "since",
    "number",
];

/// Texts that mean something to somebody, or to nobody.
const TEXTS: [&str; 16] = [
    "",
    "tare",
    "add",
    "urine",
    "output",
    "viewer",
    "p-1",
    "null",
    "2026-01-01T10:00:00Z",
    "9999-12-31T23:59:60Z",
    "-999999-01-01T00:00:00Z",
    "'; drop table entry; --",
    "<script>alert(1)</script>",
    "a\u{0}b",
    "\u{202e}\u{feff}\u{10ffff}",
    "../../etc/passwd",
];

/// A sequence of chance, by the multiplier of Knuth's MMIX generator.
struct Chance(u64);

#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "small numbers of chance")]
impl Chance {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % most
    }

    fn text(&mut self) -> String {
        match self.below(8) {
            0 => "x".repeat(self.below(70_000)),
            1 => (0..self.below(40))
                .map(|_| char::from_u32(self.below(0x11_0000) as u32).unwrap_or('\u{fffd}'))
                .collect(),
            _ => TEXTS[self.below(TEXTS.len())].to_owned(),
        }
    }

    fn number(&mut self) -> Number {
        match self.below(6) {
            0 => Number::from(i64::MIN),
            1 => Number::from(u64::MAX),
            2 => Number::from(self.below(3)),
            3 => Number::from_f64(1e300).unwrap(),
            4 => Number::from_f64(-1e-300).unwrap(),
            _ => Number::from_f64(self.below(1_000_000) as f64 / 64.0 - 2_000.0).unwrap(),
        }
    }

    fn value(&mut self, deep: usize) -> Value {
        match self.below(if deep > 3 { 5 } else { 8 }) {
            0 => Value::Null,
            1 => Value::Bool(self.below(2) == 0),
            2 => Value::Number(self.number()),
            3 | 4 => Value::String(self.text()),
            5 => (0..self.below(4)).map(|_| self.value(deep + 1)).collect(),
            _ => self.object(deep + 1),
        }
    }

    fn object(&mut self, deep: usize) -> Value {
        let mut map = Map::new();
        for _ in 0..self.below(9) {
            map.insert(KEYS[self.below(KEYS.len())].to_owned(), self.value(deep));
        }
        Value::Object(map)
    }

    /// A body, and what it says that it is.
    fn body(&mut self) -> (&'static str, Vec<u8>) {
        const JSON: &str = "application/json";
        match self.below(10) {
            0 => (JSON, (0..self.below(300)).map(|_| self.below(256) as u8).collect()),
            // Deeper than a reader that calls itself could stand.
            1 => (JSON, [b"[".repeat(50_000), b"]".repeat(50_000)].concat()),
            2 => {
                let mut text = self.object(0).to_string().into_bytes();
                let cut = self.below(text.len());
                text.truncate(cut);
                (JSON, text)
            }
            3 | 4 => {
                let mut form = String::new();
                for _ in 0..self.below(9) {
                    let value: String = self.text().bytes().map(|b| format!("%{b:02x}")).collect();
                    form += &format!("{}={value}&", KEYS[self.below(KEYS.len())]);
                }
                ("application/x-www-form-urlencoded", form.into_bytes())
            }
            _ => (JSON, self.object(0).to_string().into_bytes()),
        }
    }
}

/// A path with wild parts in the place of its names.
fn wild(path: &str, chance: &mut Chance) -> String {
    let parts = path.split('/').map(|part| {
        if part.starts_with('{') && chance.below(2) == 0 {
            chance.text().bytes().take(300).map(|b| format!("%{b:02x}")).collect()
        } else {
            part.to_owned()
        }
    });
    parts.collect::<Vec<String>>().join("/")
}

async fn admits(scene: &Scene, token: &str) {
    let patient = json!({ "patient": { "label": "p-1", "sex": "female", "age_y": 50 } });
    let ask = request("POST", "/api/patients").header(header::AUTHORIZATION, format!("Bearer {token}"));
    let made = scene.ask(ask.body(Body::from(patient.to_string())).unwrap()).await;
    assert_eq!(made.status(), StatusCode::CREATED, "{}", text(made).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_body_and_no_path_makes_the_ward_fail() {
    let bodies: usize = std::env::var(BODIES).ok().and_then(|n| n.parse().ok()).unwrap_or(40);
    let scene = scene();
    let mut chance = Chance(20_261_128);
    let mut statuses = std::collections::BTreeMap::<u16, usize>::new();
    let tokens = [Role::Nurse, Role::Administrator].map(|role| scene.token(role).0);
    admits(&scene, &tokens[0]).await;
    for (method, path, _) in endpoints() {
        // Ends the session or the password of whoever tries, or never ends.
        let left_out = ["/end", "/sign-out", "password", "/api/session", "/sign-in"];
        if method != "POST" && method != "PUT" && method != "PATCH" || left_out.iter().any(|part| path.contains(part)) {
            continue;
        }
        for _ in 0..bodies {
            *scene.ward.rate.lock().unwrap() = ward::access::limits::Rate::new(1e6, 1e6);
            let (kind, body) = chance.body();
            let path = wild(path, &mut chance);
            let token = &tokens[chance.below(2)];
            let mut ask = request(method, &path).header(header::AUTHORIZATION, format!("Bearer {token}"));
            ask.headers_mut().unwrap().insert(header::CONTENT_TYPE, kind.parse().unwrap());
            let told = String::from_utf8_lossy(&body[..body.len().min(300)]).into_owned();
            let answer = scene.ask(ask.body(Body::from(body)).unwrap()).await;
            let status = answer.status();
            *statuses.entry(status.as_u16()).or_default() += 1;
            assert!(status != StatusCode::UNAUTHORIZED, "{method} {path} ended the session that tries");
            assert!(!status.is_server_error(), "{method} {path} {kind} {told}: {status} {}", text(answer).await);
        }
    }
    // Something was understood well enough to be refused by its content, and the ward works as before.
    assert!(statuses.get(&422).is_some_and(|n| *n > 100), "{statuses:?}");
    admits(&scene, &tokens[0]).await;
    let whole = scene.ward.memory.look(|tx| store::audit::audit(tx, &[])).unwrap();
    assert!(whole.breaks.is_empty());
}
