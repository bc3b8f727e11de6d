//! An invented scenario: patient, bed, ward, room, fluids, faults. Everything has a default; a file states what differs.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::error::{TwinError, in_range};
use crate::fluid::{Habits, Regimen, Story};

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

/// A patient.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Patient {
    /// Local label, never a name.
    pub label: String,
    /// `female` or `male`.
    pub sex: Sex,
    /// Age, years.
    pub age_y: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Mass at the start, kg (conventional mass: what a perfect scale shows).
    pub mass_kg: f64,
    /// Weight at admission as the ward believes it, kg; absent: the true one to half a kilogram.
    pub admission_kg: Option<f64>,
    /// `humidified`, `dry` or `no`.
    pub ventilated: Gas,
    /// Body temperature, °C.
    #[serde(rename = "temperature_C")]
    pub temperature_c: f64,
    /// Breaths a minute.
    pub breaths_min: f64,
    /// Heart beats a minute.
    pub pulse_min: f64,
    /// Bouts of moving by himself, an hour.
    pub restless_per_h: f64,
    /// Coughs, an hour.
    pub coughs_per_h: f64,
}

/// Sex, for the tables of body segments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

/// Breathing gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Gas {
    /// Ventilated, humidified.
    Humidified,
    /// Ventilated, dry.
    Dry,
    /// Room air.
    No,
}

/// A bed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Bed {
    /// Mattress, kg.
    pub mattress_kg: f64,
    /// Linen that lies there from the start, kg.
    pub linen_kg: f64,
    /// Share of the along-slope weight of the trunk that friction on the raised back does not hold and the seat takes over:
    /// structure reference 7, 1 − κ.
    pub slip: f64,
    /// Error of the angle sensors, ° (standard deviation, constant a section).
    pub angle_error_deg: f64,
    /// Whether the plates' own weight changes with their angle in the counts. The contract's zero is that of the plate at its
    /// angle (`false`); in a deck without such a correction it is not (`true`).
    pub own_weight_leans: bool,
    /// Movements.
    pub angle: Vec<Angle>,
}

/// A section moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Angle {
    /// When, h.
    pub at_h: f64,
    /// Section; absent: the whole bed tilts by so much more.
    pub section: Option<String>,
    /// To this angle, °.
    pub deg: f64,
    /// In this time, s.
    #[serde(default = "quarter_minute")]
    pub over_s: f64,
}

fn quarter_minute() -> f64 {
    15.0
}

/// A ward's routine. Rates from clinical reference 5: contacts 1.5–3.5 an hour; turns every two hours in the rule and half of
/// the time later than that; forces of hands have no published source and are own choices.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Ward {
    /// Hours between turns, mean; 0: never.
    pub turn_every_h: f64,
    /// Share of turns during which the weight is held by an action.
    pub turns_held: f64,
    /// Visits to the bedside in which hands lean on it, an hour.
    pub contacts_per_h: f64,
    /// Hours of day at which the patient is washed and pads and linen are changed, under hold.
    pub wash_at_clock_h: Vec<f64>,
    /// Hours between changes of wet pads apart from washing; 0: never.
    pub pads_every_h: f64,
    /// Things that come and go by themselves (a blanket, a pillow, a pump, a book), a day.
    pub items_per_day: f64,
    /// Share of these that someone tells the deck of.
    pub items_told: f64,
    /// Share of the told ones that are told with their mass; the others are to be measured.
    pub items_weighed: f64,
    /// Visitors who sit on the edge of the bed, a day.
    pub sitters_per_day: f64,
    /// Journeys out of the bed (a scan, a bath), a day.
    pub journeys_per_day: f64,
    /// Delay of an action behind what it tells, s: mean.
    pub action_late_s: f64,
}

/// A room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Room {
    /// Mean temperature, °C.
    #[serde(rename = "temperature_C")]
    pub temperature_c: f64,
    /// Swing over the day, ± °C.
    #[serde(rename = "swing_C")]
    pub swing_c: f64,
    /// Warming of the plates under the patient in the long run, °C.
    #[serde(rename = "body_warmth_C")]
    pub body_warmth_c: f64,
    /// Shaking of the floor, mm/s² rms at the plates (traffic, a lift).
    pub floor_mm_s2: f64,
}

