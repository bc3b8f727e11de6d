//! `masses.csv`: the bodies at hand for a calibration, `name,mass_kg,u_g,count[,about_kg]`.
//!
//! An empty `mass_kg` is a body of unknown mass (a water can, say), which the fit finds; `about_kg` is then what it weighs
//! roughly, for planning alone.

use crate::limits::Limits;
use crate::table::Table;
use crate::{Problems, csv_writer};

/// Roughly what a body of unknown mass weighs where its row does not say, kg: a full 20 L can.
pub const DEFAULT_ABOUT_KG: f64 = 20.0;

/// Bodies of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Mass {
    /// Line of the file, from 1.
    pub line: usize,
    /// Name, as it goes into the column `load` of the run.
    pub name: String,
    /// Conventional mass of a piece, kg; `None`: unknown.
    pub mass_kg: Option<f64>,
    /// Its standard uncertainty, g; 0 where not given or not known.
    pub u_g: f64,
    /// Pieces at hand, 1 or more.
    pub count: u32,
    /// Roughly what an unknown piece weighs, kg.
    pub about_kg: Option<f64>,
}

/// Most pieces of a row: more than any workshop carries.
const COUNT: Limits = Limits::between(1.0, 1000.0).because("pieces at hand");

/// Reads the bodies.
///
/// # Errors
/// Missing columns, no or equal names, numbers that are none or out of range, a count that is not whole, no body at all.
pub fn read(file: &str, text: &str) -> Result<Vec<Mass>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [name, mass_kg] = table.required(["name", "mass_kg"])?;
    let (u_g, count, about_kg) = (table.optional("u_g"), table.optional("count"), table.optional("about_kg"));
    // Said of the heading, which is still at hand: behind the last row there is no line to point at.
    let none = table.header_problem("no row", "at least one body under the heading");
    let mut masses: Vec<Mass> = Vec::new();
    while table.next_row()? {
        let text = table.text(Some(name)).to_owned();
        if text.is_empty() {
            table.problem(Some(name), "nothing", "a name for the body");
        } else if let Some(first) = masses.iter().find(|m| m.name == text) {
            let expected = format!("another name: line {} has it already; several pieces go into `count`", first.line);
            table.problem(Some(name), crate::limits::quoted(&text), expected);
        }
        let pieces = table.number_opt(count, &COUNT).unwrap_or(1.0);
        if pieces.is_finite() && pieces.fract() != 0.0 {
            table.problem(count, pieces.to_string(), "a whole number of pieces");
        }
        masses.push(Mass {
            line: table.line(),
            name: text,
            mass_kg: table.number_opt(Some(mass_kg), &Limits::POSITIVE),
            u_g: table.number_opt(u_g, &Limits::NOT_NEGATIVE).unwrap_or(0.0),
            // Within COUNT, or a problem is noted and the value never seen.
            count: pieces as u32,
            about_kg: table.number_opt(about_kg, &Limits::POSITIVE),
        });
    }
    if masses.is_empty() {
        return Err(Problems(vec![none]));
    }
    table.check()?;
    Ok(masses)
}

/// The bodies as text; [`read`] gives them back.
#[must_use]
pub fn write(masses: &[Mass]) -> String {
    let mut out = csv_writer::Rows::new();
    out.row(["name", "mass_kg", "u_g", "count", "about_kg"]);
    for mass in masses {
        out.field(&mass.name);
        out.number_opt(mass.mass_kg);
        out.number(mass.u_g);
        out.number(f64::from(mass.count));
        out.number_opt(mass.about_kg);
        out.end_row();
    }
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bodies_come_back_as_written_and_an_empty_mass_is_unknown() {
        let masses = read("masses.csv", "name,mass_kg,u_g,count\nF1,20,0.3,2\ncan,,,4\n").unwrap();
        assert_eq!((masses[0].mass_kg, masses[0].u_g, masses[0].count), (Some(20.0), 0.3, 2));
        assert_eq!((masses[1].mass_kg, masses[1].count), (None, 4));
        assert_eq!(read("masses.csv", &write(&masses)).unwrap(), masses);
    }

    #[test]
    fn what_does_not_fit_is_named_with_line_and_column() {
        for (row, named) in [
            ("F1,-2,0,1", "mass_kg"),
            ("F1,20,x,1", "u_g"),
            ("F1,20,0,1.5", "count"),
            (",20,0,1", "name"),
            ("F1,20,0,0", "count"),
        ] {
            let problems = read("masses.csv", &format!("name,mass_kg,u_g,count\n{row}\n")).unwrap_err().to_string();
            assert!(problems.contains("masses.csv") && problems.contains('2'), "{named}: {problems}");
        }
        assert!(read("masses.csv", "name,mass_kg\n").is_err());
        assert!(read("masses.csv", "name,mass_kg\nA,1\nA,2\n").is_err());
    }
}
