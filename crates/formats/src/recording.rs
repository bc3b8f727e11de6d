//! `recording.csv`: counts over time, read and written row by row in constant memory.
//!
//! A lost tilt reading keeps the angle before it: a section does not move in one sample, and a weight
//! without an angle would be none at all. Lost counts and temperatures stay lost.

use std::io::{BufRead, Write};

use crate::csv_writer::Line;
use crate::deck::Deck;
use crate::limits::Limits;
use crate::run::TEMPERATURE_C;
use crate::table::{Live, Table};
use crate::{Problem, Problems, words};

/// What the columns of a recording are.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// Names of the cells, in the order of the deck; `counts` of each sample follow it.
    pub cells: Vec<String>,
    /// Names of the sections that have a tilt column; `tilt_deg` of each sample follows it.
    pub tilts: Vec<String>,
    /// Whether temperature is recorded.
    pub has_temperature: bool,
}

/// One row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sample {
    /// Time since the start, s.
    pub t_s: f64,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Angle of each section to the horizontal, °.
    pub tilt_deg: Vec<f64>,
    /// Counts of each cell; `None`: sample lost.
    pub counts: Vec<Option<f64>>,
}

/// What a line of a recording that is still being written was.
#[derive(Debug)]
pub enum LiveLine {
    /// A sample.
    Sample,
    /// None, and why.
    Bad(Problems),
    /// The end.
    End,
}

/// A recording while it is read.
pub struct Reader<R> {
    table: Table<R>,
    header: Header,
    t_s: usize,
    temperature_c: Option<usize>,
    tilts: Vec<usize>,
    cells: Vec<usize>,
    /// Line and time of the row before.
    last: Option<(usize, f64)>,
    last_tilt: Vec<Option<f64>>,
}

/// At 90° a plate feels nothing of what lies on it.
const TILT_DEG: Limits = Limits::between(-89.0, 89.0);

impl<R: BufRead> Reader<R> {
    /// Reads the header.
    ///
    /// # Errors
    /// Columns that are missing (those of cells too: a recording of another deck), stand twice, or give the tilt of
    /// a section that the deck does not have.
    pub fn new(file: &str, source: R, deck: &Deck) -> Result<Self, Problems> {
        let table = Table::open(file, source)?;
        let [t_s] = table.required(["t_s"])?;
        let cells = table.cell_columns(deck)?;
        let (tilts, names) = tilt_columns(&table, deck)?;
        let temperature_c = table.optional("temperature_C");
        let header = Header {
            cells: deck.cells().map(|(_, c)| c.name.clone()).collect(),
            tilts: names,
            has_temperature: temperature_c.is_some(),
        };
        let last_tilt = vec![None; tilts.len()];
        Ok(Self { table, header, t_s, temperature_c, tilts, cells, last: None, last_tilt })
    }

    /// What the columns are.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Line of the sample last read, from 1.
    #[must_use]
    pub fn line(&self) -> usize {
        self.table.line()
    }

    /// Reads the next sample into the one given, whose buffers are used again; false at the end.
    ///
    /// # Errors
    /// Everything wrong with the row: fields that are no numbers, too many or too few of them, a time that does not
    /// run forward.
    pub fn next_sample(&mut self, sample: &mut Sample) -> Result<bool, Problems> {
        if self.take_plain(sample).is_some() {
            return Ok(true);
        }
        let more = self.table.next_row()?;
        self.table.check()?;
        if more {
            self.take(sample)?;
        }
        Ok(more)
    }

    /// Reads the next line of a recording that is still being written. A line that is no sample is given back with what is wrong with it, and
    /// leaves no trace: the time and angles before it stand.
    ///
    /// # Errors
    /// The source cannot be read any more.
    pub fn next_live(&mut self, sample: &mut Sample) -> Result<LiveLine, Problems> {
        match self.table.next_live()? {
            Live::End => Ok(LiveLine::End),
            Live::Bad(problems) => Ok(LiveLine::Bad(problems)),
            Live::Row => {
                let last = self.last;
                match self.take(sample) {
                    Ok(()) => Ok(LiveLine::Sample),
                    Err(problems) => {
                        self.last = last;
                        Ok(LiveLine::Bad(problems))
                    }
                }
            }
        }
    }

