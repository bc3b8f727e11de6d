//! The page on the low-pass, `docs/signal-filter.md` with its plot, is made by the filter itself: `BEDPLATE_WRITE_DOCS=1 cargo test -p
//! bedplate-signal --test filter_page` writes it anew, and without that the test holds the page to what the code does.

mod plot;

use std::f64::consts::TAU as TURN;
use std::fmt::Write as _;

use bedplate_signal::Limits;
use bedplate_signal::filter::{LowPass, STAGES, gain};

/// Spacing of samples in the tables, s: 5, 10 and 80 a second.
const SPACINGS_S: [f64; 3] = [0.2, 0.1, 0.0125];

/// Gain and phase of the filter at `hz`, from its own impulse response at samples `dt_s` apart.
fn response(hz: f64, dt_s: f64, tau_s: f64) -> (f64, f64) {
    let (mut filter, step) = (LowPass::new(), gain(dt_s, tau_s));
    filter.push(0.0, 0.0);
    let n = (60.0 * tau_s / dt_s).ceil() as u32;
    let (mut re, mut im) = (0.0, 0.0);
    for i in 0..n {
        let h = filter.push(if i == 0 { 1.0 } else { 0.0 }, step);
        let turn = TURN * hz * dt_s * f64::from(i);
        re += h * turn.cos();
        im -= h * turn.sin();
    }
    (f64::hypot(re, im), im.atan2(re))
}

/// The step response, from the sample at which the load came.
fn step_response(dt_s: f64, tau_s: f64, n: u32) -> Vec<[f64; 2]> {
    let (mut filter, step) = (LowPass::new(), gain(dt_s, tau_s));
    filter.push(0.0, 0.0);
    (0..n).map(|i| [f64::from(i) * dt_s, filter.push(1.0, step)]).collect()
}

/// Time from which on the step stays within `part` of its end, s.
fn settles_s(part: f64, dt_s: f64, tau_s: f64) -> f64 {
    let steps = step_response(dt_s, tau_s, (30.0 * tau_s / dt_s) as u32);
    steps.iter().rev().find(|[_, y]| 1.0 - y > part).map_or(0.0, |[t, _]| t + dt_s)
}

fn page(tau_s: f64) -> String {
    let mut page = format!(
        "# The low-pass of the live figure\n\n\
         The live figure, the plates' loads and the centre of load pass {STAGES} equal one-pole stages in a row, τ = {tau_s} s each; a settled weight does \
         not: it is the level of a plateau (see [Weigh](stages/weigh.md)). Every figure here is measured on the filter in `crates/signal/src/filter.rs` by a \
         test that fails when the page no longer says what the code does; `crates/signal/tests/reference` holds the same filter against scipy.signal, whose \
         versions and script stand beside its values.\n\n\
         ![Step and frequency response](signal-filter.svg)\n\n\
         ## Settling\nTime from a step of the load until the figure stays within a part of its end. It never goes past the end.\n\n\
         | samples a second | within 1 % | within 0.1 % | within 0.01 % |\n|---|---|---|---|\n"
    );
    // Writing to a String cannot fail, here and below.
    for dt_s in SPACINGS_S {
        let [a, b, c] = [1e-2, 1e-3, 1e-4].map(|part| settles_s(part, dt_s, tau_s));
        let _ = writeln!(page, "| {:.0} | {a:.2} s | {b:.2} s | {c:.2} s |", 1.0 / dt_s);
    }
    page.push_str(
        "\n## Response\nGain and delay of an oscillation of the load, at 10 samples a second. Delay: phase over angular frequency.\n\n\
         | frequency | what has it | gain | gain, dB | delay |\n|---|---|---|---|---|\n",
    );
    for (hz, what) in [
        (0.01, "an infusion's ripple"),
        (0.05, ""),
        (0.1, ""),
        (0.154, "−3 dB"),
        (0.25, "breathing, 15 a minute"),
        (0.5, "an infant's breathing"),
        (1.0, "a resting pulse, 60 a minute"),
        (2.0, "chest compressions, 120 a minute"),
        (4.0, "a bed that is pushed"),
    ] {
        let (gain, phase) = response(hz, 0.1, tau_s);
        // The phase runs on past half a turn: four times that of one stage tells which turn it is in.
        let (kept, angle) = (1.0 - bedplate_signal::filter::gain(0.1, tau_s), TURN * hz * 0.1);
        let near = -4.0 * (kept * angle.sin()).atan2(1.0 - kept * angle.cos());
        let phase = phase + TURN * ((near - phase) / TURN).round();
        let _ = writeln!(
            page,
            "| {hz} Hz | {what} | {gain:.5} | −{:.2} | {:.2} s |",
            -20.0 * gain.log10(),
            -phase / (TURN * hz)
        );
    }
    page.push_str(
        "\n## Why this one\nStages of one pole are right for samples at any spacing, late ones too; four of them never overshoot. A Bessel filter \
         of fourth order with the same −3 dB overshoots by 0.8 % and takes 16.9 τ to within 0.1 % instead of 13.1 τ, and its poles have no plain form for \
         uneven samples. The filter's noise bandwidth is 0.0781/τ (one-sided).\n\n*Code:* `crates/signal/src/filter.rs`.\n",
    );
    page
}

