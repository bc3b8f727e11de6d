//! The overview: the job in one column, each stage with its headline figure and the way to its page.

use ::balance::BalanceReport;
use ::design::CheckReport;
use formats::calibration::Calibration;
use maud::{Markup, html};
use report::number::{fixed, significant, with_uncertainty};
use verify::{AgreeReport, VerifyReport};
use weigh::WeighReport;

use crate::layout::{self, PLACES, panel, verdict};

/// What one stage came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Path of its page.
    pub path: &'static str,
    /// Its name.
    pub name: &'static str,
    /// What it found, in a sentence with figures and units.
    pub found: String,
    /// Whether its limits are met; `None` where it has none.
    pub met: Option<bool>,
}

/// The first page: `about` says what is shown and that it is invented.
#[must_use]
pub fn overview(subject: &str, about: &str, stages: &[Stage]) -> Markup {
    layout::page(
        PLACES[0],
        subject,
        &html! {
            p.invented { (about) }
            (panel("The job, stage by stage", &html! {
                ol.stages {
                    @for stage in stages {
                        li {
                            h3 { a href=(stage.path) { (stage.name) } @if let Some(met) = stage.met { " " (verdict(met)) } }
                            p { (stage.found) }
                        }
                    }
                }
            }))
        },
    )
}

/// The stages of the job with what each found, in order.
#[must_use]
pub fn stages(
    checked: &CheckReport,
    calibration: &Calibration,
    verified: &VerifyReport,
    agreed: &AgreeReport,
    weighed: &WeighReport,
    balanced: &BalanceReport,
) -> Vec<Stage> {
    let missed = checked.requirements.iter().filter(|r| !r.met).count();
    let deviation = verified
        .deviation_pct
        .map(|d| {
            format!(
                " It deviates from known loads by {} % on average, {} % at most.",
                significant(d.mean, 2),
                significant(d.max, 2)
            )
        })
        .unwrap_or_default();
    let weight = weighed.last.and_then(|l| l.patient_kg.zip(l.u_kg)).map_or_else(
        || "There is no weight at the end of the recording.".to_owned(),
        |(kg, u)| format!("At the end the patient weighs {} kg.", with_uncertainty(kg, u)),
    );
    let unexplained = balanced.rows.last().map_or_else(String::new, |r| {
        format!("The chart leaves {} mL unexplained.", with_uncertainty(r.unexplained_ml, r.u_unexplained_ml))
    });
    vec![
        Stage {
            path: "/design",
            name: "Design",
            found: format!(
                "{} requirements, {} met. The deck weighs {} kg, and a weight on it has an expanded uncertainty of {} g at most (k = 2).",
                checked.requirements.len(),
                if missed == 0 { "all".to_owned() } else { format!("all but {missed}") },
                fixed(checked.mass_kg, 1),
                significant(checked.expanded_u_g.largest(), 3)
            ),
            met: Some(missed == 0),
        },
        Stage {
            path: "/calibration",
            name: "Calibration",
            found: format!(
                "{} cells; readings of known loads scatter by {} g about the fit. {}.",
                calibration.cells.len(),
                significant(calibration.residual_sd_g, 3),
                if calibration.findings.is_empty() {
                    "Nothing was found wrong".to_owned()
                } else {
                    counted(calibration.findings.len(), "finding", "findings")
                }
            ),
            met: Some(calibration.findings.is_empty()),
        },
        Stage {
            path: "/verification",
            name: "Verification",
            found: format!(
                "{} kinds of test against the limits of class {}.{deviation} Against a standard it reads {} g different on average.",
                verified.tests.len(),
                verified.class,
                fixed(1000.0 * agreed.bias, 0)
            ),
            met: Some(verified.passed),
        },
        Stage {
            path: "/weight",
            name: "Weight",
            found: format!(
                "{weight} {} on the bed.",
                counted(weighed.events.len(), "thing happened", "things happened")
            ),
            met: None,
        },
        Stage {
            path: "/balance",
            name: "Balance",
            found: format!("{unexplained} {} for a look.", counted(balanced.alerts.len(), "alert asks", "alerts ask")),
            met: None,
        },
    ]
}

/// A number with the word for one or for many.
fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
