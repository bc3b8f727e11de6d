//! Stages of acute kidney injury. Source: KDIGO Clinical Practice Guideline for AKI 2012, table 2.
//!
//! The weight in mL/kg/h must be named: one raised by fluid hides oliguria (200 mL in 6 h are 0.476 mL/kg/h
//! of 70 kg and 0.430 of 77.5 kg).

use serde::Serialize;

/// A rise of this within 48 h is stage 1, mg/dL (26.5 µmol/L).
const RISE_MG_DL: f64 = 0.3;
/// Stage 3 from here, mg/dL (353.6 µmol/L).
const STAGE_3_MG_DL: f64 = 4.0;

/// What is known of creatinine, mg/dL.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Creatinine {
    /// Now.
    pub now_mg_dl: f64,
    /// Before the illness.
    pub baseline_mg_dl: Option<f64>,
    /// The lowest of the last 48 h.
    pub lowest_48h_mg_dl: Option<f64>,
    /// Renal replacement has begun.
    pub replacement: bool,
    /// Filtration rate below 35 mL/min/1.73 m², in those under 18 years.
    pub under_18_below_35: bool,
}

/// Stage by creatinine, 0 for none; `None` where nothing is known to compare with.
///
/// Stage 2 is 2.0–2.9 times the baseline. Trap: one open-access table prints 1.0–2.9. Stage 3 by 4.0 mg/dL
/// asks for an acute rise besides (0.3 within 48 h, or 1.5 times the baseline).
pub fn creatinine_stage(creatinine: Creatinine) -> Option<u8> {
    let Creatinine { now_mg_dl, baseline_mg_dl, lowest_48h_mg_dl, replacement, under_18_below_35 } = creatinine;
    if replacement {
        return Some(3);
    }
    if baseline_mg_dl.is_none() && lowest_48h_mg_dl.is_none() {
        return under_18_below_35.then_some(3);
    }
    // Differences of values printed to a tenth: 1.3 − 1.0 must count as 0.3.
    let rose = lowest_48h_mg_dl.is_some_and(|lowest| now_mg_dl - lowest >= RISE_MG_DL - 1e-9);
    let ratio = baseline_mg_dl.map_or(1.0, |baseline| now_mg_dl / baseline) + 1e-9;
    let acute = rose || ratio >= 1.5;
    Some(match ratio {
        _ if acute && (now_mg_dl >= STAGE_3_MG_DL || under_18_below_35) => 3,
        r if r >= 3.0 => 3,
        r if r >= 2.0 => 2,
        _ if acute => 1,
        _ => 0,
    })
}

/// Stages by urine: the worst in the record and that of the hours up to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct UrineStage {
    /// Worst.
    pub worst: u8,
    /// At the end.
    pub now: u8,
}

/// Stages by hourly urine, mL, and a named weight, kg; `None` where there are fewer than six hours.
///
/// Stage 1: below 0.5 mL/kg/h for 6 to 12 h; stage 2: for 12 h or more; stage 3: below 0.3 for 24 h or
/// more, or none for 12 h or more. Rates are means over the period.
pub fn urine_stage(hourly_ml: &[f64], weight_kg: f64) -> Option<UrineStage> {
    if hourly_ml.len() < 6 {
        return None;
    }
    let stages: Vec<u8> = (6..=hourly_ml.len()).map(|end| stage_at(&hourly_ml[..end], weight_kg)).collect();
    let worst = stages.iter().copied().max().unwrap_or(0);
    Some(UrineStage { worst, now: stages.last().copied().unwrap_or(0) })
}

fn stage_at(hourly_ml: &[f64], weight_kg: f64) -> u8 {
    let total = |hours: usize| {
        let start = hourly_ml.len().checked_sub(hours)?;
        Some(hourly_ml[start..].iter().sum::<f64>())
    };
    let below = |hours: usize, limit: f64| total(hours).is_some_and(|ml| ml / (hours as f64 * weight_kg) < limit);
    if below(24, 0.3) || total(12).is_some_and(|ml| ml <= 0.0) {
        3
    } else if below(12, 0.5) {
        2
    } else {
        u8::from(below(6, 0.5))
    }
}
