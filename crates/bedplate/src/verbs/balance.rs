//! `balance`: weights and chart to a fluid balance.

use std::path::Path;

use balance::{Answered, BalanceReport, Correction, Densities, ItemEvent, Options, Removal, Span};
use formats::patient::PatientFile;
use formats::weights::Weight;
use jiff::{SignedDuration, Timestamp};

use crate::cli::{BalanceArgs, BalanceMore};
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

/// Hours between the two changes from which a deck's drift is read.
const DRIFT_H: [f64; 2] = [1.0, 24.0];
/// What a millilitre of a fluid may weigh, g: beyond it is a slip.
const DENSITY_G_ML: std::ops::RangeInclusive<f64> = 0.9..=1.2;

pub(crate) fn run(args: &BalanceArgs) -> Result<Outcome, Failure> {
    print(args)?;
    Ok(Outcome::Met)
}

/// Sets weights against chart and prints the report.
pub(crate) fn print(args: &BalanceArgs) -> Result<(PatientFile, BalanceReport), Failure> {
    let patient = formats::patient::read(&files::name(&args.patient), &files::read_text(&args.patient)?)?;
    let weights = formats::weights::read(&files::name(&args.weights), &files::read_text(&args.weights)?)?;
    let chart_text = files::read_text(&args.chart)?;
    let chart = formats::chart::read(&files::name(&args.chart), &chart_text)?;
    let mut options = options(&args.more, &weights, &args.weights)?;
    options.corrections = formats::chart::corrections(&files::name(&args.chart), &chart_text)?
        .into_iter()
        .map(|(line, corrects)| Correction { line, corrects })
        .collect();
    let report = balance::balance(&patient, &weights, &chart, &options).map_err(|e| {
        let file = match e.file() {
            balance::Blame::Patient => &args.patient,
            balance::Blame::Weights => &args.weights,
            balance::Blame::Chart => &args.chart,
            balance::Blame::Options => return Failure::Stage(e.to_string()),
        };
        Failure::stage(file, &e)
    })?;
    output::report(args.json, &report, |r| report::text::balance(&patient.patient.label, r))?;
    Ok((patient, report))
}

fn options(more: &BalanceMore, weights: &[Weight], weights_file: &Path) -> Result<Options, Failure> {
    let default = Options::default();
    let (windows_h, spans) = windows(&more.window)?;
    let drift_g_sqrt_h = more.deck.as_deref().map(drift_of).transpose()?;
    Ok(Options {
        start: more.start,
        now: more.now,
        drift_g_sqrt_h,
        densities: more.densities.as_deref().map(densities).transpose()?,
        false_alerts_per_day: more.false_alerts.unwrap_or(default.false_alerts_per_day),
        forecast_h: more.ahead.unwrap_or(default.forecast_h),
        alternatives: read(more.plan.as_deref(), formats::plans::read)?,
        windows_h: if more.window.is_empty() { default.windows_h.clone() } else { windows_h },
        spans,
        answered: read(more.answers.as_deref(), formats::answers::read)?
            .into_iter()
            .map(|a| Answered { time: a.time, kind: a.kind, answer: a.answer })
            .collect(),
        removals: read(more.removals.as_deref(), formats::removals::read)?
            .into_iter()
            .map(|r| Removal { time: r.time, fluid_g: r.fluid_g })
            .collect(),
        items: match &more.events {
            Some(file) => items(file, start(more.start, weights, weights_file)?)?,
            None => Vec::new(),
        },
        ..default
    })
}

/// What a file holds, or nothing where none is named.
fn read<T>(
    file: Option<&Path>,
    reader: fn(&str, &str) -> Result<Vec<T>, formats::Problems>,
) -> Result<Vec<T>, Failure> {
    match file {
        Some(file) => Ok(reader(&files::name(file), &files::read_text(file)?)?),
        None => Ok(Vec::new()),
    }
}

/// Wall time of t_s = 0: as told, or by the first weight.
fn start(told: Option<Timestamp>, weights: &[Weight], file: &Path) -> Result<Timestamp, Failure> {
    let by_weight = || {
        let first = weights.first()?;
        first.time?.checked_sub(SignedDuration::try_from_secs_f64(first.t_s).ok()?).ok()
    };
    told.or_else(by_weight).ok_or_else(|| {
        Failure::Stage(format!(
            "{}: found weights without `time`, expected --start TIME to place the events by",
            file.display()
        ))
    })
}

