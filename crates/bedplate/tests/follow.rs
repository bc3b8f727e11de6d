//! `weigh --follow` with the built binary: what comes out as it comes, bad lines, and `--state` through kills at random instants.

mod common;

use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use common::{bedplate, copy_of, json};
use serde_json::Value;

const FOLLOW: [&str; 6] = ["weigh", "deck.toml", "calibration.json", "--follow", "--actions", "actions.csv"];

/// The hand-kept bench of a child, with care and a blanket that is measured after it: 200 s at 2 Hz.
fn bench() -> (tempfile::TempDir, Vec<String>) {
    let folder = copy_of("hand");
    bedplate(folder.path(), &["calibrate", "deck.toml", "run.csv", "-o", "calibration.json"]);
    std::fs::write(
        folder.path().join("actions.csv"),
        "t_s,action,kg,note\n50,tare,,bedding\n69,patient_on,,\n120,hold,,\n135,release,,\n",
    )
    .unwrap();
    let recording = std::fs::read_to_string(folder.path().join("recording.csv")).unwrap();
    let mut lines: Vec<String> = recording.trim().lines().map(str::to_owned).collect();
    // A blanket of 0.8 kg, laid on by and by at 150 s and entered by nobody.
    let header: Vec<&str> = lines[0].trim_start_matches('\u{feff}').split(',').collect();
    let column = |name: &str| header.iter().position(|h| *h == name).unwrap();
    let gains = [(column("A"), 2.0e-4), (column("B"), 2.5e-4), (column("C"), 1.6e-4)];
    let t_at = column("t_s");
    for line in lines.iter_mut().skip(1) {
        let mut fields: Vec<String> = line.split(',').map(str::to_owned).collect();
        if fields[t_at].parse::<f64>().unwrap() >= 150.0 {
            for (at, gain) in gains {
                let counts: f64 = fields[at].parse().unwrap();
                fields[at] = format!("{}", (counts + 0.8 / 3.0 / gain).round());
            }
            *line = fields.join(",");
        }
    }
    std::fs::write(folder.path().join("recording.csv"), lines.join("\n") + "\n").unwrap();
    (folder, lines)
}

struct Following {
    child: Child,
    lines: Receiver<String>,
}

impl Following {
    fn start(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
            .current_dir(folder)
            .args(FOLLOW)
            .args(more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let (send, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| send.send(line)));
        Self { child, lines }
    }

    fn feed<'a>(&mut self, lines: impl IntoIterator<Item = &'a String>) {
        let mut text = String::new();
        lines.into_iter().for_each(|line| writeln!(text, "{line}").unwrap());
        // Who was killed reads no more.
        let _ = self.child.stdin.as_mut().unwrap().write_all(text.as_bytes());
    }

    /// The next line that comes out.
    fn line(&self) -> String {
        self.lines.recv_timeout(Duration::from_secs(60)).expect("a line within a minute")
    }

    fn end(mut self) -> Vec<Value> {
        drop(self.child.stdin.take());
        let documents = self.lines.iter().map(|line| serde_json::from_str(&line).unwrap()).collect();
        self.child.wait().unwrap();
        documents
    }
}

fn all<'a>(documents: &'a [Value], what: &'a str) -> impl Iterator<Item = &'a Value> {
    documents.iter().filter_map(move |document| document.get(what))
}

#[test]
fn what_follows_is_what_a_replay_gives() {
    let (folder, lines) = bench();
    let replay = json(&bedplate(
        folder.path(),
        &[
            "weigh",
            "deck.toml",
            "calibration.json",
            "recording.csv",
            "--actions",
            "actions.csv",
            "-o",
            "replayed.csv",
            "--json",
        ],
    ));
    let mut following = Following::start(folder.path(), &["--json", "-o", "followed.csv"]);
    following.feed(&lines);
    let documents = following.end();
    let file = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    assert_eq!(file("followed.csv"), file("replayed.csv"));
    let mut events: Vec<Value> = Vec::new();
    for document in documents.iter().filter(|document| document.get("event").is_some()) {
        let number = usize::try_from(document["number"].as_u64().unwrap()).unwrap();
        events.truncate(events.len().max(number));
        if number < events.len() {
            events[number] = document["event"].clone();
        } else {
            events.push(document["event"].clone());
        }
    }
    assert_eq!(Value::Array(events), replay["events"]);
    assert_eq!(all(&documents, "fault").cloned().collect::<Value>(), replay["faults"]);
    let report = all(&documents, "report").last().unwrap();
    for field in ["settled", "rows", "last", "tare_kg", "items", "open_kg", "open"] {
        assert_eq!(report[field], replay[field], "{field}");
    }
    assert!(report["open_kg"].as_f64().unwrap() > 0.7, "the blanket is asked about: {report}");
    let last = all(&documents, "weight").last().unwrap();
    assert_eq!(last["state"], "moving");
    assert!((last["open_kg"].as_f64().unwrap() - 0.8).abs() < 0.02, "{last}");
}

