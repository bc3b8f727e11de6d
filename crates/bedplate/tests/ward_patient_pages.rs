//! A patient's pages in a real browser: the chart by keyboard, a plan, the sheet of a day, print. Needs chromium and chromedriver: feature `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;
mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;
#[path = "common/ward_in_browser.rs"]
mod ward_in_browser;

use browser::Browser;
use serde_json::json;
use ward_in_browser::{served, sign_in};

#[tokio::test(flavor = "multi_thread")]
async fn a_volume_is_charted_by_keyboard_alone() {
    let (_folder, served, nurse) = served();
    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/patients/A1-invented", served.address)).await;
    // The first field has the focus: a volume, the way by its first letter, and Enter from the note.
    browser.wait_for("document.activeElement?.name === 'volume'").await;
    browser.type_text("137").await;
    browser.press_tab().await;
    browser.type_text("out: u").await;
    // The time has fields of its own on the way.
    for _ in 0..12 {
        browser.press_tab().await;
        if browser.text("document.activeElement.name ?? ''").await == "note" {
            break;
        }
    }
    browser.press_enter().await;
    browser.wait_for("[...document.querySelectorAll('td')].some((c) => c.textContent === '137')").await;
    let chart = served.ask("GET", "/api/patients/A1-invented/chart.csv", Some(&nurse), None).body;
    assert!(chart.lines().any(|l| l.contains("output,urine,137")), "{chart}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Hours ahead and the three masses of each line of the what-if plan, kg.
async fn what_if(browser: &Browser) -> Vec<[f64; 4]> {
    let lines =
        browser.text("[...document.querySelectorAll('[role=status] li')].map((l) => l.textContent).join('|')").await;
    let numbers = |line: &str| -> Vec<f64> {
        let words = line
            .split(|c: char| !c.is_ascii_digit() && c != '.' && c != ',')
            .filter(|w| w.chars().any(|c| c.is_ascii_digit()));
        words.map(|w| w.replace(',', ".").parse().unwrap_or_else(|e| panic!("{e}: {w} in {line}"))).collect()
    };
    lines
        .split('|')
        .map(|l| numbers(l).try_into().unwrap_or_else(|n| panic!("four numbers, found {n:?} in {l:?}")))
        .collect()
}

/// A plan changes the forecast by what it brings: 1 mL of water is 1 g, so that 100 mL/h more make 100 g an hour more
/// (conservation of mass; density of water, common practice, no source).
#[tokio::test(flavor = "multi_thread")]
async fn a_what_if_plan_moves_the_forecast_by_its_volumes_and_nothing_on_record() {
    let (_folder, served, nurse) = served();
    let chart = || served.ask("GET", "/api/patients/A1-invented/chart.csv", Some(&nurse), None).body;
    let before = chart();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    let page = format!("http://{}/patients/A1-invented", served.address);
    browser.open(&page).await;
    assert_eq!(
        browser.number("document.querySelectorAll('[role=status] li').length").await.to_bits(),
        0.0_f64.to_bits()
    );
    // By keyboard: the three rates one after the other, and Enter.
    browser.click("[name=intake]").await;
    for rate in ["100", "40", "0"] {
        browser.type_text(rate).await;
        browser.press_tab().await;
    }
    browser.press_enter().await;
    browser
        .wait_for("location.search.includes('intake=100') && document.querySelectorAll('[role=status] li').length > 0")
        .await;
    let more = what_if(&browser).await;
    assert_eq!(more.iter().map(|l| l[0]).collect::<Vec<_>>(), [6.0, 12.0, 24.0, 48.0]);
    browser.assert_whole("a what-if plan on a phone").await;
    for [hours, kg, low, high] in &more {
        assert!(low < kg && kg < high, "{kg} kg in {hours} h is not between {low} and {high}");
    }
    assert!(more.windows(2).all(|w| w[1][3] - w[1][2] > w[0][3] - w[0][2]), "further ahead is known better: {more:?}");
    browser.open(&format!("{page}?intake=0&output=40&uf=50")).await;
    let less = what_if(&browser).await;
    for ([hours, kg, ..], [_, other_kg, ..]) in more.iter().zip(&less) {
        // Two figures of 10 g, and a patient who goes on to change between the two looks.
        let off_kg = kg - other_kg - 0.15 * hours;
        assert!(
            off_kg.abs() < 0.05,
            "{hours} h ahead the plans are {} kg apart, 150 mL/h make {}",
            kg - other_kg,
            0.15 * hours
        );
    }
    // In the other language the same figures; a plan is a look ahead and leaves nothing behind.
    browser.click_button("Deutsch").await;
    browser.wait_for("document.documentElement.lang === 'de' && location.search.includes('uf=50')").await;
    for ([hours, kg, ..], [also_hours, also_kg, ..]) in less.iter().zip(what_if(&browser).await) {
        assert!((hours - also_hours).abs() < 0.1 && (kg - also_kg).abs() < 0.05, "{kg} and {also_kg} kg in {hours} h");
    }
    assert!(browser.text("document.querySelector('[role=status] li').textContent").await.contains(','));
    assert_eq!(chart(), before);
    // What is no rate is said with its name.
    browser.open(&format!("{page}?intake=plenty")).await;
    let said = browser.text("document.querySelector('main').textContent").await;
    assert!(said.contains("intake") && said.contains("plenty") && said.contains("mL/h"), "{said}");
    browser.stop().await;
}

/// The sheet as it lies on paper: what is charted and weighed, black on white, on one sheet, without anything to press.
#[tokio::test(flavor = "multi_thread")]
async fn the_sheet_of_a_day_prints_on_one_sheet_with_the_days_sums() {
    let (_folder, served, nurse) = served();
    let minutes_ago = |m: i64| jiff::Timestamp::now() - jiff::SignedDuration::from_mins(m);
    let (when, zone) = (minutes_ago(2), jiff::tz::TimeZone::get("Europe/Oslo").expect("a zone"));
    for (direction, route, ml, note) in [
        ("intake", "oral", 230.0, "tea"),
        ("output", "urine", 410.0, "bottle, a rather long note of somebody who writes much"),
    ] {
        let body = json!({ "time": when, "direction": direction, "route": route, "volume_mL": ml, "note": note });
        let told = served.ask("POST", "/api/patients/A1-invented/chart", Some(&nurse), Some(&body));
        assert_eq!(told.status, 201, "{}", told.body);
    }
    let date = when.to_zoned(zone.clone()).date();
    // The day's sums from what the ward gives out.
    let chart = served.ask("GET", "/api/patients/A1-invented/chart.csv", Some(&nurse), None).body;
    let mut rows = csv::Reader::from_reader(chart.as_bytes());
    let head = rows.headers().expect("a head").clone();
    let at = |name: &str| head.iter().position(|h| h == name).unwrap_or_else(|| panic!("no {name} in {chart}"));
    let (time, direction, volume) = (at("time"), at("direction"), at("volume_mL"));
    let (mut intake_ml, mut output_ml) = (0.0, 0.0);
    for row in rows.records() {
        let row = row.expect("a row");
        if row[time].parse::<jiff::Timestamp>().expect("a time").to_zoned(zone.clone()).date() != date {
            continue;
        }
        let ml: f64 = row[volume].parse().expect("a volume");
        if &row[direction] == "intake" { intake_ml += ml } else { output_ml += ml }
    }
    assert!(intake_ml >= 230.0 && output_ml >= 410.0, "{chart}");

    let browser = Browser::start().await;
    browser.emulate(1280, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    let page = format!("http://{}/patients/A1-invented/day?date={date}", served.address);
    // A4 less two margins of 1 cm is 718 px wide; a reader who has it dark prints white all the same.
    browser.emulate(718, "dark", "print").await;
    for language in ["English", "Deutsch"] {
        browser.emulate(718, "dark", "screen").await;
        browser.open(&page).await;
        browser.click_button(language).await;
        browser
            .wait_for(&format!(
                "document.documentElement.lang === '{}'",
                if language == "English" { "en" } else { "de" }
            ))
            .await;
        browser.emulate(718, "dark", "print").await;
        let fact = |n: usize| format!("document.querySelectorAll('dl.facts dd')[{n}].textContent.trim()");
        assert_eq!(browser.text(&fact(0)).await, format!("{intake_ml:.0} mL"));
        assert_eq!(browser.text(&fact(1)).await, format!("{output_ml:.0} mL"));
        let net = intake_ml - output_ml;
        let sign = if net > 0.0 {
            "+"
        } else if net < 0.0 {
            "−"
        } else {
            ""
        };
        assert_eq!(browser.text(&fact(2)).await, format!("{sign}{:.0} mL", net.abs()));
        let words = browser.text("document.body.innerText").await;
        let day = date.strftime(if language == "English" { "%-d %B %Y" } else { "%-d.%-m.%Y" }).to_string();
        for said in ["A1-invented", &day, "Alder ward (invented)", "a rather long note of somebody who writes much"] {
            assert!(words.contains(said), "{said:?} is not on the sheet: {words}");
        }
        assert!(
            browser.number("document.querySelectorAll('.panel')[0].querySelectorAll('tr').length").await >= 1.0,
            "no weight of an hour"
        );
        let caution = browser.text("document.querySelector('.caution').innerText").await;
        assert!(caution.contains(if language == "English" { "Not for dosing" } else { "Dosierung" }), "{caution}");
        let to_press = "[...document.querySelectorAll('nav, form, button, input, select, a.skip, .lost')].filter((e) => e.checkVisibility()).map((e) => e.outerHTML.slice(0, 60)).join(' | ')";
        assert_eq!(browser.text(to_press).await, "", "what nobody can press on paper");
        assert_eq!(
            browser.text("getComputedStyle(document.documentElement).backgroundColor").await,
            "rgb(255, 255, 255)"
        );
        let cut = "[...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && (e.getBoundingClientRect().right > 718.5 || (getComputedStyle(e).overflowX !== 'visible' && e.scrollWidth > e.clientWidth + 1))).map((e) => e.outerHTML.slice(0, 80)).join(' | ')";
        assert_eq!(browser.text(cut).await, "", "cut off on paper");
        assert_eq!(browser.print(&format!("day-print-{language}")).await, 1, "sheets");
    }
    browser.stop().await;
}

/// A slip of a digit, or of a day, is asked about before it is on record; what was typed goes with the question.
#[tokio::test(flavor = "multi_thread")]
async fn a_volume_that_nobody_expects_is_asked_about_once_more() {
    let (_folder, served, nurse) = served();
    let charted = || served.ask("GET", "/api/patients/A1-invented/chart.csv", Some(&nurse), None).body;
    let before = charted();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    let page = format!("http://{}/patients/A1-invented", served.address);
    let enter = async || {
        browser.open(&page).await;
        browser.set_value("[name=volume]", "2500").await;
        browser.set_value("[name=note]", "a bag of the night").await;
        browser.number("(document.querySelector('[name=volume]').form.requestSubmit(), 1)").await;
        browser.wait_for("document.querySelector('h1').textContent.includes('is that right?')").await;
    };
    enter().await;
    let asked = browser.text("document.querySelector('h1').textContent").await;
    assert!(asked.starts_with("2500 mL at ") || asked.starts_with("2,500 mL at "), "{asked}");
    browser.assert_whole("a volume that is asked about").await;
    browser.click_button("No, back").await;
    browser.wait_for("document.querySelector('[name=volume]:not([type=hidden])') !== null").await;
    assert_eq!(charted(), before, "nothing is entered by a question");
    enter().await;
    browser.click_button("Yes, enter it").await;
    browser.wait_for("document.querySelector('[name=volume]:not([type=hidden])') !== null").await;
    let after = charted();
    let new: Vec<&str> = after.lines().filter(|line| !before.contains(line)).collect();
    assert!(new.len() == 1 && new[0].contains(",2500") && new[0].contains("a bag of the night"), "{new:?}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Ten entries are in sight and the older ones a press away; one is struck out by two presses, that alone, and stays on record.
#[tokio::test(flavor = "multi_thread")]
async fn an_entry_is_struck_out_by_two_presses_and_the_older_ones_are_a_press_away() {
    let (_folder, served, nurse) = served();
    let now = jiff::Timestamp::now();
    for ml in 301..=314 {
        let time = (now - jiff::SignedDuration::from_mins(400 - ml)).to_string();
        let entry = json!({ "time": time, "direction": "intake", "route": "oral", "volume_mL": ml });
        let told = served.ask("POST", "/api/patients/A1-invented/chart", Some(&nurse), Some(&entry));
        assert_eq!(told.status, 201, "{}", told.body);
    }
    let charted = || served.ask("GET", "/api/patients/A1-invented/chart.csv", Some(&nurse), None).body;
    let before = charted();
    let browser = Browser::start().await;
    browser.emulate(390, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    browser.open(&format!("http://{}/patients/A1-invented", served.address)).await;
    let in_sight = "[...document.querySelectorAll('details.ask')].filter((d) => d.checkVisibility()).length";
    assert!((browser.number(in_sight).await - 10.0).abs() < 0.5, "entries in sight");
    browser.number("(document.querySelector('#older-entries > summary').click(), 1)").await;
    browser.wait_for(&format!("{in_sight} > 12")).await;
    browser.assert_whole("a chart with its older entries").await;
    // The first press asks, and strikes nothing out.
    let asked =
        "[...document.querySelectorAll('details.ask')].find((d) => d.closest('tr').textContent.includes('307'))";
    browser.number(&format!("({asked}.querySelector('summary').click(), 1)")).await;
    browser.wait_for(&format!("{asked}.querySelector('button').checkVisibility()")).await;
    assert_eq!(charted(), before);
    browser.number(&format!("({asked}.querySelector('button').focus(), 1)")).await;
    browser.press_enter().await;
    browser.wait_for(&format!("{asked} === undefined")).await;
    let after = charted();
    let gone: Vec<&str> = before.lines().filter(|line| !after.contains(line)).collect();
    assert!(gone.len() == 1 && gone[0].contains(",307"), "{gone:?}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.stop().await;
}

/// Paper outlives the screen: it says when it was printed, and by whom.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_printed_says_when_and_by_whom() {
    let (_folder, served, _) = served();
    let browser = Browser::start().await;
    browser.emulate(718, "light", "screen").await;
    sign_in(&browser, &served, "nurse").await;
    let printed = "document.querySelector('.printed').checkVisibility() ? document.querySelector('.printed').innerText : 'hidden'";
    for page in ["/", "/beds/A1", "/patients/A1-invented", "/patients/A1-invented/day"] {
        browser.emulate(718, "light", "screen").await;
        browser.open(&format!("http://{}{page}", served.address)).await;
        assert_eq!(browser.text(printed).await, "hidden", "{page}");
        browser.emulate(718, "light", "print").await;
        let said = browser.text(printed).await;
        assert!(said.starts_with("Printed ") && said.ends_with(" by nurse") && said.contains(':'), "{page}: {said}");
    }
    browser.stop().await;
}