fn items(file: &Path, start: Timestamp) -> Result<Vec<ItemEvent>, Failure> {
    let events = formats::events::read(&files::name(file), &files::read_text(file)?)?;
    Ok(events
        .into_iter()
        .filter_map(|event| {
            let time = start.checked_add(SignedDuration::try_from_secs_f64(event.t_s).ok()?).ok()?;
            Some(ItemEvent { time, kg: event.kg, u_kg: event.u_kg, name: event.name })
        })
        .collect())
}

/// Random-walk drift of a deck, g per √h: what its own budget gives a change over a day beyond one over an hour.
fn drift_of(file: &Path) -> Result<f64, Failure> {
    let checked = design::check(&files::read_deck(file)?).map_err(|e| Failure::stage(file, &e))?;
    let u_g = |hours: f64| {
        let at = |(h, u): &(f64, f64)| ((h - hours).abs() < 1e-9).then_some(*u);
        checked.change.u_g.0.iter().find_map(at)
    };
    let [early_h, late_h] = DRIFT_H;
    let (early_g, late_g) = u_g(early_h).zip(u_g(late_h)).ok_or_else(|| {
        Failure::Stage(format!("{}: its budget gives no change over {early_h} and {late_h} h", file.display()))
    })?;
    Ok(((late_g * late_g - early_g * early_g).max(0.0) / (late_h - early_h)).sqrt())
}

fn windows(told: &[String]) -> Result<(Vec<f64>, Vec<Span>), Failure> {
    let (mut hours, mut spans) = (Vec::new(), Vec::new());
    for text in told {
        let bad = |expected: &str| Failure::Stage(format!("--window: found {text:?}, expected {expected}"));
        match text.split_once('/') {
            Some((from, to)) => {
                let time = |text: &str| text.parse::<Timestamp>().map_err(|_| bad("two RFC 3339 times, FROM/TO"));
                let span = Span { from: time(from)?, to: time(to)? };
                if span.from >= span.to {
                    return Err(bad("a window that ends after it begins"));
                }
                spans.push(span);
            }
            None => {
                let h = text.parse::<f64>().ok().filter(|h| h.is_finite() && *h > 0.0);
                hours.push(h.ok_or_else(|| bad("hours above 0, or FROM/TO"))?);
            }
        }
    }
    Ok((hours, spans))
}

fn densities(told: &str) -> Result<Densities, Failure> {
    if told == "published" {
        return Ok(Densities::published());
    }
    let mut out = Densities::default();
    for part in told.split(',') {
        let bad = |expected: &str| Failure::Stage(format!("--densities: found {part:?}, expected {expected}"));
        let (kind, value) = part.split_once('=').ok_or_else(|| bad("`published`, or KIND=G_PER_ML"))?;
        let slot = match kind.trim() {
            "iv" => &mut out.iv_g_ml,
            "blood" => &mut out.blood_g_ml,
            "urine" => &mut out.urine_g_ml,
            "enteral" => &mut out.enteral_g_ml,
            "other" => &mut out.other_g_ml,
            _ => return Err(bad("one of iv, blood, urine, enteral, other before the =")),
        };
        let value = value.trim().parse::<f64>().ok().filter(|value| DENSITY_G_ML.contains(value));
        *slot = value.ok_or_else(|| bad("0.9 to 1.2 g/mL after the ="))?;
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_are_hours_or_two_times() {
        let told = ["12".to_owned(), "2031-03-04T06:00:00Z/2031-03-04T18:00:00Z".to_owned()];
        let (hours, spans) = windows(&told).unwrap();
        assert_eq!((hours.len(), spans.len()), (1, 1));
        for bad in ["-1", "0", "day", "NaN", "2031-03-04T06:00:00Z/", "2031-03-04T06:00:00Z/2031-03-04T06:00:00Z"] {
            let refused = windows(&[bad.to_owned()]).unwrap_err().to_string();
            assert!(refused.contains("--window") && refused.contains(bad), "{refused}");
        }
    }

    #[test]
    fn densities_are_published_or_named() {
        assert_eq!(densities("published").unwrap(), Densities::published());
        let told = densities("urine=1.02, iv=1.004").unwrap();
        assert!((told.urine_g_ml - 1.02).abs() < 1e-12 && (told.blood_g_ml - 1.0).abs() < 1e-12);
        for bad in ["urine", "urine=1020", "wine=0.99", "urine=x"] {
            assert!(densities(bad).unwrap_err().to_string().contains(bad));
        }
    }
}
