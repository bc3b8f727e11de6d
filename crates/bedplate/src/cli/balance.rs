//! The chart beside the weights: `balance`, `dose`.

use std::path::PathBuf;

use clap::Args;

/// Fluid balance from weights and chart: what was gained or lost, what the chart missed, what comes next.
///
/// Reads patient.toml, weights.csv and chart.csv. Prints every window charted, weighed and fused; percent overload by each
/// definition; what neither chart nor expected loss explains; the forecast under the plan and under others; what asks for a
/// look, with its evidence. Nothing in the files is overwritten: a chart entry whose column `corrects` names a line takes that
/// entry's place, and an alert named in answers.csv is not raised again. Not for treatment decisions on its own.
/// Always exits 0 when a balance could be made: what an alert asks for is for those to say who care for the patient.
///
/// JSON: {"rows": [{"time", "mass_kg", "u_kg", "weighed_mL", "charted_mL", "unexplained_mL", "u_unexplained_mL"}],
/// "overload_pct", "insensible_mL_h", "forecast": [{"time", "ahead_h", "mass_kg", "low_kg", "high_kg"}],
/// "resolvable_mL_24h", "alerts": [{"time", "kind", "text"}], "answered", "windows": [{"from", "to", "hours",
/// "charted_mL", "weighed_mL", "fused_mL", "u_fused_mL", "unexplained_mL"}], "answers": [{"question", "value", "u", "unit",
/// "text", "basis"}], "ledgers", "alternatives": [{"name", "forecast"}], "diagnostics", "noise", "notes", "caution"}
#[derive(Debug, Args)]
pub(crate) struct BalanceArgs {
    /// The patient, patient.toml
    pub(crate) patient: PathBuf,
    /// The weights, weights.csv
    pub(crate) weights: PathBuf,
    /// The chart, chart.csv
    pub(crate) chart: PathBuf,
    #[command(flatten)]
    pub(crate) more: BalanceMore,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// What a balance may be told besides its three files.
#[derive(Debug, Default, Args)]
pub(crate) struct BalanceMore {
    /// Plans to be set against the patient file's own, plans.toml
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// When pads or linen left the deck, removals.csv
    #[arg(long, value_name = "FILE")]
    pub(crate) removals: Option<PathBuf>,
    /// What `weigh --json` printed: items that came and left, and the fluid that went with them
    #[arg(long, value_name = "FILE")]
    pub(crate) events: Option<PathBuf>,
    /// What was said to earlier alerts, answers.csv
    #[arg(long, value_name = "FILE")]
    pub(crate) answers: Option<PathBuf>,
    /// The deck, deck.toml: its drift is taken from its own budget [default: from how u_kg grows between zeros]
    #[arg(long, value_name = "FILE")]
    pub(crate) deck: Option<PathBuf>,
    /// Wall time of t_s = 0, RFC 3339, for weights without a column `time`
    #[arg(long, value_name = "TIME")]
    pub(crate) start: Option<jiff::Timestamp>,
    /// The time now, RFC 3339: chart entries after it lie in the future [default: a day after the last weight]
    #[arg(long, value_name = "TIME")]
    pub(crate) now: Option<jiff::Timestamp>,
    /// A window for a net balance, once for each: hours up to the end of the record, or FROM/TO [default: 6, 12, 24 and 48 h]
    #[arg(long, value_name = "H|FROM/TO")]
    pub(crate) window: Vec<String>,
    /// Mass of a millilitre: `published`, or kinds of fluid as in iv=1.005,blood=1.05,urine=1.02,enteral=1.05,other=1
    /// [default: 1 g, and how far fluids lie from it widens the intervals]
    #[arg(long, value_name = "HOW")]
    pub(crate) densities: Option<String>,
    /// False alerts of unexplained loss or gain to be borne, per patient-day; 0.0001 to 1 [default: 0.1]
    #[arg(long, value_name = "RATE")]
    pub(crate) false_alerts: Option<f64>,
    /// How far to forecast, h; 1 to 240 [default: 48]
    #[arg(long, value_name = "H", value_parser = clap::value_parser!(u32).range(1..=240))]
    pub(crate) ahead: Option<u32>,
}

/// Weight-dependent quantities, side by side for the measured weight and for each estimate of it.
///
/// Reads patient.toml. Body surface area, predicted, ideal and adjusted weight, body water, maintenance fluid, blood
/// volume, kidney function, weight for age: each with formula, source and range; estimates of weight from limbs, girths
/// and age; and what the difference between two weights does to whatever is reckoned by kg or by m². A formula refuses,
/// by name, a patient outside its range or without what it asks for. It names no drug and no dose.
///
/// JSON: {"label", "reference", "weights": [{"name", "kind", "kg", "difference_pct", "facts"}], "heights", "quantities":
/// [{"unit", "facts": {"name", "formula", "source", "status", "range", "caution"}, "values": [{"weight", "value",
/// "difference_pct"}]}], "effects": [{"weight", "per_kg_pct", "per_m2_pct"}], "refused": [{"name", "weight", "reason"}],
/// "cautions"}
#[derive(Debug, Args)]
pub(crate) struct DoseArgs {
    /// The patient, patient.toml
    pub(crate) patient: PathBuf,
    /// Weight by the deck, kg
    #[arg(long, value_name = "KG")]
    pub(crate) measured: Option<f64>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}
