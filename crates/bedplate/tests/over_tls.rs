//! A ward over TLS in a real browser, which speaks HTTP/2 there: its forms get through. Needs chromium and chromedriver: feature
//! `browser-tests`.
#![cfg(feature = "browser-tests")]

mod browser;
mod common;
#[path = "common/invented_ward.rs"]
mod invented_ward;
#[path = "common/served.rs"]
mod served;

use std::fs;
use std::process::Command;

use browser::Browser;
use invented_ward::ward;
use served::{OWN, Served};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_first_administrator_signs_in_and_chooses_a_password_over_tls() {
    let folder = ward();
    let path = folder.path();
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"])
        .args(["-keyout", "key.pem", "-out", "cert.pem"])
        .current_dir(path)
        .output()
        .unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let text = fs::read_to_string(path.join("ward.toml")).unwrap();
    let tls = "[tls]\ncertificate = \"cert.pem\"\nkey = \"key.pem\"\n";
    fs::write(path.join("ward.toml"), format!("{text}{tls}")).unwrap();
    let served = Served::start(path, &[]);
    let (_, port) = served.address.rsplit_once(':').unwrap();
    let browser = Browser::start().await;
    browser.open(&format!("https://localhost:{port}/sign-in")).await;
    let spoken = browser.text("performance.getEntriesByType('navigation')[0].nextHopProtocol").await;
    assert_eq!(spoken, "h2", "the test proves nothing");
    browser.click("[name=account]").await;
    browser.type_text("first").await;
    browser.press_tab().await;
    browser.type_text(served.secret.as_deref().unwrap()).await;
    browser.press_enter().await;
    browser.wait_for("location.pathname === '/password'").await;
    browser.click("[name=old]").await;
    browser.type_text(served.secret.as_deref().unwrap()).await;
    browser.press_tab().await;
    browser.type_text(OWN).await;
    browser.press_enter().await;
    browser.wait_for("location.pathname === '/sign-in'").await;
}
