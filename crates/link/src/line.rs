//! A sample as a line of text.
//!
//! ```text
//! deck,sequence,t_ms,temperature_C,tilt_deg,counts*checksum
//! alder-1,4711,86400100,23.4,12.5;0.0,10432;-77;;8388607*D4F1
//! ```
//!
//! | field           | what it is |
//! |-----------------|------------|
//! | `deck`          | label of the deck: 1 to 32 letters, digits, `-`, `_` or `.` |
//! | `sequence`      | 0 to 4294967295, one more for each sample; after the last comes 0 |
//! | `t_ms`          | the controller's own clock, ms since it started; it never runs back but at a restart |
//! | `temperature_C` | −60 to 120, or empty |
//! | `tilt_deg`      | angles of the sections that the deck measures, −89 to 89, set apart by `;`; or empty |
//! | `counts`        | one whole number of 32 bits a cell, set apart by `;`; empty: lost. 1 to 64 cells |
//! | `checksum`      | four hexadecimal digits, in capitals: CRC-16 of all bytes before the `*` |
//!
//! The checksum is CRC-16/IBM-3740: polynomial 1021, first value FFFF, not reflected, no final exclusive-or; of the text
//! `123456789` it is 29B1 (catalogue of parametrised CRC algorithms). A line ends with a line feed, a carriage return
//! before it is passed over, and it has at most [`LINE_BYTES_MOST`] bytes. Lines that begin with `#` are remarks.

use std::fmt::Write as _;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use crc::{CRC_16_IBM_3740, Crc};

/// Bytes of a line at most, without its end.
pub const LINE_BYTES_MOST: usize = 1024;
/// Cells of a deck at most.
pub const CELLS_MOST: usize = 64;
/// Sections with a tilt at most.
pub const TILTS_MOST: usize = 8;
const LABEL_MOST: usize = 32;
const CHECKSUM: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// One sample of one deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Label of the deck.
    pub deck: String,
    /// Number of the sample.
    pub sequence: u32,
    /// The controller's own clock, ms.
    pub t_ms: u64,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Angles of the sections that are measured, °.
    pub tilt_deg: Vec<f64>,
    /// Counts, a cell each; `None`: lost.
    pub counts: Vec<Option<i32>>,
}

impl Frame {
    /// A digest of what was measured, by which a sample that comes again is told from another of the same number. It is no part of what is
    /// kept: another version of this program may make another.
    #[must_use]
    pub fn contents(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        self.counts.hash(&mut hasher);
        self.temperature_c.map(f64::to_bits).hash(&mut hasher);
        for deg in &self.tilt_deg {
            deg.to_bits().hash(&mut hasher);
        }
        hasher.finish()
    }
}

/// Why a line is no sample.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// It is too long.
    #[error("a line of more than {LINE_BYTES_MOST} bytes")]
    Long,
    /// It has no checksum at its end.
    #[error("a line without `*` and four hexadecimal digits at its end")]
    NoChecksum,
    /// Its bytes were changed on the way.
    #[error("checksum {found:04X} where the bytes give {expected:04X}: changed on the way")]
    Checksum {
        /// At the end of the line.
        found: u16,
        /// Of its bytes.
        expected: u16,
    },
    /// It has not six fields.
    #[error("{found} fields where there are six: deck, sequence, t_ms, temperature_C, tilt_deg, counts")]
    Fields {
        /// Fields found.
        found: usize,
    },
    /// A field is not what it should be.
    #[error("field `{field}` is {found:?}; expected {expected}")]
    Field {
        /// Its name.
        field: &'static str,
        /// What stands there.
        found: String,
        /// What may stand there.
        expected: &'static str,
    },
}

