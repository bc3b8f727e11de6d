//! Reading CSV with its places kept: columns by name, one row in memory at a time.
//!
//! Lines are split here, so that each keeps its number and its text for messages, and fields between
//! commas are split in place without allocating. A row that holds quotation marks is left to the `csv`
//! library. A byte-order mark and CRLF are accepted, lines that are empty (or hold nothing but commas)
//! are passed over at the end of the file, and extra columns are passed over always.
//!
//! A row of plain numbers may be taken straight from the bytes instead (`plain`), with the same outcome.
//!
//! What does not fit is noted with line and column, and a stand-in is returned, as in `toml_reader`.

mod live;
mod plain;

pub(crate) use live::Live;

use std::io::BufRead;
use std::ops::Range;

use jiff::Timestamp;

use crate::asked;
use crate::deck::Deck;
use crate::limits::{self, Limits, quoted};
use crate::words::{self, Words};
use crate::{Problem, Problems};

/// Longest row, in bytes: memory stays bounded whatever the file holds.
const LONGEST_ROW: usize = 1 << 20;
/// After so many problems reading stops.
const MOST_PROBLEMS: usize = 50;

/// A CSV file while it is read.
pub(crate) struct Table<R> {
    file: String,
    source: R,
    columns: Vec<String>,
    row: Row,
    /// Lines read so far.
    n_lines: usize,
    problems: Vec<Problem>,
    /// Whether someone wants to know what is asked for.
    told: bool,
    plain: plain::Plain,
}

/// The row under the reader.
#[derive(Default)]
struct Row {
    /// Line on which it begins, from 1.
    line: usize,
    /// As it stands in the file, without its line end.
    raw: String,
    /// Where the fields lie: in `raw`, or in `unquoted` where the row holds quotation marks.
    fields: Vec<Range<usize>>,
    unquoted: Option<String>,
}

impl Row {
    fn field(&self, index: usize) -> &str {
        let text = self.unquoted.as_ref().unwrap_or(&self.raw);
        self.fields.get(index).and_then(|range| text.get(range.clone())).unwrap_or_default().trim()
    }

    fn is_blank(&self) -> bool {
        self.raw.bytes().all(|b| matches!(b, b',' | b' ' | b'\t'))
    }

    /// Splits the raw text into fields.
    fn split(&mut self) {
        self.fields.clear();
        if self.raw.as_bytes().contains(&b'"') {
            self.split_quoted();
            return;
        }
        self.unquoted = None;
        let mut start = 0;
        for (i, _) in self.raw.bytes().enumerate().filter(|&(_, b)| b == b',') {
            self.fields.push(start..i);
            start = i + 1;
        }
        self.fields.push(start..self.raw.len());
    }

    fn split_quoted(&mut self) {
        let mut record = csv::StringRecord::new();
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(self.raw.as_bytes());
        // The text is valid UTF-8 and held in memory: reading it cannot fail.
        let _ = reader.read_record(&mut record);
        let mut text = String::with_capacity(self.raw.len());
        for field in &record {
            let start = text.len();
            text.push_str(field);
            self.fields.push(start..text.len());
        }
        self.unquoted = Some(text);
    }

    /// Column of a field in characters from 1, if it begins on the row's first line.
    fn column_of(&self, index: usize) -> Option<usize> {
        let first_line = self.raw.lines().next().unwrap_or_default();
        let mut quotes = false;
        let mut field = 0;
        let mut chars = 1;
        for c in first_line.chars() {
            if field == index && !c.is_whitespace() {
                break;
            }
            match c {
                '"' => quotes = !quotes,
                ',' if !quotes => field += 1,
                _ => {}
            }
            chars += 1;
        }
        (field == index).then_some(chars)
    }
}

impl<R: BufRead> Table<R> {
    /// Reads the header.
    pub(crate) fn open(file: &str, source: R) -> Result<Self, Problems> {
        let mut table = Self {
            file: file.to_owned(),
            source,
            columns: Vec::new(),
            row: Row::default(),
            n_lines: 0,
            problems: Vec::new(),
            told: asked::wanted(),
            plain: plain::Plain::default(),
        };
        if !table.read_row()? || table.row.is_blank() {
            return Err(Problem::new(file, "an empty file", "a row of column names").into());
        }
        table.columns = (0..table.row.fields.len()).map(|i| table.row.field(i).to_owned()).collect();
        table.check_header()?;
        Ok(table)
    }

