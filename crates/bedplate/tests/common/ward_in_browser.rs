//! A served ward with an invented patient in bed A1, and a browser that is signed in to it.

use std::time::{Duration, Instant};

use crate::browser::Browser;
use crate::invented_ward::ward;
use crate::served::{OWN, Served};

/// A served ward whose invented patient lies in bed A1, with its first accounts.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn served() -> (tempfile::TempDir, Served, String) {
    let folder = ward();
    let (served, nurse) = past(folder.path());
    (folder, served, nurse)
}

/// The ward of a folder, served once its past of three hours was lived through, and a nurse's token.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) fn past(folder: &std::path::Path) -> (Served, String) {
    let served = Served::start(folder, &["--past-hours", "3"]);
    let (_, nurse) = served.accounts();
    let from = Instant::now();
    loop {
        let bed = served.ask("GET", "/api/beds/A1", Some(&nurse), None).json();
        if bed["patient_kg"].is_number() && bed["link_up"] == true {
            return (served, nurse);
        }
        assert!(from.elapsed() < Duration::from_secs(300), "no weight in five minutes: {bed}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) async fn sign_in(browser: &Browser, served: &Served, account: &str) {
    browser.open(&format!("http://{}/sign-in", served.address)).await;
    browser.click("[name=account]").await;
    browser.type_text(account).await;
    browser.press_tab().await;
    browser.type_text(OWN).await;
    browser.press_enter().await;
    browser.wait_for("location.pathname === '/'").await;
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) async fn look(browser: &Browser, served: &Served, page: &str, picture: &str) {
    for (width, name) in [(360, "phone"), (1280, "desk"), (2560, "wall")] {
        for theme in ["light", "dark"] {
            browser.emulate(width, theme, "screen").await;
            browser.open(&format!("http://{}{page}", served.address)).await;
            let wanted = browser.number("document.querySelectorAll('[data-plot]').length").await;
            browser.wait_for(&format!("document.querySelectorAll('.main-svg').length >= {wanted}")).await;
            browser.assert_whole(&format!("{page} at {width} px, {theme}")).await;
            let caution = browser.text("document.querySelector('.caution')?.textContent ?? ''").await;
            assert!(caution.contains("Not for dosing"), "{page} carries no caution");
            browser.picture(&format!("{picture}-{name}-{theme}")).await;
        }
    }
}
