//! The balance in a physician's words: each line says what it rests on.

use formats::chart::{Direction, Entry, Route};
use formats::patient::PatientFile;
use jiff::Timestamp;
use serde::Serialize;

use crate::clinical::kdigo::{Creatinine, creatinine_stage, urine_stage};
use crate::clinical::ultrafiltration;
use crate::dose::kidney::{self, UMOL_L_PER_MG_DL};
use crate::estimate::{Fit, Record, seconds};
use crate::insensible::{AgeGroup, age_group};
use crate::ledger::hours;
use crate::report::{Overload, Row, Window};
use crate::urine;

/// Length of the session for which an ultrafiltration rate is shown, h. Common practice, no source.
const SESSION_H: f64 = 4.0;

/// Lines of the chart that are named one by one; more are not.
const LINES_SHOWN: usize = 8;

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// What is asked.
    pub question: &'static str,
    /// Value, in the unit.
    pub value: f64,
    /// Standard uncertainty, where one can be given.
    pub u: Option<f64>,
    /// Unit.
    pub unit: &'static str,
    /// In words.
    pub text: String,
    /// What it rests on.
    pub basis: String,
}

/// What the answers are made from.
pub(crate) struct Asked<'a> {
    pub(crate) file: &'a PatientFile,
    pub(crate) record: &'a Record,
    pub(crate) fit: &'a Fit,
    pub(crate) rows: &'a [Row],
    pub(crate) windows: &'a [Window],
    pub(crate) overload: &'a Overload,
}

/// Lines of the chart, in words.
pub(crate) fn lines(lines: &[usize]) -> String {
    let list: Vec<String> = lines.iter().take(LINES_SHOWN).map(ToString::to_string).collect();
    let more = if lines.len() > LINES_SHOWN { ", …" } else { "" };
    format!("{} {}{more}", if lines.len() == 1 { "line" } else { "lines" }, list.join(", "))
}

/// What a charted total counts although it is in doubt.
fn counted(doubted: &[usize]) -> String {
    if doubted.is_empty() { String::new() } else { format!("; the chart counts {}, in doubt", lines(doubted)) }
}

