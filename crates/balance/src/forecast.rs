//! What comes next: body mass under a plan, with intervals.
//!
//! m(t+h) = m(t) + h·(intake − output − ultrafiltrate) − h·r + deviations. Its variance adds up what is
//! not known now (mass, loss rate, from the filter's last state), how the rate may change, and how far wards and bodies
//! stray from a plan. What was charted in the last day tells that, output by output; what was ordered in may be altered by
//! tomorrow whatever the chart says. A deviation of the hour fades with a time θ; one of the day (a kidney that recovers, a
//! tube feed that is borne) stays for the whole forecast.
//!
//! | symbol | name | unit |
//! |--------|------|------|
//! | σ | `sd_ml_h` | mL/h, deviation of the charted hourly rate |
//! | θ | `fade_h`  | h |
//! | λ | `level_ml_h` | mL/h, deviation that stays |

use formats::patient::Plan;

use crate::core::{Filter, Transition, body};
use crate::estimate::Z95;
use crate::ledger::{Flow, Ledger};

/// Deviation assumed before the chart is asked: a quarter of what it is a deviation of, over six hours, worth as
/// much as [`ASSUMED_DOF`] independent looks. Own choice.
const DEVIATION_SHARE: f64 = 0.25;
/// Of the ordered intake (pumps, tube feeds), that is not kept: a twelfth, over six hours. Own choice.
const ORDER_SHARE: f64 = 1.0 / 12.0;
/// Of the outputs, that stays apart from the plan for a day: a seventh, worth two looks at the difference of two days. Own choice.
const LEVEL_SHARE: f64 = 1.0 / 7.0;
const LEVEL_DOF: f64 = 2.0;
const FADE_H: f64 = 6.0;
const ASSUMED_DOF: f64 = 2.0;
/// Hours of chart needed before it is asked.
const N_HOURS_MIN: usize = 12;
/// Hours of the chart that are asked.
const DAY_H: usize = 24;

/// How charted rates stray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Deviation {
    /// Standard deviation of the hourly rate, mL/h.
    pub(crate) sd_ml_h: f64,
    /// Time in which a deviation fades, h.
    pub(crate) fade_h: f64,
    /// Standard deviation of what stays for the whole forecast, mL/h.
    pub(crate) level_ml_h: f64,
    /// Standard deviation of the ordered intake, mL/h; it fades over [`FADE_H`].
    pub(crate) order_ml_h: f64,
}

impl Deviation {
    /// From the charted hours of the last day, by moments: variance and lag-one correlation about the mean. Intake by mouth
    /// and all outputs are asked, but for ultrafiltrate: it is ordered, as pumps are.
    pub(crate) fn of(ledger: &Ledger, end_h: f64, plan: &Plan) -> Self {
        let all = hourly_rates(ledger, end_h);
        let rates = &all[all.len().saturating_sub(DAY_H)..];
        let (mean_abs, order_ml_h) = (plan.output_ml_h, ORDER_SHARE * plan.intake_ml_h);
        let assumed = Self {
            sd_ml_h: DEVIATION_SHARE * mean_abs.max(10.0),
            fade_h: FADE_H,
            level_ml_h: LEVEL_SHARE * plan.output_ml_h.max(10.0),
            order_ml_h,
        };
        if rates.len() < N_HOURS_MIN {
            return assumed;
        }
        let n = rates.len() as f64;
        let mean = rates.iter().sum::<f64>() / n;
        let variance = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / (n - 1.0);
        if variance <= 0.0 {
            return assumed;
        }
        let lagged = rates.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum::<f64>() / (n - 1.0);
        // The lag-one correlation of n values about their own mean reads (1 + 3ρ)/n low (Marriott & Pope
        // 1954), and a record of n hours cannot show fading slower than a fifth of it.
        let raw = lagged / variance;
        let fade_h = fade_from_hourly(raw + (1.0 + 3.0 * raw) / n).clamp(0.3, n / 5.0);
        // An hour's mean varies less than the rate itself.
        let x = 1.0 / fade_h;
        let variance = variance / (2.0 * (x - 1.0 + (-x).exp()) / (x * x));
        // The mean takes a share 2θ/n of the variance with it; n/θ looks are independent.
        let variance = variance / (1.0 - (2.0 * fade_h / n).min(0.5));
        let dof = n / fade_h;
        let pooled = (dof * variance + ASSUMED_DOF * assumed.sd_ml_h.powi(2)) / (dof + ASSUMED_DOF);
        // An interval on an estimated variance is Student's: its 97.5 % point over the normal one,
        // 1 + (z² + 1)/(4ν), to first order.
        let student = 1.0 + (Z95 * Z95 + 1.0) / (4.0 * (dof + ASSUMED_DOF));
        let fade_h = (dof * fade_h + ASSUMED_DOF * assumed.fade_h) / (dof + ASSUMED_DOF);
        let out = Self { sd_ml_h: pooled.sqrt() * student, fade_h, ..assumed };
        Self { level_ml_h: out.level(&all, assumed.level_ml_h), ..out }
    }

    /// What stays, from how far the last day's mean lies from that of the day before, less what fading deviations alone
    /// would make of it; pooled with what is assumed.
    fn level(self, all: &[f64], assumed_ml_h: f64) -> f64 {
        let Some(from) = all.len().checked_sub(2 * DAY_H) else { return assumed_ml_h };
        let mean = |rates: &[f64]| rates.iter().sum::<f64>() / rates.len() as f64;
        let apart = mean(&all[from + DAY_H..]) - mean(&all[from..from + DAY_H]);
        let by_chance = 2.0 * fading_var(self.sd_ml_h, self.fade_h, DAY_H as f64) / (DAY_H as f64).powi(2);
        let seen = (apart * apart - by_chance).max(0.0);
        ((LEVEL_DOF * assumed_ml_h.powi(2) + seen) / (LEVEL_DOF + 1.0)).sqrt()
    }

