//! Rows of plain numbers, read straight from the bytes: nearly all of a recording.
//!
//! A plain number is digits, with a minus before them or a point within them, and nothing else. Its digits make a whole number m below
//! 2⁵³, and with k of them behind the point it is m / 10ᵏ, k ≤ 15: both are exact in a double and one division rounds once, so the
//! value is the nearest double, as it is with the library's parser (Clinger 1990, *How to read floating point numbers accurately*).
//! Eight digits at a time are read as one word (common practice, no source).
//!
//! Anything else (blanks, quotation marks, exponents, words, too many digits) is left to [`super::Table::next_row`], which also says what is wrong
//! with it: what is read here is never a mistake.

use std::io::BufRead;

use super::Table;

/// Most digits of a plain number: 10¹⁵ lies below 2⁵³.
const MOST_DIGITS: usize = 15;
/// Digits in a word.
const WORD: usize = 8;
/// Powers of ten that are exact in a double.
const POWERS: [f64; MOST_DIGITS + 1] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
const WHOLE_POWERS: [u64; WORD + 1] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000];

/// A row of plain numbers: fields in the order of the columns, `None` for an empty one.
#[derive(Debug, Default)]
pub(super) struct Plain {
    fields: Vec<Option<f64>>,
    n_bytes: usize,
}

impl<R: BufRead> Table<R> {
    /// The fields of the next row, if it is one of plain numbers and lies ready as a whole. It stays to be read: see [`Table::take_plain`].
    pub(crate) fn plain_row(&mut self) -> Option<&[Option<f64>]> {
        if self.told {
            return None;
        }
        self.plain.fields.resize(self.columns.len(), None);
        // A source that cannot be read says so to who reads row by row.
        let bytes = self.source.fill_buf().ok()?;
        self.plain.n_bytes = row(bytes, &mut self.plain.fields)?;
        Some(&self.plain.fields)
    }

    /// Goes past the row that was last given by [`Table::plain_row`].
    pub(crate) fn take_plain(&mut self) {
        self.source.consume(self.plain.n_bytes);
        self.n_lines += 1;
        self.row.line = self.n_lines;
    }
}

/// Reads a row with as many fields as there is room for; gives its length with its end.
fn row(bytes: &[u8], fields: &mut [Option<f64>]) -> Option<usize> {
    let mut at = 0;
    let n_fields = fields.len();
    for (i, field) in fields.iter_mut().enumerate() {
        let found = number(bytes.get(at..)?)?;
        *field = found.map(|(value, _)| value);
        at += found.map_or(0, |(_, length)| length);
        let last = i + 1 == n_fields;
        at += match bytes.get(at)? {
            b',' if !last => 1,
            b'\n' if last => 1,
            b'\r' if last && *bytes.get(at + 1)? == b'\n' => 2,
            _ => return None,
        };
    }
    Some(at)
}

/// Reads a plain number with its length, or `Some(None)` where nothing stands; `None` for anything else, and near the end of the bytes.
#[expect(clippy::option_option, reason = "not plain and empty are two things")]
fn number(bytes: &[u8]) -> Option<Option<(f64, usize)>> {
    let sign = usize::from(*bytes.first()? == b'-');
    let (whole, n_whole) = digits(bytes.get(sign..)?)?;
    let mut at = sign + n_whole;
    let (mut mantissa, mut n_behind) = (whole, 0);
    if *bytes.get(at)? == b'.' {
        let (behind, n) = digits(bytes.get(at + 1..)?)?;
        if n_whole == 0 || n == 0 || n_whole + n > MOST_DIGITS {
            return None;
        }
        // At most 15 digits in all: neither step overflows.
        mantissa = [n.min(WORD), n - n.min(WORD)].iter().fold(mantissa, |m, part| m * WHOLE_POWERS[*part]) + behind;
        n_behind = n;
        at += 1 + n;
    }
    if n_whole == 0 {
        return (sign == 0).then_some(None);
    }
    // Below 2⁵³: exact.
    let value = mantissa as f64 / POWERS[n_behind];
    Some(Some((if sign == 1 { -value } else { value }, at)))
}

