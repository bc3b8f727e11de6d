//! The guided pages in a real browser, on the demo's virtual deck: a calibration and a verification step by step, what is not there
//! is not taken, and two pages of one run. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;
#[path = "common/served.rs"]
mod served;

use std::time::Duration;

use browser::Browser;
use served::Served;

#[tokio::test(flavor = "multi_thread")]
async fn a_calibration_is_guided_step_by_step() {
    let demo = Served::demo();
    let browser = Browser::start().await;
    browser.emulate(390, "dark", "screen").await;
    browser.open(&format!("http://{}/guide", demo.address)).await;
    browser.wait_for("document.querySelector('#settling-words')?.textContent.includes('settled')").await;
    browser.click("#main-step").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Press 1 of')").await;
    browser.click("#hands").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Press 2 of')").await;
    browser.assert_whole("the touch check").await;
    browser.click_button("Begin anew").await;
    browser.click_button("Leave it out").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Step 1 of')").await;
    // The first readings are without load; then the first body is drawn where it is to stand.
    browser.click("#by-itself").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Step 4 of')").await;
    browser.click("#by-itself").await;
    browser.wait_for("document.querySelector('#drawing .body') !== null").await;
    browser.click("#hands").await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    browser.wait_for("document.querySelector('#main-step').ariaDisabled === 'false'").await;
    browser.assert_whole("a placement").await;
    browser.click("#main-step").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Step 5 of')").await;
    browser.wait_for("document.querySelector('#found').textContent.includes('determined') || document.querySelector('#found').textContent.includes('Not yet')").await;
    browser.click_button("Back one step").await;
    browser.wait_for("document.querySelector('#task').textContent.startsWith('Step 4 of')").await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_verification_is_guided_step_by_step_inside_its_limits() {
    let demo = Served::demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/tests", demo.address)).await;
    let task = |words: &str| format!("document.querySelector('#task').textContent.includes('{words}')");
    browser.wait_for(&task("then zero is set")).await;
    browser.wait_for("document.querySelector('#main-step')?.ariaDisabled === 'false'").await;
    browser.click("#main-step").await;
    browser.wait_for(&task(", 2 of ")).await;
    // By itself, while nothing stands there: it goes on to the first load, and takes none that is not there.
    browser.click("#by-itself").await;
    browser.wait_for(&task("put 2 kg on the deck")).await;
    browser.wait_for("document.querySelector('#drawing .body') !== null").await;
    browser.wait_for("document.querySelector('#drift').textContent.includes('another load than is asked for')").await;
    assert!(browser.text("document.querySelector('#task').textContent").await.contains("put 2 kg"));
    // The invented hands put it there: the reading is taken, and stands inside its limits as a chart and in the table.
    browser.click("#hands").await;
    browser.wait_for(&task("put 25 kg on the deck")).await;
    browser.wait_for("document.querySelector('#chart svg.chart') !== null").await;
    browser.wait_for("document.querySelector('#kinds').textContent.includes('so far')").await;
    browser.assert_whole("a verification under way").await;
    browser.picture("tests-under-way").await;
    // A test is left out, and taken up again. Of a double press the second is none: it would leave out the next one.
    browser.click("#by-itself").await;
    browser.number("(document.querySelector('#leave-out').click(), setTimeout(() => document.querySelector('#leave-out').click(), 250))").await;
    browser.wait_for(&task("Eccentricity")).await;
    tokio::time::sleep(Duration::from_millis(800)).await;
    assert!(browser.text("document.querySelector('#task').textContent").await.contains("Eccentricity"));
    // The button of a new step waits until that has settled.
    assert_eq!(browser.text("document.querySelector('#leave-out').textContent").await, "Leave out: Eccentricity");
    browser.click("#back").await;
    browser.wait_for(&task("Weighing")).await;
    // By keyboard: the focus stays on the button through the live page.
    browser.number("(document.querySelector('#leave-out').focus(), 1)").await;
    browser.press_enter().await;
    browser.wait_for(&task("Eccentricity")).await;
    assert_eq!(browser.text("document.activeElement.id").await, "leave-out");
    for _ in 0..9 {
        browser.press_enter().await;
        tokio::time::sleep(Duration::from_millis(700)).await;
        if browser.text("document.querySelector('#task').textContent").await.starts_with('✓') {
            break;
        }
    }
    browser.wait_for(&task("stays within its limits")).await;
    browser.wait_for("[...document.querySelectorAll('#buttons a')].map((a) => a.textContent).join() === 'Open the evidence,tests.csv'").await;
    browser.assert_whole("the end of a verification").await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.click_button("Open the evidence").await;
    browser.wait_for("document.title.includes('evidence of verification')").await;
    browser.stop().await;
}

/// From the first press to the evidence, on the demo's virtual deck: invented hands raise sections and warm the room.
#[tokio::test(flavor = "multi_thread")]
async fn tilt_and_temperature_are_guided_to_the_evidence() {
    let demo = Served::demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/tests", demo.address)).await;
    let task = |words: &str| format!("document.querySelector('#task').textContent.includes('{words}')");
    let ready = "document.querySelector('#main-step')?.ariaDisabled === 'false'";
    // Hands do what is asked; the reading is taken by a press, or by itself.
    let step = async |press: bool| {
        let before = browser.text("document.querySelector('#task').textContent").await;
        browser.click("#hands").await;
        if press {
            browser.wait_for(ready).await;
            browser.click("#main-step").await;
        }
        browser
            .wait_for(&format!("document.querySelector('#task').textContent !== {}", serde_json::json!(before)))
            .await;
    };
    browser.wait_for(&task("then zero is set")).await;
    step(true).await;
    step(true).await;
    for next in ["Eccentricity", "Repeatability", "Discrimination", "Tare", "Zero return", "Tilt"] {
        tokio::time::sleep(Duration::from_millis(600)).await;
        browser.click("#leave-out").await;
        browser.wait_for(&task(next)).await;
    }
    // Two plates on the back, flat: nobody is asked for an angle.
    assert!(browser.text("document.querySelector('#task').textContent").await.contains("section back flat"));
    assert_eq!(browser.text("document.querySelector('#entry').textContent").await, "");
    for _ in 0..4 {
        step(true).await;
    }
    browser.wait_for(&task("section back at 65°")).await;
    browser.wait_for("document.querySelector('#drawing .turned') !== null").await;
    browser.assert_whole("a section to be raised").await;
    // The load of the step before still lies there: it is to come off first.
    browser.wait_for("document.querySelector('#drift').textContent.includes('another load than is asked for')").await;
    browser.click("#hands").await;
    // What is no angle is refused in words; the step stays.
    browser.wait_for(ready).await;
    for (entered, words) in [
        ("", "inclinometer"),
        ("steep", "expected a number of degrees"),
        ("1e9", "expected 55 to 75°"),
        ("-65", "expected 55 to 75°"),
    ] {
        browser.set_value("#entered", entered).await;
        browser.wait_for(ready).await;
        browser.click("#main-step").await;
        browser.wait_for(&format!("document.querySelector('#problem').textContent.includes('{words}')")).await;
    }
    assert!(browser.text("document.querySelector('#task').textContent").await.contains("section back at 65°"));
    // The browser notes each refusal; there is nothing else to note.
    let noted = browser.console_errors().await;
    assert!(noted.len() == 4 && noted.iter().all(|words| words.contains("status of 422")), "{noted:?}");
    browser.click("#hands").await;
    browser.wait_for("document.querySelector('#entered').value.startsWith('6')").await;
    let shown = browser.text("document.querySelector('#entered').value").await;
    step(true).await;
    assert_eq!(
        browser.text("document.querySelector('#entered').value").await,
        shown,
        "the loaded reading begins with it"
    );
    browser.wait_for("document.querySelector('#how').textContent.includes('a tenth of a degree shows as 187 g')").await;
    browser.click("#hands").await;
    browser.wait_for(ready).await;
    browser.assert_whole("a loaded section at its angle").await;
    browser.picture("tests-tilt").await;
    // Of 20 readings five are taken: the rest of them.
    for _ in 5..20 {
        step(true).await;
    }
    browser.wait_for(&task("room and deck at 19 °C")).await;
    browser.click("#by-itself").await;
    for _ in 0..3 {
        // The first reading at a temperature waits for a press; the loads after it are taken by themselves.
        step(true).await;
        for _ in 0..3 {
            step(false).await;
        }
    }
    browser.wait_for(&task("stays within its limits")).await;
    let kinds = browser.text("document.querySelector('#kinds').textContent").await;
    // The demo's deck is for 6 °C, its class asks for a range of 30 °C.
    for (kind, standing) in [("Tilt", "✓ met"), ("Temperature", "◐ not complete")] {
        let row = format!(
            "[...document.querySelectorAll('#kinds tbody tr')].find((r) => r.textContent.startsWith('{kind}')).textContent.includes('{standing}')"
        );
        browser.wait_for(&row).await;
    }
    assert!(kinds.contains("left out"), "{kinds}");
    assert!(!browser.text("document.querySelector('#open').textContent").await.contains("chamber"));
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.click_button("Open the evidence").await;
    browser.wait_for("document.title.includes('evidence of verification')").await;
    let evidence = browser.text("document.body.textContent").await;
    for said in ["Tilt", "Temperature", "3.9.1.1", "3.9.2.3", "back at 65°", "at 25 °C"] {
        assert!(evidence.contains(said), "{said}");
    }
    // A document prints in the size that its style says: 9.5 pt are 12.67 px.
    browser.emulate(718, "light", "print").await;
    let size = browser.number("Number.parseFloat(getComputedStyle(document.documentElement).fontSize)").await;
    assert!((size - 9.5 * 96.0 / 72.0).abs() < 0.01, "{size} px");
    browser.stop().await;
}

/// What stands on the deck is held against what is asked for, before a reading is taken by a press and before one is taken by itself.
#[tokio::test(flavor = "multi_thread")]
async fn a_reading_of_what_is_not_there_is_asked_about() {
    let demo = Served::demo();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    browser.open(&format!("http://{}/guide", demo.address)).await;
    let task = |words: &str| format!("document.querySelector('#task').textContent.startsWith('{words}')");
    let drift = |words: &str| format!("document.querySelector('#drift').textContent.includes('{words}')");
    browser.click_button("Leave it out").await;
    browser.click("#by-itself").await;
    // Three readings without load go by themselves; the body of the fourth is not there.
    browser.wait_for(&task("Step 4 of")).await;
    browser.wait_for(&drift("▲ 0.00 kg came onto plate")).await;
    assert_eq!(browser.text("document.querySelector('#main-step').ariaDisabled").await, "true");
    browser.assert_whole("a body that is not there").await;
    browser.picture("guide-doubt").await;
    // Once it is there it is taken by itself, and not once more for the next step.
    browser.click("#hands").await;
    browser.wait_for(&task("Step 5 of")).await;
    browser.wait_for("document.querySelector('#settling-words').textContent.includes('✓')").await;
    browser.wait_for("document.querySelector('#drift').textContent.startsWith('▲')").await;
    tokio::time::sleep(Duration::from_millis(1500)).await;
    assert!(browser.text("document.querySelector('#task').textContent").await.starts_with("Step 5 of"));
    // Who knows better takes it all the same.
    browser.click("#by-itself").await;
    browser.click("#all-the-same").await;
    browser.wait_for(&task("Step 6 of")).await;
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// A tablet beside the laptop: it follows, and what is pressed on it too late is refused and put right.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_page_of_a_run_follows_the_first() {
    let demo = Served::demo();
    let (laptop, tablet) = (Browser::start().await, Browser::start().await);
    let task = |words: &str| format!("document.querySelector('#task').textContent.startsWith('{words}')");
    for browser in [&laptop, &tablet] {
        browser.emulate(1280, "light", "screen").await;
        browser.open(&format!("http://{}/guide", demo.address)).await;
        browser.wait_for(&task("Touch check")).await;
    }
    laptop.wait_for("document.querySelector('#main-step')?.ariaDisabled === 'false'").await;
    laptop.click("#main-step").await;
    for browser in [&laptop, &tablet] {
        browser.wait_for(&task("Press 1 of")).await;
    }
    tablet.click_button("Begin anew").await;
    laptop.wait_for(&task("Touch check")).await;
    laptop.click_button("Leave it out").await;
    tablet.wait_for(&task("Step 1 of")).await;
    tablet.wait_for("document.querySelector('#main-step')?.ariaDisabled === 'false'").await;
    tablet.click("#main-step").await;
    laptop.wait_for(&task("Step 2 of")).await;
    for browser in [laptop, tablet] {
        assert_eq!(browser.console_errors().await, Vec::<String>::new());
        browser.stop().await;
    }
}
