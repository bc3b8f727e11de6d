//! The pages of the demo in a real browser: every page, three widths, light and dark, by keyboard, with no error in the
//! console and no request to another server. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use browser::Browser;

/// The running demo; ended when dropped.
struct Demo {
    child: Child,
    address: String,
}

impl Drop for Demo {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn demo() -> Demo {
    let mut child = Command::new(env!("CARGO_BIN_EXE_bedplate"))
        .args(["demo", "--port", "0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the binary starts");
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let line = out
        .lines()
        .map_while(Result::ok)
        .find(|l| l.contains("http://127.0.0.1:"))
        .expect("the demo prints its address");
    let from = line.find("http://").expect("found above");
    let address = line[from..].split_whitespace().next().expect("not empty").trim_end_matches('/').to_owned();
    Demo { child, address }
}

const PAGES: [&str; 6] = ["/", "/design", "/calibration", "/verification", "/weight", "/balance"];

#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_whole_at_every_width_in_both_themes() {
    let demo = demo();
    let browser = Browser::start().await;
    for page in PAGES {
        for (width, name) in [(390, "phone"), (1280, "desk"), (2560, "wall")] {
            for theme in ["light", "dark"] {
                browser.emulate(width, theme, "screen").await;
                browser.open(&format!("{}{page}", demo.address)).await;
                browser.wait_for("document.documentElement.dataset.plots === 'drawn'").await;
                let wanted = browser.number("document.querySelectorAll('[data-plot]').length").await;
                browser.wait_for(&format!("document.querySelectorAll('.main-svg').length >= {wanted}")).await;
                let over = browser.number("document.documentElement.scrollWidth - innerWidth").await;
                assert!(over <= 0.0, "{page} at {width} px is {over} px too wide");
                let caution = browser.text("document.querySelector('.caution')?.textContent ?? ''").await;
                assert!(caution.contains("Not for dosing"), "{page} carries no caution");
                browser.picture(&format!("{}-{name}-{theme}", page.trim_start_matches('/').replace('/', "-"))).await;
            }
        }
        let outside = browser
            .text("JSON.stringify(performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith(location.origin) && !n.startsWith('data:') && !n.startsWith('blob:')))")
            .await;
        assert_eq!(outside, "[]", "{page} asks other servers");
        assert_eq!(browser.console_errors().await, Vec::<String>::new(), "{page}");
    }
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_job_can_be_walked_by_keyboard() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&demo.address).await;
    browser.press_tab().await;
    let first = browser.text("document.activeElement.textContent").await;
    assert_eq!(first, "To the content", "the first stop skips the way between the pages");
    // Overview, then Design.
    browser.press_tab().await;
    browser.press_tab().await;
    browser.press_enter().await;
    browser.wait_for("location.pathname === '/design'").await;
    let here = browser.text("document.querySelector('[aria-current=page]').textContent").await;
    assert_eq!(here, "Design");
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_prints_without_the_way_between_pages() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "dark", "print").await;
    for page in PAGES {
        browser.open(&format!("{}{page}", demo.address)).await;
        browser.wait_for("document.documentElement.dataset.plots === 'drawn'").await;
        tokio::time::sleep(Duration::from_millis(200)).await;
        let nav = browser.text("getComputedStyle(document.querySelector('nav.places')).display").await;
        assert_eq!(nav, "none");
        let paper = browser.text("getComputedStyle(document.documentElement).backgroundColor").await;
        assert_eq!(paper, "rgb(255, 255, 255)", "{page} prints on white whatever the theme");
        browser.print(&format!("{}-print", page.trim_start_matches('/'))).await;
    }
    browser.stop().await;
}