#[test]
fn a_row_comes_out_before_the_next_sample_goes_in() {
    let (folder, lines) = bench();
    let mut following = Following::start(folder.path(), &[]);
    following.feed(&lines[..2]);
    assert_eq!(following.line(), "t_s,patient_kg,u_kg,state,open_kg");
    assert_eq!(following.line(), "0,,,empty,0");
    // A row a second: two samples further.
    following.feed(&lines[2..4]);
    assert_eq!(following.line(), "1,,,empty,0");
    following.child.kill().unwrap();
    following.child.wait().unwrap();
}

/// Rows are asked for every ten minutes; what somebody enters meanwhile does not wait for one.
#[test]
fn what_is_entered_does_not_wait_for_a_row() {
    let (folder, lines) = bench();
    let mut following = Following::start(folder.path(), &["--json", "--every", "600"]);
    following.feed(&lines[..4]);
    assert!(following.line().contains("\"state\":\"empty\""), "the first row");
    let path = folder.path().join("actions.csv");
    let known = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, known + "160,add,0.8,blanket\n").unwrap();
    following.feed(&lines[4..]);
    let documents = following.end();
    let report = all(&documents, "report").last().unwrap();
    assert!(report["open_kg"].as_f64().unwrap().abs() < 1e-9, "{report}");
}

#[test]
fn bad_lines_are_told_by_number_and_cost_nothing() {
    let (folder, mut lines) = bench();
    let clean = {
        let mut following = Following::start(folder.path(), &["--json"]);
        following.feed(&lines);
        following.end()
    };
    // Torn, noisy, foreign and empty lines between good ones.
    for (at, bad) in
        [(30, "22094,15"), (90, "a,b,c,d,e"), (91, "\u{1}\u{2}\"\u{3}"), (200, ""), (300, "1,2,3,4,5,6,7,8,9")]
    {
        lines.insert(at, bad.to_owned());
    }
    std::fs::write(folder.path().join("live.csv"), lines.join("\n") + "\n").unwrap();
    let ran = bedplate(folder.path(), &[&FOLLOW[..], &["live.csv", "--json"]].concat());
    assert_eq!(ran.status, 0, "{}", ran.err);
    let documents: Vec<Value> = ran.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(documents, clean);
    for line in ["live.csv:31", "live.csv:91", "live.csv:92", "live.csv:301"] {
        assert!(ran.err.contains(line), "{line}: {}", ran.err);
    }
    assert_eq!(ran.err.matches("passed over").count(), 4, "{}", ran.err);
}

#[test]
fn killed_at_random_instants_it_goes_on_with_the_same_accounts() {
    let (folder, lines) = bench();
    let whole = {
        let mut following = Following::start(folder.path(), &["--json"]);
        following.feed(&lines);
        following.end()
    };
    let whole = all(&whole, "report").last().unwrap().clone();
    // Not drawn anew with each run: a failure comes back.
    let mut draw = 20_311_204_u64;
    let mut next = move |below: usize| {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(draw >> 33).unwrap() % below
    };
    for run in 0..6 {
        let state = format!("state-{run}");
        let mut fed = 1;
        while fed < lines.len() {
            let mut following = Following::start(folder.path(), &["--json", "--state", &state]);
            // The deck sends again what nobody acknowledged, from its beginning; what was weighed is passed over.
            fed = lines.len().min(fed + 40 + next(160));
            following.feed(&lines[..fed]);
            if fed == lines.len() {
                let documents = following.end();
                let report = all(&documents, "report").last().unwrap();
                let close = |field: &str| {
                    let (a, b) = (report[field].as_f64(), whole[field].as_f64());
                    // Levels before and after a pause differ by their noise: some counts of 0.2 g.
                    assert!((a.unwrap() - b.unwrap()).abs() < 0.01, "{run} {field}: {a:?}, without a kill {b:?}");
                };
                close("tare_kg");
                close("items_kg");
                close("open_kg");
                assert_eq!(report["last"]["state"], whole["last"]["state"], "run {run}");
                let kg = |report: &Value| report["last"]["patient_kg"].as_f64().unwrap();
                assert!((kg(report) - kg(&whole)).abs() < 0.01, "run {run}: {} {}", kg(report), kg(&whole));
            } else {
                // Somewhere between reading the first of these lines and the last, also within a write.
                std::thread::sleep(Duration::from_micros(u64::try_from(next(30_000)).unwrap()));
                following.child.kill().unwrap();
                following.child.wait().unwrap();
            }
        }
    }
}