/// Fluids.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Fluid {
    /// A typical course; absent and without a regimen: nothing flows but what evaporates and the kidney makes.
    pub story: Option<Story>,
    /// A regimen of one's own, in place of a story.
    pub regimen: Option<Regimen>,
    /// Losses that nobody charts, on top.
    pub hidden: Vec<Hidden>,
    /// How people chart.
    pub habits: Habits,
}

/// A loss that nobody charts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hidden {
    /// From, h.
    pub from_h: f64,
    /// To, h.
    pub to_h: f64,
    /// Volume in all, mL.
    #[serde(rename = "mL")]
    pub ml: f64,
    /// Whether it leaves the deck (or lies in the linen).
    #[serde(default = "yes")]
    pub leaves_deck: bool,
}

fn yes() -> bool {
    true
}

/// What the cells' sheets leave out; see [`crate::cell::CellSpread`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Cells {
    /// Part of the sheet's limits that the cells use, 0 to 1 (more: worse than their sheet).
    pub sheet: f64,
    /// Wander of a zero, g per √h.
    pub wander_g_sqrt_h: f64,
    /// Mains pick-up, nV.
    #[serde(rename = "hum_nV")]
    pub hum_nv: f64,
}

/// Something that happens at a stated time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Planned {
    /// Something is laid on the bed.
    Add {
        /// When, h.
        at_h: f64,
        /// What.
        name: String,
        /// Mass, kg.
        kg: f64,
        /// Middle, mm in bed coordinates.
        at_mm: [f64; 2],
        /// Size, mm.
        size_mm: [f64; 2],
        /// Taken off again, h.
        until_h: Option<f64>,
        /// Whether someone tells the deck.
        #[serde(default = "yes")]
        told: bool,
    },
    /// Someone leans on the bed.
    Lean {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
        /// Down, kg; negative: lifts.
        kg: f64,
        /// Where, mm in bed coordinates.
        at_mm: [f64; 2],
    },
    /// Someone sits on the bed.
    Sit {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
        /// Weight on the bed, kg.
        kg: f64,
        /// Where, mm in bed coordinates.
        at_mm: [f64; 2],
    },
    /// The patient is turned or moves.
    Turn {
        /// When, h.
        at_h: f64,
        /// Midline to the patient's left of the bed's middle, mm.
        across_mm: f64,
    },
    /// A round of care under hold.
    Care {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// The patient leaves the bed for a while.
    Journey {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// Restlessness.
    Restless {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// A seizure: fast rhythmic jerks.
    Seizure {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// Chest compressions.
    Compressions {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
    /// The whole bed is moved.
    BedMoved {
        /// When, h.
        at_h: f64,
        /// How long, s.
        for_s: f64,
    },
}

/// Something that fails.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Fault {
    /// A channel repeats its last count.
    Stuck {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h; absent: for good.
        to_h: Option<f64>,
    },
    /// Samples of a channel are lost.
    Lost {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Share of samples lost; absent: all.
        share: Option<f64>,
    },
    /// A channel stands at the end of its range.
    Saturated {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
    },
    /// A cell's zero runs away.
    Drifting {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Speed, kg an hour.
        kg_h: f64,
    },
    /// A bad contact.
    Noisy {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Times the usual noise.
        times: f64,
    },
    /// Single wild counts.
    Spikes {
        /// Cell.
        cell: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Spikes an hour.
        per_h: f64,
    },
    /// Linen jams the gap under a plate: part of its load passes the cells by.
    Jam {
        /// Plate.
        plate: String,
        /// From, h.
        from_h: f64,
        /// To, h.
        to_h: Option<f64>,
        /// Share of the plate's load.
        share: f64,
        /// Where, mm on the plate.
        at_mm: [f64; 2],
    },
    /// No samples at all.
    PowerCut {
        /// From, h.
        from_h: f64,
        /// How long, s.
        for_s: f64,
    },
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

impl Default for Patient {
    fn default() -> Self {
        Self {
            label: "bed 1".into(),
            sex: Sex::Female,
            age_y: 60.0,
            height_mm: 1680.0,
            mass_kg: 72.0,
            admission_kg: None,
            ventilated: Gas::Humidified,
            temperature_c: 37.5,
            breaths_min: 16.0,
            pulse_min: 84.0,
            restless_per_h: 2.0,
            coughs_per_h: 2.0,
        }
    }
}

impl Default for Bed {
    fn default() -> Self {
        Self {
            mattress_kg: 12.0,
            linen_kg: 1.6,
            slip: 0.01,
            angle_error_deg: 0.05,
            own_weight_leans: false,
            angle: Vec::new(),
        }
    }
}

impl Default for Ward {
    fn default() -> Self {
        Self {
            turn_every_h: 2.5,
            turns_held: 0.3,
            contacts_per_h: 1.7,
            wash_at_clock_h: vec![6.0, 21.5],
            pads_every_h: 8.0,
            items_per_day: 4.0,
            items_told: 0.9,
            items_weighed: 0.7,
            sitters_per_day: 0.3,
            journeys_per_day: 0.0,
            action_late_s: 6.0,
        }
    }
}

impl Default for Room {
    fn default() -> Self {
        Self { temperature_c: 22.5, swing_c: 0.8, body_warmth_c: 1.0, floor_mm_s2: 2.0 }
    }
}

impl Default for Fluid {
    fn default() -> Self {
        Self { story: Some(Story::Steady), regimen: None, hidden: Vec::new(), habits: Habits::default() }
    }
}

impl Default for Cells {
    fn default() -> Self {
        Self { sheet: 1.0, wander_g_sqrt_h: 0.3, hum_nv: 400.0 }
    }
}

impl Scenario {
    /// Reads a scenario file.
    ///
    /// # Errors
    /// A file that is no scenario, with line and key; numbers out of range.
    pub fn read(file: &str, text: &str) -> Result<Self, TwinError> {
        let fault = |message: String| TwinError::Scenario { file: file.to_owned(), message };
        let scenario: Self = toml::from_str(text).map_err(|e| fault(e.to_string()))?;
        scenario.check().map_err(|e| fault(e.to_string()))?;
        Ok(scenario)
    }

    /// Refuses numbers that make no night.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), TwinError> {
        in_range("hours", self.hours, 0.01, 24.0 * 60.0, "0.01 to 1440 (60 days)")?;
        in_range("rate_hz", self.rate_hz, 0.01, 1000.0, "0.01 to 1000")?;
        in_range("patient.mass_kg", self.patient.mass_kg, 0.4, 450.0, "0.4 to 450")?;
        in_range("patient.height_mm", self.patient.height_mm, 250.0, 2600.0, "250 to 2600")?;
        in_range("patient.temperature_C", self.patient.temperature_c, 25.0, 43.0, "25 to 43")?;
        in_range("patient.breaths_min", self.patient.breaths_min, 0.0, 120.0, "0 to 120")?;
        in_range("patient.pulse_min", self.patient.pulse_min, 0.0, 300.0, "0 to 300")?;
        in_range("bed.mattress_kg", self.bed.mattress_kg, 0.0, 100.0, "0 to 100")?;
        in_range("bed.slip", self.bed.slip, 0.0, 1.0, "0 to 1")?;
        in_range("ward.items_told", self.ward.items_told, 0.0, 1.0, "0 to 1")?;
        in_range("room.temperature_C", self.room.temperature_c, -20.0, 50.0, "-20 to 50")?;
        for angle in &self.bed.angle {
            in_range("bed.angle.deg", angle.deg, -89.0, 89.0, "-89 to 89")?;
        }
        self.start_time().map(|_| ())
    }

    /// Wall time of t = 0.
    ///
    /// # Errors
    /// A start that is no RFC 3339 time.
    pub fn start_time(&self) -> Result<Timestamp, TwinError> {
        self.start.parse().map_err(|_| TwinError::Scenario {
            file: "start".into(),
            message: format!("found `{}`, expected a time such as 2031-03-04T18:00:00Z", self.start),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
            ("hours = 2.0\nhuors = 3.0\n", ["line 2", "huors"]),
            ("[patient]\nmass_kg = \"heavy\"\n", ["line 2", "mass_kg"]),
            ("[patient]\nmass_kg = 900.0\n", ["patient.mass_kg", "0.4 to 450"]),
            ("start = \"yesterday\"\n", ["yesterday", "2031-03-04T18:00:00Z"]),
            ("[[fault]]\nwhat = \"melted\"\n", ["line 2", "melted"]),
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