    fn check_header(&self) -> Result<(), Problems> {
        // The whole file would be taken for its heading, and what it holds for columns that nobody asks for.
        if self.row.raw.replace("\r\n", "\n").contains('\r') {
            let expected = "lines that end with a line feed, alone or after a carriage return";
            return Err(self.header_problem("lines that end with a carriage return alone", expected).into());
        }
        if let [only] = self.columns.as_slice() {
            for (separator, name) in [(';', "semicolons"), ('\t', "tabs")] {
                if only.contains(separator) {
                    let found = format!("columns separated by {name}");
                    return Err(self
                        .header_problem(found, "columns separated by commas, and numbers with a decimal point")
                        .into());
                }
            }
        }
        let mut problems = Vec::new();
        for (i, name) in self.columns.iter().enumerate() {
            if !name.is_empty() && self.columns[..i].contains(name) {
                let found = format!("a second column {}", quoted(name));
                let problem = self.header_problem(found, "each column once").column(self.row.column_of(i));
                problems.push(problem);
            }
        }
        if problems.is_empty() { Ok(()) } else { Err(Problems(problems)) }
    }

    pub(crate) fn header_problem(&self, found: impl Into<String>, expected: impl Into<String>) -> Problem {
        Problem::new(&self.file, found, expected).line(self.row.line, &self.row.raw)
    }

    /// Names of all columns, in the order of the file.
    pub(crate) fn columns(&self) -> &[String] {
        &self.columns
    }

    /// A column that may be absent. Asked for before the first row.
    pub(crate) fn optional(&self, name: &str) -> Option<usize> {
        asked::note(name, String::new, false);
        self.position(name)
    }

