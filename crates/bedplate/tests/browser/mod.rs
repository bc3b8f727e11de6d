//! A headless browser under a driver, as the page tests need it.

use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};
use fantoccini::key::Key;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Value, json};

/// How long a page may take before a test gives up; not a limit on speed, only on hanging.
const PATIENCE: Duration = Duration::from_secs(40);

/// A browser and its driver; both end with it.
pub(crate) struct Browser {
    client: Client,
    driver: Child,
    pictures: Option<PathBuf>,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// A command of this driver that the standard does not know.
#[derive(Debug)]
struct DriverCommand {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for DriverCommand {
    fn endpoint(&self, base_url: &url::Url, session_id: Option<&str>) -> Result<url::Url, url::ParseError> {
        base_url.join(&format!("session/{}/{}", session_id.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
impl Browser {
    /// Starts driver and browser with an empty profile.
    pub(crate) async fn start() -> Self {
        let port = TcpListener::bind("127.0.0.1:0").expect("a free port").local_addr().expect("bound").port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        let capabilities = json!({
            // Certificates of a test's own.
            "acceptInsecureCerts": true,
            "goog:chromeOptions": { "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
                "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
            ]},
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let Value::Object(capabilities) = capabilities else { unreachable!("written as an object") };
        let begun = Instant::now();
        let client = loop {
            let mut builder = ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new());
            builder.capabilities(capabilities.clone());
            match builder.connect(&format!("http://127.0.0.1:{port}")).await {
                Ok(client) => break client,
                Err(e) if begun.elapsed() > PATIENCE => panic!("no browser: {e}"),
                Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
            }
        };
        let pictures = std::env::var_os("BEDPLATE_PICTURES").map(PathBuf::from);
        if let Some(folder) = &pictures {
            std::fs::create_dir_all(folder).expect("a folder for the pictures");
        }
        Self { client, driver, pictures }
    }

    /// Ends the session.
    pub(crate) async fn stop(self) {
        self.client.clone().close().await.expect("the session ends");
    }

    async fn devtools(&self, command: &str, params: Value) -> Value {
        let body = json!({ "cmd": command, "params": params });
        self.client.issue_cmd(DriverCommand { path: "goog/cdp/execute", body }).await.expect("the browser obeys")
    }

    /// Sets width, theme and medium of the pages to come.
    pub(crate) async fn emulate(&self, width: u32, theme: &str, medium: &str) {
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600 }),
        )
        .await;
        self.devtools(
            "Emulation.setEmulatedMedia",
            json!({ "media": medium, "features": [{ "name": "prefers-color-scheme", "value": theme }] }),
        )
        .await;
    }

    /// Opens a page.
    pub(crate) async fn open(&self, address: &str) {
        self.client.goto(address).await.expect("the page opens");
    }

    async fn value(&self, expression: &str) -> Value {
        self.client.execute(&format!("return {expression}"), vec![]).await.expect("the expression runs")
    }

    /// A number from the page.
    pub(crate) async fn number(&self, expression: &str) -> f64 {
        self.value(expression).await.as_f64().unwrap_or_else(|| panic!("{expression} is no number"))
    }

    /// A text from the page.
    pub(crate) async fn text(&self, expression: &str) -> String {
        self.value(expression).await.as_str().unwrap_or_else(|| panic!("{expression} is no text")).to_owned()
    }

    /// Waits until the expression is true.
    pub(crate) async fn wait_for(&self, expression: &str) {
        let begun = Instant::now();
        while self.value(expression).await != Value::Bool(true) {
            assert!(begun.elapsed() < PATIENCE, "waited in vain for {expression}");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// What the console complained of since the last call.
    pub(crate) async fn console_errors(&self) -> Vec<String> {
        let log = self
            .client
            .issue_cmd(DriverCommand { path: "se/log", body: json!({ "type": "browser" }) })
            .await
            .expect("the log");
        log.as_array()
            .into_iter()
            .flatten()
            .filter(|e| matches!(e["level"].as_str(), Some("SEVERE" | "WARNING")))
            .map(|e| e["message"].as_str().unwrap_or_default().to_owned())
            // A driver's own session may be told that drawing runs in software.
            .filter(|m| !m.contains("GPU stall") && !m.contains("software WebGL"))
            .collect()
    }

    async fn press(&self, key: Key) {
        let keys = KeyActions::new("keyboard".into())
            .then(KeyAction::Down { value: key.into() })
            .then(KeyAction::Up { value: key.into() });
        self.client.perform_actions(keys).await.expect("the key is pressed");
    }

    /// Presses the tabulator key.
    pub(crate) async fn press_tab(&self) {
        self.press(Key::Tab).await;
    }

    /// Presses Enter.
    pub(crate) async fn press_enter(&self) {
        self.press(Key::Enter).await;
    }

    /// Presses the arrow to the right.
    pub(crate) async fn press_right(&self) {
        self.press(Key::Right).await;
    }

    /// Takes something with the pointer, moves it by some pixels and lets go.
    pub(crate) async fn drag(&self, selector: &str, by_x: i64, by_y: i64) {
        let at = self
            .value(&format!(
                "((b) => [b.x + b.width / 2, b.y + b.height / 2])((document.querySelector('{selector}').scrollIntoView({{ block: 'center' }}), document.querySelector('{selector}').getBoundingClientRect()))"
            ))
            .await;
        let (x, y) = (at[0].as_f64().expect("a place"), at[1].as_f64().expect("a place"));
        let moved = |x: f64, y: f64| PointerAction::MoveTo { duration: Some(Duration::from_millis(80)), x, y };
        let way = MouseActions::new("mouse".into())
            .then(moved(x, y))
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
            .then(moved(x + by_x as f64 / 2.0, y + by_y as f64 / 2.0))
            .then(moved(x + by_x as f64, y + by_y as f64))
            .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(way).await.expect("it is dragged");
    }

    /// Gives a field a value, as somebody who has typed or chosen it.
    pub(crate) async fn set_value(&self, selector: &str, value: &str) {
        let script = "const e = document.querySelector(arguments[0]); e.value = arguments[1]; \
            e.dispatchEvent(new Event('input', { bubbles: true })); e.dispatchEvent(new Event('change', { bubbles: true }));";
        self.client.execute(script, vec![selector.into(), value.into()]).await.expect("the field takes it");
    }

    /// Types into what has the focus.
    pub(crate) async fn type_text(&self, text: &str) {
        let keys = text.chars().fold(KeyActions::new("keyboard".into()), |keys, value| {
            keys.then(KeyAction::Down { value }).then(KeyAction::Up { value })
        });
        self.client.perform_actions(keys).await.expect("the keys are pressed");
    }

    /// Clicks the first thing that a selector finds, with the pointer, as soon as it is there.
    pub(crate) async fn click(&self, selector: &str) {
        self.click_at(Locator::Css(selector), selector).await;
    }

    /// Clicks the button or link of just that text, as soon as it is there.
    pub(crate) async fn click_button(&self, text: &str) {
        let path = format!("//button[normalize-space()='{text}'] | //a[normalize-space()='{text}']");
        self.click_at(Locator::XPath(&path), text).await;
    }

    async fn click_at(&self, place: Locator<'_>, name: &str) {
        let begun = Instant::now();
        loop {
            // A live page may draw it anew between finding and clicking.
            let clicked = match self.client.find(place).await {
                Ok(found) => found.click().await,
                Err(e) => Err(e),
            };
            match clicked {
                Ok(()) => return,
                Err(e) => assert!(begun.elapsed() < PATIENCE, "{name} cannot be clicked: {e}"),
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Figures of the browser about the page: `Nodes`, `JSEventListeners`, `JSHeapUsedSize`, after garbage was collected.
    pub(crate) async fn figure(&self, name: &str) -> f64 {
        self.devtools("Performance.enable", json!({})).await;
        // The browser keeps each answer that a driver was given: what a test asked is no growth of the page.
        self.devtools("Runtime.discardConsoleEntries", json!({})).await;
        self.devtools("HeapProfiler.collectGarbage", json!({})).await;
        let told = self.devtools("Performance.getMetrics", json!({})).await;
        let metrics = told["metrics"].as_array().expect("a list");
        let found = metrics.iter().find(|m| m["name"] == name).and_then(|m| m["value"].as_f64());
        found.unwrap_or_else(|| panic!("no figure {name}"))
    }

    /// What an accessibility checker finds wrong on the page, one line a fault. Without the feature `accessibility-tests`
    /// nothing is looked for, and the test command names the suite as skipped.
    ///
    /// Rules: axe-core 4.10.3, those of WCAG 2.0 to 2.2, levels A and AA, and its best practices.
    #[cfg(feature = "accessibility-tests")]
    pub(crate) async fn accessibility_faults(&self) -> Vec<String> {
        let path =
            std::env::var_os("BEDPLATE_CHECKER").expect("BEDPLATE_CHECKER names the checker's script, axe.min.js");
        let checker = std::fs::read_to_string(path).expect("the checker's script");
        self.client.execute(&checker, vec![]).await.expect("the checker loads");
        let run = "const done = arguments[arguments.length - 1]; \
            axe.run(document, { resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }) \
            .then((r) => done(r.violations.flatMap((v) => v.nodes.map((n) => `${v.id} (${v.impact}): ${n.target} ${n.html.slice(0, 120)}`))), (e) => done([`the checker failed: ${e}`]))";
        let found = self.client.execute_async(run, vec![]).await.expect("the checker answers");
        let faults = found.as_array().expect("a list of faults");
        faults.iter().map(|f| f.as_str().unwrap_or("a fault without words").to_owned()).collect()
    }

    #[cfg(not(feature = "accessibility-tests"))]
    #[expect(clippy::unused_async, reason = "the same shape as with the feature")]
    pub(crate) async fn accessibility_faults(&self) -> Vec<String> {
        Vec::new()
    }

    /// What is the same on every page: it fits its width, asks no other server, complains of nothing, and anybody can use it.
    pub(crate) async fn assert_whole(&self, name: &str) {
        // Not `innerWidth`: a phone zooms out until what is too wide fits, and tells that.
        let over = self.number("document.documentElement.scrollWidth - document.documentElement.clientWidth").await;
        let widest = "[...document.querySelectorAll('body *')].sort((a, b) => b.getBoundingClientRect().right - a.getBoundingClientRect().right)[0].outerHTML.slice(0, 200)";
        assert!(over <= 0.0, "{name} is {over} px too wide: {}", self.text(widest).await);
        let outside = self
            .text("JSON.stringify(performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith(location.origin) && !n.startsWith('data:') && !n.startsWith('blob:')))")
            .await;
        assert_eq!(outside, "[]", "{name} asks other servers");
        assert_eq!(self.accessibility_faults().await, Vec::<String>::new(), "{name}");
        assert_eq!(self.console_errors().await, Vec::<String>::new(), "{name}");
    }

    /// Keeps a picture of the whole page where `BEDPLATE_PICTURES` names a folder.
    pub(crate) async fn picture(&self, name: &str) {
        let Some(folder) = &self.pictures else { return };
        let shot = self.devtools("Page.captureScreenshot", json!({ "captureBeyondViewport": true })).await;
        keep(&folder.join(format!("{}.png", or_overview(name))), &shot);
    }

    /// A picture of what the window shows.
    pub(crate) async fn screen(&self, path: &std::path::Path) {
        let shot = self.devtools("Page.captureScreenshot", json!({ "captureBeyondViewport": false })).await;
        keep(path, &shot);
    }

    /// Prints the page, keeps it where `BEDPLATE_PICTURES` names a folder, and gives the number of sheets of A4.
    pub(crate) async fn print(&self, name: &str) -> usize {
        use base64::Engine as _;
        let pdf = self
            .devtools("Page.printToPDF", json!({ "printBackground": true, "paperWidth": 8.27, "paperHeight": 11.69 }))
            .await;
        if let Some(folder) = &self.pictures {
            keep(&folder.join(format!("{}.pdf", or_overview(name))), &pdf);
        }
        let data = pdf["data"].as_str().expect("data");
        assert!(data.len() > 10_000, "{name} prints next to nothing");
        let bytes = base64::engine::general_purpose::STANDARD.decode(data).expect("base64");
        // ISO 32000-1, 7.7.3.3: each sheet is an object of type Page; that of type Pages is their list.
        let text = String::from_utf8_lossy(&bytes);
        text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
    }
}

fn or_overview(name: &str) -> String {
    if name.starts_with('-') { format!("overview{name}") } else { name.to_owned() }
}

fn keep(path: &std::path::Path, answer: &Value) {
    use base64::Engine as _;
    let data =
        base64::engine::general_purpose::STANDARD.decode(answer["data"].as_str().expect("data")).expect("base64");
    std::fs::write(path, data).expect("the picture is kept");
}
