//! What a verification says; serializes to the fields of `verify --json`.

use crate::rules::Rule;
use serde::Serialize;

/// When the deck is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Before it goes into use: the limits of initial verification.
    Initial,
    /// In use: twice those where R 76-1, 3.5.2 says so.
    InService,
}

impl Phase {
    /// Whether the limits of service apply.
    #[must_use]
    pub fn is_in_service(self) -> bool {
        self == Self::InService
    }
}

/// The whole report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VerifyReport {
    /// Name of the deck.
    pub deck: String,
    /// When its calibration was made.
    pub calibrated_at: String,
    /// Accuracy class, as R 76-1 writes it.
    pub class: &'static str,
    /// Verification scale interval e, g.
    pub e_g: f64,
    /// Largest net load, kg.
    pub max_kg: f64,
    /// Initial or in service.
    pub phase: Phase,
    /// Every kind of test found in the file, in the order of the recommendation.
    pub tests: Vec<TestReport>,
    /// Percentage deviation over the weighing rows of non-zero load; `None` without any.
    pub deviation_pct: Option<Deviation>,
    /// Whether every test found stays within its limits.
    pub passed: bool,
    /// Kinds of test that the file does not hold.
    pub not_tested: Vec<&'static str>,
    /// Permissible errors of the phase from no load to Max, by bands that include their upper end.
    pub permissible: Vec<Permissible>,
    /// What the recommendation asks and a file of tests cannot show.
    pub beyond: &'static [&'static str],
    /// Which edition the limits follow and what was read of it.
    pub edition: &'static str,
    /// What this report is and is not.
    pub statement: &'static str,
}

/// Permissible error of a band of loads.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Permissible {
    /// Upper end of the band, kg; it belongs to the band.
    pub up_to_kg: f64,
    /// Permissible error, ± g.
    pub limit_g: f64,
}

/// Percentage deviation, |error| / load × 100.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Deviation {
    /// Mean over the rows.
    pub mean: f64,
    /// Largest.
    pub max: f64,
}

/// One kind of test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestReport {
    /// The word of the file.
    pub test: &'static str,
    /// Largest error in relation to its limit, g, without sign. What counts as error is said in `judged`.
    pub worst_error_g: f64,
    /// Limit that this error is held against, g.
    pub limit_g: f64,
    /// Whether all rows stay within their limits.
    pub passed: bool,
    /// What is held against the limit.
    pub judged: &'static str,
    /// The rows.
    pub rows: Vec<Row>,
    /// What the recommendation asks and the rows do not show.
    pub gaps: Vec<String>,
    /// Clauses behind the limits and how they were known.
    pub rules: Vec<Rule>,
}

/// What may be said of a kind of test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// A row misses its limit.
    Missed,
    /// Every row stays within its limit, but the rows are not all that the recommendation asks for.
    Incomplete,
    /// Every row stays within its limit, and nothing that rows can show is missing.
    Met,
}

impl TestReport {
    /// What may be said of it: a test is met only where all that it asks was judged.
    #[must_use]
    pub fn standing(&self) -> Standing {
        match (self.passed, self.gaps.is_empty()) {
            (false, _) => Standing::Missed,
            (true, false) => Standing::Incomplete,
            (true, true) => Standing::Met,
        }
    }
}

impl VerifyReport {
    /// Kinds of test within their limits that are not complete.
    #[must_use]
    pub fn incomplete(&self) -> usize {
        self.tests.iter().filter(|t| t.standing() == Standing::Incomplete).count()
    }
}

/// One reading, judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Line of the test file.
    pub line: usize,
    /// The `step` column as written.
    pub step: String,
    /// Which part of the test this judges, where it has several: rows of one part have one meaning of `judged_g`.
    pub part: &'static str,
    /// Plate, where the load lay on one.
    pub plate: Option<String>,
    /// Place on the plate, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_mm: Option<[f64; 2]>,
    /// Load, kg.
    pub load_kg: f64,
    /// What the deck showed, kg.
    pub indication_kg: f64,
    /// Additional load at which the indication changed over, g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub added_g: Option<f64>,
    /// Time under load, min.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes: Option<f64>,
    /// Temperature, °C.
    #[serde(rename = "temperature_C", skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Tilt, °.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tilt_deg: Option<f64>,
    /// Error of the indication, freed of rounding where a changeover point was found, g.
    pub error_g: f64,
    /// What is held against the limit, g, with sign.
    pub judged_g: f64,
    /// Limit, g.
    pub limit_g: f64,
    /// Whether `judged_g` stays within it.
    pub passed: bool,
}

/// Slack of a comparison, in limits: file values carry decimal rounding of some 1e-13 of a load, and an error exactly
/// at its limit is within it.
const ROUNDING: f64 = 1e-9;

impl Row {
    /// A row of `test` whose `judged_g` is held against `limit_g`.
    pub(crate) fn new(test: &formats::tests::Test, error_g: f64, judged_g: f64, limit_g: f64) -> Self {
        Self {
            line: test.line,
            step: test.step.clone(),
            part: "",
            plate: test.plate.clone(),
            at_mm: test.at_mm,
            load_kg: test.load_kg,
            indication_kg: test.indication_kg,
            added_g: test.added_g,
            minutes: test.minutes,
            temperature_c: test.temperature_c,
            tilt_deg: test.tilt_deg,
            error_g,
            judged_g,
            limit_g,
            passed: judged_g.abs() <= limit_g + ROUNDING * (1.0 + limit_g + 1000.0 * test.load_kg.abs()),
        }
    }

    /// The same row as a part of its test.
    pub(crate) fn of(self, part: &'static str) -> Self {
        Self { part, ..self }
    }
}

impl TestReport {
    /// Sums up the rows: the worst is the one that uses most of its limit. Where there is nothing to judge nothing is passed.
    pub(crate) fn new(test: &'static str, judged: &'static str, rows: Vec<Row>) -> Self {
        let use_of = |r: &Row| if r.limit_g > 0.0 { r.judged_g.abs() / r.limit_g } else { f64::from(!r.passed) };
        let worst = rows
            .iter()
            .max_by(|a, b| use_of(a).total_cmp(&use_of(b)).then(a.judged_g.abs().total_cmp(&b.judged_g.abs())));
        let gaps = if rows.is_empty() {
            vec!["no row that a limit is about: nothing was judged".to_owned()]
        } else {
            Vec::new()
        };
        Self {
            test,
            worst_error_g: worst.map_or(0.0, |r| r.judged_g.abs()),
            limit_g: worst.map_or(0.0, |r| r.limit_g),
            passed: !rows.is_empty() && rows.iter().all(|r| r.passed),
            judged,
            rows,
            gaps,
            rules: Vec::new(),
        }
    }
}
