//! A guided verification through the built binary: every test that masses can make, cut off and taken up again; a wrong
//! calibration found out; counts over a wire; and begun by the calibration that was guided beside it.

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

/// Bodies of a service that reach Max; invented.
const MASSES: &str = "name,mass_kg,u_g,count\nF20,20,0.6,9\nF10,10,0.3,1\nF5,5,0.15,1\nF2,2,0.06,2\nF1,1,0.03,1\n\
    S100,0.1,0.003,1\nS20,0.02,0.001,2\n";
const SEED: &str = "7";
const NIGHT: &str = "name = \"a short night\"\nhours = 1.0\nrate_hz = 1.0\nstart = \"2031-03-04T18:00:00Z\"\n";

/// A folder with deck, masses, and a calibration of the cells that the twin draws from the seed.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    for (name, text) in [("deck.toml", twin::demo::DECK_TOML), ("masses.csv", MASSES), ("night.toml", NIGHT)] {
        fs::write(path.join(name), text).expect("written");
    }
    let made =
        common::bedplate(path, &["twin", "deck.toml", "--scenario", "night.toml", "--output", "b", "--seed", SEED]);
    assert_eq!(made.status, 0, "{}", made.err);
    let found = common::bedplate(path, &["calibrate", "deck.toml", "b/run.csv", "--output", "calibration.json"]);
    assert_eq!(found.status, 0, "{}", found.err);
    folder
}

