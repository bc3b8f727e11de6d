//! `ward`: the ward's memory proved, copied, brought back and forward, and looked over.

use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::json;
use store::audit::{Audit, End, audit};
use store::{copy, schema, sql};
use ward::clock::now_us;

use crate::cli::{AuditArgs, BackupArgs, RestoreArgs, WardArgs, WardFileArgs, WardTask};
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};
use crate::verbs::serve::{aside, beds, place, read};

pub(crate) fn run(args: &WardArgs) -> Result<Outcome, Failure> {
    match &args.task {
        WardTask::VerifyAudit(args) => verify_audit(args),
        WardTask::Backup(args) => backup(args),
        WardTask::Restore(args) => restore(args),
        WardTask::Migrate(args) => migrate(args),
        WardTask::Doctor(args) => doctor(args),
    }
}

/// An open memory that is there already: looking at one must not make one.
fn open(file: &Path, place: &str) -> Result<Box<dyn sql::Database>, Failure> {
    if !place.contains("://") && !Path::new(place).exists() {
        return Err(Failure::Stage(format!("{}: there is no memory at {place} yet; `serve` makes it", file.display())));
    }
    sql::open(place).map_err(|e| Failure::stage(file, &e))
}

/// The memory that a ward file names, or a copy.
fn memory_of(path: &Path) -> Result<Box<dyn sql::Database>, Failure> {
    let is_ward = path.extension().is_some_and(|e| e == "toml");
    let place = if is_ward { place(path, &read(path)?.memory) } else { path.to_string_lossy().into_owned() };
    open(path, &place)
}

/// Ends of chains as they are written down.
#[derive(Serialize, Deserialize)]
struct Noted {
    chain: String,
    number: i64,
    hash: String,
}

fn verify_audit(args: &AuditArgs) -> Result<Outcome, Failure> {
    let mut database = memory_of(&args.ward)?;
    let noted = args.noted.as_deref().map(noted).transpose()?.unwrap_or_default();
    let of_ward = |e| Failure::stage(&args.ward, &e);
    let found = database.look().and_then(|mut tx| audit(tx.as_mut(), &noted)).map_err(of_ward)?;
    if let Some(path) = &args.note {
        let ends: Vec<Noted> =
            found.ends.iter().map(|e| Noted { chain: e.chain.clone(), number: e.number, hash: hex(&e.hash) }).collect();
        let text = serde_json::to_string_pretty(&ends).map_err(|e| Failure::Stage(e.to_string()))?;
        files::write_text(path, &(text + "\n"))?;
    }
    let breaks: Vec<_> =
        found.breaks.iter().map(|b| json!({ "chain": b.chain, "number": b.number, "what": b.what })).collect();
    let ends: Vec<_> =
        found.ends.iter().map(|e| json!({ "chain": e.chain, "number": e.number, "hash": hex(&e.hash) })).collect();
    let document = json!({ "entries": found.entries, "breaks": breaks, "ends": ends });
    output::report(args.json, &document, |_| told(&found))?;
    Ok(Outcome::of(found.breaks.is_empty()))
}

fn told(found: &Audit) -> String {
    let mut text = format!("Audit trail: {} entries in {} chains.\n", found.entries, found.ends.len());
    for end in &found.ends {
        text += &format!("  {:<24} {:>8} entries  ends with {}\n", end.chain, end.number, &hex(&end.hash)[..16]);
    }
    if found.breaks.is_empty() {
        text += "Whole: every entry follows the one before it.\n";
    }
    for b in &found.breaks {
        text += &format!("✗ {}, entry {}: {}\n", b.chain, b.number, b.what);
    }
    text
}

