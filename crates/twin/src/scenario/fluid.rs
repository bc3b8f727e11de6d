//! Fluids, and what the cells' sheets leave out.

use serde::{Deserialize, Serialize};

use super::yes;
use crate::fluid::{Habits, Regimen, Story};

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