/// A line as a sample; `None` for a remark or an empty line.
///
/// # Errors
/// It is no sample, and why.
pub fn read(line: &[u8]) -> Result<Option<Frame>, LineError> {
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    if line.is_empty() || line.starts_with(b"#") {
        return Ok(None);
    }
    if line.len() > LINE_BYTES_MOST {
        return Err(LineError::Long);
    }
    let text = std::str::from_utf8(checked(line)?).map_err(|_| LineError::Field {
        field: "deck",
        found: String::from_utf8_lossy(line).into_owned(),
        expected: "text in ASCII",
    })?;
    let fields: Vec<&str> = text.split(',').collect();
    let [deck, sequence, t_ms, temperature, tilts, counts] = fields[..] else {
        return Err(LineError::Fields { found: fields.len() });
    };
    Ok(Some(Frame {
        deck: label(deck)?,
        sequence: whole("sequence", sequence, "a whole number of 32 bits, 0 or more")?,
        t_ms: whole("t_ms", t_ms, "milliseconds, a whole number, 0 or more")?,
        temperature_c: match temperature {
            "" => None,
            text => Some(number("temperature_C", text, 60.0, 120.0, "degrees from -60 to 120, or nothing")?),
        },
        tilt_deg: match tilts {
            "" => Vec::new(),
            text => several("tilt_deg", text, TILTS_MOST, "at most 8 angles", |text| {
                number("tilt_deg", text, 89.0, 89.0, "an angle from -89 to 89")
            })?,
        },
        counts: several("counts", counts, CELLS_MOST, "at most 64 cells", |text| match text {
            "" => Ok(None),
            text => whole("counts", text, "a whole number of 32 bits, or nothing").map(Some),
        })?,
    }))
}

/// A sample as a line, without its end; [`read`] gives it back.
#[must_use]
pub fn write(frame: &Frame) -> String {
    let join = |parts: Vec<String>| parts.join(";");
    let temperature = frame.temperature_c.map_or_else(String::new, |t| t.to_string());
    let tilts = join(frame.tilt_deg.iter().map(f64::to_string).collect());
    let counts = join(frame.counts.iter().map(|c| c.map_or_else(String::new, |c| c.to_string())).collect());
    let mut line = format!("{},{},{},{temperature},{tilts},{counts}", frame.deck, frame.sequence, frame.t_ms);
    let checksum = CHECKSUM.checksum(line.as_bytes());
    // Writing to a string cannot fail.
    let _ = write!(line, "*{checksum:04X}");
    line
}

/// The bytes before the checksum, once it was found to be theirs.
fn checked(line: &[u8]) -> Result<&[u8], LineError> {
    let (bytes, end) = line.split_at_checked(line.len().saturating_sub(5)).ok_or(LineError::NoChecksum)?;
    let digits = end.strip_prefix(b"*").ok_or(LineError::NoChecksum)?;
    if !digits.iter().all(|d| matches!(d, b'0'..=b'9' | b'A'..=b'F')) {
        return Err(LineError::NoChecksum);
    }
    let found = digits.iter().fold(0_u16, |sum, digit| {
        let value = if digit.is_ascii_digit() { digit - b'0' } else { digit - b'A' + 10 };
        sum << 4 | u16::from(value)
    });
    let expected = CHECKSUM.checksum(bytes);
    if found == expected { Ok(bytes) } else { Err(LineError::Checksum { found, expected }) }
}

fn label(text: &str) -> Result<String, LineError> {
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if (1..=LABEL_MOST).contains(&text.len()) && text.chars().all(fits) {
        return Ok(text.to_owned());
    }
    let expected = "1 to 32 letters, digits, `-`, `_` or `.`";
    Err(LineError::Field { field: "deck", found: text.to_owned(), expected })
}

fn whole<T: std::str::FromStr>(field: &'static str, text: &str, expected: &'static str) -> Result<T, LineError> {
    let refuse = || LineError::Field { field, found: text.to_owned(), expected };
    // Only digits after an optional minus: `+5`, which the parser takes, has a second way to say 5.
    if text.starts_with('+') {
        return Err(refuse());
    }
    text.parse().map_err(|_| refuse())
}

fn number(field: &'static str, text: &str, below: f64, above: f64, expected: &'static str) -> Result<f64, LineError> {
    match text.parse::<f64>() {
        Ok(value) if value >= -below && value <= above => Ok(value),
        _ => Err(LineError::Field { field, found: text.to_owned(), expected }),
    }
}