fn noted(path: &Path) -> Result<Vec<End>, Failure> {
    let text = files::read_text(path)?;
    let wrong = |what: String| Failure::Stage(format!("{}: {what}; expected what --note wrote", path.display()));
    let noted: Vec<Noted> = serde_json::from_str(&text).map_err(|e| wrong(e.to_string()))?;
    noted
        .into_iter()
        .map(|n| {
            let hash = unhex(&n.hash).ok_or_else(|| wrong(format!("{:?} is no hash", n.hash)))?;
            Ok(End { chain: n.chain, number: n.number, hash })
        })
        .collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn unhex(text: &str) -> Option<store::entry::Hash> {
    let bytes: Option<Vec<u8>> = (0..text.len())
        .step_by(2)
        .map(|i| text.get(i..i + 2).and_then(|pair| u8::from_str_radix(pair, 16).ok()))
        .collect();
    bytes?.try_into().ok()
}

fn backup(args: &BackupArgs) -> Result<Outcome, Failure> {
    let mut from = memory_of(&args.ward)?;
    // The copy is made beside its place and then renamed: it is whole or is not there.
    let folder = args.output.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let aside = tempfile::tempdir_in(folder).map_err(|e| Failure::write(&args.output, e))?;
    let part = aside.path().join("copy");
    let mut to = sql::open(&part.to_string_lossy()).map_err(|e| Failure::stage(&args.output, &e))?;
    let copied = copy::copy(from.as_mut(), to.as_mut(), now_us()).map_err(|e| Failure::stage(&args.ward, &e))?;
    drop(to);
    std::fs::rename(&part, &args.output).map_err(|e| Failure::write(&args.output, e))?;
    output::text(&format!("{}\n{}", copied_text(&copied), told(&copied.audit)))?;
    Ok(Outcome::of(copied.audit.breaks.is_empty()))
}

fn copied_text(copied: &copy::Copied) -> String {
    let parts: Vec<String> = copied.rows.iter().map(|(table, rows)| format!("{table} {rows}")).collect();
    format!("Copied, rows of each table: {}.", parts.join(", "))
}

fn restore(args: &RestoreArgs) -> Result<Outcome, Failure> {
    let mut from = open(&args.copy, &args.copy.to_string_lossy())?;
    let place = place(&args.ward, &read(&args.ward)?.memory);
    let mut to = sql::open(&place).map_err(|e| Failure::stage(&args.ward, &e))?;
    let copied = copy::copy(from.as_mut(), to.as_mut(), now_us()).map_err(|e| Failure::stage(&args.ward, &e))?;
    output::text(&format!("{}\n{}", copied_text(&copied), told(&copied.audit)))?;
    Ok(Outcome::of(copied.audit.breaks.is_empty()))
}

fn migrate(args: &WardFileArgs) -> Result<Outcome, Failure> {
    let mut database = memory_of(&args.ward)?;
    let of_ward = |e| Failure::stage(&args.ward, &e);
    let before = schema::form(database.as_mut()).map_err(of_ward)?;
    let steps = schema::migrate(database.as_mut(), now_us()).map_err(of_ward)?;
    let document = json!({ "before": before, "now": schema::NEWEST, "steps": steps });
    output::report(args.json, &document, |_| {
        format!("The tables had the form {before}; now they have {}, after {steps} steps.\n", schema::NEWEST)
    })?;
    Ok(Outcome::Met)
}

/// What a look found: what is right, or what is wrong and how to mend it.
#[derive(Serialize)]
struct Look {
    what: &'static str,
    ok: bool,
    found: String,
    mend: &'static str,
}

fn doctor(args: &WardFileArgs) -> Result<Outcome, Failure> {
    let file = read(&args.ward)?;
    let mut looks = Vec::new();
    let mut look = |what, found: Result<String, String>, mend| {
        let ok = found.is_ok();
        looks.push(Look { what, ok, found: found.unwrap_or_else(|e| e), mend: if ok { "" } else { mend } });
    };
    look("ward file", Ok(format!("{} with {} beds", file.name, file.beds.len())), "");
    look(
        "decks, calibrations, scenarios",
        beds(&args.ward, &file).map(|_| "each bed's files can be read and fit".to_owned()).map_err(|e| e.to_string()),
        "mend or replace the file that the message names; `calibrate` makes a calibration",
    );
    let place = place(&args.ward, &file.memory);
    let memory = memory_of(&args.ward);
    match memory {
        Err(error) => {
            look("memory", Err(error.to_string()), "start `serve` once, or name the right place in [ward] memory");
        }
        Ok(mut database) => {
            let form = schema::form(database.as_mut()).map_err(|e| e.to_string());
            look(
                "form of the tables",
                form.and_then(|form| {
                    if form == schema::NEWEST {
                        Ok(format!("{form}, the newest"))
                    } else {
                        Err(format!("{form}; this version knows {}", schema::NEWEST))
                    }
                }),
                "run `bedplate ward migrate`, or use the version that wrote it",
            );
            let walked = database.look().and_then(|mut tx| audit(tx.as_mut(), &[])).map_err(|e| e.to_string());
            look(
                "audit trail",
                walked.and_then(|a| match a.breaks.first() {
                    None => Ok(format!("{} entries, whole", a.entries)),
                    Some(b) => Err(format!("{}, entry {}: {}", b.chain, b.number, b.what)),
                }),
                "keep the memory as it is for whoever looks into it; restore the last copy that `ward verify-audit` finds whole",
            );
        }
    }
    look(
        "what waits for the memory",
        aside(&args.ward, &file).map_err(|e| e.to_string()).and_then(|waits| {
            let folder = waits.place().to_string_lossy().into_owned();
            let room = disk(&folder)?;
            if waits.is_empty() {
                Ok(format!("nothing; {}: {room}", waits.place().display()))
            } else {
                Err(format!("{} bytes at {}", waits.bytes(), waits.place().display()))
            }
        }),
        "a running service catches up by itself once the memory answers, a stopped one at its start; name a place that can be \
         written in [ward] aside",
    );
    look("disk", disk(&place), "free some space, or move the memory");
    let is_loopback = file.listen.parse().is_ok_and(|a: std::net::SocketAddr| a.ip().is_loopback());
    let listen = match (&file.tls, is_loopback) {
        (None, false) => Err(format!("{} is off loopback, without [tls]", file.listen)),
        (None, true) => Ok(format!("{}, this machine only", file.listen)),
        (Some(_), _) => Ok(format!("{}, with TLS", file.listen)),
    };
    look("address", listen, "add [tls] with certificate and key, or listen on 127.0.0.1");
    let free = std::net::TcpListener::bind(&file.listen).map(|_| "free".to_owned()).map_err(|e| e.to_string());
    look("port", free, "the service runs already, or another program has this port: choose another in [ward] listen");
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
