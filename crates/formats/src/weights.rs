//! `weights.csv`: weights over time.

use std::io::Write;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::csv_writer::Line;
use crate::limits::Limits;
use crate::table::Table;
use crate::{Problems, words};

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Wall time, where the start is known.
    pub time: Option<Timestamp>,
    /// Time since the start, s.
    pub t_s: f64,
    /// Weight of the patient, kg; `None` where empty or at fault.
    pub patient_kg: Option<f64>,
    /// Standard uncertainty, kg.
    pub u_kg: Option<f64>,
    /// May it be believed?
    pub state: State,
}

/// State of a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// At rest, to be believed within twice its uncertainty.
    Settled,
    /// The load moves.
    Moving,
    /// Care is being given: the last settled weight.
    Held,
    /// No patient on the deck.
    Empty,
    /// Beyond the deck's range.
    Overload,
    /// The deck cannot weigh.
    Fault,
}

const WORDS: &words::Words<State> = &[
    ("settled", State::Settled),
    ("moving", State::Moving),
    ("held", State::Held),
    ("empty", State::Empty),
    ("overload", State::Overload),
    ("fault", State::Fault),
];

impl State {
    /// The word of the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        words::word(WORDS, &self)
    }
}

/// Reads weights.
///
/// # Errors
/// Missing columns, words that are no state, a time that does not run forward, a settled weight without its value or
/// its uncertainty, a value where there is none to have.
pub fn read(file: &str, text: &str) -> Result<Vec<Weight>, Problems> {
    let mut table = Table::open(file, text.as_bytes())?;
    let [t_s, patient_kg, u_kg, state] = table.required(["t_s", "patient_kg", "u_kg", "state"])?;
    let time = table.optional("time");
    let mut weights = Vec::new();
    let mut last = None;
    let mut last_wall: Option<Timestamp> = None;
    while table.next_row()? {
        let seconds = table.number(t_s, &Limits::ANY);
        table.forward(t_s, seconds, &mut last, true);
        let wall = time.and_then(|column| table.time(column));
        if let (Some(now), Some(before)) = (wall, last_wall)
            && now <= before
        {
            table.problem(time, now.to_string(), format!("a time after {before}: time runs forward"));
        }
        last_wall = wall.or(last_wall);
        let kg = table.number_opt(Some(patient_kg), &Limits::ANY);
        let u = table.number_opt(Some(u_kg), &Limits::NOT_NEGATIVE);
        let Some(state) = table.word(state, WORDS) else { continue };
        match state {
            State::Settled if kg.is_none() => {
                table.problem(
                    Some(patient_kg),
                    "nothing",
                    format!("a weight in kg, for the state is `{}`", state.word()),
                );
            }
            State::Settled if u.is_none() => table.problem(Some(u_kg), "nothing", "the standard uncertainty in kg"),
            State::Empty | State::Fault => {
                if let Some(kg) = kg {
                    let expected = format!("no weight, for the state is `{}`", state.word());
                    table.problem(Some(patient_kg), kg.to_string(), expected);
                }
            }
            _ => {}
        }
        weights.push(Weight { time: wall, t_s: seconds, patient_kg: kg, u_kg: u, state });
    }
    table.check()?;
    Ok(weights)
}

/// Weights while they are written, row by row.
pub struct Writer<W> {
    out: W,
    with_time: bool,
    with_open: bool,
    line: Line,
}

/// Column of what came or went and is not explained yet: `patient_kg + open_kg` is the weight if it was the patient's own.
const OPEN_KG: &str = "open_kg";

impl<W: Write> Writer<W> {
    /// Writes the header, with the column `time` where the start is known.
    ///
    /// # Errors
    /// What the output reports.
    pub fn new(out: W, with_time: bool) -> std::io::Result<Self> {
        Self::begin(out, with_time, false)
    }

    /// Writes the header with the column `open_kg` as well, the sum of the changes that nothing explains yet: `patient_kg + open_kg` is the weight if
    /// they were all the patient's own.
    ///
    /// # Errors
    /// What the output reports.
    pub fn with_open(out: W, with_time: bool) -> std::io::Result<Self> {
        Self::begin(out, with_time, true)
    }

    /// Goes on with a file that has its header already, as [`Writer::with_open`] made it.
    pub fn resume_with_open(out: W, with_time: bool) -> Self {
        Self { out, with_time, with_open: true, line: Line::default() }
    }

    fn begin(mut out: W, with_time: bool, with_open: bool) -> std::io::Result<Self> {
        let mut line = Line::default();
        if with_time {
            line.field("time");
        }
        for name in ["t_s", "patient_kg", "u_kg", "state"] {
            line.field(name);
        }
        if with_open {
            line.field(OPEN_KG);
        }
        out.write_all(line.end().as_bytes())?;
        Ok(Self { out, with_time, with_open, line })
    }

    /// Writes one row, with nothing open.
    ///
    /// # Errors
    /// What the output reports.
    pub fn write(&mut self, weight: &Weight) -> std::io::Result<()> {
        self.write_open(weight, 0.0)
    }

    /// Writes one row and what is open.
    ///
    /// # Errors
    /// What the output reports.
    pub fn write_open(&mut self, weight: &Weight, open_kg: f64) -> std::io::Result<()> {
        if self.with_time {
            match weight.time {
                Some(time) => self.line.value(&time),
                None => self.line.field(""),
            }
        }
        self.line.number(weight.t_s);
        self.line.number_opt(weight.patient_kg);
        self.line.number_opt(weight.u_kg);
        self.line.field(weight.state.word());
        if self.with_open {
            self.line.number(open_kg);
        }
        self.out.write_all(self.line.end().as_bytes())
    }

    /// The output, to be flushed between rows.
    pub fn output(&mut self) -> &mut W {
        &mut self.out
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

/// The weights as text; [`read`] gives them back, if all have a wall time or none has.
#[must_use]
pub fn write(weights: &[Weight]) -> String {
    let with_time = weights.iter().any(|w| w.time.is_some());
    let written = Writer::new(Vec::new(), with_time).and_then(|mut writer| {
        weights.iter().try_for_each(|w| writer.write(w))?;
        writer.finish()
    });
    // Writing to memory cannot fail, and what is written is text.
    String::from_utf8(written.unwrap_or_default()).unwrap_or_default()
}
