//! The verification as the page gets it.

use deck::oiml::r76;
use formats::tests::TestKind;
use report::charts::{of_test, test_name};
use serde_json::{Value, json};
use verify::plan::{Act, Setting, TEMPERATURE_OPEN, TILT_OPEN};

use super::super::drawing::drawing;
use super::super::kept::Row;
use super::{OTHER_LOAD, Session};
use crate::words::Reader;

impl Session {
    /// What changes while somebody waits.
    pub(in crate::proof) fn live(&self, reader: Reader) -> Value {
        let mut live = self.listening.told(&self.deck);
        live["shown_kg"] = json!(self.shown_now_kg());
        let is_near = self.is_near();
        live["near"] = is_near.into();
        live["doubt"] =
            json!((live["settled"] == true && !self.is_done() && !is_near).then(|| reader.stage(OTHER_LOAD)));
        live["lain_min"] = json!(self.lain_s().map(|s| s / 60.0));
        live["due"] = self.is_due().into();
        live["waits_because"] = json!(self.waits_because.as_ref().map(|why| reader.stage(why)));
        live["next"] = self.next().into();
        live["stage"] = self.stage().into();
        live
    }

    /// Where the verification stands.
    pub(in crate::proof) fn state(&self, reader: Reader, has_hands: bool) -> Value {
        let next = self.next();
        let steps: Vec<Value> = (0..self.plan.steps.len()).map(|i| self.step_of(reader, i)).collect();
        json!({
            "deck": self.deck.name,
            "calibrated_at": self.calibration.made_at,
            "e_g": self.deck.e_g,
            "stage": self.stage(),
            "steps": steps,
            "next": next,
            "drawing": self.plan.steps.get(next).filter(|s| !s.bodies.is_empty() || matches!(s.setting, Some(Setting::Tilt { .. }))).map(|s| reader.drawn(&drawing(reader, &self.deck, s).svg())),
            "tests": self.found(reader),
            "problem": self.report.as_ref().and_then(|r| r.as_ref().err()),
            "passed": self.report.as_ref().and_then(|r| r.as_ref().ok()).map(|r| r.passed),
            "open": self.open().map(|o| reader.stage(o)).collect::<Vec<_>>(),
            "ask": self.ask(),
            "files": self.keeping.names(reader),
            "has_hands": has_hands,
        })
    }

    /// What stays to be tested by hand: what the plan could not hold, and what bed and room were not there for.
    fn open(&self) -> impl Iterator<Item = &str> {
        let is_left_out = |kind: TestKind| {
            self.plan.steps.iter().zip(&self.kept.rows).any(|(s, row)| s.kind == kind && *row == Row::LeftOut)
        };
        let left_out = [(TestKind::Tilt, TILT_OPEN), (TestKind::Temperature, TEMPERATURE_OPEN)];
        let left_out = left_out.into_iter().filter(move |(kind, _)| is_left_out(*kind)).map(|(_, open)| open);
        self.plan.open.iter().map(String::as_str).chain(left_out)
    }

    /// What the person beside the deck is to enter for the next step, and what its field begins with.
    fn ask(&self) -> Value {
        let next = self.next();
        let Some(step) = self.plan.steps.get(next) else { return Value::Null };
        let last = self.entered_last(next);
        match &step.setting {
            Some(Setting::Tilt { section, deg, .. }) if *deg != 0.0 => {
                if self.tells_tilt(section) {
                    return Value::Null;
                }
                // The load that stands, or will stand, there: who reads the angle without it is to know too.
                let here = self.plan.steps.iter().filter(|s| s.setting == step.setting);
                let load_kg = here.map(|s| s.load_kg).fold(0.0, f64::max);
                // d(1 / cos θ) cos θ = tan θ dθ: what a tenth of a degree makes of the load.
                let slip_g = 1e3 * load_kg * deg.to_radians().tan().abs() * 0.1_f64.to_radians();
                json!({ "what": "angle", "section": section, "value": last, "slip_g": slip_g })
            }
            Some(Setting::Temperature { .. }) => {
                let own_c = self.listening.samples().last().and_then(|s| s.temperature_c);
                json!({ "what": "temperature", "value": last.or(own_c) })
            }
            Some(Setting::Tilt { .. }) | None => Value::Null,
        }
    }

    fn step_of(&self, reader: Reader, i: usize) -> Value {
        let step = &self.plan.steps[i];
        let (became, minutes, tilt_deg, temperature_c) = match &self.kept.rows[i] {
            Row::Waiting => ("waiting", None, None, None),
            Row::LeftOut => ("left out", None, None, None),
            Row::Taken { minutes, tilt_deg, temperature_c, .. } => ("taken", *minutes, *tilt_deg, *temperature_c),
        };
        let shown_kg = self.net_kg(i).filter(|_| step.act == Act::Read);
        json!({
            "kind": step.kind.word(), "name": reader.stage(test_name(step.kind.word())), "step": reader.stage(&step.step), "act": step.act,
            "bodies": step.bodies, "load_kg": step.load_kg, "due_min": step.minutes, "became": became,
            "setting": step.setting, "by_press": self.is_new_setting(i), "tilt_deg": tilt_deg, "temperature_C": temperature_c, "minutes": minutes, "shown_kg": shown_kg, "error_g": shown_kg.map(|kg| 1e3 * (kg - step.load_kg)),
            "limit_g": r76::mpe_g(self.deck.class, self.deck.e_g, step.load_kg, false),
        })
    }

    /// Each kind of test that is planned, in order: how far it is, and inside what limits.
    fn found(&self, reader: Reader) -> Vec<Value> {
        let report = self.report.as_ref().and_then(|r| r.as_ref().ok());
        let mut kinds: Vec<TestKind> = Vec::new();
        for step in &self.plan.steps {
            if !kinds.contains(&step.kind) {
                kinds.push(step.kind);
            }
        }
        let of_kind = |kind: TestKind| {
            let rows = self.plan.steps.iter().zip(&self.kept.rows).filter(move |(s, _)| s.kind == kind).map(|(_, r)| r);
            let is_over = rows.clone().all(|r| *r != Row::Waiting);
            let is_left_out = rows.clone().any(|r| *r == Row::LeftOut);
            let judged = report.and_then(|r| r.tests.iter().find(|t| t.test == kind.word()));
            json!({
                "kind": kind.word(), "name": reader.stage(test_name(kind.word())), "over": is_over, "left_out": is_left_out,
                "under_way": self.step_now().is_some_and(|s| s.kind == kind),
                "worst_g": judged.map(|t| t.worst_error_g), "limit_g": judged.map(|t| t.limit_g),
                "passed": judged.map(|t| t.passed),
                // What is still to come is no gap.
                "complete": is_over && judged.is_some_and(|t| t.gaps.is_empty()),
                "judged": judged.map(|t| reader.stage(t.judged)),
                "gaps": judged.filter(|_| is_over).map(|t| t.gaps.iter().map(|g| reader.stage(g)).collect::<Vec<_>>()).unwrap_or_default(),
                "chart": judged.zip(report).map(|(t, r)| reader.drawn(&reader.chart(of_test(t, &r.permissible)).svg())),
            })
        };
        kinds.into_iter().map(of_kind).collect()
    }
}
