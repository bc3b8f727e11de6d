//! What `weigh --follow` gives out: each row, event and fault as it comes, flushed.
//!
//! | options      | standard output                                  | standard error     |
//! |--------------|--------------------------------------------------|--------------------|
//! | none         | rows as in weights.csv                           | events as sentences |
//! | `-o FILE`    | events as sentences, the screen at the end       |                    |
//! | `--json`     | one document a line: `weight`, `event` with its number, `fault`, at the end `report` | |

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use formats::weights::{Weight, Writer};
use serde_json::json;
use weigh::{News, WeighReport};

use super::to_steps;
use crate::failure::Failure;
use crate::output;

/// Where it goes.
pub(super) struct Told {
    json: bool,
    rows: Option<(Writer<File>, PathBuf)>,
    screen: Option<Writer<io::Stdout>>,
}

impl Told {
    /// Begins, or goes on with a file of weights where a state was resumed.
    pub(super) fn open(json: bool, path: Option<&Path>, with_time: bool, resumed: bool) -> Result<Self, Failure> {
        let rows = match path {
            Some(path) => {
                let writer = weights_file(path, with_time, resumed).map_err(|e| Failure::write(path, e))?;
                Some((writer, path.to_owned()))
            }
            None => None,
        };
        let screen = (!json && path.is_none()).then(|| Writer::with_open(io::stdout(), with_time)).transpose();
        Ok(Self { json, rows, screen: screen.map_err(output::closed)? })
    }

    /// One row.
    pub(super) fn row(&mut self, weight: &Weight, open_kg: f64) -> Result<(), Failure> {
        let (weight, open_kg) = to_steps(weight, open_kg);
        if let Some((writer, path)) = &mut self.rows {
            writer.write_open(&weight, open_kg).map_err(|e| Failure::write(path, e))?;
        }
        if let Some(writer) = &mut self.screen {
            writer.write_open(&weight, open_kg).and_then(|()| writer.output().flush()).map_err(output::closed)?;
        }
        if self.json {
            let Weight { time, t_s, patient_kg, u_kg, state } = weight;
            let row = json!({ "time": time.map(|t| t.to_string()), "t_s": t_s, "patient_kg": patient_kg, "u_kg": u_kg, "state": state, "open_kg": open_kg });
            line(&json!({ "weight": row }))?;
        }
        Ok(())
    }

    /// What happened.
    pub(super) fn news(&self, news: &News) -> Result<(), Failure> {
        for (number, event) in &news.events {
            if self.json {
                line(&json!({ "event": event, "number": number }))?;
            } else {
                self.sentence(&format!("{} {}\n", report::text::clock(event.t_s), event.text))?;
            }
        }
        for fault in &news.faults {
            if self.json {
                line(&json!({ "fault": fault }))?;
            } else {
                self.sentence(&report::text::fault_line(fault))?;
            }
        }
        Ok(())
    }

    /// A line for a person, where the rows are not.
    fn sentence(&self, text: &str) -> Result<(), Failure> {
        if self.screen.is_some() {
            // Whether anyone reads standard error changes nothing for the rows.
            let _ = io::stderr().write_all(text.as_bytes());
            return Ok(());
        }
        output::text(text)
    }

    /// The end: what a replay would report, without the events and faults that were told already.
    pub(super) fn end(self, deck: &str, report: &WeighReport) -> Result<(), Failure> {
        if let Some((mut writer, path)) = self.rows {
            writer.output().sync_all().map_err(|e| Failure::write(&path, e))?;
        }
        if self.json {
            let mut document = serde_json::to_value(report).map_err(|e| Failure::Stage(e.to_string()))?;
            if let Some(fields) = document.as_object_mut() {
                fields.remove("events");
                fields.remove("faults");
            }
            return line(&json!({ "report": document }));
        }
        let told = WeighReport { events: Vec::new(), faults: Vec::new(), ..report.clone() };
        if self.screen.is_none() { output::text(&report::text::weighing(deck, &told)) } else { Ok(()) }
    }
}

fn line(document: &serde_json::Value) -> Result<(), Failure> {
    output::text(&format!("{document}\n"))
}

/// A file of weights that is written row by row: begun anew, or gone on with behind its last whole row.
fn weights_file(path: &Path, with_time: bool, resumed: bool) -> io::Result<Writer<File>> {
    let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(!resumed).open(path)?;
    let whole = whole_rows(&mut file)?;
    file.set_len(whole)?;
    file.seek(SeekFrom::Start(whole))?;
    if whole == 0 { Writer::with_open(file, with_time) } else { Ok(Writer::resume_with_open(file, with_time)) }
}

/// Bytes up to the end of the last whole line: a row that was cut is written anew or never.
fn whole_rows(file: &mut File) -> io::Result<u64> {
    let mut reader = BufReader::new(Read::by_ref(file));
    let (mut whole, mut bytes) = (0, Vec::new());
    loop {
        bytes.clear();
        let n = reader.read_until(b'\n', &mut bytes)?;
        if n == 0 || bytes.last() != Some(&b'\n') {
            return Ok(whole);
        }
        whole += n as u64;
    }
}
