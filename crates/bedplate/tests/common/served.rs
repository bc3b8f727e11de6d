//! A served ward: the built binary on an invented ward, and a small client for it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};

/// A password that people give themselves.
pub(crate) const OWN: &str = "alder linden oak";

/// A running ward; killed when dropped.
#[allow(dead_code, reason = "each test binary uses a part of this module")]
pub(crate) struct Served {
    pub(crate) child: Child,
    pub(crate) address: String,
    /// The first administrator's password, on the first start.
    pub(crate) secret: Option<String>,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What an answer holds.
pub(crate) struct Told {
    pub(crate) status: u16,
    pub(crate) body: String,
}

impl Told {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }
}

#[allow(dead_code, reason = "each test binary uses a part of this module")]
impl Served {
    /// Serves `ward.toml` of a folder, with more options.
    pub(crate) fn start(folder: &Path, options: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bedplate"));
        command.current_dir(folder).args(["serve", "ward.toml"]).args(options);
        Self::by(command)
    }

    /// The demo's pages.
    pub(crate) fn demo() -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bedplate"));
        command.args(["demo", "--port", "0"]);
        Self::by(command)
    }

    /// Serves by a command that comes to the binary in its own way.
    pub(crate) fn by(mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the binary starts");
        let out = child.stdout.take().expect("piped");
        let mut served = Self { child, address: String::new(), secret: None };
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if let Some(rest) = line.trim().strip_prefix("password  ") {
                served.secret = Some(rest.to_owned());
            }
            if let Some((_, rest)) = line.split_once("http://").or_else(|| line.split_once("https://")) {
                served.address = rest.split('/').next().expect("not empty").to_owned();
                return served;
            }
        }
        panic!("the ward did not start");
    }

    pub(crate) fn ask(&self, method: &str, path: &str, token: Option<&str>, body: Option<&Value>) -> Told {
        let bearer = token.map(|token| format!("Bearer {token}"));
        let headers: Vec<(&str, &str)> = bearer.iter().map(|bearer| ("authorization", bearer.as_str())).collect();
        self.send(method, path, &headers, body)
    }

    /// The same for somebody whose browser asks for German.
    #[allow(dead_code, reason = "each test binary uses a part of this module")]
    pub(crate) fn ask_in_german(&self, method: &str, path: &str, body: Option<&Value>) -> Told {
        self.send(method, path, &[("accept-language", "de")], body)
    }

    fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: Option<&Value>) -> Told {
        let mut stream = TcpStream::connect(&self.address).expect("it listens");
        let mut head = format!("{method} {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n", self.address);
        for (name, value) in headers {
            head += &format!("{name}: {value}\r\n");
        }
        let body = body.map(Value::to_string).unwrap_or_default();
        head += &format!("content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}", body.len());
        stream.write_all(head.as_bytes()).expect("sent");
        let mut text = Vec::new();
        stream.read_to_end(&mut text).expect("an answer");
        let text = String::from_utf8_lossy(&text);
        let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
        let status = head.split(' ').nth(1).expect("a status").parse().expect("a number");
        let body = if head.contains("transfer-encoding: chunked") { unchunked(body) } else { body.to_owned() };
        Told { status, body }
    }

    /// Tokens of the first administrator, with a password of its own, and of a nurse; on the first start.
    pub(crate) fn accounts(&self) -> (String, String) {
        let secret = self.secret.as_deref().expect("the first start prints a secret");
        let token = self.sign_in("first", secret);
        let change = json!({ "old": secret, "new": OWN });
        assert_eq!(self.ask("POST", "/api/password", Some(&token), Some(&change)).status, 200);
        let administrator = self.sign_in("first", OWN);
        let make = json!({ "account": "nurse", "role": "nurse", "password": "given by another" });
        assert_eq!(self.ask("POST", "/api/accounts", Some(&administrator), Some(&make)).status, 201);
        let fresh = self.sign_in("nurse", "given by another");
        let change = json!({ "old": "given by another", "new": OWN });
        assert_eq!(self.ask("POST", "/api/password", Some(&fresh), Some(&change)).status, 200);
        (administrator, self.sign_in("nurse", OWN))
    }

    /// Signs in and gives the token.
    pub(crate) fn sign_in(&self, account: &str, password: &str) -> String {
        let body = json!({ "account": account, "password": password });
        let told = self.ask("POST", "/api/session", None, Some(&body));
        assert_eq!(told.status, 200, "{}", told.body);
        told.json()["token"].as_str().expect("a token").to_owned()
    }
}

fn unchunked(body: &str) -> String {
    let (mut rest, mut out) = (body, String::new());
    while let Some((size, after)) = rest.split_once("\r\n") {
        let size = usize::from_str_radix(size.trim(), 16).unwrap_or(0);
        if size == 0 {
            break;
        }
        out += after.get(..size).unwrap_or_default();
        rest = after.get(size + 2..).unwrap_or_default();
    }
    out
}
