//! The overview: the job in one column, each stage with its headline figure and the way to its page.

use ::balance::BalanceReport;
use ::design::CheckReport;
use formats::calibration::Calibration;
use maud::{Markup, html};
use report::number::{fixed, significant, with_uncertainty};
use verify::{AgreeReport, Standing, VerifyReport};
use weigh::WeighReport;

use super::balance::expected_loss;
use crate::layout::{self, PLACES, panel, signs, standing};
use crate::words::Reader;

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
    pub met: Option<Standing>,
    /// What it warns of although they are.
    pub warnings: usize,
}

impl Stage {
    /// Its verdict; a tick above warnings would be read alone.
    fn mark(&self, reader: Reader) -> Option<Markup> {
        match (self.met?, self.warnings) {
            (Standing::Met, 1) => Some(html! { span.verdict.open { "▲ " (reader.say("met, with one warning")) } }),
            (Standing::Met, n @ 1..) => {
                Some(html! { span.verdict.open { "▲ " (reader.fill("met, with {} warnings", [&n.to_string()])) } })
            }
            (found, _) => Some(standing(reader, found)),
        }
    }
}

/// Of a stage that has findings, not limits.
fn found(is_clean: bool) -> Standing {
    if is_clean { Standing::Met } else { Standing::Missed }
}

/// The first page: `about` says what is shown and that it is invented.
#[must_use]
pub fn overview(reader: Reader, subject: &str, about: &str, stages: &[Stage]) -> Markup {
    layout::page(
        reader,
        PLACES[0],
        subject,
        &html! {
            p.invented { (about) }
            (panel(reader.say("The job, stage by stage"), &html! {
                ol.stages {
                    @for stage in stages {
                        li {
                            h3 { a href=(stage.path) { (stage.name) } @if let Some(mark) = stage.mark(reader) { " " (mark) } }
                            p { (stage.found) }
                        }
                    }
                }
            }))
        },
    )
}

/// Says that deck, scenario and patient of these names are invented.
#[must_use]
pub fn invented(reader: Reader, [deck, scenario, patient]: [&str; 3], seed: u64) -> String {
    reader.fill(
        "Everything on these pages is invented: {}, {} and {}, made by the virtual twin from seed {}.",
        [deck, &reader.stage(scenario), patient, &seed.to_string()],
    )
}

/// The stages of the job with what each found, in order.
#[must_use]
pub fn stages(
    reader: Reader,
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
            reader.fill(
                " It deviates from known loads by {} % on average, {} % at most.",
                [&significant(d.mean, 2), &significant(d.max, 2)],
            )
        })
        .unwrap_or_default();
    let weight = weighed.last.and_then(|l| l.patient_kg.zip(l.u_kg)).map_or_else(
        || reader.say("There is no weight at the end of the recording.").to_owned(),
        |(kg, u)| reader.fill("At the end the patient weighs {} kg.", [&with_uncertainty(kg, u)]),
    );
    let unexplained = balanced.rows.last().map_or_else(String::new, |r| {
        reader.fill(
            "The chart leaves {} mL unexplained; a loss of {} mL is expected.",
            [&signs(&with_uncertainty(r.unexplained_ml, r.u_unexplained_ml)), &expected_loss(balanced)],
        )
    });
    vec![
        Stage {
            path: "/design",
            name: reader.say("Design"),
            found: reader.fill(
                "{} requirements, {} met. The deck weighs {} kg, and a weight on it has an expanded uncertainty of {} g at most (k = 2).",
                [
                    &checked.requirements.len().to_string(),
                    &if missed == 0 { reader.say("all").to_owned() } else { reader.fill("all but {}", [&missed.to_string()]) },
                    &fixed(checked.mass_kg, 1),
                    &significant(checked.expanded_u_g.largest(), 3),
                ],
            ),
            met: Some(found(missed == 0)),
            warnings: checked.warnings.len(),
        },
        Stage {
            path: "/calibration",
            name: reader.say("Calibration"),
            found: reader.fill(
                "{} cells; readings of known loads scatter by {} g about the fit. {}.",
                [
                    &calibration.cells.len().to_string(),
                    &significant(calibration.residual_sd_g, 3),
                    &match calibration.findings.len() {
                        0 => reader.say("Nothing was found wrong").to_owned(),
                        1 => reader.say("One finding").to_owned(),
                        n => reader.fill("{} findings", [&n.to_string()]),
                    },
                ],
            ),
            met: Some(found(calibration.findings.is_empty())),
            warnings: 0,
        },
        Stage {
            path: "/verification",
            name: reader.say("Verification"),
            found: signs(&reader.fill(
                "{} kinds of test against the limits of class {}.{} Against a standard it reads {} g different on average.",
                [&verified.tests.len().to_string(), verified.class, &deviation, &fixed(1000.0 * agreed.bias, 0)],
            )),
            met: Some(match (verified.passed, verified.incomplete()) {
                (false, _) => Standing::Missed,
                (true, 0) => Standing::Met,
                (true, _) => Standing::Incomplete,
            }),
            warnings: 0,
        },
        Stage {
            path: "/weight",
            name: reader.say("Weight"),
            found: format!(
                "{weight} {}",
                match weighed.events.len() {
                    1 => reader.say("One thing happened on the bed.").to_owned(),
                    n => reader.fill("{} things happened on the bed.", [&n.to_string()]),
                }
            ),
            met: None,
            warnings: 0,
        },
        Stage {
            path: "/balance",
            name: reader.say("Balance"),
            found: format!(
                "{unexplained} {}",
                match balanced.alerts.len() {
                    1 => reader.say("One alert asks for a look.").to_owned(),
                    n => reader.fill("{} alerts ask for a look.", [&n.to_string()]),
                }
            ),
            met: None,
            warnings: 0,
        },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_that_warns_shows_no_bare_tick() {
        let stage = |met, warnings| Stage { path: "/design", name: "Design", found: String::new(), met, warnings };
        let shown = |stage: Stage| stage.mark(Reader::ENGLISH).map(Markup::into_string).unwrap_or_default();
        assert!(shown(stage(Some(Standing::Met), 0)).contains("✓ met"));
        for (warnings, words) in [(1, "▲ met, with one warning"), (5, "▲ met, with 5 warnings")] {
            let mark = shown(stage(Some(Standing::Met), warnings));
            assert!(mark.contains(words) && !mark.contains('✓'), "{mark}");
        }
        assert!(shown(stage(Some(Standing::Missed), 5)).contains("✗ not met"));
        assert!(shown(stage(Some(Standing::Incomplete), 0)).contains("◐ not complete"));
        assert_eq!(shown(stage(None, 0)), "");
    }
}
