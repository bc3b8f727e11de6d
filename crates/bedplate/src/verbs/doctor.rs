//! `ward doctor`: what is wrong with a ward, and how to mend it.

use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use serde::Serialize;
use serde_json::json;
use store::audit::audit;
use store::{StoreError, schema};

use crate::cli::WardFileArgs;
use crate::failure::Failure;
use crate::output::{self, Outcome};
use crate::verbs::serve::{aside, beds, place, read};
use crate::verbs::ward::memory_of;

/// A memory that has not opened by then hangs.
const OPEN_MOST: Duration = Duration::from_secs(15);

/// What a look found: what is right, or what is wrong and how to mend it.
#[derive(Serialize)]
struct Look {
    what: &'static str,
    ok: bool,
    found: String,
    mend: &'static str,
}

impl Look {
    fn new(what: &'static str, found: Result<String, String>, mend: &'static str) -> Self {
        let ok = found.is_ok();
        Self { what, ok, found: found.unwrap_or_else(|e| e), mend: if ok { "" } else { mend } }
    }
}

pub(crate) fn run(args: &WardFileArgs) -> Result<Outcome, Failure> {
    let file = read(&args.ward)?;
    let mut looks = vec![
        Look::new("ward file", Ok(format!("{} with {} beds", file.name, file.beds.len())), ""),
        Look::new(
            "decks, calibrations, scenarios",
            beds(&args.ward, &file)
                .map(|_| "each bed's files can be read and fit".to_owned())
                .map_err(|e| e.to_string()),
            "mend or replace the file that the message names; `calibrate` makes a calibration",
        ),
    ];
    looks.extend(memory(&args.ward));
    looks.push(Look::new(
        "what waits for the memory",
        aside(&args.ward, &file).map_err(|e| e.to_string()).and_then(|waits| {
            let folder = waits.place().to_string_lossy().into_owned();
            let room = disk(&folder)?;
            if waits.has_jobs() {
                Err(format!("{} bytes at {}", waits.bytes(), waits.place().display()))
            } else {
                Ok(format!("nothing; {}: {room}", waits.place().display()))
            }
        }),
        "a running service catches up by itself once the memory answers, a stopped one at its start; name a place that can be \
         written in [ward] aside",
    ));
    looks.push(Look::new("disk", disk(&place(&args.ward, &file.memory)), "free some space, or move the memory"));
    let is_loopback = file.listen.parse().is_ok_and(|a: std::net::SocketAddr| a.ip().is_loopback());
    let listen = match (&file.tls, is_loopback) {
        (None, false) => Err(format!("{} is off loopback, without [tls]", file.listen)),
        (None, true) => Ok(format!("{}, this machine only", file.listen)),
        (Some(_), _) => Ok(format!("{}, with TLS", file.listen)),
    };
    looks.push(Look::new("address", listen, "add [tls] with certificate and key, or listen on 127.0.0.1"));
    looks.push(Look::new(
        "port",
        std::net::TcpListener::bind(&file.listen).map(|_| "free".to_owned()).map_err(|e| e.to_string()),
        "the service runs already, or another program has this port: choose another in [ward] listen",
    ));
    let ok = looks.iter().all(|l| l.ok);
    output::report(args.json, &json!({ "ok": ok, "looks": looks }), |_| {
        let mut text = String::new();
        for l in &looks {
            text += &format!("{} {:<32} {}\n", if l.ok { "✓" } else { "✗" }, l.what, l.found);
            if !l.ok {
                text += &format!("    to mend: {}\n", l.mend);
            }
        }
        text
    })?;
    Ok(Outcome::of(ok))
}

/// Looks at the memory from a thread of its own: one that hangs must not hang who asks what is wrong. The audit trail of years
/// may take its time once the memory has answered.
fn memory(ward: &Path) -> Vec<Look> {
    let (tell, told) = mpsc::channel();
    let ward: PathBuf = ward.to_owned();
    std::thread::spawn(move || {
        let opened = memory_of(&ward).map_err(|e| {
            Look::new("memory", Err(e.to_string()), "start `serve` once, or name the right place in [ward] memory")
        });
        let mut database = match opened {
            Ok(database) => database,
            // Nobody may be left to tell: then what was found is of no interest.
            Err(look) => return drop(tell.send(look)),
        };
        let form = schema::form(database.as_mut()).map_err(|e| e.to_string()).and_then(|form| {
            if form == schema::NEWEST {
                Ok(format!("{form}, the newest"))
            } else {
                Err(format!("{form}; this version knows {}", schema::NEWEST))
            }
        });
        let mend = "run `bedplate ward migrate`, or use the version that wrote it";
        drop(tell.send(Look::new("form of the tables", form, mend)));
        let walked: Result<_, StoreError> = database.look().and_then(|mut tx| audit(tx.as_mut(), &[]));
        let trail = walked.map_err(|e| e.to_string()).and_then(|a| match a.breaks.first() {
            None => Ok(format!("{} entries, whole", a.entries)),
            Some(b) => Err(format!("{}, entry {}: {}", b.chain, b.number, b.what)),
        });
        let mend = "keep the memory as it is for whoever looks into it; restore the last copy that `ward verify-audit` finds whole";
        drop(tell.send(Look::new("audit trail", trail, mend)));
    });
    match told.recv_timeout(OPEN_MOST) {
        Ok(first) => std::iter::once(first).chain(told).collect(),
        Err(_) => vec![Look::new(
            "memory",
            Err(format!("has not answered for {} s", OPEN_MOST.as_secs())),
            "look at the server of the database: it takes connections and answers nothing",
        )],
    }
}

/// Space left where the memory is a file.
fn disk(place: &str) -> Result<String, String> {
    if place.contains("://") {
        return Ok("the database's own".to_owned());
    }
    let folder = Path::new(place).parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let probe = folder.join(".bedplate-space");
    // No library of the standard tells free space: a megabyte that can be written and flushed is proof enough to start.
    let tried = std::fs::write(&probe, vec![0; 1 << 20]).and_then(|()| std::fs::File::open(&probe)?.sync_all());
    let removed = std::fs::remove_file(&probe);
    tried.and(removed).map(|()| "can be written".to_owned()).map_err(|e| e.to_string())
}
