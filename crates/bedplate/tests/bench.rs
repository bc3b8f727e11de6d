//! The engineer's pages of one deck through the built binary: the workbench's answers, and a guided calibration that is cut
//! off and taken up again, or has its counts over a wire.

mod common;
#[path = "common/served.rs"]
mod served;
#[path = "common/wired_deck.rs"]
mod wired_deck;

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use served::{Served, Told};
use wired_deck::WiredDeck;

/// Few bodies, so that the plan is short. Invented; class M1, permissible error over √3.
const MASSES: &str = "name,mass_kg,u_g,count,about_kg\nF1,20,0.6,1,\nF2,10,0.3,1,\n";
const SEED: &str = "7";

fn bench(folder: &Path, more: &[&str]) -> Served {
    let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .current_dir(folder)
        .args(["bench", "deck.toml", "--port", "0"])
        .args(more)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the binary starts");
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let line = out.lines().map_while(Result::ok).find(|l| l.contains("http://")).expect("it prints its address");
    let address = line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).expect("an address").to_owned();
    Served { child, address, secret: None }
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("deck.toml"), twin::demo::DECK_TOML).expect("written");
    fs::write(folder.path().join("masses.csv"), MASSES).expect("written");
    folder
}

/// Two runs in one folder would write over each other's readings.
#[test]
fn a_second_bench_in_the_folder_of_a_run_is_refused() {
    let folder = folder();
    let more = ["--masses", "masses.csv", "--twin", SEED, "-o", "run"];
    let running = bench(folder.path(), &more);
    let second = common::bedplate(folder.path(), &[&["bench", "deck.toml", "--port", "0"][..], &more].concat());
    assert!(second.status == 2 && second.err.contains("a run is under way in this folder"), "{}", second.err);
    drop(running);
    drop(bench(folder.path(), &more));
}

fn ask(bench: &Served, changes: &Value) -> Told {
    let body = json!({ "file": "deck.toml", "text": twin::demo::DECK_TOML, "changes": changes });
    bench.ask("POST", "/workbench/answer", None, Some(&body))
}

#[test]
fn the_workbench_answers_with_the_figures_of_check_and_changes_the_file_in_place() {
    let folder = folder();
    let bench = bench(folder.path(), &[]);
    let plain = ask(&bench, &json!([])).json();
    let checked = common::json(&common::bedplate(folder.path(), &["check", "deck.toml", "--json"]));
    let close = |a: &Value, b: &Value, within: f64| {
        let (a, b) = (a.as_f64().expect("a number"), b.as_f64().expect("a number"));
        assert!((a - b).abs() <= within * b.abs(), "{a} and {b}");
    };
    close(&plain["figures"]["mass_kg"], &checked["mass_kg"], 1e-9);
    close(&plain["figures"]["cost"], &checked["cost"], 1e-9);
    // Both keep the promise of the mesh, 1 % in deflection, on meshes of their own.
    close(&plain["figures"]["resolvable_24h_g"], &checked["change"]["resolvable_24h_g"], 0.01);
    assert_eq!(plain["text"], twin::demo::DECK_TOML);

    let moved = ask(&bench, &json!([{ "cell": "S1", "x_mm": 100.0, "y_mm": 200.0 }])).json();
    let text = moved["text"].as_str().expect("a text");
    let differ: Vec<_> = text.lines().zip(twin::demo::DECK_TOML.lines()).filter(|(a, b)| a != b).collect();
    assert_eq!(differ.len(), 1, "{differ:?}");
    assert!(differ[0].0.contains("at_mm = [100.0, 200.0]"), "{differ:?}");
    let thinner = ask(&bench, &json!([{ "plate": "seat", "layer": 1, "thickness_mm": 6.0 }])).json();
    assert!(thinner["figures"]["mass_kg"].as_f64() < plain["figures"]["mass_kg"].as_f64());
    assert!(thinner["figures"]["deflection_mm"].as_f64() > plain["figures"]["deflection_mm"].as_f64());
}