fn drawing(tau_s: f64) -> String {
    let steps = step_response(0.1, tau_s, 81);
    let decades = |i: u32| 10f64.powf(-2.0 + f64::from(i) / 40.0);
    let gains = (0..=108).map(|i| {
        let hz = decades(i);
        [hz.log10(), 20.0 * response(hz, 0.1, tau_s).0.log10()]
    });
    plot::two_panels(
        &plot::Panel {
            title: "Step of the load, 10 samples a second",
            x_label: "time, s",
            y_label: "part of the step",
            x: plot::Axis { from: 0.0, to: 8.0, ticks: &[(0.0, "0"), (2.0, "2"), (4.0, "4"), (6.0, "6"), (8.0, "8")] },
            y: plot::Axis {
                from: 0.0,
                to: 1.0,
                ticks: &[(0.0, "0"), (0.25, "0.25"), (0.5, "0.5"), (0.75, "0.75"), (1.0, "1")],
            },
            points: steps,
        },
        &plot::Panel {
            title: "Gain of an oscillation",
            x_label: "frequency, Hz",
            y_label: "gain, dB",
            x: plot::Axis { from: -2.0, to: 0.7, ticks: &[(-2.0, "0.01"), (-1.0, "0.1"), (0.0, "1")] },
            y: plot::Axis {
                from: -100.0,
                to: 0.0,
                ticks: &[(-100.0, "−100"), (-80.0, "−80"), (-60.0, "−60"), (-40.0, "−40"), (-20.0, "−20"), (0.0, "0")],
            },
            points: gains.collect(),
        },
    )
}

#[test]
fn the_page_on_the_filter_says_what_the_filter_does() {
    let tau_s = Limits::default().tau_s;
    let docs = std::path::Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs"));
    for (name, text) in [("signal-filter.md", page(tau_s)), ("signal-filter.svg", drawing(tau_s))] {
        let path = docs.join(name);
        if std::env::var_os("BEDPLATE_WRITE_DOCS").is_some() {
            std::fs::write(&path, &text).unwrap();
        }
        let kept = std::fs::read_to_string(&path).unwrap_or_default();
        let hint = "BEDPLATE_WRITE_DOCS=1 cargo test -p bedplate-signal --test filter_page";
        assert!(kept == text, "{name} is not what the filter does: {hint}");
    }
}

/// Source: `scipy.signal.freqz` 1.17.1 (`tests/reference/data/make.py`): what the page's table is made of.
#[test]
fn the_gains_of_the_page_are_those_of_scipy() {
    for line in include_str!("../reference/data/response.csv").lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|field| field.parse().unwrap()).collect();
        assert!((response(row[0], 0.1, 0.45).0 - row[1]).abs() < 1e-10, "{} Hz", row[0]);
    }
}
