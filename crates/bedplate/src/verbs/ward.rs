//! `ward`: the ward's memory proved, copied, brought back and forward; the modules `doctor` and `counts` look it over and take counts out.

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
use crate::verbs::serve::{place, read};
use crate::verbs::{counts, doctor};

pub(crate) fn run(args: &WardArgs) -> Result<Outcome, Failure> {
    match &args.task {
        WardTask::VerifyAudit(args) => verify_audit(args),
        WardTask::Backup(args) => backup(args),
        WardTask::Restore(args) => restore(args),
        WardTask::Migrate(args) => migrate(args),
        WardTask::Counts(args) => counts::run(args),
        WardTask::Doctor(args) => doctor::run(args),
    }
}

/// How a memory is opened: to look at it, or to change it.
type Opening = fn(&str) -> Result<Box<dyn sql::Database>, store::StoreError>;

/// An open memory that is there already: looking at one must not make one.
fn open(file: &Path, place: &str, how: Opening) -> Result<Box<dyn sql::Database>, Failure> {
    if !place.contains("://") && !Path::new(place).exists() {
        return Err(Failure::Stage(format!("{}: there is no memory at {place} yet; `serve` makes it", file.display())));
    }
    how(place).map_err(|e| Failure::stage(file, &e))
}

/// The memory that a ward file names, or a copy, to be looked at.
pub(super) fn memory_of(path: &Path) -> Result<Box<dyn sql::Database>, Failure> {
    named_by(path, sql::open_to_look)
}

fn named_by(path: &Path, how: Opening) -> Result<Box<dyn sql::Database>, Failure> {
    let is_ward = path.extension().is_some_and(|e| e == "toml");
    let place = if is_ward { place(path, &read(path)?.memory) } else { path.to_string_lossy().into_owned() };
    open(path, &place, how)
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
    refuse_the_memory_itself(args)?;
    // The copy is made beside its place and then renamed: it is whole or is not there.
    let folder = args.output.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let aside = tempfile::tempdir_in(folder).map_err(|e| Failure::write(&args.output, e))?;
    let part = aside.path().join("copy");
    let mut to = sql::open(&part.to_string_lossy()).map_err(|e| Failure::stage(&args.output, &e))?;
    let copied = copy::copy(from.as_mut(), to.as_mut(), now_us()).map_err(|e| {
        Failure::Stage(format!("{} could not be copied to {}: {e}", args.ward.display(), args.output.display()))
    })?;
    to.finish().map_err(|e| Failure::stage(&args.output, &e))?;
    let cannot = |e| Failure::write(&args.output, e);
    std::fs::File::open(&part).and_then(|file| file.sync_all()).map_err(cannot)?;
    // The log of an earlier file of this name would be taken for the new one's.
    for end in ["-wal", "-shm"] {
        let mut log = args.output.clone().into_os_string();
        log.push(end);
        match std::fs::remove_file(&log) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(cannot(error)),
            _ => {}
        }
    }
    std::fs::rename(&part, &args.output).map_err(cannot)?;
    std::fs::File::open(folder).and_then(|folder| folder.sync_all()).map_err(cannot)?;
    output::text(&format!("{}\n{}", copied_text(&copied), told(&copied.audit)))?;
    Ok(Outcome::of(copied.audit.breaks.is_empty()))
}

/// A copy in the place of the memory would take the file from under a running ward.
fn refuse_the_memory_itself(args: &BackupArgs) -> Result<(), Failure> {
    let is_ward = args.ward.extension().is_some_and(|e| e == "toml");
    let memory =
        if is_ward { place(&args.ward, &read(&args.ward)?.memory) } else { args.ward.to_string_lossy().into_owned() };
    let same = |a: &Path, b: &Path| a.canonicalize().is_ok_and(|a| b.canonicalize().is_ok_and(|b| a == b));
    if same(Path::new(&memory), &args.output) {
        let what = format!("{}: this is the memory itself; name another file for the copy", args.output.display());
        return Err(Failure::Stage(what));
    }
    Ok(())
}

fn copied_text(copied: &copy::Copied) -> String {
    let parts: Vec<String> = copied.rows.iter().map(|(table, rows)| format!("{table} {rows}")).collect();
    format!("Copied, rows of each table: {}.", parts.join(", "))
}

fn restore(args: &RestoreArgs) -> Result<Outcome, Failure> {
    let mut from = open(&args.copy, &args.copy.to_string_lossy(), sql::open_to_look)?;
    let place = place(&args.ward, &read(&args.ward)?.memory);
    let mut to = sql::open(&place).map_err(|e| Failure::stage(&args.ward, &e))?;
    let copied = copy::copy(from.as_mut(), to.as_mut(), now_us()).map_err(|e| Failure::stage(&args.ward, &e))?;
    output::text(&format!("{}\n{}", copied_text(&copied), told(&copied.audit)))?;
    Ok(Outcome::of(copied.audit.breaks.is_empty()))
}

fn migrate(args: &WardFileArgs) -> Result<Outcome, Failure> {
    let mut database = named_by(&args.ward, sql::open)?;
    let of_ward = |e| Failure::stage(&args.ward, &e);
    let before = schema::form(database.as_mut()).map_err(of_ward)?;
    let steps = schema::migrate(database.as_mut(), now_us()).map_err(of_ward)?;
    let document = json!({ "before": before, "now": schema::NEWEST, "steps": steps });
    output::report(args.json, &document, |_| {
        if steps == 0 {
            format!("The tables have the newest form already, {before}.\n")
        } else {
            format!("The tables had the form {before}; now they have {}.\n", schema::NEWEST)
        }
    })?;
    Ok(Outcome::Met)
}
