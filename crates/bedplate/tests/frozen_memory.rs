//! A memory that hangs without failing: its server takes what is sent, and answers nothing.
#![cfg(feature = "postgresql-tests")]

mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;

use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use common::{bedplate, json};
use invented_ward::ward;
use serde_json::{Value, json};
use served::Served;
use store::sql;

/// Long enough for a busy machine: no test waits for it when all is well.
const PATIENCE: Duration = Duration::from_secs(90);
const SCHEMA: &str = "frozen_memory";

/// A way to a server that can be frozen: connections stay open, and nothing goes through.
struct Way {
    port: u16,
    is_frozen: Arc<AtomicBool>,
}

impl Way {
    fn to(server: String) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let is_frozen = Arc::new(AtomicBool::new(false));
        let frozen = Arc::clone(&is_frozen);
        thread::spawn(move || {
            for client in listener.incoming().map_while(Result::ok) {
                let server = TcpStream::connect(&server).unwrap();
                for (from, to) in [(client.try_clone().unwrap(), server.try_clone().unwrap()), (server, client)] {
                    let frozen = Arc::clone(&frozen);
                    thread::spawn(move || carry(from, to, &frozen));
                }
            }
        });
        Self { port, is_frozen }
    }

    fn freeze(&self, is_frozen: bool) {
        self.is_frozen.store(is_frozen, Ordering::SeqCst);
    }
}

fn carry(mut from: TcpStream, mut to: TcpStream, frozen: &AtomicBool) {
    let mut bytes = [0; 4096];
    while let Ok(n @ 1..) = from.read(&mut bytes) {
        while frozen.load(Ordering::SeqCst) {
            sleep(Duration::from_millis(5));
        }
        if to.write_all(&bytes[..n]).is_err() {
            break;
        }
    }
    let _ = to.shutdown(std::net::Shutdown::Both);
}

fn wait_for(served: &Served, token: &str, what: &str, is: impl Fn(&Value) -> bool) -> Value {
    let from = Instant::now();
    loop {
        let bed = served.ask("GET", "/api/beds/A1", Some(token), None);
        if bed.status == 200 && is(&bed.json()) {
            return bed.json();
        }
        assert!(from.elapsed() < PATIENCE, "no {what}: {} {}", bed.status, bed.body);
        sleep(Duration::from_millis(100));
    }
}

fn late_ms(bed: &Value) -> i64 {
    let at: jiff::Timestamp = bed["at"].as_str().unwrap().parse().unwrap();
    jiff::Timestamp::now().as_millisecond() - at.as_millisecond()
}

#[test]
fn beds_are_weighed_and_shown_while_the_memory_hangs_and_what_was_entered_is_kept_once() {
    let url = std::env::var("BEDPLATE_TEST_POSTGRES_TLS").unwrap();
    let server: url::Url = url.parse().unwrap();
    let way = Way::to(format!("127.0.0.1:{}", server.port().unwrap()));
    let plain = format!("postgres://bedplate@127.0.0.1:{}/postgres", way.port);
    let mut database = sql::open(&plain).unwrap();
    let mut transaction = database.begin().unwrap();
    transaction.script(&format!("drop schema if exists {SCHEMA} cascade; create schema {SCHEMA}")).unwrap();
    transaction.commit().unwrap();
    let folder = ward();
    let path = folder.path();
    let text = fs::read_to_string(path.join("ward.toml")).unwrap();
    let memory = format!("{plain}?options=-csearch_path%3D{SCHEMA}");
    fs::write(path.join("ward.toml"), text.replace("ward.db", &memory)).unwrap();
    let served = Served::start(path, &[]);
    let (_, nurse) = served.accounts();
    let patient = json!({ "patient": { "label": "p-1", "sex": "female", "age_y": 50 } });
    assert_eq!(served.ask("POST", "/api/patients", Some(&nurse), Some(&patient)).status, 201);
    wait_for(&served, &nurse, "weight", |bed| bed["state"] == "empty" && bed["trouble"] == json!([]));

    way.freeze(true);
    let frozen = Instant::now();
    let tare = json!({ "action": "tare", "once": "tared" });
    let enter = || served.ask("POST", "/api/beds/A1/actions", Some(&nurse), Some(&tare));
    thread::scope(|scope| {
        // Everybody looks at once, and hangs.
        let looks: Vec<_> =
            (0..12).map(|_| scope.spawn(|| served.ask("GET", "/api/patients/p-1/chart", Some(&nurse), None))).collect();
        for look in looks {
            let look = look.join().unwrap();
            assert_eq!(look.status, 503, "{}", look.body);
        }
    });
    let refused = frozen.elapsed();
    assert!(refused < Duration::from_secs(40), "who looked was told nothing for {refused:?}");
    // Whoever comes then is told at once, and sees the live weight.
    let bed = wait_for(&served, &nurse, "notice", |bed| bed["trouble"] != json!([]));
    assert!(late_ms(&bed) < 5_000, "not weighed meanwhile: {bed}");
    let told = enter();
    assert_eq!(told.status, 503, "{}", told.body);
    assert!(told.body.contains("may still be kept"), "{}", told.body);
    // Nor does the verb that says what is wrong hang.
    let looked = bedplate(path, &["ward", "doctor", "ward.toml", "--json"]);
    let looks = json(&looked)["looks"].clone();
    let memory = looks.as_array().unwrap().iter().find(|look| look["what"] == "memory").unwrap();
    assert!(looked.status == 1 && memory["found"].as_str().unwrap().contains("has not answered"), "{looks}");

    way.freeze(false);
    let bed = wait_for(&served, &nurse, "end of the notice", |bed| bed["trouble"] == json!([]));
    assert_eq!(bed["samples_lost"], 0, "{bed}");
    // The tare was kept late, and done: deck and record are one. Entered again it is the same.
    let tared = wait_for(&served, &nurse, "tare", |bed| bed["tare_kg"].as_f64().is_some_and(|kg| kg > 5.0));
    let again = enter();
    assert_eq!(again.status, 201, "{}", again.body);
    let now = wait_for(&served, &nurse, "bed", |_| true);
    assert_eq!(now["tare_kg"], tared["tare_kg"], "it was tared a second time");
    let rows = served.ask("GET", "/api/beds/A1/readings", Some(&nurse), None).json();
    let at: Vec<i64> = rows["seconds"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["at"].as_str().unwrap().parse::<jiff::Timestamp>().unwrap().as_millisecond())
        .collect();
    assert!(at.len() as u64 > refused.as_secs(), "{} rows", at.len());
    let widest = at.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap();
    assert!(widest < 2_000, "a gap of {widest} ms between weights");
    let whole = bedplate(path, &["ward", "verify-audit", "ward.toml", "--json"]);
    assert_eq!((whole.status, json(&whole)["breaks"].as_array().unwrap().len()), (0, 0), "{}", whole.err);
}
