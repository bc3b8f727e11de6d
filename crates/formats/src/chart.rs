//! `chart.csv`: fluids in and out, as charted.
//!
//! Rows are put in the order of time; rows of one time keep the order of the file. `leaves_deck` has a
//! meaning for an output alone: empty is `yes`, and an intake always counts as `yes`. A column `corrects`, where there is one,
//! names the line of the entry whose place this one takes ([`corrections`]).

use std::collections::HashMap;

use jiff::Timestamp;

use crate::limits::Limits;
use crate::table::Table;
use crate::{Problems, csv_writer, words};

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Line of the file, from 1.
    pub line: usize,
    /// When.
    pub time: Timestamp,
    /// In or out.
    pub direction: Direction,
    /// By which way.
    pub route: Route,
    /// Volume, mL.
    pub volume_ml: f64,
    /// Whether an output has left the deck; `false`: it stays in pads or linen until those go.
    pub leaves_deck: bool,
    /// A note.
    pub note: String,
}

/// In or out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Into the patient.
    Intake,
    /// Out of the patient.
    Output,
}

/// By which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Route {
    /// Into a vein.
    Iv,
    /// By mouth.
    Oral,
    /// By a feeding tube.
    Enteral,
    /// Blood and its products.
    Blood,
    /// Urine.
    Urine,
    /// Drains.
    Drain,
    /// Stool.
    Stool,
    /// From the stomach.
    Gastric,
    /// Removed by a machine.
    Ultrafiltrate,
    /// Any other.
    Other,
}

const DIRECTIONS: &words::Words<Direction> = &[("intake", Direction::Intake), ("output", Direction::Output)];
const ROUTES: &words::Words<Route> = &[
    ("iv", Route::Iv),
    ("oral", Route::Oral),
    ("enteral", Route::Enteral),
    ("blood", Route::Blood),
    ("urine", Route::Urine),
    ("drain", Route::Drain),
    ("stool", Route::Stool),
    ("gastric", Route::Gastric),
    ("ultrafiltrate", Route::Ultrafiltrate),
    ("other", Route::Other),
];
const LEAVES: &words::Words<bool> = &[("yes", true), ("no", false)];

impl Direction {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        words::word(DIRECTIONS, &self)
    }

    /// The direction of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        words::meaning(DIRECTIONS, word)
    }

    /// Every word.
    pub fn all() -> impl Iterator<Item = &'static str> {
        DIRECTIONS.iter().map(|(word, _)| *word)
    }
}

impl Route {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        words::word(ROUTES, &self)
    }

    /// The way of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        words::meaning(ROUTES, word)
    }

    /// Every word.
    pub fn all() -> impl Iterator<Item = &'static str> {
        ROUTES.iter().map(|(word, _)| *word)
    }
}

/// Columns of the file.
struct Columns {
    time: usize,
    direction: usize,
    route: usize,
    volume_ml: usize,
    leaves_deck: Option<usize>,
    note: Option<usize>,
}

/// Reads a chart, in the order of time.
///
/// # Errors
/// Missing columns, times that are not RFC 3339 or lack their zone, words that are no direction or route, volumes that
/// are none, and a row that stands twice just so: it would count twice.
pub fn read(file: &str, text: &str) -> Result<Vec<Entry>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [time, direction, route, volume_ml] = table.required(["time", "direction", "route", "volume_mL"])?;
    let (leaves_deck, note) = (table.optional("leaves_deck"), table.optional("note"));
    let columns = Columns { time, direction, route, volume_ml, leaves_deck, note };
    let mut entries = Vec::new();
    let mut lines = HashMap::new();
    while table.next_row()? {
        let line = table.line();
        if let Some(first) = lines.insert(table.raw().to_owned(), line) {
            let expected =
                format!("each entry once: line {first} is the same (if both were given, tell them apart in `note`)");
            table.problem(None, "a row that stands twice", expected);
        }
        if let Some(entry) = read_entry(&mut table, &columns) {
            entries.push(entry);
        }
    }
    table.check()?;
    entries.sort_by_key(|e| e.time);
    Ok(entries)
}

/// Which entries take the place of others: the line of each entry whose column `corrects` names a line, with that line.
///
/// Nothing is overwritten: both entries stay in the chart; a correction of 0 mL strikes an entry out.
///
/// # Errors
/// Those of [`read`] about rows; a line that is no whole number from 2 on.
pub fn corrections(file: &str, text: &str) -> Result<Vec<(usize, usize)>, Problems> {
    const LINE: Limits = Limits::between(2.0, 1e7).because("a line of this file; the first entry stands in line 2");
    let mut table = Table::open(file, text.as_bytes())?;
    let Some(column) = table.optional("corrects") else { return Ok(Vec::new()) };
    let mut out = Vec::new();
    while table.next_row()? {
        let Some(line) = table.number_opt(Some(column), &LINE) else { continue };
        if line.fract() != 0.0 {
            table.problem(Some(column), line.to_string(), "a whole number");
        }
        // Within LINE, or a problem is noted and the value never seen.
        out.push((table.line(), line as usize));
    }
    table.check()?;
    Ok(out)
}

fn read_entry(table: &mut Table<&[u8]>, columns: &Columns) -> Option<Entry> {
    let time = table.time(columns.time);
    let direction = table.word(columns.direction, DIRECTIONS);
    let route = table.word(columns.route, ROUTES);
    let volume_ml = table.number(columns.volume_ml, &Limits::NOT_NEGATIVE.because("`direction` says in or out"));
    let leaves = match columns.leaves_deck.filter(|&column| !table.text(Some(column)).is_empty()) {
        Some(column) => table.word(column, LEAVES),
        None => Some(true),
    };
    let direction = direction?;
    Some(Entry {
        line: table.line(),
        time: time?,
        direction,
        route: route?,
        volume_ml,
        leaves_deck: leaves? || direction == Direction::Intake,
        note: table.text(columns.note).to_owned(),
    })
}

/// The chart as text; [`read`] gives the entries back, if they are in the order of time and no two are the same.
#[must_use]
pub fn write(entries: &[Entry]) -> String {
    let mut out = csv_writer::Rows::new();
    out.row(["time", "direction", "route", "volume_mL", "leaves_deck", "note"]);
    for entry in entries {
        out.field(&entry.time.to_string());
        out.field(entry.direction.word());
        out.field(entry.route.word());
        out.number(entry.volume_ml);
        out.field(match entry.direction {
            Direction::Intake => "",
            Direction::Output => words::word(LEAVES, &entry.leaves_deck),
        });
        out.field(&entry.note);
        out.end_row();
    }
    out.finish()
}