#[test]
fn the_workbench_says_what_does_not_fit() {
    let folder = folder();
    let bench = bench(folder.path(), &[]);
    let beside = ask(&bench, &json!([{ "cell": "S1", "x_mm": 9000.0, "y_mm": 200.0 }]));
    assert_eq!(beside.status, 422, "{}", beside.body);
    assert!(beside.body.contains("S1") && beside.body.contains("deck.toml"), "{}", beside.body);
    let unknown = ask(&bench, &json!([{ "cell": "Z9", "x_mm": 1.0, "y_mm": 2.0 }]));
    assert!(unknown.status == 422 && unknown.body.contains("place of cell Z9"), "{}", unknown.body);
    let broken = json!({ "file": "deck.toml", "text": "[[", "changes": [] });
    assert_eq!(bench.ask("POST", "/workbench/answer", None, Some(&broken)).status, 422);
    // Somebody who reads German is told in German, with the line of the file as it stands there.
    let comma = twin::demo::DECK_TOML.replacen("max_kg = 200.0", "max_kg = 200,5", 1);
    for (text, words) in [
        ("[[".to_owned(), vec!["deck.toml:1", "gefunden Text, der kein TOML ist", "nötig"]),
        (comma, vec!["deck.toml:4", "gefunden `200,5`", "nötig eine Zahl mit Dezimalpunkt: `200.5`", "max_kg = 200,5"]),
    ] {
        let broken = json!({ "file": "deck.toml", "text": text, "changes": [] });
        for path in ["/workbench/answer", "/workbench/search"] {
            let told = bench.ask_in_german("POST", path, Some(&broken)).json();
            let problem = told["problem"].as_str().expect("a problem");
            for word in &words {
                assert!(problem.contains(word), "{path}: no {word:?} in {problem}");
            }
            assert!(!problem.contains("expected") && !problem.contains("found"), "{problem}");
        }
    }
    let nowhere = json!({ "file": "deck.toml", "text": twin::demo::DECK_TOML, "changes": [{ "cell": "Z9", "x_mm": 1.0, "y_mm": 2.0 }] });
    let told = bench.ask_in_german("POST", "/workbench/answer", Some(&nowhere)).json();
    assert_eq!(told["problem"], "den Ort der Zelle Z9 gibt es nicht zu ändern");
    let odd = json!({ "text": 1 });
    assert_eq!(bench.ask("POST", "/workbench/answer", None, Some(&odd)).status, 400);
    assert_eq!(bench.ask("GET", "/workbench/search/0/1", None, None).status, 404);
    // Without masses no calibration is under way, and the page says how to begin one.
    let guide = bench.ask("GET", "/guide", None, None);
    assert!(guide.status == 200 && guide.body.contains("--masses"), "{}", guide.body);
}

fn step(bench: &Served, step: &str) -> Told {
    bench.ask("POST", &format!("/guide/{step}"), None, Some(&json!({})))
}

fn state(bench: &Served) -> Value {
    bench.ask("GET", "/guide/state", None, None).json()
}

/// On disk each stands alone; given out by the server, each leads to the other, and the page offers the reader's.
fn a_document_lies_there_in_both_languages(path: &Path, running: &Served) {
    for (name, other, language) in
        [("certificate.html", "certificate.de.html", "en"), ("certificate.de.html", "certificate.html", "de")]
    {
        let kept = fs::read_to_string(path.join("run").join(name)).expect("kept");
        assert!(kept.contains("Hornbeam deck") && kept.contains(&format!("<html lang=\"{language}\">")), "{name}");
        assert!(!kept.contains("href="), "{name} points outside");
        let given = running.ask("GET", &format!("/guide/files/{name}"), None, None);
        assert_eq!(given.status, 200);
        assert!(given.body.contains(&format!("<a href=\"{other}\"")), "{name} leads to no {other}");
    }
    let german = running.ask_in_german("GET", "/guide/state", None).json();
    assert_eq!(german["files"], json!(["calibration.json", "certificate.de.html", "run.csv"]));
}

/// Does a step as soon as the counts let it.
fn when_settled(bench: &Served, what: &str) {
    let from = Instant::now();
    loop {
        let told = step(bench, what);
        if told.status == 200 {
            return;
        }
        assert_eq!(told.status, 409, "{}", told.body);
        assert!(from.elapsed() < Duration::from_secs(60), "{what}: {}", told.body);
        std::thread::sleep(Duration::from_millis(30));
    }
}

fn press_everywhere(bench: &Served, n_cells: usize) {
    let from = Instant::now();
    loop {
        let live = bench.ask("GET", "/guide/live", None, None).json();
        let touching = &live["touching"];
        if touching["is_pressed"] == false {
            if touching["pressed"] == n_cells {
                return;
            }
            step(bench, "hands/next");
        }
        assert!(from.elapsed() < Duration::from_secs(120), "{touching}");
        std::thread::sleep(Duration::from_millis(80));
    }
}

