//! `run.csv`: a calibration run, one settled reading a row.

use crate::deck::Deck;
use crate::limits::{Limits, quoted};
use crate::table::Table;
use crate::{Problems, csv_writer, placement};

/// A run over the cells of a deck.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Names of the cells, in the order of the deck; `counts` of each row follow it.
    pub cells: Vec<String>,
    /// Rows in the order of the file.
    pub rows: Vec<Row>,
}

/// One settled reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Line of the file, from 1, to be named in findings.
    pub line: usize,
    /// The `step` column as written.
    pub step: String,
    /// What lay on the deck.
    pub load: Load,
    /// Temperature, °C, where given.
    pub temperature_c: Option<f64>,
    /// Mean counts of each cell.
    pub counts: Vec<f64>,
}

/// What lay on the deck during a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Load {
    /// Nothing.
    Zero,
    /// A body of known conventional mass at a place of a plate.
    Known {
        /// Where.
        at: Placement,
        /// Conventional mass, kg.
        mass_kg: f64,
        /// Its standard uncertainty, g; 0 where not given.
        u_mass_g: f64,
        /// The `load` column, where given: which body it was.
        label: Option<String>,
    },
    /// A body of unknown mass; rows of one label bear the same mass.
    Unknown {
        /// Where.
        at: Placement,
        /// Which body.
        label: String,
    },
}

/// A place on a named plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// Name of the plate.
    pub plate: String,
    /// Along x from the plate's corner, mm.
    pub x_mm: f64,
    /// Along y, mm.
    pub y_mm: f64,
}

/// Temperatures that a reading may have been taken at, °C.
pub(crate) const TEMPERATURE_C: Limits = Limits::between(-60.0, 125.0);

/// Columns of the file, but for the cells.
struct Columns {
    step: usize,
    place: placement::Columns,
    mass_kg: usize,
    u_mass_g: Option<usize>,
    load: Option<usize>,
    temperature_c: Option<usize>,
    cells: Vec<usize>,
}

/// Reads a run over the cells of a deck.
///
/// # Errors
/// Missing columns (those of cells too: a run of another deck), numbers that are none, plates that the deck does
/// not have, places beside their plate, and rows that say neither what lay on the deck nor that nothing did.
pub fn read(file: &str, text: &str, deck: &Deck) -> Result<Run, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [step, plate, x_mm, y_mm, mass_kg] = table.required(["step", "plate", "x_mm", "y_mm", "mass_kg"])?;
    let columns = Columns {
        step,
        place: placement::Columns { plate: Some(plate), x_mm: Some(x_mm), y_mm: Some(y_mm) },
        mass_kg,
        u_mass_g: table.optional("u_mass_g"),
        load: table.optional("load"),
        temperature_c: table.optional("temperature_C"),
        cells: table.cell_columns(deck)?,
    };
    let mut rows = Vec::new();
    while table.next_row()? {
        if let Some(row) = read_row(&mut table, &columns, deck) {
            rows.push(row);
        }
    }
    table.check()?;
    Ok(Run { cells: deck.cells().map(|(_, c)| c.name.clone()).collect(), rows })
}

fn read_row(table: &mut Table<&[u8]>, columns: &Columns, deck: &Deck) -> Option<Row> {
    let load = read_load(table, columns, deck);
    let temperature_c = table.number_opt(columns.temperature_c, &TEMPERATURE_C);
    let counts = columns.cells.iter().map(|&c| table.number(c, &Limits::ANY)).collect();
    Some(Row {
        line: table.line(),
        step: table.text(Some(columns.step)).to_owned(),
        load: load?,
        temperature_c,
        counts,
    })
}

/// What lay on the deck; `None` where the row does not say, which is noted.
fn read_load(table: &mut Table<&[u8]>, columns: &Columns, deck: &Deck) -> Option<Load> {
    let u_mass_g = table.number_opt(columns.u_mass_g, &Limits::NOT_NEGATIVE);
    let mass_kg = table.number_opt(Some(columns.mass_kg), &Limits::NOT_NEGATIVE);
    let label = table.text_opt(columns.load);
    let at = placement::read(table, &columns.place, deck);
    match (mass_kg, label, at) {
        (None, None, _) => {
            let expected =
                "a mass, 0 for a reading without load, or a label in the column `load` for a body of unknown mass";
            table.problem(Some(columns.mass_kg), "nothing", expected);
            None
        }
        (Some(mass), Some(label), _) if mass <= 0.0 => {
            let expected = format!("no mass for the body {} if it is unknown, or its mass", quoted(&label));
            table.problem(Some(columns.mass_kg), mass.to_string(), expected);
            None
        }
        (Some(mass), None, _) if mass <= 0.0 => Some(Load::Zero),
        (_, _, None) => {
            if table.text(columns.place.plate).is_empty() {
                table.problem(columns.place.plate, "nothing", "the plate that the load lay on");
            }
            None
        }
        (Some(mass_kg), label, Some(at)) => Some(Load::Known { at, mass_kg, u_mass_g: u_mass_g.unwrap_or(0.0), label }),
        (None, Some(label), Some(at)) => Some(Load::Unknown { at, label }),
    }
}

/// The run as text; [`read`] gives equal rows back, if they are in the order of their lines.
///
/// A row without counts, of a run still to be made, gets empty columns to fill in; [`read`] refuses it until they are.
#[must_use]
pub fn write(run: &Run) -> String {
    let mut out = csv_writer::Rows::new();
    let head = ["step", "plate", "x_mm", "y_mm", "mass_kg", "u_mass_g", "load", "temperature_C"];
    out.row(head.into_iter().chain(run.cells.iter().map(String::as_str)));
    for row in &run.rows {
        out.field(&row.step);
        let (at, mass_kg, u_mass_g, label) = match &row.load {
            Load::Zero => (None, Some(0.0), None, None),
            Load::Known { at, mass_kg, u_mass_g, label } => (Some(at), Some(*mass_kg), Some(*u_mass_g), label.as_ref()),
            Load::Unknown { at, label } => (Some(at), None, None, Some(label)),
        };
        out.field(at.map_or("", |a| &a.plate));
        out.number_opt(at.map(|a| a.x_mm));
        out.number_opt(at.map(|a| a.y_mm));
        out.number_opt(mass_kg);
        out.number_opt(u_mass_g);
        out.field(label.map_or("", String::as_str));
        out.number_opt(row.temperature_c);
        for cell in 0..run.cells.len() {
            out.number_opt(row.counts.get(cell).copied());
        }
        out.end_row();
    }
    out.finish()
}
