//! `checks.csv`: a body that stays at hand, weighed on the deck again and again between calibrations,
//! `time,standard,shown_kg[,mass_kg,note]`.
//!
//! Rows stand in the order of time. `standard` names the body, so that one file may hold several; `shown_kg` is what the deck
//! showed, as finely as it can; `mass_kg` is the body's conventional mass where it is known, the same in all its rows.

use crate::limits::{Limits, quoted};
use crate::table::Table;
use crate::{Problems, csv_writer};
use jiff::Timestamp;

/// One check.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Line of the file, from 1.
    pub line: usize,
    /// When.
    pub time: Timestamp,
    /// Which body.
    pub standard: String,
    /// What the deck showed, kg.
    pub shown_kg: f64,
    /// Conventional mass of the body, kg; `None`: not known, which a chart of changes need not.
    pub mass_kg: Option<f64>,
    /// What was special, where noted.
    pub note: Option<String>,
}

/// Reads the checks.
///
/// # Errors
/// Missing columns, a check without time or body, numbers that are none, times that run backward, a body of two masses, no
/// check at all.
pub fn read(file: &str, text: &str) -> Result<Vec<Check>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [time, standard, shown_kg] = table.required(["time", "standard", "shown_kg"])?;
    let (mass_kg, note) = (table.optional("mass_kg"), table.optional("note"));
    // Said of the heading, which is still at hand: behind the last row there is no line to point at.
    let none = table.header_problem("no row", "at least one check under the heading");
    let mut checks: Vec<Check> = Vec::new();
    // A body's other mass is told where it first stands: where the first row's is the odd one, each row after it would tell the same.
    let mut told: Vec<(String, Option<f64>)> = Vec::new();
    while table.next_row()? {
        let name = table.text(Some(standard)).to_owned();
        if name.is_empty() {
            table.problem(Some(standard), "nothing", "a name for the body that was weighed");
        }
        let at = table.time(time);
        if let (Some(at), Some(last)) = (at, checks.last())
            && at < last.time
        {
            let expected = format!("a time not before {} of line {}: checks stand in order", last.time, last.line);
            table.problem(Some(time), at.to_string(), expected);
        }
        let shown = table.number(shown_kg, &Limits::ANY);
        let mass = table.number_opt(mass_kg, &Limits::POSITIVE);
        let first = checks.iter().find(|c| c.standard == name).filter(|first| first.mass_kg != mass);
        if let Some(first) = first.filter(|_| !told.iter().any(|(body, kg)| *body == name && *kg == mass)) {
            told.push((name.clone(), mass));
            let said = |kg: Option<f64>| kg.map_or_else(|| "nothing".to_owned(), |kg| kg.to_string());
            let expected = format!(
                "{}, as on line {}: the body {} has one mass",
                said(first.mass_kg),
                first.line,
                quoted(&first.standard)
            );
            table.problem(mass_kg, said(mass), expected);
        }
        let note = table.text_opt(note);
        // A row without its time is a problem already noted.
        if let Some(time) = at {
            checks.push(Check { line: table.line(), time, standard: name, shown_kg: shown, mass_kg: mass, note });
        }
    }
    table.check()?;
    if checks.is_empty() {
        return Err(Problems(vec![none]));
    }
    Ok(checks)
}

/// The checks as text; [`read`] gives them back.
#[must_use]
pub fn write(checks: &[Check]) -> String {
    let mut out = csv_writer::Rows::new();
    out.row(["time", "standard", "shown_kg", "mass_kg", "note"]);
    for check in checks {
        out.field(&check.time.to_string());
        out.field(&check.standard);
        out.number(check.shown_kg);
        out.number_opt(check.mass_kg);
        out.field(check.note.as_deref().unwrap_or_default());
        out.end_row();
    }
    out.finish()
}

#[cfg(test)]
mod unit {
    use super::*;

    const HEAD: &str = "time,standard,shown_kg,mass_kg,note\n";

    #[test]
    fn checks_come_back_as_written() {
        let text =
            format!("{HEAD}2031-03-01T07:00:00Z,F1,20.004,20,\n2031-03-08T08:00:00+01:00,F1,20.006,20,\"warm, wet\"\n");
        let checks = read("checks.csv", &text).unwrap();
        assert_eq!((checks[1].line, checks[1].shown_kg, checks[1].mass_kg), (3, 20.006, Some(20.0)));
        assert_eq!(checks[1].note.as_deref(), Some("warm, wet"));
        assert_eq!(read("checks.csv", &write(&checks)).unwrap(), checks);
    }

    #[test]
    fn what_does_not_fit_is_named_with_line_and_column() {
        let first = "2031-03-01T07:00:00Z,F1,20.004,20,\n";
        for (row, words) in [
            ("2031-02-01T07:00:00Z,F1,20,20,", "checks.csv:3:1: time"),
            ("2031-03-02,F1,20,20,", "with its zone"),
            ("2031-03-02T07:00:00Z,,20,20,", "a name for the body"),
            ("2031-03-02T07:00:00Z,F1,20 kg,20,", "shown_kg"),
            ("2031-03-02T07:00:00Z,F1,20,10,", "the body `F1` has one mass"),
            ("2031-03-02T07:00:00Z,F1,20,,", "expected 20, as on line 2"),
            ("2031-03-02T07:00:00Z,F2,20,-1,", "mass_kg"),
        ] {
            let problems = read("checks.csv", &format!("{HEAD}{first}{row}\n")).unwrap_err().to_string();
            assert!(problems.contains(words) && problems.contains("checks.csv:3"), "{words}: {problems}");
        }
        // A slip in the first row is told once, not on each row after it; another slip is told too.
        let rows = [("01", "2"), ("02", "20"), ("03", "20"), ("04", "21")]
            .map(|(day, kg)| format!("2031-03-{day}T07:00:00Z,F1,20.004,{kg},\n"))
            .concat();
        let Problems(problems) = read("checks.csv", &format!("{HEAD}{rows}")).unwrap_err();
        assert_eq!(problems.iter().filter_map(|p| p.line).collect::<Vec<_>>(), [3, 5], "{problems:?}");
        assert!(read("checks.csv", HEAD).unwrap_err().to_string().contains("at least one check"));
        assert!(read("checks.csv", "time,standard\n").unwrap_err().to_string().contains("shown_kg"));
    }
}
