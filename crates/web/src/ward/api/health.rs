//! Is it alive, is it ready, and figures for a monitor.

use std::fmt::Write as _;

use axum::http::StatusCode;
use formats::weights::State;
use serde_json::json;
use store::journal;
use ward::access::Right;
use ward::clock::now_us;

use super::schema::{open, text};
use crate::ward::answer::{Answer, Problem};
use crate::ward::call::Call;
use crate::ward::endpoint::{Endpoint, Gives, Method};

pub(crate) const ENDPOINTS: &[Endpoint] = &[
    Endpoint {
        method: Method::Get,
        path: "/health/live",
        right: None,
        about: "The process answers",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "status": text() }), &["status"])),
        run: |_| Ok(Answer::Json(json!({ "status": "live" }))),
    },
    Endpoint {
        method: Method::Get,
        path: "/health/ready",
        right: None,
        about: "The memory answers",
        query: &[],
        takes: None,
        gives: Gives::Json(|| open(&json!({ "status": text() }), &["status"])),
        run: |call| match call.ward.memory.look(journal::chains) {
            Ok(_) => Ok(Answer::Json(json!({ "status": "ready" }))),
            Err(_) => Err(Problem::new(StatusCode::SERVICE_UNAVAILABLE, "Not ready", "the ward's memory is away")),
        },
    },
    Endpoint {
        method: Method::Get,
        path: "/metrics",
        right: Some(Right::See),
        about: "Figures in the Prometheus text format",
        query: &[],
        takes: None,
        gives: Gives::Text("text/plain; version=0.0.4; charset=utf-8"),
        run: metrics,
    },
];

type Figure = (&'static str, &'static str, &'static str, fn(&ward::bed::Live) -> Option<f64>);

#[allow(clippy::cast_precision_loss, reason = "counts of samples")]
const FIGURES: [Figure; 9] = [
    ("bedplate_patient_kilograms", "gauge", "Weight of the patient", |l| l.patient_kg),
    ("bedplate_patient_uncertainty_kilograms", "gauge", "Its standard uncertainty", |l| l.u_kg),
    (
        "bedplate_weight_settled",
        "gauge",
        "1 where that weight is settled and may be believed, 0 where it moves or is held",
        |l| l.patient_kg.map(|_| f64::from(u8::from(l.state == Some(State::Settled)))),
    ),
    ("bedplate_link_up", "gauge", "1 where the connection to the deck stands", |l| {
        Some(f64::from(u8::from(l.link.up)))
    }),
    ("bedplate_samples_total", "counter", "Samples taken", |l| Some(l.link.samples as f64)),
    ("bedplate_samples_lost_total", "counter", "Samples known to be lost on the way", |l| Some(l.link.lost as f64)),
    ("bedplate_rubbish_total", "counter", "Lines that were no samples", |l| Some(l.link.rubbish as f64)),
    ("bedplate_deck_clock_slow_ppm", "gauge", "By how much the deck's clock is slow", |l| l.link.slow_ppm),
    ("bedplate_cells_failed", "gauge", "Cells at fault", |l| Some(l.faults.len() as f64)),
];

fn metrics(call: &Call) -> Result<Answer, Problem> {
    let lives: Vec<_> = call.ward.beds().map(|bed| bed.live()).collect();
    let mut out = String::new();
    for (name, kind, help, value) in FIGURES {
        // Writing to a String cannot fail.
        let _ = writeln!(out, "# HELP {name} {help}.\n# TYPE {name} {kind}");
        for live in &lives {
            if let Some(value) = value(live) {
                let _ = writeln!(out, "{name}{{bed=\"{}\"}} {value}", live.bed);
            }
        }
    }
    let now = now_us();
    let silent = lives.iter().filter(|l| l.is_silent(now)).count();
    let _ = writeln!(
        out,
        "# HELP bedplate_beds_silent Beds without a row for 15 s.\n# TYPE bedplate_beds_silent gauge\nbedplate_beds_silent {silent}"
    );
    let up = (now - call.ward.opened_us) / 1_000_000;
    let _ = writeln!(
        out,
        "# HELP bedplate_up_seconds Time since the ward was opened.\n# TYPE bedplate_up_seconds counter\nbedplate_up_seconds {up}"
    );
    Ok(Answer::Text { kind: "text/plain; version=0.0.4; charset=utf-8", name: None, bytes: out.into_bytes() })
}

#[cfg(test)]
mod tests {
    use ward::bed::Live;

    use super::*;

    /// No figure without its state: a monitor that draws the weight must be able to leave out what moves.
    #[test]
    fn a_weight_comes_with_whether_it_may_be_believed() {
        let (_, _, _, settled) = FIGURES.iter().find(|f| f.0 == "bedplate_weight_settled").unwrap();
        let live = |patient_kg, state| Live {
            at_us: Some(0),
            patient_kg,
            u_kg: Some(0.03),
            state,
            ..Live::before_all("A1", "alder-1", weigh::Lies::Somebody)
        };
        assert_eq!(settled(&live(Some(70.0), Some(State::Settled))), Some(1.0));
        assert_eq!(settled(&live(Some(70.0), Some(State::Moving))), Some(0.0));
        assert_eq!(settled(&live(Some(70.0), Some(State::Held))), Some(0.0));
        assert_eq!(settled(&live(None, Some(State::Settled))), None, "no weight, nothing to believe");
    }
}
