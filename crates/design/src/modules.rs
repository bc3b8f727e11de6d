//! Whether cells and converter go together: conditions of module compatibility, counts and noise.
//!
//! Conditions after OIML R 76-1:2006, Annex F and WELMEC 2, section 11: the definitions of Max, e, n, R, N, IZSR, NUD, DL, T+ and Q
//! (Annex F.1) were read, the conditions are from memory.
//!
//! | no. | condition |
//! |-----|-----------|
//! | 1 | the class of each module is that of the deck or better |
//! | 2 | each module's range of temperature holds the deck's |
//! | 3 | p_LC² + p_ind² + p_con² ≤ 1, shares of the maximum permissible error |
//! | 4 | n_LC ≥ n and n_ind ≥ n |
//! | 5 | E_max ≥ Q·Max·R/N, Q = (Max + DL + T + IZSR + NUD)/Max |
//! | 6 | v_min ≤ e·R/√N, as zeros drift each for itself; E_min ≤ DL·R/N |
//! | 7 | voltage of an interval C·U_exc·R·e/(E_max·N) ≥ Δu_min; of the dead load C·U_exc·R·DL/(E_max·N) ≥ U_min |
//! | 8 | R_Lmin ≤ R_LC/N ≤ R_Lmax |
//! | 9 | cable length over cross-section within the converter's limit |
//!
//! The load stands on the cells directly: R = 1. One channel a cell: N = 1 in the electrical conditions 7 and 8, and all cells in 5 and
//! 6. A deck has one interval, so that the conditions of several intervals (minimum dead load output return) do not apply. What
//! certificates state stands in `approval` of cell type and converter; where it does not, n_LC and v_min are those that the data-sheet
//! bounds would fulfil, and a condition without its figures is reported as open.

use deck::DeckError;
use deck::chain::{Channel, PEAK_TO_PEAK, cell_type};
use deck::oiml::r60::{CellClass, P_LC_DEFAULT};
use deck::stack::pieces;
use formats::deck::{AccuracyClass, CellApproval, CellType, Deck};

use crate::budget::Assumptions;
use crate::report::{Condition, ModulesReport, OpenCondition};

/// NUD over Max: how much more than its share of max a cell bears as the load lies unevenly; half where several platforms weigh
/// together (a note to the table of Annex F.1, from memory).
const UNEVEN: f64 = 0.5;
/// Usual shares of the maximum permissible error of indicator and connecting elements (R 76-1, 3.10.2.1; from memory).
const P_IND: f64 = 0.5;
const P_CON: f64 = 0.5;

/// Conditions and counts of a deck.
///
/// # Errors
/// Unknown cell type or material.
pub fn modules(deck: &Deck, assumptions: &Assumptions) -> Result<ModulesReport, DeckError> {
    let kinds = deck.cells().map(|(_, cell)| cell_type(deck, cell)).collect::<Result<Vec<_>, _>>()?;
    let channels: Vec<Channel> = kinds.iter().map(|k| Channel::new(k, &deck.converter)).collect();
    let noise_sum_g = channels.iter().map(|c| c.noise_g.powi(2)).sum::<f64>().sqrt();
    let counts_per_e = channels.iter().map(|c| c.counts_per_kg * deck.e_g / 1e3).fold(f64::INFINITY, f64::min);
    let saturation = channels.iter().map(|c| c.saturation_kg / c.capacity_kg).fold(f64::INFINITY, f64::min);
    let mut judged = Judged { deck, kinds, conditions: Vec::new(), open: Vec::new() };
    judged.class_and_temperature();
    judged.errors_and_intervals();
    judged.loads(assumptions, &dead_kg(deck)?);
    judged.voltages(&dead_kg(deck)?);
    judged.wiring();
    judged.at_least("counts per interval, one cell", counts_per_e, 1.0);
    judged.at_least("converter's range over rated output", saturation, 1.0);
    let samples = (deck.converter.rate_hz * assumptions.averaging_s).max(1.0);
    Ok(ModulesReport {
        conditions: judged.conditions,
        open: judged.open,
        counts_per_e,
        noise_g_rms: noise_sum_g,
        averaged_noise_g_rms: noise_sum_g / samples.sqrt(),
        noise_free_divisions: deck.max_kg * 1e3 / (PEAK_TO_PEAK * noise_sum_g),
        note: "conditions from memory; n_LC and v_min, where no certificate is stated, are what the data-sheet bounds would fulfil",
    })
}