/// The calibration that a run left has the gains of the cells that the twin draws from the same number, but for five stated
/// standard uncertainties and a part of each gain that a calibration does not state.
fn the_true_gains_were_found(path: &Path, unstated: f64) -> formats::calibration::Calibration {
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).expect("a deck");
    let seed = SEED.parse().expect("a number");
    let truth = twin::bench_run(&deck, seed, &twin::BenchOptions::default()).expect("a run").truth;
    let text = fs::read_to_string(path.join("run/calibration.json")).expect("kept");
    let found = formats::calibration::read("calibration.json", &text).expect("a calibration");
    for (cell, line) in found.cells.iter().zip(&truth.cells) {
        let (k, u) = cell.kg_per_count.zip(cell.u_kg_per_count).expect("determined");
        let allowed = 5.0 * u + unstated * line.kg_per_count.abs();
        assert!((k - line.kg_per_count).abs() < allowed, "{}: {k} against {}", cell.name, line.kg_per_count);
    }
    found
}

#[test]
fn a_guided_calibration_outlives_a_kill_and_finds_the_true_gains() {
    let folder = folder();
    let path = folder.path();
    let args = ["--masses", "masses.csv", "--twin", SEED, "--speed", "50", "-o", "run"];
    let mut running = bench(path, &args);
    assert_eq!(state(&running)["stage"], "touch");
    // No reading before the touch check was made or left out.
    assert_eq!(step(&running, "do/take").status, 409);
    when_settled(&running, "do/begin-touch");
    press_everywhere(&running, 18);
    std::thread::sleep(Duration::from_millis(200));
    let judged = step(&running, "do/end-touch");
    assert_eq!(judged.status, 200, "{}", judged.body);
    assert_eq!(state(&running)["touch"]["found"], json!([]), "nothing is wrong with this deck");

    let n = state(&running)["steps"].as_array().expect("steps").len();
    for row in 0..n {
        if row == n / 2 {
            // The power goes; whatever was taken is on the disk.
            running.child.kill().expect("killed");
            running.child.wait().expect("ended");
            drop(running);
            running = bench(path, &args);
            assert_eq!(state(&running)["next"], row, "it goes on where it stood");
        }
        step(&running, "hands/next");
        when_settled(&running, "do/take");
    }
    let end = state(&running);
    assert_eq!(end["stage"], "done");
    assert_eq!(end["files"], json!(["calibration.json", "certificate.html", "run.csv"]));
    assert_eq!(end["found"]["determined"], 18, "{}", end["found"]);
    assert_eq!(end["found"]["findings"], json!([]), "no reading was taken while its load was still being put down");

    // Bow and creep.
    let found = the_true_gains_were_found(path, 5e-4);
    a_document_lies_there_in_both_languages(path, &running);
    // What the verb makes of the kept run is the same.
    let by_hand = common::bedplate(path, &["calibrate", "deck.toml", "run/run.csv", "--json"]);
    let by_hand = common::json(&by_hand);
    let sd = (by_hand["residual_sd_g"].as_f64(), found.residual_sd_g);
    assert!((sd.0.expect("a number") - sd.1).abs() < 1e-6, "{sd:?}");
    drop(running);

    // Other masses, the same folder: what was kept is not overwritten.
    fs::write(path.join("other.csv"), MASSES.replace("20,0.6", "15,0.5")).expect("written");
    let other = common::bedplate(
        path,
        &["bench", "deck.toml", "--masses", "other.csv", "--twin", "7", "-o", "run", "--port", "0"],
    );
    assert_eq!(other.status, 2);
    assert!(other.err.contains("guide.json") && other.err.contains("another plan"), "{}", other.err);
}

