//! What `check` finds: plain data that serializes to the fields of `check --json`.

use serde::ser::{Serialize, SerializeMap, Serializer};

/// All that `check` finds about a deck.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct CheckReport {
    /// Each plate under each load case.
    pub plates: Vec<PlateReport>,
    /// Each plate under the loads that happen on a ward.
    pub ward_loads: Vec<PlateReport>,
    /// Standard uncertainty of a weight by source, at a row of loads.
    pub budget: Vec<BudgetRow>,
    /// Expanded uncertainty (k = 2) of a weight, g, at the same loads.
    pub expanded_u_g: ByLoad,
    /// The same by drawing from the distributions.
    pub monte_carlo: Vec<MonteCarloRow>,
    /// The budget of a change of weight, with the smallest resolvable change as the headline.
    pub change: ChangeReport,
    /// The budget of each load case with a patient, in its posture.
    pub postures: Vec<PostureReport>,
    /// What to improve first.
    pub improvements: Vec<Improvement>,
    /// Cells and converter together.
    pub modules: ModulesReport,
    /// What one person may lift.
    pub lift: LiftReport,
    /// The largest load that lies as the usual one does and is safe for cells, layers and clearance.
    pub safe_load: SafeLoad,
    /// The largest load on the edge of each plate that is safe for cells and layers.
    pub safe_edge: Vec<SafeEdge>,
    /// Mass of all plates with their ribs, and of cells and bases where the deck file states theirs, kg.
    pub mass_kg: f64,
    /// Price of plates, ribs, cells and channels, in the deck's currency.
    pub cost: f64,
    /// What to buy.
    pub bill: Vec<BillRow>,
    /// Limits and whether they are met.
    pub requirements: Vec<Requirement>,
    /// What the user should know besides, in words.
    pub warnings: Vec<String>,
}

impl CheckReport {
    /// Whether every requirement is met.
    pub fn passed(&self) -> bool {
        self.requirements.iter().all(|r| r.met)
    }
}

/// A plate under all load cases.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PlateReport {
    /// Name.
    pub name: String,
    /// Mass of layers and ribs, and of cells and base where the deck file states theirs, kg.
    pub mass_kg: f64,
    /// Each load case in the order of the deck.
    pub cases: Vec<CaseReport>,
}

/// A plate under one load case.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct CaseReport {
    /// Name of the load case.
    pub case: String,
    /// Mass on the plate, kg.
    pub load_kg: f64,
    /// Force that presses the plate at a right angle, N.
    #[serde(rename = "load_N")]
    pub load_newton: f64,
    /// Angle of the plate's section, °.
    pub angle_deg: f64,
    /// Largest deflection down from the unloaded plate, mm.
    pub max_deflection_mm: f64,
    /// Where, from the plate's own corner, mm.
    pub at_mm: [f64; 2],
    /// Least gap to the base, under a rib that hangs into it too, mm; 0 where the plate touches its base.
    pub clearance_left_mm: f64,
    /// Whether the plate touches its base.
    pub touches: bool,
    /// Share of the load that passes the cells by, %.
    pub shunted_pct: f64,
    /// Whether the load tips the plate off its cells; reactions are then those of cells that could pull.
    pub tips: bool,
    /// Largest stress of any layer, MPa.
    #[serde(rename = "max_stress_MPa")]
    pub max_stress_mpa: f64,
    /// Smallest strength over stress of any layer; absent without load.
    pub safety_factor: Option<f64>,
    /// Stress of each layer from the top, then of each rib.
    pub layers: Vec<LayerReport>,
    /// What each cell carries.
    pub cells: Vec<CellReport>,
    /// Where the plate presses on its base, and the proof that the contact is right.
    pub contact: ContactReport,
    /// Elements along x and y of the mesh that was found fine enough for all cases of the plate.
    pub mesh_elements: [usize; 2],
    /// Estimated error of the mesh in the deflection anywhere, % of the largest.
    pub mesh_deflection_pct: f64,
    /// Estimated error of the mesh in a reaction, % of the load.
    pub mesh_reaction_pct: f64,
    /// Deflections for a heat map, mm: a row for each y from the patient's right, each from the head end.
    #[serde(skip)]
    pub deflection_mm: Vec<Vec<f64>>,
}