/// Dead load of each cell, kg: its part of the layers and ribs above it. Mattress and linen may be taken away and count only as tare.
fn dead_kg(deck: &Deck) -> Result<Vec<f64>, DeckError> {
    let mut all = Vec::new();
    for plate in &deck.plates {
        let kg: f64 = pieces(deck, plate)?.iter().map(|p| p.mass_kg).sum();
        all.extend(vec![kg / plate.cells.len() as f64; plate.cells.len()]);
    }
    Ok(all)
}

/// Conditions as they are judged.
struct Judged<'a> {
    deck: &'a Deck,
    /// Type of each cell.
    kinds: Vec<&'a CellType>,
    conditions: Vec<Condition>,
    open: Vec<OpenCondition>,
}

impl Judged<'_> {
    /// Conditions 1 and 2.
    fn class_and_temperature(&mut self) {
        let asked = rank(self.deck.class);
        let cells = self.stated(|a| a.class.map(cell_rank), f64::max);
        self.at_most_or_open(
            "class of the cells ≤ class of the deck, A or I as 1 (condition 1)",
            cells,
            asked,
            CLASS_OF_CELLS,
        );
        let converter = self.deck.converter.approval.class.map(rank);
        self.at_most_or_open(
            "class of the converter ≤ class of the deck, I as 1 (condition 1)",
            converter,
            asked,
            CLASS_OF_CONVERTER,
        );
        let [cold, warm] = self.deck.ambient_c;
        let cells = [0, 1].map(|i| self.stated(|a| a.temperature_c.map(|t| t[i]), [f64::max, f64::min][i]));
        let converter = [0, 1].map(|i| self.deck.converter.approval.temperature_c.map(|t| t[i]));
        for (module, [low, high], needs) in [
            ("cells", cells, "cell_type.approval.temperature_C"),
            ("converter", converter, "converter.approval.temperature_C"),
        ] {
            self.at_most_or_open(&format!("{module} from at most, °C (condition 2)"), low, cold, needs);
            self.at_least_or_open(&format!("{module} up to at least, °C (condition 2)"), high, warm, needs);
        }
    }

    /// Conditions 3 and 4.
    fn errors_and_intervals(&mut self) {
        let p_lc = self.kinds.iter().map(|k| k.approval.error_share.unwrap_or(P_LC_DEFAULT)).fold(0.0, f64::max);
        let p_ind = self.deck.converter.approval.error_share.unwrap_or(P_IND);
        let sum = p_lc.powi(2) + p_ind.powi(2) + P_CON.powi(2);
        self.at_most("p_LC² + p_ind² + p_con² ≤ 1 (condition 3)", sum, 1.0);
        let n = self.deck.max_kg * 1e3 / self.deck.e_g;
        self.at_least("n_LC ≥ n (condition 4)", self.worst(n_of_cell, f64::min), n);
        let n_ind = self.deck.converter.approval.n_max;
        self.at_least_or_open("n_ind ≥ n (condition 4)", n_ind, n, "converter.approval.n_max");
    }

    /// Conditions 5 and 6.
    fn loads(&mut self, assumptions: &Assumptions, dead_kg: &[f64]) {
        let (n, max_kg) = (self.kinds.len() as f64, self.deck.max_kg);
        let dead_sum_kg: f64 = dead_kg.iter().sum();
        let q_max_kg = (1.0 + UNEVEN) * max_kg + dead_sum_kg + assumptions.tare_kg + assumptions.zero_range_kg;
        self.at_least("E_max ≥ Q·Max/N, kg (condition 5)", self.worst(|k| k.capacity_kg, f64::min), q_max_kg / n);
        self.at_most("v_min ≤ e/√N, g (condition 6)", self.worst(v_min_g, f64::max), self.deck.e_g / n.sqrt());
        let room = self.tightest(|k| k.approval.dead_min_kg, dead_kg);
        let (found, limit) = room.map_or((None, least(dead_kg)), |(min_kg, kg)| (Some(min_kg), kg));
        self.at_most_or_open(
            "E_min ≤ dead load of a cell, kg (condition 6)",
            found,
            limit,
            "cell_type.approval.dead_min_kg",
        );
    }

    /// Condition 7.
    fn voltages(&mut self, dead_kg: &[f64]) {
        let mv_per_kg = |k: &CellType| k.output_mv_v * self.deck.converter.excitation_v / k.capacity_kg;
        let step_uv = self.worst(|k| 1e3 * mv_per_kg(k) * self.deck.e_g / 1e3, f64::min);
        let dead_mv = self.kinds.iter().zip(dead_kg).map(|(k, kg)| mv_per_kg(k) * kg).fold(f64::INFINITY, f64::min);
        let approval = self.deck.converter.approval;
        let names = ["Δu of an interval ≥ Δu_min, µV (condition 7)", "U of the dead load ≥ U_min, mV (condition 7)"];
        self.limit_or_open(names[0], step_uv, approval.step_min_uv, "converter.approval.step_min_uV");
        self.limit_or_open(names[1], dead_mv, approval.input_min_mv, "converter.approval.input_min_mV");
    }

    /// Conditions 8 and 9.
    fn wiring(&mut self) {
        let [low, high] = [f64::min, f64::max].map(|pick| self.stated(|a| a.input_ohm, pick));
        let needs = "cell_type.approval.input_ohm and converter.approval.bridge_ohm";
        match (low, high, self.deck.converter.approval.bridge_ohm) {
            (Some(low), Some(high), Some([least, most])) => {
                self.at_least("R_LC ≥ R_Lmin, Ω (condition 8)", low, least);
                self.at_most("R_LC ≤ R_Lmax, Ω (condition 8)", high, most);
            }
            (low, _, range) => {
                let found = match (low, range) {
                    (Some(ohm), _) => format!("cells of {ohm} Ω"),
                    (_, Some([least, most])) => format!("the converter takes {least} to {most} Ω"),
                    _ => "not stated".to_owned(),
                };
                self.leave_open("R_Lmin ≤ R_LC ≤ R_Lmax (condition 8)", found, needs);
            }
        }
        let needs = "practice.cable_m_mm2 and converter.approval.cable_m_mm2";
        match (self.deck.practice.cable_m_mm2, self.deck.converter.approval.cable_m_mm2) {
            (Some(cable), Some(most)) => {
                self.at_most("cable's length over cross-section, m/mm² (condition 9)", cable, most);
            }
            (Some(cable), None) => self.leave_open("cable (condition 9)", format!("{cable} m/mm²"), needs),
            (None, _) => self.leave_open("cable (condition 9)", "not stated".to_owned(), needs),
        }
    }

    /// The worst of all cells.
    fn worst(&self, value: impl Fn(&CellType) -> f64, worse: fn(f64, f64) -> f64) -> f64 {
        self.kinds.iter().map(|k| value(k)).reduce(worse).unwrap_or(f64::NAN)
    }

    /// The worst of what certificates state, if those of all cells do.
    fn stated(&self, value: impl Fn(&CellApproval) -> Option<f64>, worse: fn(f64, f64) -> f64) -> Option<f64> {
        let all = self.kinds.iter().map(|k| value(&k.approval)).collect::<Option<Vec<_>>>()?;
        all.into_iter().reduce(worse)
    }

    /// The cell whose stated least load comes nearest to what stands on it: that load and what stands there.
    fn tightest(&self, least: impl Fn(&CellType) -> Option<f64>, on_kg: &[f64]) -> Option<(f64, f64)> {
        let all = self.kinds.iter().zip(on_kg).map(|(k, &kg)| Some((least(k)?, kg))).collect::<Option<Vec<_>>>()?;
        all.into_iter().min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
    }

    fn at_least(&mut self, name: &str, value: f64, limit: f64) {
        self.conditions.push(Condition { name: name.to_owned(), value, limit, met: value >= limit });
    }

    fn at_most(&mut self, name: &str, value: f64, limit: f64) {
        self.conditions.push(Condition { name: name.to_owned(), value, limit, met: value <= limit });
    }

    fn at_least_or_open(&mut self, name: &str, value: Option<f64>, limit: f64, needs: &'static str) {
        match value {
            Some(value) => self.at_least(name, value, limit),
            None => self.leave_open(name, format!("{limit} is asked"), needs),
        }
    }

    fn at_most_or_open(&mut self, name: &str, value: Option<f64>, limit: f64, needs: &'static str) {
        match value {
            Some(value) => self.at_most(name, value, limit),
            None => self.leave_open(name, format!("{limit:.3} is allowed"), needs),
        }
    }

    fn limit_or_open(&mut self, name: &str, value: f64, limit: Option<f64>, needs: &'static str) {
        match limit {
            Some(limit) => self.at_least(name, value, limit),
            None => self.leave_open(name, format!("{value:.3} is there"), needs),
        }
    }

    fn leave_open(&mut self, name: &str, found: String, needs: &'static str) {
        self.open.push(OpenCondition { name: name.to_owned(), found, needs });
    }
}

