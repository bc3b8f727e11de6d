//! Minutes of cells: what stays of raw counts once they are old. Written for who looks back; no verb reads it.

use std::io::Write;

use jiff::Timestamp;

use crate::csv_writer::Line;

/// A minute of one cell's counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minute<'a> {
    /// Its begin.
    pub time: Timestamp,
    /// Name of the cell.
    pub cell: &'a str,
    /// Samples in it that have a count.
    pub samples: i64,
    /// The least count.
    pub least: i64,
    /// The mean count.
    pub mean: f64,
    /// The greatest count.
    pub greatest: i64,
}

/// Minutes while they are written.
pub struct Writer<W> {
    out: W,
    line: Line,
}

impl<W: Write> Writer<W> {
    /// Writes the header.
    ///
    /// # Errors
    /// What the output reports.
    pub fn new(mut out: W) -> std::io::Result<Self> {
        out.write_all(b"time,cell,samples,least,mean,greatest\n")?;
        Ok(Self { out, line: Line::default() })
    }

    /// Writes one minute; a mean to a tenth of a count.
    ///
    /// # Errors
    /// What the output reports.
    pub fn write(&mut self, minute: &Minute) -> std::io::Result<()> {
        self.line.value(&minute.time);
        self.line.field(minute.cell);
        self.line.value(&minute.samples);
        self.line.value(&minute.least);
        self.line.value(&format_args!("{:.1}", minute.mean));
        self.line.value(&minute.greatest);
        self.out.write_all(self.line.end().as_bytes())
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn a_minute_is_a_row() {
        let mut out = Vec::new();
        let mut writer = Writer::new(&mut out).unwrap();
        let time = "2031-03-04T05:06:00Z".parse().unwrap();
        let minute = Minute { time, cell: "A, left", samples: 600, least: -12, mean: -3.25, greatest: 7 };
        writer.write(&minute).unwrap();
        let text = String::from_utf8(out).unwrap();
        let row = "2031-03-04T05:06:00Z,\"A, left\",600,-12,-3.2,7\n";
        assert_eq!(text, format!("time,cell,samples,least,mean,greatest\n{row}"));
    }
}
