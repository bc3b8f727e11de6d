//! `removals.csv`: when pads or linen left the deck, `time[,fluid_g]`.
//!
//! `fluid_g` is the mass of the fluid that went with them, where they were weighed; empty: all that lay there.

use jiff::Timestamp;

use crate::Problems;
use crate::limits::Limits;
use crate::table::Table;

/// One removal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Removal {
    /// Line of the file, from 1.
    pub line: usize,
    /// When.
    pub time: Timestamp,
    /// Fluid that went, g; `None`: all that lay there.
    pub fluid_g: Option<f64>,
}

/// More than a bed's linen can hold, g.
const FLUID_G: Limits = Limits::between(0.0, 20_000.0).because("in grams");

/// Reads the removals, in the order of time.
///
/// # Errors
/// A missing column, times that are not RFC 3339 or lack their zone, masses that are none, the same time twice.
pub fn read(file: &str, text: &str) -> Result<Vec<Removal>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [time] = table.required(["time"])?;
    let fluid_g = table.optional("fluid_g");
    let mut removals: Vec<Removal> = Vec::new();
    while table.next_row()? {
        let line = table.line();
        let fluid_g = table.number_opt(fluid_g, &FLUID_G);
        let Some(time_of) = table.time(time) else { continue };
        if let Some(first) = removals.iter().find(|other| other.time == time_of) {
            let expected = format!("another time: line {} has it already", first.line);
            table.problem(Some(time), time_of.to_string(), expected);
        }
        removals.push(Removal { line, time: time_of, fluid_g });
    }
    table.check()?;
    removals.sort_by_key(|removal| removal.time);
    Ok(removals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn removals_are_put_in_order_and_an_empty_mass_is_all() {
        let text = "time,fluid_g\n2031-03-04T12:00:00Z,\n2031-03-04T06:00:00Z,310\n";
        let removals = read("removals.csv", text).unwrap();
        assert_eq!(removals.iter().map(|r| (r.line, r.fluid_g)).collect::<Vec<_>>(), [(3, Some(310.0)), (2, None)]);
    }

    #[test]
    fn a_time_that_stands_twice_and_a_negative_mass_are_refused() {
        let twice = "time\n2031-03-04T12:00:00Z\n2031-03-04T14:00:00+02:00\n";
        assert!(read("removals.csv", twice).unwrap_err().to_string().contains("line 2 has it already"));
        let negative = "time,fluid_g\n2031-03-04T12:00:00Z,-3\n";
        assert!(read("removals.csv", negative).unwrap_err().to_string().contains("removals.csv:2"));
    }
}