const CLASS_OF_CELLS: &str = "cell_type.approval.class";
const CLASS_OF_CONVERTER: &str = "converter.approval.class";

fn least(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::INFINITY, f64::min)
}

fn rank(class: AccuracyClass) -> f64 {
    match class {
        AccuracyClass::I => 1.0,
        AccuracyClass::II => 2.0,
        AccuracyClass::III => 3.0,
        AccuracyClass::IIII => 4.0,
    }
}

fn cell_rank(class: CellClass) -> f64 {
    match class {
        CellClass::A => 1.0,
        CellClass::B => 2.0,
        CellClass::C => 3.0,
        CellClass::D => 4.0,
    }
}

/// n_LC: as the certificate states, or the most verification intervals whose error envelope holds the cell's bounds:
/// p_LC · (0.5, 1 or 1.5) v at full load (OIML R 60-1, 5.3).
fn n_of_cell(kind: &CellType) -> f64 {
    if let Some(n) = kind.approval.n_max {
        return n;
    }
    let combined = kind.nonlinearity_pct.hypot(kind.hysteresis_pct).hypot(kind.span_tc_pct_10c) / 100.0;
    // The margin keeps 3000 from becoming 2999 by round-off.
    let n = |steps: f64| (P_LC_DEFAULT * steps / combined * (1.0 + 1e-9)).floor();
    [(1.5, 10_000.0), (1.0, 2_000.0), (0.5, 500.0)]
        .iter()
        .map(|&(steps, most)| n(steps).min(most))
        .zip([2_000.0, 500.0, 0.0])
        .find_map(|(n, above)| (n > above).then_some(n))
        .unwrap_or(0.0)
}

/// v_min, g: as the certificate states, or by the change of zero: TC per 5 °C over p_LC (OIML R 60-1, 5.6.1.3).
fn v_min_g(kind: &CellType) -> f64 {
    let by_bound_g = || 1e3 * kind.zero_tc_pct_10c / 100.0 * 0.5 * kind.capacity_kg / P_LC_DEFAULT;
    kind.approval.v_min_g.unwrap_or_else(by_bound_g)
}