/// Reads digits as a whole number, with their count; `None` where there are more than [`MOST_DIGITS`] or the bytes end soon.
fn digits(bytes: &[u8]) -> Option<(u64, usize)> {
    let (first, n_first) = word(bytes)?;
    if n_first < WORD {
        return Some((first, n_first));
    }
    let (second, n_second) = word(bytes.get(WORD..)?)?;
    (n_second < WORD).then(|| (first * WHOLE_POWERS[n_second] + second, WORD + n_second))
}

/// The digits at the beginning of eight bytes, as a number with their count.
fn word(bytes: &[u8]) -> Option<(u64, usize)> {
    let word = u64::from_le_bytes(bytes.first_chunk().copied()?);
    // A digit becomes 0 to 9. Of anything else the sum below sets the top bit; carries only reach bytes behind it.
    let values = word ^ 0x3030_3030_3030_3030;
    let others = (values.wrapping_add(0x7676_7676_7676_7676) | values) & 0x8080_8080_8080_8080;
    let n = (others.trailing_zeros() / 8) as usize;
    if n == 0 {
        return Some((0, 0));
    }
    // The digits move to the end of the word, zeros before them; then pairs, fours and all eight are put together.
    let values = values << (64 - 8 * n);
    let pairs = values.wrapping_mul(10).wrapping_add(values >> 8);
    let low = (pairs & 0x0000_00FF_0000_00FF).wrapping_mul(0x000F_4240_0000_0064);
    let high = ((pairs >> 16) & 0x0000_00FF_0000_00FF).wrapping_mul(0x0000_2710_0000_0001);
    Some((low.wrapping_add(high) >> 32, n))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A number with a row's end and bytes behind it.
    fn read(text: &str) -> Option<Option<(f64, usize)>> {
        number(format!("{text},0123456789012345\n").as_bytes())
    }

    #[test]
    fn what_is_not_plain_is_left_to_the_careful_reader() {
        for text in
            ["+1", "1e3", " 1", "1 ", ".5", "5.", "-", "-.5", "1.2.3", "nan", "\"1\"", "1234567890123456", "--1", "1_0"]
        {
            let found = read(text);
            let whole = matches!(found, Some(Some((_, length))) if length == text.len());
            assert!(!whole, "{text}: {found:?}");
        }
        assert_eq!(read(""), Some(None));
        assert_eq!(number(b"12"), None, "what may go on behind the bytes is not read");
    }

    #[test]
    fn a_row_needs_its_fields_and_its_end() {
        let mut fields = [None; 3];
        let more = "1,2,3\n1,2,3\n1,2,3\n1,2,3\n";
        for (text, expected) in [
            (format!("1.5,,-7\n{more}"), Some(8)),
            (format!("1.5,,-7\r\n{more}"), Some(9)),
            (format!("1.5,-7\n{more}"), None),
            (format!("1.5,,-7,8\n{more}"), None),
            (format!("1.5,,-7;\n{more}"), None),
            ("1.5,,-7".to_owned(), None),
        ] {
            assert_eq!(row(text.as_bytes(), &mut fields), expected, "{text:?}");
        }
        assert_eq!(row(format!("1.5,,-7\n{more}").as_bytes(), &mut fields), Some(8));
        assert_eq!(fields, [Some(1.5), None, Some(-7.0)]);
    }

    proptest! {
        /// Against the standard library's parser, bit for bit.
        #[test]
        fn plain_numbers_are_read_as_the_library_reads_them(
            negative: bool, whole in "[0-9]{1,15}", behind in prop::option::of("[0-9]{1,14}"),
        ) {
            let behind = behind.map(|b| b[..b.len().min(15 - whole.len())].to_owned()).filter(|b| !b.is_empty());
            let text = format!("{}{whole}{}", if negative { "-" } else { "" }, behind.map_or(String::new(), |b| format!(".{b}")));
            let (value, length) = read(&text).flatten().expect("plain");
            prop_assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            prop_assert_eq!(length, text.len());
        }
    }
}