fn several<T>(
    field: &'static str,
    text: &str,
    most: usize,
    expected: &'static str,
    each: impl FnMut(&str) -> Result<T, LineError>,
) -> Result<Vec<T>, LineError> {
    if text.split(';').count() > most {
        return Err(LineError::Field { field, found: format!("{} values", text.split(';').count()), expected });
    }
    text.split(';').map(each).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame() -> Frame {
        Frame {
            deck: "alder-1".to_owned(),
            sequence: 4711,
            t_ms: 86_400_100,
            temperature_c: Some(23.4),
            tilt_deg: vec![12.5, 0.0],
            counts: vec![Some(10_432), Some(-77), None, Some(8_388_607)],
        }
    }

    #[test]
    fn checksum_is_that_of_the_catalogue() {
        // Catalogue of parametrised CRC algorithms (G. Cook), CRC-16/IBM-3740: check value of "123456789".
        assert_eq!(CHECKSUM.checksum(b"123456789"), 0x29B1);
    }

    #[test]
    fn the_documented_line_is_the_documented_sample() {
        let line = b"alder-1,4711,86400100,23.4,12.5;0,10432;-77;;8388607*";
        let written = write(&frame());
        assert_eq!(&written.as_bytes()[..line.len()], line);
        assert_eq!(read(written.as_bytes()).unwrap(), Some(frame()));
        assert_eq!(read((written + "\r").as_bytes()).unwrap(), Some(frame()));
    }

    #[test]
    fn remarks_and_empty_lines_are_passed_over() {
        for line in ["", "\r", "# controller 1.2 started"] {
            assert_eq!(read(line.as_bytes()), Ok(None));
        }
    }

    #[test]
    fn what_is_wrong_is_said_by_name() {
        let with = |text: &str| format!("{text}*{:04X}", CHECKSUM.checksum(text.as_bytes()));
        let field = |line: &str| match read(with(line).as_bytes()) {
            Err(LineError::Field { field, .. }) => field,
            other => panic!("{line}: {other:?}"),
        };
        assert_eq!(field(",1,2,3,,1"), "deck");
        assert_eq!(field("a b,1,2,3,,1"), "deck");
        assert_eq!(field("a,-1,2,3,,1"), "sequence");
        assert_eq!(field("a,4294967296,2,3,,1"), "sequence");
        assert_eq!(field("a,1,2.5,3,,1"), "t_ms");
        assert_eq!(field("a,1,2,nan,,1"), "temperature_C");
        assert_eq!(field("a,1,2,121,,1"), "temperature_C");
        assert_eq!(field("a,1,2,3,90,1"), "tilt_deg");
        assert_eq!(field("a,1,2,3,,2147483648"), "counts");
        assert_eq!(field("a,1,2,3,,+5"), "counts");
        assert_eq!(field(&format!("a,1,2,3,,{}", ";".repeat(64))), "counts");
        assert_eq!(read(with("a,1,2,3,4").as_bytes()), Err(LineError::Fields { found: 5 }));
        assert_eq!(read(b"a,1,2,3,,1"), Err(LineError::NoChecksum));
        assert_eq!(read(&[b'x'; LINE_BYTES_MOST + 1]), Err(LineError::Long));
    }

    fn any_frame() -> impl Strategy<Value = Frame> {
        (
            "[A-Za-z0-9._-]{1,32}",
            any::<u32>(),
            any::<u64>(),
            proptest::option::of(-60.0..120.0_f64),
            proptest::collection::vec(-89.0..89.0_f64, 0..=TILTS_MOST),
            proptest::collection::vec(proptest::option::of(any::<i32>()), 1..=CELLS_MOST),
        )
            .prop_map(|(deck, sequence, t_ms, temperature_c, tilt_deg, counts)| Frame {
                deck,
                sequence,
                t_ms,
                temperature_c,
                tilt_deg,
                counts,
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(90), ..ProptestConfig::default() })]

        #[test]
        fn every_sample_comes_back(frame in any_frame()) {
            let line = write(&frame);
            prop_assume!(line.len() <= LINE_BYTES_MOST);
            prop_assert_eq!(read(line.as_bytes()).unwrap(), Some(frame));
        }

        #[test]
        fn one_changed_bit_never_passes_as_another_sample(frame in any_frame(), at in any::<proptest::sample::Index>(), bit in 0..8) {
            let mut line = write(&frame).into_bytes();
            prop_assume!(line.len() <= LINE_BYTES_MOST);
            let at = at.index(line.len());
            line[at] ^= 1_u8 << bit;
            // A remark is the one line without a checksum, and no single bit of a label's letter makes it `#` unseen:
            // `c`, `s`, `3` can, and then the sample is lost, which its number shows.
            prop_assert!(!matches!(read(&line), Ok(Some(_))));
        }

        #[test]
        fn no_bytes_stop_the_reader(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
            let _ = read(&bytes);
        }
    }
}
