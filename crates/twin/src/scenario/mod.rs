//! An invented scenario: patient, bed, ward, room, fluids, faults. Everything has a default; a file states what differs.

mod fault;
mod fluid;
mod happening;
mod limits;
mod patient;
mod ward;

pub use fault::Fault;
pub use fluid::{Cells, Fluid, Hidden};
pub use happening::Planned;
#[cfg(test)]
pub(crate) use limits::LIMITS;
use limits::LONGEST_H;
pub(crate) use limits::range_of;
pub use patient::{Gas, Patient, Sex};
pub use ward::{Angle, Bed, Room, Ward};

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::error::TwinError;

/// A scenario.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Scenario {
    /// Name for people.
    pub name: String,
    /// Length, h.
    pub hours: f64,
    /// Samples a second in the recording; below the converter's rate a sample is the mean of several conversions.
    pub rate_hz: f64,
    /// Wall time of t = 0, RFC 3339.
    pub start: String,
    /// The patient.
    pub patient: Patient,
    /// The bed.
    pub bed: Bed,
    /// The ward.
    pub ward: Ward,
    /// The room.
    pub room: Room,
    /// Fluids.
    pub fluid: Fluid,
    /// What the cells' sheets leave out.
    pub cells: Cells,
    /// What happens besides the routine.
    pub happening: Vec<Planned>,
    /// What fails.
    pub fault: Vec<Fault>,
}

/// For keys that are true where they are absent.
fn yes() -> bool {
    true
}

impl Default for Scenario {
    fn default() -> Self {
        Self {
            name: "an invented night".into(),
            hours: 24.0,
            rate_hz: 10.0,
            start: "2031-03-04T18:00:00Z".into(),
            patient: Patient::default(),
            bed: Bed::default(),
            ward: Ward::default(),
            room: Room::default(),
            fluid: Fluid::default(),
            cells: Cells::default(),
            happening: Vec::new(),
            fault: Vec::new(),
        }
    }
}

/// `:line:column` of a byte of a text, from 1.
fn place_of(text: &str, byte: usize) -> String {
    let before = text.get(..byte).unwrap_or(text);
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    format!(":{}:{column}", before.matches('\n').count() + 1)
}

/// `:line:column` of a key such as `ward.items_told`; nothing where its last part stands on no line or on several.
fn place_of_key(text: &str, key: &str) -> String {
    let name = key.rsplit('.').next().unwrap_or(key).split('[').next().unwrap_or(key);
    let is_it =
        |line: &str| line.trim_start().strip_prefix(name).is_some_and(|rest| rest.trim_start().starts_with('='));
    let mut lines = text.lines().enumerate().filter(|(_, line)| is_it(line));
    match (lines.next(), lines.next()) {
        (Some((at, line)), None) => {
            format!(":{}:{}", at + 1, line.chars().take_while(|c| c.is_whitespace()).count() + 1)
        }
        _ => String::new(),
    }
}

impl Scenario {
    /// Reads a scenario file.
    ///
    /// # Errors
    /// A file that is no scenario, with line and key; numbers out of range.
    pub fn read(file: &str, text: &str) -> Result<Self, TwinError> {
        let scenario: Self = toml::from_str(text).map_err(|e| {
            let place = e.span().map_or_else(String::new, |span| place_of(text, span.start));
            TwinError::Scenario { file: format!("{file}{place}"), message: e.message().to_owned() }
        })?;
        scenario.check().map_err(|e| {
            let place = match &e {
                TwinError::Range { what, .. } => place_of_key(text, what),
                _ => String::new(),
            };
            TwinError::Scenario { file: format!("{file}{place}"), message: e.to_string() }
        })?;
        Ok(scenario)
    }

    /// Refuses numbers that make no night: `limits.rs` has the table.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), TwinError> {
        limits::check(self)?;
        for fault in &self.fault {
            fault.check()?;
        }
        self.start_time().map(|_| ())
    }

    /// Wall time of t = 0.
    ///
    /// # Errors
    /// A start that is no RFC 3339 time, or so near an end of the calendar that the night would leave it.
    pub fn start_time(&self) -> Result<Timestamp, TwinError> {
        let expected = |what: &str| TwinError::Scenario {
            file: "start".into(),
            message: format!("found `{}`, expected a time {what}", self.start),
        };
        let start: Timestamp = self.start.parse().map_err(|_| expected("such as 2031-03-04T18:00:00Z"))?;
        // What is charted late reaches a little beyond the night.
        let room = SignedDuration::from_hours(LONGEST_H as i64 + 48);
        match (start.checked_add(room), start.checked_sub(room)) {
            (Ok(_), Ok(_)) => Ok(start),
            _ => Err(expected("some months from the ends of the calendar, the years −9999 and 9999")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_told_with_its_place() {
        let told = |text: &str| Scenario::read("s.toml", text).unwrap_err().to_string();
        assert!(told("seed = 1\nhuors = 3\n").starts_with("s.toml:2:1: "), "{}", told("seed = 1\nhuors = 3\n"));
        assert!(told("[ward]\n items_told = 2.0\n").starts_with("s.toml:2:2: ward.items_told is 2"));
        // Twice in the file: which one is not known.
        let twice = "[[happening]]\nwhat = \"lean\"\nat_h = 1.0\nfor_s = 20.0\nkg = 9000.0\nat_mm = [500.0, 30.0]\n";
        let text = twice.repeat(2);
        assert!(told(&text).starts_with("s.toml: "), "{}", told(&text));
    }

    #[test]
    fn an_empty_file_is_the_default_and_a_file_states_what_differs() {
        assert_eq!(Scenario::read("s.toml", "").unwrap(), Scenario::default());
        let text = "hours = 2.0\n[patient]\nmass_kg = 54.0\n[[happening]]\nwhat = \"lean\"\nat_h = 1.0\nfor_s = 20.0\nkg = 9.0\nat_mm = [500.0, 30.0]\n";
        let scenario = Scenario::read("s.toml", text).unwrap();
        assert!((scenario.patient.mass_kg - 54.0).abs() < 1e-12 && scenario.happening.len() == 1);
        assert!((scenario.patient.height_mm - Patient::default().height_mm).abs() < 1e-12);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        for (text, words) in [
            ("hours = 2.0\nhuors = 3.0\n", ["s.toml:2:1: ", "huors"]),
            ("[patient]\nmass_kg = \"heavy\"\n", ["s.toml:2:11: ", "string \"heavy\""]),
            ("[patient]\nmass_kg = 900.0\n", ["s.toml:2:1: patient.mass_kg", "0.4 to 450"]),
            ("start = \"9999-12-30T18:00:00Z\"\n", ["start", "ends of the calendar"]),
            ("start = \"yesterday\"\n", ["yesterday", "2031-03-04T18:00:00Z"]),
            ("[[fault]]\nwhat = \"melted\"\n", ["s.toml:2:8: ", "melted"]),
        ] {
            let message = Scenario::read("s.toml", text).unwrap_err().to_string();
            assert!(words.iter().all(|w| message.contains(w)), "{message}");
        }
    }

    #[test]
    fn a_scenario_is_read_back_as_it_was_written() {
        let mut scenario = Scenario::default();
        scenario.fault.push(Fault::PowerCut { from_h: 3.0, for_s: 40.0 });
        scenario.bed.angle.push(Angle { at_h: 2.0, section: Some("back".into()), deg: 30.0, over_s: 20.0 });
        let text = toml::to_string(&scenario).unwrap();
        assert_eq!(Scenario::read("s.toml", &text).unwrap(), scenario);
    }
}