/// Nobody moves a hand unless told: a reading is of the load that is asked for, or of what somebody takes all the same.
#[test]
fn a_reading_of_what_is_not_there_is_refused_with_what_is() {
    let folder = folder();
    let running = bench(folder.path(), &["--masses", "masses.csv", "--twin", SEED, "--speed", "50", "-o", "run"]);
    let live = || running.ask("GET", "/guide/live", None, None).json();
    let settled = || {
        let from = Instant::now();
        while live()["settled"] != true {
            assert!(from.elapsed() < Duration::from_secs(60));
            std::thread::sleep(Duration::from_millis(30));
        }
    };
    assert_eq!(step(&running, "do/leave-touch-out").status, 200);
    assert_eq!((&live()["stage"], &live()["next"]), (&json!("place"), &json!(0)), "a second page follows by these");
    // Readings without load need no hand between them.
    for _ in 0..3 {
        when_settled(&running, "do/take-if-moved");
    }
    // The body of the fourth is not there.
    settled();
    let asked = state(&running)["steps"][3].clone();
    assert_eq!(asked["mass_kg"], 20.0, "{asked}");
    let by_itself = step(&running, "do/take-if-moved");
    assert!(by_itself.status == 409 && by_itself.body.contains("not moved"), "{}", by_itself.body);
    let pressed = step(&running, "do/take");
    assert!(pressed.status == 409 && pressed.body.contains("0.00 kg came onto plate"), "{}", pressed.body);
    assert!(live()["doubt"].as_str().is_some_and(|words| words.contains("20.00 kg are asked for")), "{}", live());
    assert_eq!(live()["next"], 3);

    // It is put there: nothing is doubted. It stays there, and the next step asks for something else.
    step(&running, "hands/next");
    when_settled(&running, "do/take-if-moved");
    settled();
    let still = step(&running, "do/take-if-moved");
    assert!(still.status == 409 && still.body.contains("not moved"), "{}", still.body);
    let refused = step(&running, "do/take");
    assert!(refused.status == 409, "{}", refused.body);
    assert_eq!(live()["next"], 4, "{}", refused.body);
    // Who knows better says so.
    let taken = running.ask("POST", "/guide/do/take", None, Some(&json!({ "at": 4, "all_the_same": true })));
    assert_eq!(taken.status, 200, "{}", taken.body);
    assert_eq!(live()["next"], 5);
    // One step back the load that stands there is no reading by itself either.
    assert_eq!(step(&running, "do/back").status, 200);
    settled();
    assert_eq!(step(&running, "do/take-if-moved").status, 409);
    // On the empty deck what still stands there is named.
    while !state(&running)["steps"][live()["next"].as_u64().expect("a number") as usize]["place"].is_null() {
        step(&running, "hands/next");
        when_settled(&running, "do/take");
    }
    settled();
    let full = step(&running, "do/take");
    assert!(full.status == 409 && full.body.contains("is everything off?"), "{}", full.body);
    step(&running, "hands/next");
    when_settled(&running, "do/take-if-moved");
}

/// On a wire no two runs are alike: the hands that put bodies 1.5 mm beside their marks move one gain or another by some 0.1 %
/// from run to run, as found. A reading of the wrong load, which is what a wire can do, is off by per cents.
const ON_A_WIRE: f64 = 2e-3;

/// Does what each step asks, as a person would: puts the body there, waits until it has settled, takes the reading.
async fn steps(bench: &Served, deck: &WiredDeck, rows: std::ops::Range<usize>) {
    for row in rows {
        let step = state(bench)["steps"][row].clone();
        assert_eq!(step["done"], false, "{step}");
        let place = &step["place"];
        if place.is_null() {
            deck.take_off();
        } else {
            let number = |value: &Value| value.as_f64().expect("a number");
            let at_mm = [number(&place["x_mm"]), number(&place["y_mm"])];
            deck.put(place["plate"].as_str().expect("a plate"), at_mm, number(&step["mass_kg"]));
        }
        // A person takes seconds for it; here the new load must at least have come over the wire before a reading is asked for.
        deck.has_given(30).await;
        tokio::task::block_in_place(|| when_settled(bench, "do/take"));
    }
}