    /// Takes the next row where it is one of plain numbers with nothing wrong; else nothing was read and the sample is not to be used.
    fn take_plain(&mut self, sample: &mut Sample) -> Option<()> {
        let row = self.table.plain_row()?;
        let field = |column: usize| row.get(column).copied().flatten();
        let t_s = field(self.t_s).filter(|t_s| self.last.is_none_or(|(_, before)| *t_s > before))?;
        let temperature_c = self.temperature_c.and_then(field);
        if !temperature_c.is_none_or(|c| TEMPERATURE_C.allow(c)) {
            return None;
        }
        sample.tilt_deg.clear();
        for (&column, last) in self.tilts.iter().zip(&self.last_tilt) {
            sample.tilt_deg.push(field(column).or(*last).filter(|deg| TILT_DEG.allow(*deg))?);
        }
        sample.counts.clear();
        sample.counts.extend(self.cells.iter().map(|&column| field(column)));
        (sample.t_s, sample.temperature_c) = (t_s, temperature_c);
        self.table.take_plain();
        self.last = Some((self.table.line(), t_s));
        self.last_tilt.iter_mut().zip(&sample.tilt_deg).for_each(|(last, tilt)| *last = Some(*tilt));
        Some(())
    }

    /// The row under the reader.
    fn take(&mut self, sample: &mut Sample) -> Result<(), Problems> {
        let table = &mut self.table;
        sample.t_s = table.number(self.t_s, &Limits::ANY);
        table.forward(self.t_s, sample.t_s, &mut self.last, true);
        sample.temperature_c = table.number_opt(self.temperature_c, &TEMPERATURE_C);
        sample.tilt_deg.clear();
        for (&column, last) in self.tilts.iter().zip(&self.last_tilt) {
            let tilt = table.number_opt(Some(column), &TILT_DEG).or(*last);
            if tilt.is_none() {
                table.problem(Some(column), "nothing", "an angle in the first row, to begin with");
            }
            sample.tilt_deg.push(tilt.unwrap_or(f64::NAN));
        }
        sample.counts.clear();
        for &column in &self.cells {
            sample.counts.push(table.number_opt(Some(column), &Limits::ANY));
        }
        table.check()?;
        self.last_tilt.iter_mut().zip(&sample.tilt_deg).for_each(|(last, tilt)| *last = Some(*tilt));
        Ok(())
    }
}

/// Columns `tilt_<section>_deg` and their sections, in the order of the deck.
fn tilt_columns<R: BufRead>(table: &Table<R>, deck: &Deck) -> Result<(Vec<usize>, Vec<String>), Problems> {
    let section_of = |column: &str| column.strip_prefix("tilt_")?.strip_suffix("_deg").map(str::to_owned);
    let names = deck.sections.iter().map(|s| s.name.as_str());
    let mut problems = Vec::new();
    for column in table.columns() {
        if let Some(section) = section_of(column)
            && !names.clone().any(|n| n == section)
        {
            let expected = format!("a section of the deck: {}", words::one_of(&section, names.clone()));
            problems
                .push(Problem { key: Some(column.clone()), ..table.header_problem(format!("`{section}`"), expected) });
        }
    }
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    Ok(names.filter_map(|n| Some((table.optional(&format!("tilt_{n}_deg"))?, n.to_owned()))).unzip())
}

/// A recording while it is written.
pub struct Writer<W> {
    out: W,
    has_temperature: bool,
    line: Line,
}

impl<W: Write> Writer<W> {
    /// Writes the header.
    ///
    /// # Errors
    /// What the output reports.
    pub fn new(mut out: W, header: &Header) -> std::io::Result<Self> {
        let mut line = Line::default();
        line.field("t_s");
        if header.has_temperature {
            line.field("temperature_C");
        }
        for section in &header.tilts {
            line.field(&format!("tilt_{section}_deg"));
        }
        for cell in &header.cells {
            line.field(cell);
        }
        out.write_all(line.end().as_bytes())?;
        Ok(Self { out, has_temperature: header.has_temperature, line })
    }

    /// Writes one sample. Its tilts and counts must be as many as the header has.
    ///
    /// # Errors
    /// What the output reports.
    pub fn write(&mut self, sample: &Sample) -> std::io::Result<()> {
        self.line.number(sample.t_s);
        if self.has_temperature {
            self.line.number_opt(sample.temperature_c);
        }
        for &tilt in &sample.tilt_deg {
            self.line.number(tilt);
        }
        for &counts in &sample.counts {
            self.line.number_opt(counts);
        }
        self.out.write_all(self.line.end().as_bytes())
    }

    /// Gives the output back, flushed.
    ///
    /// # Errors
    /// What the output reports.
    pub fn finish(mut self) -> std::io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }
}