    fn position(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|c| c == name)
    }

    /// Required columns. Asked for before the first row.
    ///
    /// Fails with every column that is missing, and with what stands in its place where that is recognised.
    pub(crate) fn required<const N: usize>(&self, names: [&str; N]) -> Result<[usize; N], Problems> {
        let indices = names.map(|name| {
            asked::note(name, String::new, true);
            self.position(name).unwrap_or(usize::MAX)
        });
        let missing: Vec<&str> =
            names.iter().zip(indices).filter(|(_, i)| *i == usize::MAX).map(|(name, _)| *name).collect();
        if missing.is_empty() { Ok(indices) } else { Err(self.missing_columns(&missing, "column").into()) }
    }

    /// The problem of columns that are not there; `what` they are, in the singular.
    pub(crate) fn missing_columns(&self, missing: &[&str], what: &str) -> Problem {
        let s = if missing.len() == 1 { "" } else { "s" };
        let list = |names: &[&str]| names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
        let slips: Vec<String> = missing
            .iter()
            .filter_map(|name| {
                let strangers = self.columns.iter().map(String::as_str).filter(|c| !missing.contains(c));
                words::nearest(name, strangers).map(|near| format!("`{near}` for `{name}`"))
            })
            .collect();
        let slip = if slips.is_empty() { String::new() } else { format!(" (is {} a slip?)", slips.join(", ")) };
        let columns: Vec<&str> = self.columns.iter().map(String::as_str).collect();
        let found = format!("the columns {}", list(&columns));
        self.header_problem(found, format!("{what}{s} {} as well{slip}", list(missing)))
    }

    /// The columns of all cells of a deck, in its order.
    pub(crate) fn cell_columns(&self, deck: &Deck) -> Result<Vec<usize>, Problems> {
        let found: Vec<(&str, Option<usize>)> =
            deck.cells().map(|(_, cell)| (cell.name.as_str(), self.position(&cell.name))).collect();
        asked::note("<cell>", || "counts; a column for each cell of the deck, under its name".to_owned(), true);
        let missing: Vec<&str> = found.iter().filter(|(_, i)| i.is_none()).map(|(name, _)| *name).collect();
        if missing.is_empty() {
            return Ok(found.into_iter().filter_map(|(_, i)| i).collect());
        }
        let mut problem = self.missing_columns(&missing, "the cell");
        problem.expected += &format!(", as the deck {} has them: is the file of another deck?", quoted(&deck.name));
        Err(problem.into())
    }

    /// Notes a time that does not run forward, strictly or not, and keeps it for the next row.
    pub(crate) fn forward(&mut self, column: usize, t_s: f64, last: &mut Option<(usize, f64)>, strictly: bool) {
        if let Some((line, before)) = *last
            && (t_s < before || strictly && t_s <= before)
        {
            let than = if strictly { "after" } else { "not before" };
            let expected = format!("a time {than} {before} s of line {line}: time runs forward");
            self.problem(Some(column), format!("{t_s} s"), expected);
        }
        *last = Some((self.row.line, t_s));
    }

    /// Goes to the next row; false at the end. A row of the wrong width is noted and passed over.
    pub(crate) fn next_row(&mut self) -> Result<bool, Problems> {
        loop {
            if self.problems.len() >= MOST_PROBLEMS {
                return Err(Problems(std::mem::take(&mut self.problems)));
            }
            if !self.read_row()? {
                return Ok(false);
            }
            if self.row.is_blank() {
                return self.only_blank_follows();
            }
            let (n_found, n_expected) = (self.row.fields.len(), self.columns.len());
            if n_found == n_expected {
                return Ok(true);
            }
            self.note_width(n_found, n_expected);
        }
    }

    fn note_width(&mut self, n_found: usize, n_expected: usize) {
        let first = self.row.line;
        let s = if n_found == 1 { "" } else { "s" };
        let mut expected = format!("{n_expected}, as many as the header has");
        if n_found > n_expected {
            expected += " (a number with a decimal comma counts as two: write a point)";
        }
        let column = (n_found > n_expected).then(|| self.row.column_of(n_expected)).flatten();
        let problem = Problem::new(&self.file, format!("{n_found} field{s}"), expected);
        self.problems.push(problem.line(first, &self.row.raw).column(column));
    }

    /// After an empty line nothing but empty lines may follow.
    fn only_blank_follows(&mut self) -> Result<bool, Problems> {
        let blank = self.row.line;
        while self.read_row()? {
            if !self.row.is_blank() {
                let problem = Problem::new(&self.file, "an empty line", "a row: only at the end may lines be empty");
                self.problems.push(problem.line(blank, ""));
                return Err(Problems(std::mem::take(&mut self.problems)));
            }
        }
        Ok(false)
    }

    /// Reads one row, over several lines where a quoted field asks for it; false at the end.
    fn read_row(&mut self) -> Result<bool, Problems> {
        let mut bytes = std::mem::take(&mut self.row.raw).into_bytes();
        bytes.clear();
        self.row.line = self.n_lines + 1;
        loop {
            let n_before = bytes.len();
            self.read_line(&mut bytes)?;
            if bytes.len() == n_before {
                if n_before == 0 {
                    return Ok(false);
                }
                let problem = Problem::new(&self.file, "an open quotation mark", "a closing one before the file ends");
                return Err(problem.line(self.row.line, &String::from_utf8_lossy(&bytes)).into());
            }
            self.n_lines += 1;
            if bytes.iter().filter(|&&b| b == b'"').count() % 2 == 0 {
                break;
            }
        }
        trim_line_end(&mut bytes);
        if self.row.line == 1 && bytes.starts_with(b"\xef\xbb\xbf") {
            bytes.drain(..3);
        }
        self.row.raw = String::from_utf8(bytes).map_err(|error| self.not_utf8(&error))?;
        self.row.split();
        Ok(true)
    }

    fn not_utf8(&self, error: &std::string::FromUtf8Error) -> Problem {
        let text = String::from_utf8_lossy(error.as_bytes()).into_owned();
        let column = text.chars().position(|c| c == char::REPLACEMENT_CHARACTER).map(|i| i + 1);
        let expected = "UTF-8 (save the file with that encoding)";
        Problem::new(&self.file, "a byte that is not UTF-8", expected).line(self.row.line, &text).column(column)
    }

    /// Appends one line with its end.
    fn read_line(&mut self, bytes: &mut Vec<u8>) -> Result<(), Problems> {
        let room = (LONGEST_ROW - bytes.len()) as u64;
        let read = std::io::Read::take(&mut self.source, room).read_until(b'\n', bytes);
        let problem = match read {
            Ok(_) if bytes.len() < LONGEST_ROW => return Ok(()),
            Ok(_) => Problem::new(&self.file, "a row longer than a megabyte", "rows of ordinary length")
                .line(self.row.line, ""),
            Err(error) => Problem::new(&self.file, format!("a read error ({error})"), "a readable file"),
        };
        Err(problem.into())
    }

    /// Line of the row under the reader, from 1.
    pub(crate) fn line(&self) -> usize {
        self.row.line
    }

    /// The row under the reader as it stands.
    pub(crate) fn raw(&self) -> &str {
        &self.row.raw
    }

    /// A field without blanks around it; empty where the column is absent.
    pub(crate) fn text(&self, column: Option<usize>) -> &str {
        column.map_or("", |index| self.row.field(index))
    }

    /// Notes a problem with a field, or with the row where no column is given.
    pub(crate) fn problem(&mut self, column: Option<usize>, found: impl Into<String>, expected: impl Into<String>) {
        let mut problem = Problem::new(&self.file, found, expected)
            .line(self.row.line, &self.row.raw)
            .column(column.and_then(|index| self.row.column_of(index)));
        problem.key = column.and_then(|index| self.columns.get(index).cloned());
        self.problems.push(problem);
    }

    /// Tells what may stand in a column.
    fn tell(&self, column: usize, takes: impl FnOnce() -> String) {
        if self.told
            && let Some(name) = self.columns.get(column)
        {
            asked::note(name, takes, false);
        }
    }

    /// A required number.
    pub(crate) fn number(&mut self, column: usize, limits: &Limits) -> f64 {
        self.tell(column, || limits.to_string());
        match limits::parse(self.row.field(column), limits) {
            Ok(value) => value,
            Err(misfit) => {
                self.problem(Some(column), misfit.found, misfit.expected);
                f64::NAN
            }
        }
    }

    /// A number that may be absent or empty.
    pub(crate) fn number_opt(&mut self, column: Option<usize>, limits: &Limits) -> Option<f64> {
        if let Some(column) = column {
            self.tell(column, || format!("{limits}, or empty"));
        }
        let index = column.filter(|&index| !self.row.field(index).is_empty())?;
        Some(self.number(index, limits))
    }

    /// A text that may be absent or empty.
    pub(crate) fn text_opt(&self, column: Option<usize>) -> Option<String> {
        if let Some(column) = column {
            self.tell(column, || "a text, or empty".to_owned());
        }
        Some(self.text(column)).filter(|text| !text.is_empty()).map(str::to_owned)
    }

    /// A required word out of a fixed set.
    pub(crate) fn word<T: Copy>(&mut self, column: usize, words: &Words<T>) -> Option<T> {
        self.tell(column, || words::one_of("", words.iter().map(|(w, _)| *w)));
        let text = self.row.field(column);
        let meaning = words::meaning(words, text);
        if meaning.is_none() {
            let (found, expected) = (quoted(text), words::one_of(text, words.iter().map(|(w, _)| *w)));
            self.problem(Some(column), found, expected);
        }
        meaning
    }

    /// A required time, RFC 3339 with its zone.
    pub(crate) fn time(&mut self, column: usize) -> Option<Timestamp> {
        self.tell(column, || "a time as RFC 3339, with its zone".to_owned());
        let text = self.row.field(column);
        let time = text.parse::<Timestamp>().ok();
        if time.is_none() {
            let expected = match text.parse::<jiff::civil::DateTime>() {
                Ok(local) => format!("the time with its zone as well, such as `{local}Z` or `{local}+01:00`"),
                Err(_) => "a time as RFC 3339, such as `2031-03-04T08:30:00Z`".to_owned(),
            };
            let found = quoted(text);
            self.problem(Some(column), found, expected);
        }
        time
    }

    /// What was noted and not yet given out.
    pub(crate) fn check(&mut self) -> Result<(), Problems> {
        if self.problems.is_empty() { Ok(()) } else { Err(Problems(std::mem::take(&mut self.problems))) }
    }
}

fn trim_line_end(bytes: &mut Vec<u8>) {
    if bytes.last() == Some(&b'\n') {
        bytes.pop();
    }
    if bytes.last() == Some(&b'\r') {
        bytes.pop();
    }
}
