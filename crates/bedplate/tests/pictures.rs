//! Pictures of the pages for review, in `docs/pages`. BEDPLATE_WRITE_PICTURES=1 takes them anew; without it the test sees to it
//! that those in the folder are named, small, and all there. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;
mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use browser::Browser;
use invented_ward::ward;
use served::{OWN, Served};

/// A picture larger than this would burden the repository, bytes.
const BYTES_MOST: u64 = 150 * 1024;
/// Name, page, width, theme; those of the ward begin with `ward`.
const PICTURES: [(&str, &str, u32, &str); 16] = [
    ("overview", "/", 1280, "light"),
    ("design", "/design", 1280, "light"),
    ("workbench", "/workbench", 1280, "light"),
    ("workbench-dark", "/workbench", 1280, "dark"),
    ("guide", "/guide", 1280, "light"),
    ("tests", "/tests", 1280, "light"),
    ("tests-german", "/tests", 1280, "light"),
    ("verification", "/verification", 1280, "light"),
    ("twin", "/twin", 1280, "light"),
    ("weight-phone", "/weight", 390, "light"),
    ("ward", "/", 1280, "light"),
    ("ward-bedside", "/beds/A1", 1280, "light"),
    ("ward-bedside-phone-dark", "/beds/A1", 390, "dark"),
    ("ward-bedside-german", "/beds/A1", 1280, "light"),
    ("ward-patient", "/patients/A1-invented", 1280, "light"),
    ("ward-weights", "/beds/A1/weights", 1280, "dark"),
];

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../docs/pages")
}

#[test]
fn pictures_of_the_pages_are_there_small_and_named() {
    let list = std::fs::read_to_string(folder().join("README.md")).expect("a list of the pictures");
    for (name, ..) in PICTURES {
        let file = format!("{name}.png");
        let bytes = std::fs::metadata(folder().join(&file)).unwrap_or_else(|e| panic!("{file}: {e}")).len();
        assert!(bytes <= BYTES_MOST, "{file} has {bytes} bytes, expected at most {BYTES_MOST}");
        assert!(list.contains(&format!("({file})")), "{file} is not in the list");
    }
}

/// The running demo; ended when dropped.
fn demo() -> Served {
    let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .args(["demo", "--port", "0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the binary starts");
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let line =
        out.lines().map_while(Result::ok).find(|l| l.contains("http://127.0.0.1:")).expect("it prints its address");
    let address = line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).expect("an address").to_owned();
    Served { child, address, secret: None }
}

#[tokio::test(flavor = "multi_thread")]
async fn pictures_are_taken_where_they_are_asked_for() {
    if std::env::var_os("BEDPLATE_WRITE_PICTURES").is_none() {
        return;
    }
    std::fs::create_dir_all(folder()).expect("a folder");
    let browser = Browser::start().await;
    let (demo, of_ward) = (demo(), ward());
    // Longer than the past that is lived through: the night goes on while the pictures are taken.
    let night = std::fs::read_to_string(of_ward.path().join("scenario.toml")).expect("a night");
    std::fs::write(of_ward.path().join("scenario.toml"), night.replace("hours = 12.0", "hours = 30.0"))
        .expect("written");
    let ward = Served::start(of_ward.path(), &["--past-hours", "24"]);
    let (_, nurse) = ward.accounts();
    let from = Instant::now();
    let is_live = |bed: serde_json::Value| bed["patient_kg"].is_number() && bed["link_up"] == true;
    while !is_live(ward.ask("GET", "/api/beds/A1", Some(&nurse), None).json()) {
        assert!(from.elapsed() < Duration::from_secs(300), "no live weight in five minutes");
        std::thread::sleep(Duration::from_millis(300));
    }
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/sign-in", ward.address)).await;
    browser.set_value("[name=account]", "nurse").await;
    browser.set_value("[name=password]", OWN).await;
    browser.click("form button").await;
    browser.wait_for("location.pathname === '/'").await;
    // Something to see: a night under way, a reading to take.
    browser.open(&format!("http://{}/twin", demo.address)).await;
    browser.set_value("#speed", "21600").await;
    browser.click_button("Begin").await;
    browser.open(&format!("http://{}/guide", demo.address)).await;
    browser.wait_for("document.querySelector('#main-step') !== null").await;
    browser.click_button("Leave it out").await;
    browser.click("#by-itself").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Step 4 of')").await;
    browser.open(&format!("http://{}/tests", demo.address)).await;
    browser.wait_for("document.querySelector('#main-step')?.ariaDisabled === 'false'").await;
    browser.click("#main-step").await;
    browser.wait_for("document.querySelector('#task').textContent.includes(', 2 of ')").await;
    browser.click("#by-itself").await;
    // Every load until the fifty kilograms of the weighing test.
    for load in ["2", "25", "50"] {
        browser.wait_for(&format!("document.querySelector('#task').textContent.includes('put {load} kg')")).await;
        if load != "50" {
            browser.click("#hands").await;
        }
    }
    for (name, page, width, theme) in PICTURES {
        let address = if name.starts_with("ward") { &ward.address } else { &demo.address };
        browser.emulate(width, theme, "screen").await;
        browser.open(&format!("http://{address}{page}")).await;
        browser.number("(localStorage.setItem('bedplate-tour', 'over'), 1)").await;
        browser.open(&format!("http://{address}{page}")).await;
        if name.ends_with("german") {
            browser.click_button("Deutsch").await;
            browser.wait_for("document.documentElement.lang === 'de'").await;
        }
        tokio::time::sleep(Duration::from_millis(2500)).await;
        browser.screen(&folder().join(format!("{name}.png"))).await;
        if name.ends_with("german") {
            browser.click_button("English").await;
            // The choice is a journey of its own: the next page must not overtake it.
            browser.wait_for("document.documentElement.lang === 'en'").await;
        }
    }
    browser.stop().await;
}