fn bench(folder: &Path, more: &[&str]) -> Served {
    let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .current_dir(folder)
        .args(["bench", "deck.toml", "--port", "0", "--masses", "masses.csv", "-o", "run"])
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

const TWIN: [&str; 6] = ["--calibration", "calibration.json", "--twin", SEED, "--speed", "50"];

fn ask(bench: &Served, step: &str) -> Told {
    bench.ask("POST", &format!("/tests/{step}"), None, Some(&json!({})))
}

fn state(bench: &Served) -> Value {
    bench.ask("GET", "/tests/state", None, None).json()
}

fn next(state: &Value) -> usize {
    usize::try_from(state["next"].as_u64().expect("a number")).expect("few steps")
}

/// Asks until it is done; what is not settled yet is asked again.
fn when_settled(bench: &Served, what: &str) {
    when_settled_with(bench, what, &json!({}));
}

fn when_settled_with(bench: &Served, what: &str, entered: &Value) {
    let from = Instant::now();
    loop {
        let told = bench.ask("POST", &format!("/tests/{what}"), None, Some(entered));
        if told.status == 200 {
            return;
        }
        assert_eq!(told.status, 409, "{}", told.body);
        assert!(from.elapsed() < Duration::from_secs(60), "{what}: {}", told.body);
        std::thread::sleep(Duration::from_millis(30));
    }
}

/// Does one step as the invented hands do it; one of a load that lies is waited for.
fn one_step(bench: &Served) {
    let before = state(bench);
    let step = &before["steps"][next(&before)];
    if step["due_min"].as_f64().is_some_and(|minutes| minutes > 0.0) {
        let from = Instant::now();
        while next(&state(bench)) == next(&before) {
            assert!(from.elapsed() < Duration::from_secs(120), "{step}");
            std::thread::sleep(Duration::from_millis(100));
        }
        return;
    }
    let done = ask(bench, "hands/next");
    assert_eq!(done.status, 200);
    // What their inclinometer or thermometer shows goes into the field.
    when_settled_with(bench, "do/take", &json!({ "entered": done.json()["entered"] }));
}

fn kind_now(bench: &Served) -> String {
    let state = state(bench);
    state["steps"][next(&state)]["kind"].as_str().unwrap_or("none").to_owned()
}

fn verified(folder: &Path, calibration: &str) -> Value {
    common::json(&common::bedplate(folder, &["verify", "deck.toml", calibration, "run/tests.csv", "--json"]))
}

#[test]
fn every_test_is_guided_cut_off_twice_and_judged_like_the_verb() {
    let folder = folder();
    let path = folder.path();
    let mut running = bench(path, &TWIN);
    let begun = state(&running);
    let n = begun["steps"].as_array().expect("steps").len();
    assert!(n > 90 && begun["open"] == json!([]), "{n} steps, open {}", begun["open"]);

    // To the third load of the weighing test; what is not there is not taken unasked.
    while kind_now(&running) == "zero" {
        one_step(&running);
    }
    for _ in 0..3 {
        one_step(&running);
    }
    let wrong = ask(&running, "do/take-if-near");
    assert!(wrong.status == 409, "{}", wrong.body);
    let stood = next(&state(&running));
    // The second of a double press was meant for the step before: nothing is taken, left out or taken back by it.
    for step in ["do/take", "do/leave-out", "do/back"] {
        let late = running.ask("POST", &format!("/tests/{step}"), None, Some(&json!({ "at": stood - 1 })));
        assert!(late.status == 409 && late.body.contains("no longer under way"), "{step}: {}", late.body);
    }
    let broken = running.ask("POST", "/tests/do/back", None, Some(&json!({ "at": "soon" })));
    assert!(broken.status == 400 && broken.body.contains("whole number"), "{}", broken.body);
    assert_eq!(next(&state(&running)), stood);
    assert!(state(&running)["drawing"].as_str().is_some_and(|svg| svg.contains("F20") || svg.contains("F5")));

    // The power goes; whatever was taken is on the disk.
    running.child.kill().expect("killed");
    running.child.wait().expect("ended");
    drop(running);
    running = bench(path, &TWIN);
    assert_eq!(next(&state(&running)), stood, "it goes on where it stood");
    while kind_now(&running) != "tare" {
        one_step(&running);
    }
    no_tare_is_set_of_what_still_lies_there(&running);
    while kind_now(&running) != "creep" {
        one_step(&running);
    }
    let lies_from = next(&state(&running));
    for _ in 0..3 {
        one_step(&running);
    }
    running.child.kill().expect("killed");
    running.child.wait().expect("ended");
    drop(running);
    running = bench(path, &TWIN);
    a_reading_that_cannot_be_kept_is_told_and_taken_later(path, &running);
    running.child.kill().expect("killed");
    running.child.wait().expect("ended");
    drop(running);
    running = bench(path, &TWIN);
    assert_eq!(next(&state(&running)), lies_from, "the clock of a load that lies went with the power: it begins anew");
    running = a_tilt_cut_off_in_its_middle(path, running);
    running = a_temperature_cut_off_in_its_middle(path, running);
    while state(&running)["stage"] == "place" {
        one_step(&running);
    }

    let end = state(&running);
    assert_eq!(
        (&end["passed"], &end["files"]),
        (&json!(true), &json!(["evidence.html", "tests.csv"])),
        "{}",
        end["tests"]
    );
    let report = verified(path, "calibration.json");
    assert_eq!(report["passed"], true, "{report}");
    // R 76-1 asks for no more of these kinds than was done, but for a wider range of temperature than the deck is for: nothing is
    // missing that masses can show.
    for test in report["tests"].as_array().expect("tests") {
        let open = match test["test"].as_str() {
            Some("temperature") => {
                json!(["the deck is for 6 °C from cold to warm, class III asks for at least 30 °C (3.9.2.2, memory)"])
            }
            _ => json!([]),
        };
        assert_eq!(test["gaps"], open, "{}", test["test"]);
    }
    assert_eq!(report["not_tested"], json!([]));
    at_the_angles_and_temperatures_that_were_entered(&report);
    // The half hour was one by the deck's clock.
    let creep = report["tests"].as_array().expect("tests").iter().find(|t| t["test"] == "creep").expect("creep");
    let minutes: Vec<f64> =
        creep["rows"].as_array().expect("rows").iter().filter_map(|r| r["minutes"].as_f64()).collect();
    assert!(minutes.contains(&15.0) && minutes.contains(&30.0), "{minutes:?}");
    // A good deck shows what stands there: the twin's cells keep to their data sheet, some 0.02 % of 200 kg each way.
    let weighing =
        report["tests"].as_array().expect("tests").iter().find(|t| t["test"] == "weighing").expect("weighing");
    assert!(weighing["worst_error_g"].as_f64().is_some_and(|g| g > 0.0 && g < 60.0), "{weighing}");
    let evidence = fs::read_to_string(path.join("run/evidence.html")).expect("kept");
    // Whoever starts the command again gets the evidence of then: its time is that of the last step.
    drop(running);
    std::thread::sleep(Duration::from_millis(1100));
    running = bench(path, &TWIN);
    assert_eq!(state(&running)["stage"], "done");
    let again = fs::read_to_string(path.join("run/evidence.html")).expect("kept");
    assert!(again == evidence, "the evidence was written anew with another time");
    for said in ["A.4.1.6", "3.9.1.1", "3.9.2.3", "back at 65°", "at 19 °C"] {
        assert!(evidence.contains(said), "{said}");
    }
    drop(running);

    // Another calibration, the same folder: what was kept is not overwritten.
    let text = fs::read_to_string(path.join("calibration.json")).expect("a calibration");
    let mut other: Value = serde_json::from_str(&text).expect("JSON");
    other["made_at"] = "2031-01-01T00:00:00Z".into();
    fs::write(path.join("other.json"), other.to_string()).expect("written");
    let told = common::bedplate(
        path,
        &[
            "bench",
            "deck.toml",
            "--masses",
            "masses.csv",
            "--calibration",
            "other.json",
            "--twin",
            SEED,
            "-o",
            "run",
            "--port",
            "0",
        ],
    );
    assert_eq!(told.status, 2);
    assert!(told.err.contains("verification.json") && told.err.contains("2031-01-01"), "{}", told.err);
}

/// The loads of the test before still lie when the tare is due.
fn no_tare_is_set_of_what_still_lies_there(running: &Served) {
    let from = Instant::now();
    let live = || running.ask("GET", "/tests/live", None, None).json();
    while live()["settled"] != true {
        assert!(from.elapsed() < Duration::from_secs(60), "{}", live());
        std::thread::sleep(Duration::from_millis(30));
    }
    let before = state(running);
    assert_eq!(before["steps"][next(&before)]["act"], "set-tare");
    assert_eq!((&live()["near"], &live()["stage"]), (&json!(false), &json!("place")), "{}", live());
    for asked in ["do/take-if-near", "do/take"] {
        let told = ask(running, asked);
        assert!(told.status == 409 && told.body.contains("another load"), "{asked}: {}", told.body);
    }
    assert_eq!(next(&state(running)), next(&before));
}

/// The folder is away as a reading falls due: the page is told why that waits, and it is taken once the folder is back.
fn a_reading_that_cannot_be_kept_is_told_and_taken_later(path: &Path, running: &Served) {
    one_step(running);
    let waiting = next(&state(running));
    fs::rename(path.join("run"), path.join("away")).expect("moved");
    let from = Instant::now();
    let live = || running.ask("GET", "/tests/live", None, None).json();
    while !live()["waits_because"].as_str().is_some_and(|why| why.contains("could not be kept")) {
        assert!(from.elapsed() < Duration::from_secs(120), "{}", live());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(next(&state(running)), waiting, "what is not kept is not done");
    fs::rename(path.join("away"), path.join("run")).expect("moved back");
    while next(&state(running)) == waiting {
        assert!(from.elapsed() < Duration::from_secs(120), "{}", live());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(live()["waits_because"], Value::Null);
}

fn cut_off(path: &Path, mut running: Served) -> Served {
    let (stood, rows) = (next(&state(&running)), state(&running)["steps"].clone());
    running.child.kill().expect("killed");
    running.child.wait().expect("ended");
    drop(running);
    let running = bench(path, &TWIN);
    let again = state(&running);
    assert_eq!((next(&again), &again["steps"]), (stood, &rows), "it goes on where it stood");
    running
}

/// Up to a raised section's first loaded reading, with what is no angle refused; killed there, and taken up again.
fn a_tilt_cut_off_in_its_middle(path: &Path, running: Served) -> Served {
    while kind_now(&running) != "tilt" {
        one_step(&running);
    }
    let setting = |running: &Served| {
        let state = state(running);
        state["steps"][next(&state)]["setting"]["tilt"].clone()
    };
    while setting(&running)["deg"] == 0.0 {
        one_step(&running);
    }
    let raised = state(&running);
    let step = &raised["steps"][next(&raised)];
    assert_eq!(
        (&step["load_kg"], &step["by_press"], &raised["ask"]["what"]),
        (&json!(0.0), &json!(true), &json!("angle"))
    );
    // 50 kg at some 65°: tan 65° · 0.1° · 50 kg is 187 g; who reads the angle of the empty plate is to know.
    assert!(raised["ask"]["slip_g"].as_f64().is_some_and(|g| (g - 187.0).abs() < 1.0), "{}", raised["ask"]);
    // The bed is drawn with the section at its angle, though nothing stands on it.
    assert!(raised["drawing"].as_str().is_some_and(|svg| svg.contains("back 65°")), "{}", raised["drawing"]);
    let shown = ask(&running, "hands/next").json()["entered"].as_f64().expect("an inclinometer's figure");
    for (entered, said) in [
        (json!("steep"), "expected a number of degrees"),
        (json!("NaN"), "expected a number of degrees"),
        (json!(1e9), "expected 55 to 75°: 65° are asked for"),
        (json!(-65.0), "expected 55 to 75°"),
        (json!(""), "inclinometer"),
        (Value::Null, "inclinometer"),
    ] {
        let told = running.ask("POST", "/tests/do/take", None, Some(&json!({ "entered": entered })));
        assert!(told.status == 422 && told.body.contains(said), "{entered}: {} {}", told.status, told.body);
    }
    let unasked = running.ask("POST", "/tests/do/take-if-near", None, Some(&json!({ "entered": shown })));
    assert!(unasked.status == 409 && unasked.body.contains("taken by a press"), "{}", unasked.body);
    when_settled_with(&running, "do/take", &json!({ "entered": shown }));
    let running = cut_off(path, running);
    let loaded = state(&running);
    assert_eq!(loaded["ask"]["value"], json!(shown), "what was entered is still there");
    let moved = running.ask("POST", "/tests/do/take", None, Some(&json!({ "entered": shown - 3.0 })));
    assert!(moved.status == 422 && moved.body.contains("for the reading without load"), "{}", moved.body);
    one_step(&running);
    running
}

/// Into the second temperature, with what is none refused; killed there, and taken up again.
fn a_temperature_cut_off_in_its_middle(path: &Path, running: Served) -> Served {
    while kind_now(&running) != "temperature" {
        one_step(&running);
    }
    for entered in [json!("warm"), json!(1e9), json!(-80), json!("1e400")] {
        let told = running.ask("POST", "/tests/do/take", None, Some(&json!({ "entered": entered })));
        assert!(told.status == 422 && told.body.contains("as the temperature"), "{entered}: {}", told.body);
    }
    for _ in 0..6 {
        one_step(&running);
    }
    cut_off(path, running)
}

/// The rows of tests.csv carry what was entered; `verify` judges them at these angles and temperatures.
fn at_the_angles_and_temperatures_that_were_entered(report: &Value) {
    let rows = |kind: &str| {
        let tests = report["tests"].as_array().expect("tests");
        let test = tests.iter().find(|t| t["test"] == kind).expect("the kind was tested").clone();
        assert_eq!(test["passed"], true, "{test}");
        test["rows"].as_array().expect("rows").clone()
    };
    let tilts = rows("tilt");
    let angle = |row: &Value| row["tilt_deg"].as_f64().expect("an angle");
    let near = |asked: f64| tilts.iter().filter(|r| (angle(r) - asked).abs() < 1.5).count();
    // Two plates on the back, two on the legs, each empty and loaded; flat counts for both sections.
    assert_eq!((near(0.0), near(65.0), near(-15.0), near(25.0), tilts.len()), (8, 4, 4, 4, 20));
    for pair in tilts.chunks(2) {
        assert!((angle(&pair[0]) - angle(&pair[1])).abs() < 1e-9, "a pair is judged as one angle: {pair:?}");
    }
    // No motor stops at the very angle: it is the entered one that is on record.
    assert!(tilts.iter().any(|r| angle(r) != 0.0 && angle(r).fract() != 0.0), "{tilts:?}");
    let warm: Vec<f64> = rows("temperature").iter().filter_map(|r| r["temperature_C"].as_f64()).collect();
    assert!(warm.iter().any(|c| *c < 19.5) && warm.iter().any(|c| *c > 24.5), "{warm:?}");
}

/// A calibration whose gain of one cell is 3 % too large: the load over that cell is shown wrong by more than its limit.
#[test]
fn a_wrong_gain_misses_the_limit_over_its_own_support() {
    let folder = folder();
    let path = folder.path();
    let mut wrong: Value =
        serde_json::from_str(&fs::read_to_string(path.join("calibration.json")).expect("kept")).expect("JSON");
    let cell = wrong["cells"].as_array_mut().expect("cells").iter_mut().find(|c| c["name"] == "S2").expect("a cell S2");
    cell["kg_per_count"] = (cell["kg_per_count"].as_f64().expect("a gain") * 1.03).into();
    fs::write(path.join("calibration.json"), wrong.to_string()).expect("written");
    let running = bench(path, &TWIN);
    while state(&running)["stage"] == "place" {
        match kind_now(&running).as_str() {
            "zero" | "eccentricity" => one_step(&running),
            _ => assert_eq!(ask(&running, "do/leave-out").status, 200),
        }
    }
    let end = state(&running);
    assert_eq!(end["passed"], false);
    let worst = |s: &&Value| s["kind"] == "eccentricity" && s["became"] == "taken";
    let missed: Vec<&str> = end["steps"]
        .as_array()
        .expect("steps")
        .iter()
        .filter(worst)
        .filter(|s| s["error_g"].as_f64().is_some_and(|g| g.abs() > 50.0))
        .filter_map(|s| s["step"].as_str())
        .collect();
    assert_eq!(missed, ["S2"]);
    let report = verified(path, "calibration.json");
    assert_eq!((&report["passed"], report["tests"].as_array().map(Vec::len)), (&json!(false), Some(2)), "{report}");
    // What needs a bed that moves and a chamber stays open, and is named.
    let open = end["open"].to_string();
    assert!(open.contains("tilt: each moving section") && open.contains("temperature: over the range"), "{open}");
    let not_tested = report["not_tested"].to_string();
    assert!(not_tested.contains("tilt") && not_tested.contains("temperature"), "{not_tested}");
    // One step back the last test that was left out is there again.
    assert_eq!(ask(&running, "do/back").status, 200);
    assert_eq!(kind_now(&running), "temperature");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_verification_is_guided_over_a_network_that_is_cut_in_between() {
    let folder = folder();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("bound").to_string();
    let bench = bench(folder.path(), &["--calibration", "calibration.json", "--tcp", &address]);
    let deck = WiredDeck::new(SEED.parse().expect("a number"));
    let (stream, _) = listener.accept().await.expect("the bench connects");
    let mut wire = deck.gives_to(stream);
    // A zero is not set of a body that stands there.
    deck.put("seat", [300.0, 300.0], 20.0);
    deck.has_given(130).await;
    tokio::task::block_in_place(|| {
        let from = Instant::now();
        while bench.ask("GET", "/tests/live", None, None).json()["settled"] != true {
            assert!(from.elapsed() < Duration::from_secs(60));
            std::thread::sleep(Duration::from_millis(30));
        }
        let told = ask(&bench, "do/take");
        assert!(told.status == 409 && told.body.contains("another load"), "{}", told.body);
    });
    let (mut is_cut, mut n_refused) = (false, 0);
    loop {
        let now = state(&bench);
        if now["stage"] == "done" {
            break;
        }
        let step = &now["steps"][next(&now)];
        match step["kind"].as_str().expect("a kind") {
            "zero" | "weighing" => {}
            // The line carries angles: nobody is asked for one, and where the bed does not stand so nothing is read.
            "tilt" => {
                assert_eq!(now["ask"], Value::Null, "{step}");
                let tilt = &step["setting"]["tilt"];
                let deg = tilt["deg"].as_f64().expect("an angle");
                if step["by_press"] == true && deg != 0.0 {
                    deck.take_off();
                    deck.has_given(130).await;
                    let refused = tokio::task::block_in_place(|| ask(&bench, "do/take"));
                    assert!(
                        refused.status == 409 && refused.body.contains("by the deck's own sensor"),
                        "{}",
                        refused.body
                    );
                    n_refused += 1;
                }
                let sections = ["back", "seat", "legs"];
                deck.stand(sections.iter().position(|s| tilt["section"] == *s).expect("a section"), deg);
            }
            _ => {
                assert_eq!(ask(&bench, "do/leave-out").status, 200);
                continue;
            }
        }
        if !is_cut && next(&now) == 6 {
            // The cable is pulled: no reading is made of what was heard before.
            is_cut = true;
            wire.abort();
            tokio::time::sleep(Duration::from_millis(3500)).await;
            let refused = ask(&bench, "do/take");
            assert!(refused.status == 409 && refused.body.contains("plug and cable"), "{}", refused.body);
            let (stream, _) = listener.accept().await.expect("the bench connects again");
            wire = deck.gives_to(stream);
        }
        let number = |value: &Value| value.as_f64().expect("a number");
        let bodies: Vec<(&str, [f64; 2], f64)> = step["bodies"]
            .as_array()
            .expect("bodies")
            .iter()
            .map(|b| {
                let at_mm = [number(&b["at_mm"][0]), number(&b["at_mm"][1])];
                (b["plate"].as_str().expect("a plate"), at_mm, number(&b["mass_kg"]))
            })
            .collect();
        if bodies.is_empty() {
            deck.take_off();
        } else {
            deck.put_all(&bodies);
        }
        deck.has_given(30).await;
        tokio::task::block_in_place(|| when_settled(&bench, "do/take"));
    }
    assert!(is_cut && n_refused == 3, "{n_refused} times before the bed was moved");
    let report = verified(folder.path(), "calibration.json");
    assert_eq!((&report["passed"], report["tests"].as_array().map(Vec::len)), (&json!(true), Some(3)), "{report}");
    let measured = |row: &Value| row["tilt_deg"].as_f64().is_some_and(|deg| deg.fract() != 0.0);
    let tilts = &report["tests"].as_array().expect("tests").iter().find(|t| t["test"] == "tilt").expect("tilt")["rows"];
    assert_eq!(tilts.as_array().expect("rows").iter().filter(|r| measured(r)).count(), 12, "{tilts}");
}

/// Without a calibration the page waits for the one that is guided beside it.
#[test]
fn a_verification_begins_with_the_calibration_that_was_guided_beside_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    fs::write(path.join("deck.toml"), twin::demo::DECK_TOML).expect("written");
    // A known body beside one of unknown mass: the second is no test load.
    fs::write(path.join("masses.csv"), "name,mass_kg,u_g,count\nF1,20,0.6,1\nF2,10,0.3,1\n").expect("written");
    let args = ["--twin", SEED, "--speed", "50"];
    let mut running = bench(path, &args);
    assert_eq!(state(&running)["stage"], "waits");
    assert_eq!(running.ask("POST", "/guide/do/leave-touch-out", None, Some(&json!({}))).status, 200);
    let guide = |running: &Served| running.ask("GET", "/guide/state", None, None).json();
    while guide(&running)["stage"] != "done" {
        assert_eq!(running.ask("POST", "/guide/hands/next", None, Some(&json!({}))).status, 200);
        let from = Instant::now();
        while running.ask("POST", "/guide/do/take", None, Some(&json!({}))).status != 200 {
            assert!(from.elapsed() < Duration::from_secs(60));
            std::thread::sleep(Duration::from_millis(30));
        }
    }
    assert_eq!(state(&running)["stage"], "place");
    one_step(&running);
    // The calibration keeps its time over a restart, and the verification its place.
    running.child.kill().expect("killed");
    running.child.wait().expect("ended");
    drop(running);
    running = bench(path, &args);
    let again = state(&running);
    assert_eq!((&again["stage"], &again["next"]), (&json!("place"), &json!(1)), "{again}");
}
