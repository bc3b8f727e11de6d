//! The pages of the demo in a real browser: every page, three widths, light and dark, by keyboard, with no error in the
//! console and no request to another server. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;
mod common;

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

const PAGES: [&str; 10] =
    ["/", "/design", "/calibration", "/verification", "/weight", "/balance", "/workbench", "/guide", "/tests", "/twin"];
const MANUAL: [&str; 3] = ["/manual", "/manual/stages/design", "/manual/commands"];

/// Pages that ask the server for more once they are open say so when they have it.
async fn wait_for_words(browser: &Browser, page: &str) {
    let ready = match page.split('?').next().unwrap_or(page) {
        "/workbench" => "document.querySelector('#plan svg') !== null",
        "/guide" => "document.querySelectorAll('#counts tbody tr').length > 0",
        "/tests" => "document.querySelectorAll('#kinds tbody tr').length > 0",
        "/twin" => "document.documentElement.dataset.looked >= 1",
        _ => return,
    };
    browser.wait_for(ready).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_whole_at_every_width_in_both_themes() {
    let demo = demo();
    let browser = Browser::start().await;
    for page in PAGES {
        for (width, name) in [(360, "phone"), (1280, "desk"), (2560, "wall")] {
            for theme in ["light", "dark"] {
                browser.emulate(width, theme, "screen").await;
                browser.open(&format!("{}{page}", demo.address)).await;
                browser.wait_for("document.documentElement.dataset.plots === 'drawn'").await;
                let wanted = browser.number("document.querySelectorAll('[data-plot]').length").await;
                browser.wait_for(&format!("document.querySelectorAll('.main-svg').length >= {wanted}")).await;
                wait_for_words(&browser, page).await;
                let caution = browser.text("document.querySelector('.caution')?.textContent ?? ''").await;
                assert!(caution.contains("Not for dosing"), "{page} carries no caution");
                browser.assert_whole(&format!("{page} at {width} px, {theme}")).await;
                browser.picture(&format!("{}-{name}-{theme}", page.trim_start_matches('/').replace('/', "-"))).await;
            }
        }
    }
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_manual_is_whole_at_every_width_in_both_themes() {
    let demo = demo();
    let browser = Browser::start().await;
    for page in MANUAL {
        for width in [360, 1280, 2560] {
            for theme in ["light", "dark"] {
                browser.emulate(width, theme, "screen").await;
                browser.open(&format!("{}{page}", demo.address)).await;
                browser.assert_whole(&format!("{page} at {width} px, {theme}")).await;
            }
        }
    }
    browser.stop().await;
}

/// Words that no German sentence has; what the deck file, the twin's files and the chart call things is not the page's.
const ENGLISH: &str = "(() => { const names = /Hornbeam deck|adult, (flat|back at 30°)|elbow of a carer|Handbook of Statistical Methods/g; \
    const read = (document.querySelector('header.document') ? document.body : document.querySelector('main')).innerText.replace(names, '') + ' ' + [...document.querySelectorAll('[aria-label], [placeholder], svg title, svg text')].map((e) => e.getAttribute('aria-label') ?? e.getAttribute('placeholder') ?? e.textContent).join(' | ').replace(names, ''); \
    return [...read.matchAll(/\\b(the|and|of|by|with|from|not|is|are|to|for|weight|charted|weighed|since|settled|help|load|plate|cell|limit|error|found|kept|taken|over|under|step|test|reading|unexplained|uncertainty)\\b/gi)].map((m) => read.slice(Math.max(0, m.index - 40), m.index + 50)).join(' ¦ '); })()";

/// Numbers with a point: in German they have a comma. A clause of a standard, a time and an address keep their points.
const POINTS: &str =
    "[...document.body.innerText.matchAll(/(?<![\\w.]|Abschnitt )\\d+\\.\\d+(?![\\d.])/g)].map((m) => m[0]).join(' ')";

/// Whatever stands on a page, drawn by the server or by its script, is German where German was chosen.
#[tokio::test(flavor = "multi_thread")]
async fn every_page_speaks_german_where_it_was_chosen() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("{}/balance", demo.address)).await;
    assert!(
        browser.text(ENGLISH).await.contains("charted"),
        "a checker that finds nothing anywhere would prove nothing"
    );
    browser.click_button("Deutsch").await;
    browser.wait_for("document.documentElement.lang === 'de'").await;
    assert_eq!(browser.text("location.pathname").await, "/balance", "the page stays");
    // All that is left over at once, so that one run names it all.
    let mut left = Vec::new();
    for page in PAGES.iter().copied().chain(["/guide?tour", "/?tour"]) {
        browser.open(&format!("{}{page}", demo.address)).await;
        browser.wait_for("document.documentElement.dataset.plots === 'drawn'").await;
        let wanted = browser.number("document.querySelectorAll('[data-plot]').length").await;
        browser.wait_for(&format!("document.querySelectorAll('.main-svg').length >= {wanted}")).await;
        wait_for_words(&browser, page).await;
        // The text of a deck file is the file's.
        browser.number("(document.querySelectorAll('pre, textarea, code').forEach((e) => e.remove()), document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
        left.push(format!("{page}: {}", browser.text(ENGLISH).await));
        // A number has a comma; a clause of a standard, a time and an address keep their points.
        left.push(format!("{page}: {}", browser.text(POINTS).await));
        browser.assert_whole(&format!("{page} in German")).await;
        browser.picture(&format!("{}-german", page.trim_start_matches('/').replace(['/', '?'], "-"))).await;
    }
    left.retain(|words| !words.ends_with(": "));
    assert_eq!(left, Vec::<String>::new());
    // What the server answers is German too: a reading that cannot be taken, a deck file that is none.
    browser.open(&format!("{}/guide", demo.address)).await;
    browser.wait_for("document.querySelector('#main-step') !== null").await;
    let refused = "(async () => (await (await fetch('/guide/do/take', { method: 'POST', headers: { 'content-type': 'application/json' }, body: '{}' })).json()).problem)()";
    browser.number(&format!("({refused}.then((p) => {{ window.told = p; }}), 1)")).await;
    browser.wait_for("window.told !== undefined").await;
    assert_eq!(browser.text("window.told").await, "erst die Druckprobe machen oder auslassen");
    // A step of each guided page, said by its script.
    browser.click_button("Auslassen").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Schritt 1 von')").await;
    assert_eq!(browser.text(ENGLISH).await, "", "English in a guided calibration");
    browser.open(&format!("{}/tests", demo.address)).await;
    browser.wait_for("document.querySelector('#main-step')?.ariaDisabled === 'false'").await;
    browser.click("#main-step").await;
    browser.wait_for("document.querySelector('#task').textContent.includes(', 2 von ')").await;
    browser.click("#by-itself").await;
    browser.wait_for("document.querySelector('#chart svg') !== null").await;
    assert_eq!(browser.text(ENGLISH).await, "", "English in a guided verification");
    // A deck file with a mistake in it: what is wrong, in German; the line of the file, as it stands there.
    browser.open(&format!("{}/workbench", demo.address)).await;
    browser.wait_for("document.querySelector('#plan svg') !== null").await;
    browser.number("(document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
    let text = browser.text("document.querySelector('#text').value").await;
    browser.set_value("#text", &text.replacen("max_kg = 200.0", "max_kg = \"200 kg\"", 1)).await;
    browser.click("#apply").await;
    browser.wait_for("!document.querySelector('#problem').hidden").await;
    let problem = browser.text("document.querySelector('#problem').textContent").await;
    assert!(problem.contains("deck.max_kg: gefunden der Text `200 kg`, nötig eine Zahl über 0"), "{problem}");
    assert!(problem.contains("max_kg = \"200 kg\""), "{problem}");
    assert_eq!(browser.text(&ENGLISH.replace("'main'", "'#problem'")).await, "", "English about a deck file");
    browser.picture("workbench-problem-german").await;
    // A night of the twin, with what its weigher said.
    browser.open(&format!("{}/twin", demo.address)).await;
    browser.set_value("#speed", "0").await;
    browser.click_button("Beginnen").await;
    browser.wait_for("document.querySelectorAll('#events li').length > 2").await;
    assert_eq!(browser.text(ENGLISH).await, "", "English in a night of the twin");
    browser.click_button("English").await;
    browser.wait_for("document.documentElement.lang === 'en'").await;
    browser.stop().await;
}

/// Every document that the command line writes, in German, from the demo's files and from ones that have something to say: findings, a
/// cell left open, tests not made, points left open, signals.
fn german_documents() -> (tempfile::TempDir, Vec<&'static str>) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    let demo = common::bedplate(path, &["demo", "--no-serve", "--dir", "."]);
    assert_eq!(demo.status, 0, "{}", demo.err);
    let text = |name: &str| std::fs::read_to_string(path.join(name)).expect(name);
    let keep = |name: &str, text: String| std::fs::write(path.join(name), text).expect(name);
    // A run whose last reading of a load says another mass, and one that never loads the plate of the last rows.
    let run = text("run.csv");
    let first_loaded =
        run.lines().position(|l| l.contains(",25,")).or_else(|| run.lines().position(|l| l.contains(",20,")));
    let wrong = |(i, line): (usize, &str)| {
        if Some(i) == first_loaded {
            line.replacen(",20,", ",22,", 1).replacen(",25,", ",27,", 1)
        } else {
            line.to_owned()
        }
    };
    keep("wrong.csv", run.lines().enumerate().map(wrong).map(|l| l + "\n").collect());
    keep("short.csv", run.lines().take(12).map(|l| format!("{l}\n")).collect());
    // A few tests alone, none of them whole.
    let few = |line: &&str| line.starts_with("test,") || line.starts_with("weighing,") || line.starts_with("creep,");
    keep("few.csv", text("tests.csv").lines().filter(few).take(9).map(|l| format!("{l}\n")).collect());
    let pairs = "subject,reference,method,repeat,operator\n".to_owned()
        + &(0..20)
            .map(|i| {
                let (subject, operator, repeat) = (i / 4, ["one", "two"][i / 2 % 2], i % 2);
                let kg = 50.0 + 8.0 * f64::from(i as u8 / 4);
                format!("S{subject},{kg},{:.2},{repeat},{operator}\n", kg + 0.01 * f64::from((3 * i as u8) % 5))
            })
            .collect::<String>();
    keep("operators.csv", pairs);
    let checks = "time,standard,shown_kg,mass_kg,note\n".to_owned()
        + &(0..30)
            .map(|i| {
                let kg = 20.0 + [0.0, 0.003, -0.002, 0.001][i % 4] + if i > 20 { 0.02 } else { 0.0 };
                format!("2031-{:02}-{:02}T07:00:00Z,F1,{kg:.4},20,\n", 1 + i / 28, 1 + i % 28)
            })
            .collect::<String>();
    keep("drifted.csv", checks);
    keep("steady.csv", text("drifted.csv").lines().take(12).map(|l| l.replace(",20,", ",,") + "\n").collect());
    keep("certificate.toml", include_str!("../../formats/data/examples/certificate.toml").to_owned());
    let calls: [&[&str]; 11] = [
        &["check", "deck.toml", "--report"],
        &["plan", "deck.toml", "--masses", "masses.csv", "--report"],
        &["calibrate", "deck.toml", "run.csv", "--details", "certificate.toml", "--certificate"],
        &["calibrate", "deck.toml", "wrong.csv", "--certificate"],
        &["calibrate", "deck.toml", "short.csv", "--certificate"],
        &["verify", "deck.toml", "calibration.json", "tests.csv", "--report"],
        &["verify", "deck.toml", "calibration.json", "few.csv", "--in-service", "--report"],
        &["agree", "pairs.csv", "--report"],
        &["agree", "operators.csv", "--width", "0.01", "--proportional", "--report"],
        &["checks", "drifted.csv", "--deck", "deck.toml", "--report"],
        &["checks", "steady.csv", "--baseline", "8", "--deck", "deck.toml", "--report"],
    ];
    let names = [
        "check.html",
        "plan.html",
        "calibrate-whole.html",
        "calibrate-wrong.html",
        "calibrate-short.html",
        "verify.html",
        "verify-few.html",
        "agree.html",
        "agree-operators.html",
        "checks-drifted.html",
        "checks-steady.html",
    ];
    for (call, name) in calls.iter().zip(names) {
        let ran = common::bedplate(path, &[call, &[name, "--language", "de"][..]].concat());
        assert!(ran.status < 2, "{call:?}: {}", ran.err);
    }
    (folder, names.to_vec())
}

/// Whatever stands in a document is German where German was asked for: words, drawings, names for those who cannot see, signs of numbers.
#[tokio::test(flavor = "multi_thread")]
async fn every_document_speaks_german_where_it_was_asked_for() {
    let (folder, names) = german_documents();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    let english = common::bedplate(folder.path(), &["check", "deck.toml", "--report", "english.html"]);
    assert_eq!(english.status, 0, "{}", english.err);
    browser.open(&format!("file://{}", folder.path().join("english.html").display())).await;
    assert!(browser.text(ENGLISH).await.contains("load"), "a checker that finds nothing anywhere would prove nothing");
    // All that is left over at once, so that one run names it all.
    let mut left = Vec::new();
    for name in names {
        browser.open(&format!("file://{}", folder.path().join(name).display())).await;
        assert_eq!(browser.text("document.documentElement.lang").await, "de", "{name}");
        left.push(format!("{name}: {}", browser.text(ENGLISH).await));
        left.push(format!("{name}: {}", browser.text(POINTS).await));
        browser.assert_whole(&format!("{name} in German")).await;
        browser.picture(&format!("{}-german", name.trim_end_matches(".html"))).await;
        // On a sheet of A4, 177 mm of 96 px an inch between its margins, nothing is cut off.
        browser.emulate(669, "light", "print").await;
        let over = browser.number("document.documentElement.scrollWidth - document.documentElement.clientWidth").await;
        assert!(over <= 0.0, "{name} is {over} px too wide for its sheet");
        assert!(browser.print(&format!("{}-german", name.trim_end_matches(".html"))).await >= 1);
        browser.emulate(1280, "light", "screen").await;
    }
    left.retain(|words| !words.ends_with(": "));
    assert_eq!(left, Vec::<String>::new());
    browser.stop().await;
}

/// A checker that finds nothing anywhere would prove nothing.
#[cfg(feature = "accessibility-tests")]
#[tokio::test(flavor = "multi_thread")]
async fn the_accessibility_checker_finds_what_is_broken_on_purpose() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&demo.address).await;
    let spoil = "(document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=\"/static/icon.svg\"><p style=\"color:#999;background:#fff\">faint</p>'), 1)";
    browser.number(spoil).await;
    let faults = browser.accessibility_faults().await.join("\n");
    assert!(faults.contains("image-alt") && faults.contains("color-contrast"), "{faults}");
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
    browser.emulate(718, "dark", "print").await;
    for page in PAGES {
        browser.open(&format!("{}{page}", demo.address)).await;
        browser.wait_for("document.documentElement.dataset.plots === 'drawn'").await;
        tokio::time::sleep(Duration::from_millis(200)).await;
        let nav = browser.text("getComputedStyle(document.querySelector('nav.places')).display").await;
        assert_eq!(nav, "none");
        let paper = browser.text("getComputedStyle(document.documentElement).backgroundColor").await;
        assert_eq!(paper, "rgb(255, 255, 255)", "{page} prints on white whatever the theme");
        // A4 less two margins of 1 cm is 718 px wide: no plot may reach over it, nor into its own caption.
        let over = "[...document.querySelectorAll('[data-plot]')].filter((c) => [...c.querySelectorAll('.main-svg')].some((s) => s.getBoundingClientRect().width > 670 || s.getBoundingClientRect().bottom > c.getBoundingClientRect().bottom + 1)).map((c) => c.dataset.plot).join()";
        assert_eq!(browser.text(over).await, "", "plots that do not fit the paper of {page}");
        browser.print(&format!("{}-print", page.trim_start_matches('/'))).await;
    }
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_night_of_the_twin_is_watched_at_speed() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("{}/twin", demo.address)).await;
    browser.wait_for("document.documentElement.dataset.looked >= 1").await;
    browser.set_value("#speed", "3600").await;
    browser.click_button("Begin").await;
    browser.wait_for("document.querySelector('#bed svg') !== null").await;
    // Two hours into the night a patient lies there, and something was judged.
    browser.wait_for("document.querySelector('#progress').value > 0.03").await;
    browser.wait_for("/rows settled[1-9]/.test(document.querySelector('#card').textContent)").await;
    browser.wait_for("document.querySelectorAll('#curve .main-svg').length > 0").await;
    browser.assert_whole("a night under way").await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_first_visit_is_offered_a_tour_that_visits_every_page_and_ends() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&demo.address).await;
    browser.click_button("Take the tour").await;
    let mut visited = std::collections::BTreeSet::new();
    for stop in 1..=PAGES.len() {
        browser.wait_for(&format!("document.activeElement.textContent === 'Tour, {stop} of {}'", PAGES.len())).await;
        visited.insert(browser.text("location.pathname").await);
        browser.assert_whole(&format!("stop {stop} of the tour")).await;
        browser.click_button(if stop < PAGES.len() { "Next" } else { "Done" }).await;
    }
    assert_eq!(visited, PAGES.iter().map(|p| (*p).to_owned()).collect());
    browser.open(&demo.address).await;
    let offered = browser.text("document.querySelector('aside.tour') === null ? 'no' : 'yes'").await;
    assert_eq!(offered, "no", "it is offered once");
    browser.stop().await;
}

/// In the one table where it matters no verdict is beyond the edge of a phone.
#[tokio::test(flavor = "multi_thread")]
async fn verdicts_are_in_sight_on_a_phone() {
    let demo = demo();
    let browser = Browser::start().await;
    browser.emulate(360, "light", "screen").await;
    for page in ["/design", "/verification", "/workbench"] {
        browser.open(&format!("{}{page}", demo.address)).await;
        wait_for_words(&browser, page).await;
        let verdicts = "[...document.querySelectorAll('table .verdict')]";
        assert!(browser.number(&format!("{verdicts}.length")).await > 6.0, "{page}");
        let hidden = format!("{verdicts}.filter((v) => v.getBoundingClientRect().right > innerWidth).length");
        assert!(browser.number(&hidden).await < 0.5, "{page} hides verdicts");
    }
    browser.stop().await;
}
