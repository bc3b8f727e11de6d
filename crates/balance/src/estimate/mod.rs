//! The whole balance: from files to report.

mod fit;
mod notes;
mod record;
mod rows;

use formats::chart::Entry;
use formats::patient::{PatientFile, Plan};
use formats::weights::Weight;
use jiff::Timestamp;
use stats::resolvable::PER_U;

use crate::alerts;
use crate::answers::Asked;
use crate::check::check;
use crate::clinical::overload::{intake_output_pct, weight_pct};
use crate::clinical::water::{Ledgers, ledgers};
use crate::core::{Smoothed, body, body_change};
use crate::diagnostics::diagnose;
use crate::error::BalanceError;
use crate::insensible;
use crate::ledger::{Ledger, hours};
use crate::noise::NoiseFit;
use crate::options::Options;
use crate::report::{Alternative, BalanceReport, CAUTION, Estimate, Noise, Overload, Row, Window};
use crate::windows;

pub(crate) use fit::Fit;
use notes::notes;
pub(crate) use notes::seconds;
pub(crate) use record::Record;
use rows::{forecast_rows, rows};

/// 97.5 % point of the normal law.
pub(crate) const Z95: f64 = 1.959_963_984_540_054;

/// Fluid balance of a patient from weights and chart.
///
/// # Errors
/// No settled weight, a row or an entry that cannot be read as one; see [`BalanceError`].
pub fn balance(
    file: &PatientFile,
    weights: &[Weight],
    entries: &[Entry],
    options: &Options,
) -> Result<BalanceReport, BalanceError> {
    check(file, options)?;
    let record = Record::read(file, weights, entries, options)?;
    let fit = Fit::make(&record, options);
    let mut report = report(file, &record, &fit, options);
    let outside = |time: &Timestamp| !(0.0..=record.span.end_h).contains(&hours(record.span.origin, *time));
    for removal in options.removals.iter().filter(|removal| outside(&removal.time)) {
        report.notes.push(format!("the removal at {} lies outside the record and changes nothing", removal.time));
    }
    report.notes.extend(options.corrections.iter().map(|correction| {
        format!("chart line {} takes the place of line {}, which stays on record", correction.line, correction.corrects)
    }));
    Ok(report)
}

fn report(file: &PatientFile, record: &Record, fit: &Fit, options: &Options) -> BalanceReport {
    let rows = rows(record, fit);
    let end = fit.smoothed(&[fit.built.grid.nodes.len() - 1]);
    let mut notes = notes(record, fit);
    let overload_pct = overload(file, record, fit, &rows, &end[0], &mut notes);
    let plan = file.plan.unwrap_or_else(|| {
        notes.push("no plan: the forecast goes on at the charted rates of the last 24 h".to_owned());
        persistence(&record.ledger, record.span.end_h)
    });
    let windows = windows::windows(record, fit, options, &mut notes);
    let asked = Asked { file, record, fit, rows: &rows, windows: &windows, overload: &overload_pct };
    let all = alerts::alerts(file, record, fit, &rows, &windows);
    let (open, answered) = alerts::part(all, &options.answered, &mut notes);
    let other = |(name, plan): &(String, Plan)| Alternative {
        name: name.clone(),
        forecast: forecast_rows(record, fit, plan, options.forecast_h),
    };
    BalanceReport {
        insensible_ml_h: Estimate { value: fit.watched.rate_g_h, u: fit.watched.rate_u_g_h },
        forecast: forecast_rows(record, fit, &plan, options.forecast_h),
        resolvable_ml_24h: resolvable_ml(fit),
        alerts: open,
        answered,
        answers: asked.answers(),
        ledgers: two_ledgers(file, record, &rows, &windows),
        alternatives: options.alternatives.iter().map(other).collect(),
        diagnostics: diagnose(&fit.filtered),
        insensible_prior: record.prior.clone(),
        noise: noise_report(fit),
        overload_pct,
        windows,
        rows,
        notes,
        caution: CAUTION,
    }
}

/// Mass and water over the record, and over its last 24 h where it is longer.
fn two_ledgers(file: &PatientFile, record: &Record, rows: &[Row], windows: &[Window]) -> Vec<Ledgers> {
    let area_m2 = insensible::surface_m2(&file.patient, record.weight_kg);
    let mut out = Vec::new();
    if let (Some(first), Some(last)) = (rows.first(), rows.last()) {
        let hours = last.time.duration_since(first.time).as_secs_f64() / 3600.0;
        let mass_g = Estimate { value: 1000.0 * (last.mass_kg - first.mass_kg), u: last.u_weighed_ml };
        out.push(ledgers(mass_g, hours, area_m2, &record.prior));
    }
    for window in windows.iter().filter(|window| record.is_last_day(window)) {
        let mass_g = Estimate { value: window.fused_ml, u: window.u_fused_ml };
        out.push(ledgers(mass_g, window.hours, area_m2, &record.prior));
    }
    out
}

fn overload(
    file: &PatientFile,
    record: &Record,
    fit: &Fit,
    rows: &[Row],
    end: &Smoothed,
    notes: &mut Vec<String>,
) -> Overload {
    let readings = &record.readings.readings;
    let last_g = readings.last().map_or(f64::NAN, |reading| reading.mass_g);
    let reference_kg = file.patient.admission_kg.unwrap_or_else(|| {
        notes.push("no admission weight: the first mass stands for it in percent overload".to_owned());
        rows.first().map_or(readings[0].mass_g / 1000.0, |row| row.mass_kg)
    });
    let node = fit.built.grid.nodes[fit.built.grid.nodes.len() - 1];
    let charted_l = record.ledger.charted_ml(-1e-9, record.span.end_h + 1e-9) / 1000.0;
    let fused_kg = (node.charted_g + body().dot(&end.mean)) / 1000.0;
    Overload {
        charted: intake_output_pct(charted_l, reference_kg),
        weighed: weight_pct(last_g / 1000.0, reference_kg),
        fused: weight_pct(fused_kg, reference_kg),
        u_fused: end.sd(&body()).hypot(fit.constant_g) / (10.0 * reference_kg),
    }
}

/// The charted rates of the last day, as a plan.
fn persistence(ledger: &Ledger, end_h: f64) -> Plan {
    use formats::chart::Direction;
    let over_h = end_h.clamp(1.0, 24.0);
    let rate = |direction| ledger.total_ml(direction, end_h - over_h, end_h + 1e-9) / over_h;
    Plan { intake_ml_h: rate(Direction::Intake), output_ml_h: rate(Direction::Output), ultrafiltration_ml_h: 0.0 }
}

/// Smallest change of mass over 24 h from the first row that can be told; `None` where the record is shorter.
fn resolvable_ml(fit: &Fit) -> Option<f64> {
    let &idx = fit.built.row_nodes.get(24)?;
    Some(PER_U * fit.smoothed(&[idx])[0].sd(&body_change()))
}

fn noise_report(fit: &Fit) -> Noise {
    let u_g = fit.built.u2_g2.sqrt();
    let NoiseFit { params, ln_se, log_likelihood, converged, .. } = fit.noise;
    Noise {
        fast_g: params.white * u_g,
        fast_ln_se: ln_se[0],
        posture_g: params.posture * u_g,
        posture_ln_se: ln_se[1],
        constant_g: fit.constant_g,
        chart_factor: params.chart,
        chart_ln_se: ln_se[2],
        rate_change_24h_g_h: (24.0 * params.rate_q).sqrt(),
        // The deviation is the root of the walk's variance: half its error in logarithms.
        rate_ln_se: 0.5 * ln_se[3],
        log_likelihood,
        converged,
    }
}