/// Contact of a plate with its base, and how well its conditions are met: 0 but for round-off and the grid of contact points.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize)]
pub struct ContactReport {
    /// Points of contact, from the plate's own corner, mm.
    pub points_mm: Vec<[f64; 2]>,
    /// Deepest point below the base between the points of contact, or at a cell that was let go, mm.
    pub penetration_mm: f64,
    /// Hardest pull at a cell or point, N.
    #[serde(rename = "pull_N")]
    pub pull_newton: f64,
    /// Largest product of a force and the room at the same place, N·m.
    #[serde(rename = "residual_N_m")]
    pub residual_newton_m: f64,
}

/// The worst stress of a layer or rib.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct LayerReport {
    /// Material.
    pub material: String,
    /// Stress, MPa.
    #[serde(rename = "stress_MPa")]
    pub stress_mpa: f64,
    /// Strength over stress; absent without load.
    pub safety_factor: Option<f64>,
    /// Where, from the plate's own corner, mm.
    pub at_mm: [f64; 2],
    /// Upper or lower face of the layer or rib.
    pub face: &'static str,
}

/// What a cell carries.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct CellReport {
    /// Name.
    pub name: String,
    /// Reaction, N, pressed positive.
    #[serde(rename = "reaction_N")]
    pub reaction_newton: f64,
    /// Share of its rated capacity, %.
    pub load_pct_of_capacity: f64,
    /// Whether the plate lifts off it.
    pub lifts: bool,
    /// Slope of the plate at the cell, ‰ (mm/m).
    pub slope_permille: f64,
    /// Side load on the cell from that slope, N.
    #[serde(rename = "side_load_N")]
    pub side_load_newton: f64,
}

/// One source of error.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct BudgetRow {
    /// Source.
    pub source: &'static str,
    /// Its distribution.
    pub kind: &'static str,
    /// Standard uncertainty, g, by load.
    pub u_g: ByLoad,
    /// The same by drawing from the distributions of this source alone (JCGM 101), g.
    pub drawn_u_g: ByLoad,
}

/// The greater of two values; what is no number is no small one.
pub(crate) fn worst(a: f64, b: f64) -> f64 {
    if a.is_nan() || b.is_nan() { f64::NAN } else { a.max(b) }
}

/// A quantity at a row of loads: load in kg, value. Serializes as an object whose keys are the loads.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ByLoad(pub Vec<(f64, f64)>);

impl ByLoad {
    /// The largest value; 0 when empty, and no number where one is none.
    pub fn largest(&self) -> f64 {
        self.0.iter().map(|(_, value)| *value).fold(0.0, worst)
    }
}

impl Serialize for ByLoad {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (load_kg, value) in &self.0 {
            map.serialize_entry(&load_kg.to_string(), value)?;
        }
        map.end()
    }
}

/// The budget at one load by drawing from all distributions (JCGM 101).
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct MonteCarloRow {
    /// Load, kg.
    pub load_kg: f64,
    /// Draws made.
    pub draws: usize,
    /// Mean of the error, g.
    pub mean_g: f64,
    /// Standard uncertainty, g.
    pub u_g: f64,
    /// Probabilistically symmetric interval of 95 %, g.
    pub interval_g: [f64; 2],
    /// Half of the second significant digit of u, g.
    pub tolerance_g: f64,
    /// Differences of the interval's ends from those of the sum of variances with k = 1.960, g.
    pub ends_differ_g: [f64; 2],
    /// Whether the sum of variances gives the same interval to that tolerance.
    pub agrees: bool,
    /// Whether the draws' own scatter is small enough for that verdict.
    pub agreement_sure: bool,
    /// Whether the draws settled before their limit.
    pub settled: bool,
}

/// The budget of a change of weight. Objects are keyed by hours.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ChangeReport {
    /// Smallest change that the deck resolves over 24 h, g: the headline of a design.
    pub resolvable_24h_g: f64,
    /// What resolvable means.
    pub criterion: &'static str,
    /// Patient, kg.
    pub patient_kg: f64,
    /// Standard uncertainty of the difference by source, g, by hours between the weights.
    pub rows: Vec<BudgetRow>,
    /// Standard uncertainty of the difference, g, by hours.
    pub u_g: ByLoad,
    /// The same by drawing from all distributions (JCGM 101).
    pub monte_carlo: Vec<ChangeDrawn>,
    /// Smallest resolvable change, g, by hours.
    pub resolvable_g: ByLoad,
}

/// The budget of a change by drawing, the load being that of the patient.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ChangeDrawn {
    /// Hours between the weights.
    pub hours: f64,
    /// What the draws gave.
    #[serde(flatten)]
    pub drawn: MonteCarloRow,
}