    /// Variance of the deviation's integral over h hours, mL².
    fn integral_var(self, h: f64) -> f64 {
        fading_var(self.sd_ml_h, self.fade_h, h)
            + fading_var(self.order_ml_h, FADE_H, h)
            + (self.level_ml_h * h).powi(2)
    }
}

/// Variance of the integral over h hours of a deviation that fades: 2σ²θ²(h/θ − 1 + e^(−h/θ)).
fn fading_var(sd_ml_h: f64, fade_h: f64, h: f64) -> f64 {
    let x = h / fade_h;
    2.0 * (sd_ml_h * fade_h).powi(2) * (x - 1.0 + (-x).exp())
}

/// Fading time, h, from the lag-one correlation of hourly means of a process that fades exponentially:
/// ρ = (1 − e^(−x))²/(2(x − 1 + e^(−x))) with x = 1/θ, falling in x; by bisection in ln x.
fn fade_from_hourly(correlation: f64) -> f64 {
    let rho = |x: f64| (1.0 - (-x).exp()).powi(2) / (2.0 * (x - 1.0 + (-x).exp()));
    let (mut low, mut high) = (1e-3f64.ln(), 10f64.ln());
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if rho(middle.exp()) > correlation {
            low = middle;
        } else {
            high = middle;
        }
    }
    (-0.5 * (low + high)).exp()
}

/// Charted net by hour of what nobody orders, from the spread flows, mL/h.
fn hourly_rates(ledger: &Ledger, end_h: f64) -> Vec<f64> {
    use formats::chart::{Direction, Route};
    let n = end_h.max(0.0).floor() as usize;
    let times: Vec<f64> = (0..=n).map(|k| k as f64).collect();
    let own = |flow: &&Flow| {
        let entry = &ledger.entries[flow.entry_idx];
        match entry.direction {
            Direction::Intake => entry.route == Route::Oral,
            Direction::Output => entry.route != Route::Ultrafiltrate,
        }
    };
    let flows: Vec<Flow> = ledger.flows.iter().filter(own).cloned().collect();
    crate::ledger::distribute(&flows, &times).iter().map(|step| step.body_g).collect()
}

/// One time to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ahead {
    /// Hours ahead.
    pub(crate) h: f64,
    /// Mass, g.
    pub(crate) mass_g: f64,
    /// Its standard deviation, g.
    pub(crate) sd_g: f64,
}

impl Ahead {
    /// Ends of the 95 % interval, g.
    pub(crate) fn interval_g(&self) -> (f64, f64) {
        (self.mass_g - Z95 * self.sd_g, self.mass_g + Z95 * self.sd_g)
    }
}

/// Mass at whole hours ahead of the filter's state.
///
/// `charted_g` is the charted mass up to the state; `constant_g` the constant error of every weight.
pub(crate) fn forecast(
    (filter, charted_g, constant_g): (&Filter, f64, f64),
    plan: &Plan,
    deviation: Deviation,
    horizon_h: u32,
) -> Vec<Ahead> {
    let net = plan.intake_ml_h - plan.output_ml_h - plan.ultrafiltration_ml_h;
    let mut ahead = filter.clone();
    let step = Transition { dt_h: 1.0, keep_timing: (-1.0f64).exp(), ..Transition::NONE };
    let mut out = Vec::with_capacity(horizon_h as usize);
    for hour in 1..=horizon_h {
        ahead.predict(&step);
        let h = f64::from(hour);
        let functional = body();
        let variance = functional.dot(&(ahead.p * functional)) + deviation.integral_var(h) + constant_g * constant_g;
        let mass_g = charted_g + functional.dot(&ahead.a) + net * h;
        out.push(Ahead { h, mass_g, sd_g: variance.max(0.0).sqrt() });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fading_time_is_found_again_from_its_own_correlation() {
        // θ = 4 h: x = 0.25, ρ = 0.2212²/(2 · 0.0288) = 0.8494.
        assert!((fade_from_hourly(0.849_4) - 4.0).abs() < 0.01);
    }

    #[test]
    fn the_deviations_integral_grows_as_the_square_and_then_as_the_root() {
        let deviation = Deviation { sd_ml_h: 10.0, fade_h: 5.0, level_ml_h: 0.0, order_ml_h: 0.0 };
        // Far below θ the deviation stands: σ²h².
        assert!((deviation.integral_var(0.01) / 0.01f64.powi(2) - 100.0).abs() < 0.1);
        // Far above it walks: 2σ²θh.
        assert!((deviation.integral_var(5000.0) / (2.0 * 100.0 * 5.0 * 5000.0) - 1.0).abs() < 2e-3);
    }

    #[test]
    fn a_short_chart_leaves_what_is_assumed() {
        let ledger = Ledger { entries: Vec::new(), flows: Vec::new(), doubts: Vec::new(), densities_given: false };
        let plan = Plan { intake_ml_h: 120.0, output_ml_h: 60.0, ultrafiltration_ml_h: 0.0 };
        let deviation = Deviation::of(&ledger, 5.0, &plan);
        // A quarter of the 60 mL/h out, a twelfth of the 120 in, a seventh of the 60.
        for (found, expected) in
            [(deviation.sd_ml_h, 15.0), (deviation.order_ml_h, 10.0), (deviation.level_ml_h, 60.0 / 7.0)]
        {
            assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
        }
    }
}