impl Asked<'_> {
    /// All lines that the data allow.
    pub(crate) fn answers(&self) -> Vec<Answer> {
        let mut out = self.balances();
        out.extend(self.overloads());
        out.extend(self.unexplained());
        out.push(self.insensible());
        out.extend(self.urine());
        out.extend(self.creatinine());
        out.extend(self.dry_weight());
        out
    }

    fn present_kg(&self) -> f64 {
        self.rows.last().map_or(self.record.weight_kg, |row| row.mass_kg)
    }

    fn balances(&self) -> Vec<Answer> {
        let weight_kg = self.record.weight_kg;
        let small = age_group(&self.file.patient, weight_kg) != AgeGroup::Adult;
        self.windows
            .iter()
            .map(|window| {
                let weighed =
                    window.weighed_ml.map_or("no weight at both ends".to_owned(), |ml| format!("{ml:+.0} weighed"));
                let per_kg =
                    if small { format!(" ({:+.1} mL/kg)", window.fused_ml / weight_kg) } else { String::new() };
                let (from_h, to_h) = (self.hour(window.from), self.hour(window.to));
                let over = if self.record.span.end_h - to_h < 0.01 {
                    format!("last {:.0} h", window.hours)
                } else {
                    format!("{:.0} h from {}", window.hours, seconds(window.from))
                };
                Answer {
                    question: "net balance",
                    value: window.fused_ml,
                    u: Some(window.u_fused_ml),
                    unit: "mL",
                    text: format!(
                        "{over}: {:+.0} ± {:.0} mL fused{per_kg}; {:+.0} charted, {weighed}",
                        window.fused_ml, window.u_fused_ml, window.charted_ml
                    ),
                    basis: format!(
                        "weights and chart together; 1 mL for 1 g{}",
                        counted(&self.in_doubt(from_h + 1e-9, to_h + 1e-9))
                    ),
                }
            })
            .collect()
    }

    fn overloads(&self) -> Vec<Answer> {
        let reference = match self.file.patient.admission_kg {
            Some(kg) => format!("admission weight {kg:.1} kg"),
            None => "first mass of the record, for want of an admission weight".to_owned(),
        };
        let line = |value, u, name: &str, basis| Answer {
            question: "percent fluid overload",
            value,
            u,
            unit: "%",
            text: format!("{value:+.1} % {name}"),
            basis,
        };
        let by_chart = format!("{reference}{}", counted(&self.in_doubt(-1e-9, self.record.span.end_h + 1e-9)));
        vec![
            line(self.overload.charted, None, "by intake and output (Goldstein; Sutherland 2010)", by_chart),
            line(self.overload.weighed, None, "by the last weight (Selewski 2011)", reference.clone()),
            line(self.overload.fused, Some(self.overload.u_fused), "by the smoothed mass", reference),
        ]
    }

    fn hour(&self, time: Timestamp) -> f64 {
        hours(self.record.span.origin, time)
    }

    /// Lines of the entries within `(from_h, to_h]` that cannot be meant as they stand or that the deck contradicts.
    fn in_doubt(&self, from_h: f64, to_h: f64) -> Vec<usize> {
        let ledger = &self.record.ledger;
        let mut out: Vec<usize> =
            ledger.doubts.iter().filter(|d| d.stamp_h > from_h && d.stamp_h <= to_h).map(|d| d.line).collect();
        let contradicted = self.fit.contradictions.iter().map(|found| &ledger.flows[found.flow]);
        out.extend(
            contradicted
                .filter(|flow| flow.stamp_h > from_h && flow.stamp_h <= to_h)
                .map(|flow| ledger.entries[flow.entry_idx].line),
        );
        out.sort_unstable();
        out.dedup();
        out
    }

    /// What chart and published insensible loss leave open.
    fn unexplained(&self) -> Option<Answer> {
        let (first, last) = (self.rows.first()?, self.rows.last()?);
        let hours = hours(first.time, last.time);
        let prior = &self.record.prior;
        let [expected, u_expected] = prior.over_ml(hours);
        let value = last.unexplained_ml + expected;
        let u = last.u_unexplained_ml.hypot(u_expected);
        Some(Answer {
            question: "fluid that neither chart nor insensible loss explains",
            value,
            u: Some(u),
            unit: "mL",
            text: format!(
                "{value:+.0} ± {u:.0} mL over {hours:.0} h ({:.1} standard deviations): {:+.0} unexplained by the chart, \
                 {expected:.0} ± {u_expected:.0} expected to be lost uncharted",
                if u > 0.0 { value.abs() / u } else { 0.0 },
                last.unexplained_ml
            ),
            basis: format!("{}{}", prior.basis, counted(&self.in_doubt(self.hour(first.time), self.hour(last.time)))),
        })
    }

    fn insensible(&self) -> Answer {
        let (value, u) = (self.fit.watched.rate_g_h, self.fit.watched.rate_u_g_h);
        let prior = &self.record.prior;
        // The rate that is fitted is without what weeps, which stays on the deck until dressings are changed.
        let evaporating = prior.mean_g_h - prior.weep_ml_h;
        Answer {
            question: "insensible loss",
            value,
            u: Some(u),
            unit: "mL/h",
            text: format!(
                "{value:.0} ± {u:.0} mL/h from the weights, of which breathed gas {:.1} g/h; {:.0} ± {:.0} expected",
                prior.gas_g_h, evaporating, prior.sd_g_h
            ),
            basis: prior.basis.clone(),
        }
    }

    fn urine(&self) -> Vec<Answer> {
        let ledger = &self.record.ledger;
        let is_urine = |line: usize| {
            let is = |entry: &&Entry| entry.line == line;
            let entry = ledger.entries.iter().find(is);
            entry.is_some_and(|entry| entry.route == Route::Urine && entry.direction == Direction::Output)
        };
        // A volume that cannot be meant must not hide that there is too little urine.
        let mut doubted = self.in_doubt(f64::NEG_INFINITY, f64::INFINITY);
        doubted.retain(|line| is_urine(*line));
        let counts = |line: usize| is_urine(line) && !doubted.contains(&line);
        let flows: Vec<_> =
            ledger.flows.iter().filter(|flow| counts(ledger.entries[flow.entry_idx].line)).cloned().collect();
        let patient = &self.file.patient;
        let named = [
            ("dry weight", patient.dry_kg),
            ("admission weight", patient.admission_kg),
            ("present mass", Some(self.present_kg())),
        ];
        let Some((name, kg)) = named.into_iter().find_map(|(name, kg)| kg.map(|kg| (name, kg))) else {
            return Vec::new();
        };
        let spans = urine::spans(&flows, self.record.span.end_h);
        let stages: Vec<_> = spans.iter().map(|span| urine_stage(&span.hourly_ml, kg)).collect();
        let Some(worst) = stages.iter().flatten().map(|stage| stage.worst).max() else { return Vec::new() };
        let Some((last, now)) = spans.last().zip(stages.last()) else { return Vec::new() };
        let over = last.hourly_ml.len().min(24);
        let rate = last.hourly_ml[last.hourly_ml.len() - over..].iter().sum::<f64>() / over.max(1) as f64 / kg;
        let mut text = match now {
            Some(stage) => {
                format!("{rate:.2} mL/kg/h over the last {over} h: stage {} by urine now, {worst} at worst", stage.now)
            }
            None => {
                format!("{rate:.2} mL/kg/h over the last {over} h: too few for a stage by urine now, {worst} at worst")
            }
        };
        let between_h: f64 = spans.windows(2).map(|pair| pair[1].from_h - pair[0].to_h).sum();
        if between_h >= 1.0 {
            text += &format!("; {between_h:.0} h without charted urine are not counted");
        }
        vec![Answer {
            question: "urine output and kidney stage",
            value: rate,
            u: None,
            unit: "mL/kg/h",
            text,
            basis: format!(
                "charted urine over {name} {kg:.1} kg{}; KDIGO 2012; a weight raised by fluid hides oliguria",
                if doubted.is_empty() { String::new() } else { format!(", without {}, in doubt", lines(&doubted)) }
            ),
        }]
    }

    fn creatinine(&self) -> Option<Answer> {
        let patient = &self.file.patient;
        let now_umol_l = patient.creatinine_umol_l?;
        let baseline_umol_l = patient.baseline_creatinine_umol_l?;
        let mg_dl = |umol_l: f64| umol_l / UMOL_L_PER_MG_DL;
        let child = patient.age_y.filter(|age_y| *age_y < 18.0).zip(patient.height_mm);
        let filtration =
            child.and_then(|(age_y, mm)| kidney::schwartz_bedside(age_y, mm / 10.0, mg_dl(now_umol_l)).ok());
        let stage = creatinine_stage(Creatinine {
            now_mg_dl: mg_dl(now_umol_l),
            baseline_mg_dl: Some(mg_dl(baseline_umol_l)),
            under_18_below_35: filtration.is_some_and(|rate| rate < 35.0),
            ..Creatinine::default()
        })?;
        let of_child = filtration.map_or_else(String::new, |rate| {
            format!("; filtration rate {rate:.0} mL/min/1.73 m² by the bedside Schwartz formula")
        });
        Some(Answer {
            question: "kidney stage by creatinine",
            value: now_umol_l / baseline_umol_l,
            u: None,
            unit: "of the baseline",
            text: format!(
                "{:.1} times the baseline: stage {stage}{of_child}; fluid in surplus thins creatinine and hides a stage",
                now_umol_l / baseline_umol_l
            ),
            basis: format!(
                "{now_umol_l:.0} over {baseline_umol_l:.0} µmol/L; KDIGO 2012, table 2; a rise within 48 h and renal replacement were \
                 not looked at"
            ),
        })
    }

    fn dry_weight(&self) -> Option<Answer> {
        let dry_kg = self.file.patient.dry_kg?;
        let over_kg = self.present_kg() - dry_kg;
        let u = self.rows.last().map(|row| row.u_kg);
        let mut text = format!("{over_kg:+.1} kg from the dry weight of {dry_kg:.1} kg");
        if over_kg > 0.0 {
            let rate = ultrafiltration::rate(1000.0 * over_kg, SESSION_H, dry_kg);
            text += &format!("; all of it in {SESSION_H:.0} h would be {:.1} mL/h/kg", rate.ml_h_kg);
            if let Some(ratio) = rate.published_hazard_ratio {
                text += &format!(
                    ", a rate with a published hazard ratio of death of {ratio:.2}; 13 mL/h/kg would be {:.0} mL",
                    rate.volume_at_caution_ml
                );
            }
        }
        Some(Answer {
            question: "distance to dry weight",
            value: over_kg,
            u,
            unit: "kg",
            text,
            basis: "smoothed mass; rate per kg after dialysis (Assimon 2016): a caution, not an order".to_owned(),
        })
    }
}