/// The budget of a patient in one posture.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PostureReport {
    /// Load case.
    pub case: String,
    /// Mass of the load without the mattress, which is tare, kg.
    pub load_kg: f64,
    /// Standard uncertainty by source, g.
    pub rows: Vec<PostureRow>,
    /// Expanded uncertainty (k = 2), g.
    pub expanded_u_g: f64,
}

/// One source in one posture.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PostureRow {
    /// Source.
    pub source: &'static str,
    /// Standard uncertainty, g.
    pub u_g: f64,
}

/// What it would buy to improve one source.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Improvement {
    /// Source.
    pub source: &'static str,
    /// Its share of the variance of a weight at max, %.
    pub share_of_variance_pct: f64,
    /// Its share of the variance of a change over 24 h, %.
    pub share_of_change_variance_pct: f64,
    /// Expanded uncertainty at max with half of it, g.
    pub expanded_u_if_halved_g: f64,
    /// Expanded uncertainty at max without it, g.
    pub expanded_u_without_g: f64,
    /// Smallest resolvable change over 24 h with half of it, g.
    pub resolvable_24h_if_halved_g: f64,
    /// Smallest resolvable change over 24 h without it, g.
    pub resolvable_24h_without_g: f64,
}

/// Cells and converter together.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ModulesReport {
    /// Conditions of compatibility.
    pub conditions: Vec<Condition>,
    /// Conditions that what the deck file states does not settle.
    pub open: Vec<OpenCondition>,
    /// Counts for one verification interval on the least sensitive cell.
    pub counts_per_e: f64,
    /// Noise of the sum of all cells, g rms, a sample.
    pub noise_g_rms: f64,
    /// The same, averaged as a settled weight is.
    pub averaged_noise_g_rms: f64,
    /// Divisions of max that the peak-to-peak noise of a sample leaves apart.
    pub noise_free_divisions: f64,
    /// What the conditions rest on.
    pub note: &'static str,
}

/// A condition and whether it is met.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Condition {
    /// Condition.
    pub name: String,
    /// What was found.
    pub value: f64,
    /// What is asked.
    pub limit: f64,
    /// Whether it is met.
    pub met: bool,
}

/// A condition that is not judged, as the deck file does not state what it needs.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct OpenCondition {
    /// Condition.
    pub name: String,
    /// What was found of it.
    pub found: String,
    /// Keys of the deck file that would settle it.
    pub needs: &'static str,
}

/// What one person may lift.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct LiftReport {
    /// Heaviest plate, kg.
    pub heaviest_plate_kg: f64,
    /// Whether the masses hold every base and cell; else what is lifted is heavier.
    pub is_complete: bool,
    /// Whether it is within one person's lift.
    pub plate_within_one_lift: bool,
    /// Whether it is within the lift of a wider working population.
    pub plate_within_wider_lift: bool,
    /// All plates, kg.
    pub deck_kg: f64,
    /// Whether they are within one person's lift at once.
    pub deck_within_one_lift: bool,
    /// The guideline.
    pub guideline: &'static str,
}

/// The largest safe load.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SafeLoad {
    /// Load, kg.
    pub load_kg: f64,
    /// What limits it.
    pub limited_by: String,
}

/// The largest safe load on the edge of a plate.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SafeEdge {
    /// Plate.
    pub plate: String,
    /// Load, kg.
    pub load_kg: f64,
    /// What limits it.
    pub limited_by: String,
    /// Whether the plate then touches its base, which is no danger but reads low.
    pub touches: bool,
}

/// A line of the bill.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct BillRow {
    /// What.
    pub item: String,
    /// How many pieces.
    pub quantity: usize,
    /// Mass of all of them, kg; absent where the deck file does not tell.
    pub mass_kg: Option<f64>,
    /// Price of all of them; absent where the deck file names none.
    pub cost: Option<f64>,
}

/// A limit and whether it is met.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Requirement {
    /// What is limited, with its unit.
    pub name: String,
    /// What was found.
    pub value: f64,
    /// The limit.
    pub limit: f64,
    /// Whether the value keeps to it.
    pub met: bool,
}

impl Requirement {
    /// Its name where it bounds strength over stress from below; all others bound from above.
    pub(crate) const SAFETY_FACTOR: &str = "safety_factor";

    /// How the value has to stand to the limit.
    #[must_use]
    pub fn sign(&self) -> char {
        if self.name == Self::SAFETY_FACTOR { '≥' } else { '≤' }
    }
}
