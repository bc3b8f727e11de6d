//! The bed, the ward's routine and the room.

use serde::{Deserialize, Serialize};

/// A bed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Bed {
    /// Mattress, kg.
    pub mattress_kg: f64,
    /// Linen that lies there from the start, kg.
    pub linen_kg: f64,
    /// Share of the along-slope weight of the trunk that friction on the raised back does not hold and the seat takes over:
    /// 1 − κ of the inclined plane.
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

/// A ward's routine. Rates from memory of published counts: contacts 1.5–3.5 an hour; turns every two hours in the rule and half of
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
    /// Moves of the whole bed (to a window, a few beds farther), a day; nobody tells the deck.
    pub bed_moves_per_day: f64,
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
            bed_moves_per_day: 0.0,
            action_late_s: 6.0,
        }
    }
}

impl Default for Room {
    fn default() -> Self {
        Self { temperature_c: 22.5, swing_c: 0.8, body_warmth_c: 1.0, floor_mm_s2: 2.0 }
    }
}