#[test]
fn a_torn_record_brings_the_one_before_it_back() {
    let (folder, lines) = bench();
    let mut following = Following::start(folder.path(), &["--json", "--state", "state"]);
    following.feed(&lines[..250]);
    let first = following.end();
    let tare = all(&first, "report").last().unwrap()["tare_kg"].clone();
    assert!(tare.as_f64().is_some());
    let path = folder.path().join("state");
    let good = std::fs::read(&path).unwrap();
    let resumed = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        let head = lines[0].clone();
        std::fs::write(folder.path().join("rest.csv"), [&[head], &lines[250..]].concat().join("\n") + "\n").unwrap();
        bedplate(folder.path(), &[&FOLLOW[..], &["rest.csv", "--json", "--state", "state"]].concat())
    };
    const PLACE: usize = 1 << 17;
    for place in [0, PLACE] {
        let mut torn = good.clone();
        torn[place + 200..(place + 300).min(good.len())].fill(0);
        let ran = resumed(&torn);
        assert_eq!(ran.status, 0, "{}", ran.err);
        let report: Value = serde_json::from_str(ran.out.lines().last().unwrap()).unwrap();
        assert_eq!(report["report"]["tare_kg"], tare, "place {place}");
    }
    // Both torn: nothing is made up.
    let mut torn = good.clone();
    torn[200] ^= 1;
    torn[PLACE + 200] ^= 1;
    let ran = resumed(&torn);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("state") && ran.err.contains("no whole record"), "{}", ran.err);
    // Another file that lies there is not written over.
    let ran = resumed(b"a shopping list\n");
    assert_eq!(ran.status, 2);
    assert_eq!(std::fs::read(&path).unwrap(), b"a shopping list\n");
    // The first write of all was cut short: begun anew, for nothing was kept before it.
    assert_eq!(resumed(&good[..100]).status, 0);
}

#[test]
fn a_file_of_weights_goes_on_behind_its_last_whole_row() {
    let (folder, lines) = bench();
    let path = folder.path().join("weights.csv");
    let mut following = Following::start(folder.path(), &["--state", "state", "-o", "weights.csv"]);
    following.feed(&lines[..200]);
    drop(following.child.stdin.take());
    following.child.wait().unwrap();
    let before = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, format!("{before}99.5,12.")).unwrap();
    let mut following = Following::start(folder.path(), &["--state", "state", "-o", "weights.csv"]);
    following.feed(&lines);
    drop(following.child.stdin.take());
    following.child.wait().unwrap();
    let after = std::fs::read_to_string(&path).unwrap();
    assert!(after.starts_with(&before));
    let times: Vec<f64> = after.lines().skip(1).map(|l| l.split(',').next().unwrap().parse().unwrap()).collect();
    assert_eq!(times.len(), 200, "a row a second, none twice, none lost");
    assert!(times.windows(2).all(|w| w[1] > w[0]));
}

#[test]
fn an_answer_that_is_entered_while_it_follows_is_taken_up() {
    let (folder, lines) = bench();
    let mut following = Following::start(folder.path(), &["--json"]);
    following.feed(&lines[..380]);
    while !following.line().contains("\"t_s\":185.0") {}
    let mut actions = std::fs::OpenOptions::new().append(true).open(folder.path().join("actions.csv")).unwrap();
    actions.write_all(b"186,add,,blanket\n").unwrap();
    following.feed(&lines[380..]);
    let documents = following.end();
    let report = all(&documents, "report").last().unwrap();
    assert_eq!(report["open"], serde_json::json!([]), "{report}");
    assert_eq!(report["items"][0]["name"], "blanket", "{report}");
    assert_eq!(report["last"]["state"], "settled");
}
