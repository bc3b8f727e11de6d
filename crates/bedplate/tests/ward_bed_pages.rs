//! The page of one bed in a real browser: every action by pointer and keyboard, open questions, a live page, a lost connection. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]
#![expect(clippy::print_stdout, reason = "what was measured is to be read in the log")]

mod browser;
mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;
#[path = "common/ward_in_browser.rs"]
mod ward_in_browser;

use std::time::{Duration, Instant};

use browser::Browser;
use invented_ward::{large_ward, ward};
use serde_json::{Value, json};
use served::Served;
use ward_in_browser::{past, served, sign_in};

#[tokio::test(flavor = "multi_thread")]
async fn a_nurse_acts_at_the_bed_by_pointer_and_takes_it_back() {
    let (_folder, served, nurse) = served();
    let state = || served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["state"].clone();
    let browser = Browser::start().await;
    // A touch screen at the bed.
    browser.emulate(390, "dark", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.click("li.bed a").await;
    browser.wait_for("location.pathname === '/beds/A1'").await;
    // WCAG 2.2, 2.5.5 (AAA) asks for 44 px; a glove for more.
    let least = browser.number("Math.min(...[...document.querySelectorAll('.buttons button')].map((b) => b.getBoundingClientRect().height))").await;
    assert!(least >= 56.0, "a button of {least} px");
    browser.click_button("Hold: care begins").await;
    browser.wait_for("document.body.textContent.includes('held: the weight from before the care')").await;
    assert_eq!(state(), "held");
    browser.click_button("Take it back").await;
    browser.wait_for("document.querySelector('main .panel a.button') !== null").await;
    browser.assert_whole("after it was taken back").await;
    browser.click_button("To the bed").await;
    browser
        .wait_for("[...document.querySelectorAll('button')].some((b) => b.textContent === 'Hold: care begins')")
        .await;

    // A tare with the patient on the deck is refused in plain words, and nothing is shown as if it had been taken.
    let tare = || served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["tare_kg"].clone();
    let before = tare();
    let since = "[...document.querySelectorAll('dl.facts dd')][1].textContent";
    let said_before = browser.text(since).await;
    browser.click("details summary").await;
    browser.click_button("Tare the empty deck").await;
    browser.wait_for("document.body.textContent.includes('Somebody lies on the deck: no tare is taken.')").await;
    browser.assert_whole("a tare that is refused").await;
    browser.click_button("To the bed").await;
    browser.wait_for("location.pathname === '/beds/A1' && document.querySelector('dl.facts') !== null").await;
    let said = browser.text(since).await;
    assert!(said.contains("ago") && !said.contains(", 0 min"), "{said_before} became {said}");
    assert_eq!(tare(), before);

    // So does the end of a stay; yes is yes.
    browser.click_button("Leaves this bed for good").await;
    browser.wait_for("document.body.textContent.includes('The stay in this bed ends')").await;
    browser.click_button("Yes, do it").await;
    browser.wait_for("document.querySelector('[name=patient]') !== null").await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// A quiet night in which two things are laid on the bed and nobody says so.
const TWO_THINGS: &str = "name = \"two forgotten things\"\nhours = 12.0\nrate_hz = 10.0\nstart = \"2031-03-04T18:00:00Z\"\n\
    [patient]\nrestless_per_h = 0.0\ncoughs_per_h = 0.0\n\
    [ward]\nturn_every_h = 0.0\ncontacts_per_h = 0.0\nwash_at_clock_h = []\npads_every_h = 0.0\nitems_per_day = 0.0\nsitters_per_day = 0.0\n\
    journeys_per_day = 0.0\n\
    [[happening]]\nwhat = \"add\"\nat_h = 1.0\nname = \"book\"\nkg = 0.62\nat_mm = [1100.0, 520.0]\nsize_mm = [220.0, 160.0]\ntold = false\n\
    [[happening]]\nwhat = \"add\"\nat_h = 1.6\nname = \"bag\"\nkg = 1.4\nat_mm = [900.0, 400.0]\nsize_mm = [300.0, 200.0]\ntold = false\n";

#[tokio::test(flavor = "multi_thread")]
async fn two_open_steps_are_answered_one_after_the_other_on_a_phone_until_none_is_open() {
    let folder = ward();
    std::fs::write(folder.path().join("scenario.toml"), TWO_THINGS).expect("written");
    let (served, nurse) = past(folder.path());
    let bed = || served.ask("GET", "/api/beds/A1", Some(&nurse), None).json();
    let before = bed();
    assert_eq!(before["questions"].as_array().map(Vec::len), Some(2), "{before}");
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.wait_for("document.body.textContent.includes('not sure: a step that nobody has explained')").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    let asked = "document.querySelectorAll('section.open').length";
    assert!((browser.number(asked).await - 2.0).abs() < 0.5);
    let first = browser.text("document.querySelector('section.open h2').textContent").await;
    assert!(first.contains("+1.4") || first.contains("+1.39"), "the newest stands first: {first}");
    browser.assert_whole("two open questions on a phone").await;
    browser.picture("bedside-two-questions-phone").await;
    // What comes back shows the answer, without a second look: the newest one is the first button of its name.
    browser.click_button("Something was laid on the bed").await;
    browser.wait_for(&format!("{asked} === 1")).await;
    browser.wait_for("document.body.textContent.includes('The patient weighs either')").await;
    browser.click_button("It was the patient’s own: drink, urine, drain").await;
    browser.wait_for(&format!("{asked} === 0 && document.querySelector('.bedside') !== null")).await;
    let after = bed();
    assert_eq!(after["questions"], json!([]), "{after}");
    assert_eq!(after["open_kg"], 0.0);
    let (items, was) = (after["items_kg"].as_f64().expect("kg"), before["items_kg"].as_f64().expect("kg"));
    assert!((items - was - 1.4).abs() < 0.06, "{was} kg besides the patient became {items}");
    browser.wait_for("document.body.textContent.includes('settled: may be believed')").await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// A night in which the patient is taken to a scan, and somebody puts a bag on the empty bed meanwhile.
const BAG_ON_THE_EMPTY_BED: &str = "name = \"a bag on the empty bed\"\nhours = 12.0\nrate_hz = 10.0\nstart = \"2031-03-04T18:00:00Z\"\n\
    [patient]\nrestless_per_h = 0.0\ncoughs_per_h = 0.0\n\
    [ward]\nturn_every_h = 0.0\ncontacts_per_h = 0.0\nwash_at_clock_h = []\npads_every_h = 0.0\nitems_per_day = 0.0\nsitters_per_day = 0.0\n\
    journeys_per_day = 0.0\n\
    [[happening]]\nwhat = \"journey\"\nat_h = 2.5\nfor_s = 7200.0\n\
    [[happening]]\nwhat = \"add\"\nat_h = 2.8\nname = \"bag\"\nkg = 5.0\nat_mm = [900.0, 400.0]\nsize_mm = [300.0, 200.0]\ntold = false\n";

/// The deck bears 5 kg more than at its last tare: before the next one a nurse is asked, sees both loads, and may go back.
#[tokio::test(flavor = "multi_thread")]
async fn a_tare_of_a_bed_that_bears_more_than_at_its_last_one_is_asked_about_first() {
    let folder = ward();
    std::fs::write(folder.path().join("scenario.toml"), BAG_ON_THE_EMPTY_BED).expect("written");
    let served = Served::start(folder.path(), &["--past-hours", "3"]);
    let (_, nurse) = served.accounts();
    let bed = || served.ask("GET", "/api/beds/A1", Some(&nurse), None).json();
    let number = |bed: &Value, key: &str| bed[key].as_f64().unwrap_or(f64::NAN);
    let is_more = |bed: &Value| number(bed, "load_kg") - number(bed, "tare_kg") > 4.9;
    let from = Instant::now();
    while !(bed()["link_up"] == true && bed()["lies"] == "nobody" && is_more(&bed())) {
        assert!(from.elapsed() < Duration::from_secs(300), "no such bed in five minutes: {}", bed());
        std::thread::sleep(Duration::from_millis(200));
    }
    let before = bed();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    let page = format!("http://{}/beds/A1", served.address);
    browser.open(&page).await;
    browser.number("(document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
    browser.click_button("Tare the empty deck").await;
    browser.wait_for("document.body.textContent.includes('Somebody or something seems to lie on the deck.')").await;
    let asked = browser.text("document.querySelector('main').innerText").await;
    let said =
        |kg: f64, words: &str| asked.lines().any(|line| line.contains(&format!("{kg:.1}")) && line.contains(words));
    assert!(said(number(&before, "load_kg"), "on the deck now"), "{asked}");
    assert!(said(number(&before, "tare_kg"), "at the last tare"), "{asked}");
    browser.assert_whole("a tare that is asked about").await;
    browser.picture("bedside-tare-asked-phone").await;
    // Back is back: nothing was taken.
    browser.click_button("No, back").await;
    browser.wait_for("location.pathname === '/beds/A1' && document.querySelector('dl.facts') !== null").await;
    assert_eq!(bed()["tare_at"], before["tare_at"]);
    // And yes is yes.
    browser.number("(document.querySelectorAll('details').forEach((d) => { d.open = true; }), 1)").await;
    browser.click_button("Tare the empty deck").await;
    browser.wait_for("document.body.textContent.includes('Yes, do it')").await;
    browser.click_button("Yes, do it").await;
    browser.wait_for("location.pathname === '/beds/A1' && document.querySelector('dl.facts') !== null").await;
    let from = Instant::now();
    while bed()["tare_at"] == before["tare_at"] {
        assert!(from.elapsed() < Duration::from_secs(60), "no tare in a minute: {}", bed());
        std::thread::sleep(Duration::from_millis(200));
    }
    let after = bed();
    assert!((number(&after, "tare_kg") - number(&before, "load_kg")).abs() < 0.1, "{before} became {after}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bed_that_is_not_heard_offers_no_tare_and_takes_none() {
    let folder = ward();
    large_ward(folder.path(), 1);
    let served = Served::start(folder.path(), &[]);
    let (_, nurse) = served.accounts();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    browser
        .wait_for("document.body.textContent.includes('Nothing comes from the deck: look at plug and cable.')")
        .await;
    let tares = "[...document.querySelectorAll('button')].filter((b) => /Tare|lies down/.test(b.textContent)).length";
    assert_eq!(browser.number(tares).await.to_bits(), 0.0_f64.to_bits());
    browser.assert_whole("a bed that is not heard").await;
    let told = served.ask("POST", "/api/beds/A1/actions", Some(&nurse), Some(&json!({ "action": "tare" })));
    assert_eq!(told.status, 409, "{}", told.body);
    assert!(told.body.contains("nothing comes from the deck"), "{}", told.body);
    assert_eq!(served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["tare_at"], json!(null));
    browser.stop().await;
}

/// Words of before do not stand beside a figure that goes on: while somebody types, or has something open, they say that they are old.
#[tokio::test(flavor = "multi_thread")]
async fn words_that_cannot_be_made_anew_say_that_they_are_old() {
    let (_folder, served, nurse) = served();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    let belief = "document.querySelector('.belief').textContent";
    browser
        .wait_for(&format!(
            "{belief}.length > 3 && /[0-9]/.test(document.querySelector('[data-value=patient_kg]').textContent)"
        ))
        .await;
    browser.click("details summary").await;
    let told = served.ask("POST", "/api/beds/A1/actions", Some(&nurse), Some(&json!({ "action": "hold" })));
    assert_eq!(told.status, 201, "{}", told.body);
    browser.wait_for(&format!("{belief}.includes('More is known than stands here')")).await;
    browser.assert_whole("words that are old").await;
    // A rounded zero has no minus: the change would flicker between "+0.00" and "−0.00". The weight that is held stands still.
    let held_kg =
        served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["patient_kg"].as_f64().expect("a weight");
    let change = "document.querySelector('[data-value=change]')";
    browser.number(&format!("({change}.dataset.reference = '{}', 1)", held_kg + 0.001)).await;
    browser.wait_for(&format!("{change}.textContent === '+0.00'")).await;
    browser.click("details summary").await;
    browser.wait_for(&format!("!{belief}.includes('More is known')")).await;
    assert_eq!(browser.number("document.querySelectorAll('.behind').length").await.to_bits(), 0.0_f64.to_bits());
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Pounds go with the kilograms that they stand beside, also where something is open and the page is not made anew.
#[tokio::test(flavor = "multi_thread")]
async fn pounds_of_before_do_not_stand_beside_a_weight_that_is_gone() {
    let (_folder, served, nurse) = served();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.number("(document.cookie = 'bedplate_unit=lb; path=/', 1)").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    let shown = |value: &str| format!("document.querySelector('[data-value={value}]').textContent");
    browser.wait_for(&format!("/[0-9]/.test({})", shown("pounds"))).await;
    browser.click("details summary").await;
    let told = served.ask("POST", "/api/beds/A1/actions", Some(&nurse), Some(&json!({ "action": "patient_off" })));
    assert_eq!(told.status, 201, "{}", told.body);
    browser.wait_for(&format!("{} === '–'", shown("patient_kg"))).await;
    assert_eq!(browser.text(&shown("pounds")).await, "–");
    browser.stop().await;
}

/// Somebody else changes the patient while the page is open, even while somebody types on it: no change is reckoned from the weight of who
/// lay there before.
#[tokio::test(flavor = "multi_thread")]
async fn an_open_bedside_page_hears_that_another_patient_lies_there() {
    let (_folder, served, nurse) = served();
    let ask = |path: &str, body: Value| {
        let told = served.ask("POST", path, Some(&nurse), Some(&body));
        assert!([200, 201].contains(&told.status), "{path}: {}", told.body);
    };
    let bed = || served.ask("GET", "/api/beds/A1", Some(&nurse), None).json();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    let change = "document.querySelector('[data-value=change]')";
    browser.wait_for(&format!("/[0-9]/.test({change}?.textContent)")).await;
    let before = browser.text(&format!("{change}.dataset.stay")).await;
    let patient = bed()["patient"].as_str().expect("somebody lies there").to_owned();
    assert_eq!(bed()["lies_since"], before.as_str());
    // What is open is not fetched anew: the figure itself must go.
    browser.click("details summary").await;
    ask("/api/beds/A1/discharge", json!({}));
    browser.wait_for(&format!("{change}?.textContent === '–'")).await;
    browser.click("details summary").await;
    browser
        .wait_for(&format!("{change} === null && document.body.textContent.includes('no patient is entered')"))
        .await;
    assert_eq!((&bed()["patient"], &bed()["lies_since"]), (&Value::Null, &Value::Null));
    // A new stay, though of the same person, has a reference of its own.
    ask("/api/beds/A1/admission", json!({ "patient": patient }));
    browser.wait_for("document.body.textContent.includes('no settled weight in this time') || document.querySelector('[data-value=change]') !== null").await;
    let stays = browser.text(&format!("{change}?.dataset.stay ?? ''")).await;
    assert_ne!(stays, before);
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// An hour by hand: `BEDPLATE_LIVE_S=3600`; here a minute.
#[tokio::test(flavor = "multi_thread")]
async fn a_live_page_does_not_grow_and_says_when_the_line_is_lost() {
    let (_folder, mut served, nurse) = served();
    let seconds = std::env::var("BEDPLATE_LIVE_S").ok().and_then(|s| s.parse().ok()).unwrap_or(40_u64);
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/beds/A1", served.address)).await;
    // The page is changed by words too, not by figures alone.
    let act = |action: &str| {
        let told = served.ask("POST", "/api/beds/A1/actions", Some(&nurse), Some(&json!({ "action": action })));
        assert_eq!(told.status, 201, "{}", told.body);
    };
    // The words follow the bed, whatever that does: in an hour the invented ward washes the patient too.
    let follows = async || {
        let from = Instant::now();
        loop {
            let state = served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["state"].clone();
            let words = match state.as_str() {
                Some("settled") => "settled: may be believed",
                // By what moves, or by what it left to be explained.
                Some("moving") => "the load moves: wait|not sure: a step that nobody has explained",
                Some("held") => "held: the weight from before the care",
                Some("empty") => "nobody on the deck",
                _ => panic!("the invented deck is sound, and is {state}"),
            };
            if browser.number(&format!("Number(/{words}/.test(document.body.textContent))")).await > 0.5 {
                return state;
            }
            assert!(from.elapsed() < Duration::from_secs(40), "the page does not show that the bed is {state}");
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    };
    act("hold");
    browser.wait_for("document.body.textContent.includes('held: the weight')").await;
    act("release");
    browser.wait_for("document.body.textContent.includes('Hold: care begins')").await;
    tokio::time::sleep(Duration::from_secs(5)).await;
    let figures = async || {
        let (nodes, listeners) = (browser.figure("Nodes").await, browser.figure("JSEventListeners").await);
        (nodes, listeners, browser.figure("JSHeapUsedSize").await)
    };
    let before = figures().await;
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(seconds) {
        for action in ["hold", "release"] {
            act(action);
            tokio::time::sleep(Duration::from_secs(2)).await;
            follows().await;
        }
        if seconds > 600 {
            println!("{} s: {:?}", begun.elapsed().as_secs(), figures().await);
        }
        tokio::time::sleep(Duration::from_secs(seconds / 20 + 1)).await;
    }
    let after = figures().await;
    println!("nodes, listeners, bytes of heap: {before:?}, {seconds} s later {after:?}");
    // What is fetched anew may hold a line more of words; a leak of a page a time would be some hundred nodes each.
    assert!(after.0 <= before.0 + 40.0, "nodes {before:?} to {after:?}");
    assert!(after.1 <= before.1 + 4.0, "listeners {before:?} to {after:?}");
    assert!(after.2 <= before.2 * 1.1 + 200_000.0, "heap {before:?} to {after:?}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());

    served.child.kill().expect("killed");
    browser.wait_for("document.querySelector('p.lost').checkVisibility()").await;
    browser.wait_for("document.body.classList.contains('stale')").await;
    browser.picture("bedside-lost").await;
    // In sight whatever is scrolled to; and what is pressed now is not sent into the void: the bed stays on the screen.
    let in_sight =
        "((b) => b.top >= 0 && b.bottom <= innerHeight)(document.querySelector('p.lost').getBoundingClientRect())";
    browser.wait_for(in_sight).await;
    browser.number("(scrollTo(0, 0), 1)").await;
    browser.wait_for(in_sight).await;
    browser.number("([...document.querySelectorAll('main form button')].find((b) => b.textContent.startsWith('Hold')).click(), 1)").await;
    browser.wait_for("document.querySelector('p.lost').textContent.startsWith('Not sent')").await;
    assert_eq!(browser.text("location.pathname").await, "/beds/A1");
    assert!(browser.text("document.querySelector('main').textContent").await.contains("A1"));
    browser.stop().await;
}

/// A day of one-second weights on one plot. What it took is printed, not judged: a slow machine is no fault of the page.
#[tokio::test(flavor = "multi_thread")]
async fn a_day_of_one_second_weights_is_drawn_whole() {
    let folder = ward();
    let night = std::fs::read_to_string(folder.path().join("scenario.toml")).expect("a night");
    let longer = night.replace("hours = 12.0", "hours = 30.0").replace("rate_hz = 10.0", "rate_hz = 1.0");
    std::fs::write(folder.path().join("scenario.toml"), longer).expect("written");
    let served = Served::start(folder.path(), &["--past-hours", "25"]);
    let (_, nurse) = served.accounts();
    let from = Instant::now();
    while served.ask("GET", "/api/beds/A1", Some(&nurse), None).json()["link_up"] != true {
        assert!(from.elapsed() < Duration::from_secs(300), "the past was not lived through in five minutes");
        std::thread::sleep(Duration::from_millis(300));
    }
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/beds/A1/weights", served.address)).await;
    browser.wait_for("document.documentElement.dataset.drawnMs !== undefined").await;
    let words = browser.text("document.querySelector('.panel .soft').textContent").await;
    let seconds: u32 = words.split_whitespace().next().and_then(|n| n.parse().ok()).expect("a number of weights");
    // A row of weights a second; a few are wanting where the past met the present.
    assert!((86_000..=86_401).contains(&seconds), "{words}");
    println!("{words}: drawn in {} ms", browser.text("document.documentElement.dataset.drawnMs").await);
    browser.stop().await;
}
