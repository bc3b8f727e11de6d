//! Reading line by line from a source that is still being written: what is wrong with a line is said, and the next one is read.
//!
//! A line stands for itself here: an open quotation mark does not join it with the next, an empty one is passed over, and one that is too
//! long or not UTF-8 spoils nothing after it. Only a source that cannot be read any more ends the reading.

use std::io::BufRead;

use super::{LONGEST_ROW, Table, trim_line_end};
use crate::{Problem, Problems};

/// What the next line was.
#[derive(Debug)]
pub(crate) enum Live {
    /// A row with as many fields as the header has.
    Row,
    /// A line that is none.
    Bad(Problems),
    /// The end.
    End,
}

impl<R: BufRead> Table<R> {
    /// Goes to the next line that is not empty.
    ///
    /// # Errors
    /// The source cannot be read any more.
    pub(crate) fn next_live(&mut self) -> Result<Live, Problems> {
        loop {
            let mut bytes = std::mem::take(&mut self.row.raw).into_bytes();
            bytes.clear();
            self.row.fields.clear();
            let (n_read, too_long) = self.read_one_line(&mut bytes)?;
            if n_read == 0 {
                return Ok(Live::End);
            }
            self.n_lines += 1;
            self.row.line = self.n_lines;
            if too_long {
                let problem = Problem::new(&self.file, "a row longer than a megabyte", "rows of ordinary length");
                return Ok(Live::Bad(problem.line(self.row.line, "").into()));
            }
            trim_line_end(&mut bytes);
            match String::from_utf8(bytes) {
                Ok(text) => self.row.raw = text,
                Err(error) => return Ok(Live::Bad(self.not_utf8(&error).into())),
            }
            if self.row.is_blank() {
                continue;
            }
            if self.row.raw.bytes().filter(|b| *b == b'"').count() % 2 != 0 {
                let problem = Problem::new(&self.file, "an open quotation mark", "a closing one in the same line");
                return Ok(Live::Bad(problem.line(self.row.line, &self.row.raw).into()));
            }
            self.row.split();
            let (n_found, n_expected) = (self.row.fields.len(), self.columns.len());
            if n_found == n_expected {
                return Ok(Live::Row);
            }
            self.note_width(n_found, n_expected);
            return Ok(Live::Bad(Problems(std::mem::take(&mut self.problems))));
        }
    }

    /// Reads up to a line's end; gives the bytes read, and whether the line was too long to be kept.
    fn read_one_line(&mut self, bytes: &mut Vec<u8>) -> Result<(usize, bool), Problems> {
        let (mut n_read, mut too_long) = (0, false);
        loop {
            let n = std::io::Read::take(&mut self.source, LONGEST_ROW as u64)
                .read_until(b'\n', bytes)
                .map_err(|error| Problem::new(&self.file, format!("a read error ({error})"), "a readable file"))?;
            n_read += n;
            if n < LONGEST_ROW || bytes.last() == Some(&b'\n') {
                return Ok((n_read, too_long));
            }
            too_long = true;
            bytes.clear();
        }
    }
}