/// What the page is told of the counts, once it is so.
async fn live(bench: &Served, what: &str, is: impl Fn(&Value) -> bool) {
    let from = Instant::now();
    loop {
        let live = tokio::task::block_in_place(|| bench.ask("GET", "/guide/live", None, None)).json();
        if is(&live) {
            return;
        }
        assert!(from.elapsed() < Duration::from_secs(60), "{what} in vain: {live}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_calibration_is_guided_over_a_network_that_is_cut_in_between() {
    let folder = folder();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("bound").to_string();
    let bench = bench(folder.path(), &["--masses", "masses.csv", "--tcp", &address, "-o", "run"]);
    let deck = WiredDeck::new(SEED.parse().expect("a number"));
    let (stream, _) = listener.accept().await.expect("the bench connects");
    let wire = deck.gives_to(stream);
    assert_eq!(step(&bench, "do/leave-touch-out").status, 200);
    let n = state(&bench)["steps"].as_array().expect("steps").len();
    steps(&bench, &deck, 0..n / 2).await;
    // The cable is pulled: the page says so, and no reading is made of what was heard before.
    wire.abort();
    live(&bench, "silence", |live| live["silent"] == true).await;
    let refused = step(&bench, "do/take");
    assert!(refused.status == 409 && refused.body.contains("plug and cable"), "{}", refused.body);
    let (stream, _) = listener.accept().await.expect("the bench connects again");
    let _wire = deck.gives_to(stream);
    live(&bench, "counts", |live| live["silent"] == false).await;
    steps(&bench, &deck, n / 2..n).await;
    let end = state(&bench);
    assert_eq!((&end["stage"], &end["found"]["findings"]), (&json!("done"), &json!([])), "{}", end["found"]);
    the_true_gains_were_found(folder.path(), ON_A_WIRE);
}

/// A deck with a thermometer, in a room that is warmer from one third of the run to the next: each row keeps its temperature, so that
/// the fit can tell what goes with it.
#[tokio::test(flavor = "multi_thread")]
async fn a_guided_calibration_keeps_the_temperature_of_each_reading() {
    let folder = folder();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("bound").to_string();
    let bench = bench(folder.path(), &["--masses", "masses.csv", "--tcp", &address, "-o", "run"]);
    let deck = WiredDeck::new(SEED.parse().expect("a number"));
    let (stream, _) = listener.accept().await.expect("the bench connects");
    let _wire = deck.gives_to(stream);
    assert_eq!(step(&bench, "do/leave-touch-out").status, 200);
    let n = state(&bench)["steps"].as_array().expect("steps").len();
    let mut shown_c = Vec::new();
    for row in 0..n {
        shown_c.push(deck.bring_to([20.0, 30.0, 25.0][3 * row / n]));
        // A whole reading at the new temperature.
        deck.has_given(120).await;
        steps(&bench, &deck, row..row + 1).await;
    }
    let read = |name: &str| fs::read_to_string(folder.path().join("run").join(name)).expect("kept");
    let deck = formats::deck::read("deck.toml", twin::demo::DECK_TOML).expect("a deck");
    let run = formats::run::read("run.csv", &read("run.csv"), &deck).expect("a run");
    let kept_c: Vec<f64> = run.rows.iter().map(|r| r.temperature_c.expect("a temperature")).collect();
    assert!(kept_c.iter().zip(&shown_c).all(|(kept, shown)| (kept - shown).abs() < 0.01), "{kept_c:?} {shown_c:?}");
    let found = formats::calibration::read("calibration.json", &read("calibration.json")).expect("a calibration");
    let detail = found.detail.expect("a fit");
    let mean_c = shown_c.iter().sum::<f64>() / n as f64;
    assert!(detail.temperature_c.is_some_and(|c| (c - mean_c).abs() < 0.1), "{:?} {mean_c}", detail.temperature_c);
    let zero = detail.terms.iter().find(|t| t.term == "temperature on zero").expect("it was looked for");
    assert!(zero.kept, "ten degrees move the zeros of these cells: {zero:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_calibration_is_guided_over_a_serial_line() {
    let folder = folder();
    let (line, port) = tokio_serial::SerialStream::pair().expect("a pseudo-terminal");
    // The second end stays open, so that its name goes on to exist; the bench opens it anew by that name.
    let path = tokio_serial::SerialPort::name(&port).expect("a name");
    let bench = bench(folder.path(), &["--masses", "masses.csv", "--serial", &path, "-o", "run"]);
    let deck = WiredDeck::new(SEED.parse().expect("a number"));
    let _wire = deck.gives_to(line);
    assert_eq!(step(&bench, "do/leave-touch-out").status, 200);
    let n = state(&bench)["steps"].as_array().expect("steps").len();
    steps(&bench, &deck, 0..n).await;
    let end = state(&bench);
    assert_eq!((&end["stage"], &end["found"]["findings"]), (&json!("done"), &json!([])), "{}", end["found"]);
    the_true_gains_were_found(folder.path(), ON_A_WIRE);
    drop(port);
}
