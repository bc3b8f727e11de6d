//! Where the verification stands, and what each step does to it.

mod told;

use std::sync::Arc;

use deck::oiml::r76;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::Sample;
use formats::tests::{Test, TestKind};
use serde_json::{Value, json};
use verify::indication::indication_at_kg;
use verify::plan::{Act, Setting, Step, TestPlan};
use verify::{Phase, VerifyReport, verify};

use super::kept::{Kept, NAME, Row};
use super::standing::{self, Angle};
use super::{Begin, ProofError};
use crate::guided::keeping::{End, Keeping};
use crate::guided::listening::Listening;
use crate::guided::{Body, against, is_all_the_same, meant_for, no_step};
use crate::workbench::Refusal;

/// A reading that is due at a minute is taken so many seconds before it at the earliest.
const EARLY_S: f64 = 2.0;
/// What is shown and what stands there may differ by so many permissible errors before the page asks whether it is the load that
/// it takes it for: a wrong body is off by kilograms, a bad deck by a few limits (engineering choice).
const FAR_LIMITS: f64 = 10.0;
/// Said where it is farther.
const OTHER_LOAD: &str = "the deck shows another load than is asked for: look at what stands there";

pub(super) struct Session {
    deck: Deck,
    calibration: Calibration,
    plan: TestPlan,
    kept: Kept,
    keeping: Keeping,
    now: fn() -> String,
    pub(super) listening: Listening,
    /// When the load was read first that lies now, by the deck's clock, s.
    lies_since_s: Option<f64>,
    /// Why a reading that is due was not taken.
    waits_because: Option<String>,
    report: Option<Result<VerifyReport, String>>,
}

/// How bed and room are to stand for a step.
pub(super) struct Stands {
    /// Angle of each section, °.
    pub(super) angles_deg: Vec<f64>,
    /// Index of the section that is not flat.
    pub(super) turned: Option<usize>,
    /// Temperature, °C, where the step is about it.
    pub(super) room_c: Option<f64>,
}

/// Creep and the return of zero are one course: half an hour under load, then zero.
fn group(kind: TestKind) -> TestKind {
    if kind == TestKind::ZeroReturn { TestKind::Creep } else { kind }
}

impl Session {
    pub(super) fn new(begin: &Begin, calibration: Calibration) -> Result<Self, ProofError> {
        let deck = begin.deck.clone();
        if calibration.deck != deck.name {
            let (found, expected) = (calibration.deck, deck.name);
            return Err(ProofError::OtherDeck { found, expected });
        }
        if let Some(open) = calibration.cells.iter().find(|c| c.kg_per_count.is_none() || c.zero_counts.is_none()) {
            return Err(ProofError::OpenCell { cell: open.name.clone() });
        }
        let plan = verify::plan::plan(&deck, &begin.masses)?;
        let planned = json!(plan.steps).to_string();
        let begun = Kept::new(&deck.name, &calibration.made_at, &planned, plan.steps.len());
        let kept = match (begin.kept)().map_err(|why| ProofError::Kept { why })? {
            Some(text) => Kept::read(&text, &begun, calibration.cells.len()).map_err(|why| ProofError::Kept { why })?,
            None => begun,
        };
        let mut session = Self {
            deck,
            calibration,
            plan,
            kept,
            keeping: Keeping::new(Arc::clone(&begin.keep)),
            now: begin.now,
            listening: Listening::default(),
            lies_since_s: None,
            waits_because: None,
            report: None,
        };
        session.begin_lying_anew();
        session.judge();
        session.finish();
        Ok(session)
    }

    /// When the calibration was made that is verified.
    pub(super) fn calibrated_at(&self) -> &str {
        &self.calibration.made_at
    }

    pub(super) fn sample(&mut self, sample: Sample) {
        if self.listening.hear(sample) {
            self.begin_lying_anew();
            self.judge();
        }
        // Nobody touches the deck while a load lies: what is due is read by itself.
        self.waits_because = None;
        if self.waits_min().is_some_and(|minutes| minutes > 0.0)
            && self.is_due()
            && let Err(Refusal(_, why)) = self.take(&Value::Null, true)
        {
            self.waits_because = Some(why);
        }
    }

    /// The clock of a load that lies was lost, with the power or with the controller: the half hour begins anew.
    fn begin_lying_anew(&mut self) {
        self.lies_since_s = None;
        let is_under_way = self.step_now().is_some_and(|s| group(s.kind) == TestKind::Creep);
        if is_under_way {
            for (step, row) in self.plan.steps.iter().zip(&mut self.kept.rows) {
                if step.minutes.is_some() && *row != Row::LeftOut {
                    *row = Row::Waiting;
                }
            }
        }
    }

    fn next(&self) -> usize {
        self.kept.rows.iter().position(|r| *r == Row::Waiting).unwrap_or(self.kept.rows.len())
    }

    fn step_now(&self) -> Option<&Step> {
        self.plan.steps.get(self.next())
    }

    fn is_done(&self) -> bool {
        self.next() == self.kept.rows.len()
    }

    /// At which minute the next reading is due, where it is one of a load that lies.
    fn waits_min(&self) -> Option<f64> {
        self.step_now()?.minutes
    }

    fn lain_s(&self) -> Option<f64> {
        Some(self.listening.now_s()? - self.lies_since_s?)
    }

    fn is_due(&self) -> bool {
        match self.waits_min() {
            Some(minutes) if minutes > 0.0 => self.lain_s().is_some_and(|s| s >= 60.0 * minutes - EARLY_S),
            _ => true,
        }
    }

    /// The bodies that the next step asks for.
    pub(super) fn bodies(&self) -> Vec<Body> {
        let plate_of = |name: &str| self.deck.plates.iter().position(|p| p.name == name).unwrap_or(0);
        let body =
            |b: &verify::plan::Placed| Body { plate: plate_of(&b.plate), at_mm: b.at_mm, mass_kg: Some(b.mass_kg) };
        self.step_now().map(|s| s.bodies.iter().map(body).collect()).unwrap_or_default()
    }

    fn section(&self, name: &str) -> Option<usize> {
        self.deck.sections.iter().position(|s| s.name == name)
    }

    /// Whether the deck itself tells the angle of a section: nobody is asked for it then.
    fn tells_tilt(&self, section: &str) -> bool {
        self.section(section).is_some_and(|i| self.listening.tells_tilt(i))
    }

    /// How the next step asks bed and room to stand.
    pub(super) fn stands(&self) -> Stands {
        let mut stands = Stands { angles_deg: vec![0.0; self.deck.sections.len()], turned: None, room_c: None };
        match self.step_now().and_then(|s| s.setting.as_ref()) {
            Some(Setting::Tilt { section, deg, .. }) if *deg != 0.0 => {
                stands.turned = self.section(section);
                if let Some(turned) = stands.turned {
                    stands.angles_deg[turned] = *deg;
                }
            }
            Some(Setting::Temperature { celsius }) => stands.room_c = Some(*celsius),
            Some(Setting::Tilt { .. }) | None => {}
        }
        stands
    }

    /// Steps before one that were read, the newest first, with angle and temperature.
    fn read_before(&self, step: usize) -> impl Iterator<Item = (&Step, Option<f64>, Option<f64>)> {
        let rows = self.plan.steps.iter().zip(&self.kept.rows).take(step).rev();
        rows.filter_map(|(step, row)| match row {
            Row::Taken { tilt_deg, temperature_c, .. } => Some((step, *tilt_deg, *temperature_c)),
            Row::Waiting | Row::LeftOut => None,
        })
    }

    /// Whether a step is the first at its angle or temperature: nothing that the deck shows says that bed and room stand so.
    fn is_new_setting(&self, step: usize) -> bool {
        let setting = |i: usize| self.plan.steps.get(i).and_then(|s| s.setting.as_ref());
        match (setting(step), step.checked_sub(1).and_then(setting)) {
            (Some(Setting::Tilt { section, deg, .. }), Some(Setting::Tilt { section: before, deg: at, .. })) => {
                section != before || (deg - at).abs() > 1e-9
            }
            (now, before) => now.is_some() && now != before,
        }
    }

    /// At what angle the same plate was read without load for a loaded step, °: the pair is judged as one angle.
    fn empty_deg(&self, step: usize) -> Option<f64> {
        let now = self.plan.steps.get(step)?;
        let fellow = |s: &Step| s.setting == now.setting && s.load_kg == 0.0;
        let setting = now.setting.as_ref().filter(|_| now.load_kg > 0.0)?;
        matches!(setting, Setting::Tilt { .. })
            .then(|| self.read_before(step).find(|(s, _, _)| fellow(s)).and_then(|(_, deg, _)| deg))
            .flatten()
    }

    /// What was entered last for the same angle or temperature.
    fn entered_last(&self, step: usize) -> Option<f64> {
        match self.plan.steps.get(step)?.setting.as_ref()? {
            Setting::Tilt { section, deg, .. } => {
                let is_same = |s: &Step| matches!(&s.setting, Some(Setting::Tilt { section: other, deg: at, .. }) if other == section && (at - deg).abs() < 1e-9);
                self.read_before(step).find(|(s, _, _)| is_same(s)).and_then(|(_, deg, _)| deg)
            }
            setting @ Setting::Temperature { .. } => {
                self.read_before(step).find(|(s, _, _)| s.setting.as_ref() == Some(setting)).and_then(|(_, _, c)| c)
            }
        }
    }

    /// Angle and temperature at which the next step is read.
    fn standing(&self, step: usize, entered: &Value) -> Result<(Option<f64>, Option<f64>), Refusal> {
        let own_c = self.listening.samples().last().and_then(|s| s.temperature_c);
        match self.plan.steps.get(step).and_then(|s| s.setting.as_ref()) {
            None => Ok((None, own_c)),
            Some(Setting::Tilt { section, deg, .. }) => {
                // Nothing was heard since the last reading: that says so.
                if self.tells_tilt(section) && self.listening.samples().is_empty() {
                    self.listening.reading(&self.deck)?;
                }
                let angle = Angle {
                    section,
                    asked_deg: *deg,
                    measured: self.section(section).and_then(|i| self.listening.tilt(i)),
                    empty_deg: self.empty_deg(step),
                };
                Ok((Some(angle.read(entered)?), own_c))
            }
            Some(Setting::Temperature { celsius }) => Ok((None, Some(standing::temperature_c(*celsius, entered)?))),
        }
    }

    /// Cosines of the cells' angles where a step is read at one, in the order of the calibration.
    fn cosines(&self, step: usize, tilt_deg: Option<f64>) -> Vec<f64> {
        let setting = self.plan.steps.get(step).and_then(|s| s.setting.as_ref());
        let (Some(Setting::Tilt { section, .. }), Some(deg)) = (setting, tilt_deg) else { return Vec::new() };
        let of = |plate: usize| self.deck.plates[plate].section == *section;
        self.deck.cells().map(|(plate, _)| if of(plate) { deg.to_radians().cos() } else { 1.0 }).collect()
    }

    /// A step that the page asks for.
    pub(super) fn step(&mut self, step: &str, entered: &Value) -> Result<Value, Refusal> {
        meant_for(entered, self.next())?;
        match step {
            "take" => self.take(entered, is_all_the_same(entered))?,
            // Unasked, only what looks like the load that is planned.
            "take-if-near" => {
                if self.is_new_setting(self.next()) {
                    return Err(against(
                        "the first reading at an angle or a temperature is taken by a press: look whether bed and room stand so",
                    ));
                }
                self.take(entered, false)?;
            }
            "leave-out" => self.leave_out()?,
            "back" => self.back()?,
            other => return Err(no_step(other)),
        }
        Ok(json!({ "done": true }))
    }

    /// Keeps first, and only then holds it to be so.
    fn put(&mut self, rows: Vec<Row>) -> Result<(), Refusal> {
        let is_over = rows.iter().all(|row| *row != Row::Waiting);
        let ended_at = is_over.then(|| self.kept.ended_at.clone().unwrap_or_else(self.now));
        let kept = Kept { rows, ended_at, ..self.kept.clone() };
        self.keeping.step(NAME, &kept.write())?;
        self.kept = kept;
        self.judge();
        self.finish();
        Ok(())
    }

    fn take(&mut self, entered: &Value, all_the_same: bool) -> Result<(), Refusal> {
        let next = self.next();
        let Some(step) = self.plan.steps.get(next).cloned() else {
            return Err(against("every reading was taken"));
        };
        if !self.is_due() {
            let lain_min = self.lain_s().unwrap_or(0.0) / 60.0;
            return Err(against(&format!(
                "this reading is due {} min after the load was put on, {lain_min:.1} min are over",
                step.minutes.unwrap_or_default()
            )));
        }
        let (tilt_deg, temperature_c) = self.standing(next, entered)?;
        let counts = self.listening.reading(&self.deck)?;
        if !all_the_same && !self.is_near() {
            return Err(against(OTHER_LOAD));
        }
        let begins = step.minutes == Some(0.0);
        let minutes = match step.minutes {
            // To the half minute: a reading is ten seconds long.
            Some(minutes) if minutes > 0.0 => self.lain_s().map(|s| (s / 30.0).round() / 2.0),
            Some(_) => Some(0.0),
            // The zero after a load says how long that lay.
            None if step.kind == TestKind::ZeroReturn => self.last_minutes(next),
            None => None,
        };
        let began_s = self.listening.now_s();
        let mut rows = self.kept.rows.clone();
        rows[next] = Row::Taken { counts, minutes, temperature_c, tilt_deg };
        self.put(rows)?;
        if begins {
            self.lies_since_s = began_s;
        }
        self.listening.forget();
        Ok(())
    }

    fn last_minutes(&self, before: usize) -> Option<f64> {
        let minutes = |row: &Row| if let Row::Taken { minutes, .. } = row { *minutes } else { None };
        self.kept.rows[..before].last().and_then(minutes)
    }

    fn leave_out(&mut self) -> Result<(), Refusal> {
        let Some(kind) = self.step_now().map(|s| group(s.kind)) else {
            return Err(against("every reading was taken"));
        };
        let rows = self.plan.steps.iter().zip(&self.kept.rows);
        self.put(rows.map(|(s, row)| if group(s.kind) == kind { Row::LeftOut } else { row.clone() }).collect())?;
        self.lies_since_s = None;
        Ok(())
    }

    fn back(&mut self) -> Result<(), Refusal> {
        let Some(last) = self.next().checked_sub(1) else { return Err(against("no reading was taken yet")) };
        let kind = group(self.plan.steps[last].kind);
        let mut rows = self.kept.rows.clone();
        if rows[last] == Row::LeftOut {
            for (step, row) in self.plan.steps.iter().zip(&mut rows) {
                if group(step.kind) == kind {
                    *row = Row::Waiting;
                }
            }
        } else {
            rows[last] = Row::Waiting;
        }
        self.put(rows)?;
        // A load that lies is one course: half of it cannot be read again.
        if kind == TestKind::Creep {
            self.begin_lying_anew();
            self.put(self.kept.rows.clone())?;
        }
        Ok(())
    }

    /// What the counts show above the calibration's zeros, kg, at the angles of the cells' sections.
    fn shown_kg(&self, counts: &[f64], cosines: &[f64]) -> Option<f64> {
        // Cells and gains were looked at when the session began.
        indication_at_kg(&self.calibration, counts, self.calibration.gravity_m_s2, cosines).ok()
    }

    /// What was taken off as zero or tare when that step is read, kg.
    fn taken_off_kg(&self, step: usize) -> f64 {
        let kind = self.plan.steps.get(step).map(|s| s.kind);
        let (mut zero_kg, mut tare_kg) = (0.0, None);
        for (step, row) in self.plan.steps[..step.min(self.plan.steps.len())].iter().zip(&self.kept.rows) {
            if let (Act::SetZero | Act::SetTare, Row::Taken { counts, .. }) = (step.act, row) {
                let kg = self.shown_kg(counts, &[]).unwrap_or(0.0);
                if step.act == Act::SetZero { zero_kg = kg } else { tare_kg = Some(kg) }
            }
        }
        tare_kg.filter(|_| kind == Some(TestKind::Tare)).unwrap_or(zero_kg)
    }

    /// Net indication of a step that was read, kg.
    fn net_kg(&self, step: usize) -> Option<f64> {
        let Row::Taken { counts, tilt_deg, .. } = self.kept.rows.get(step)? else { return None };
        let shown_kg = self.shown_kg(counts, &self.cosines(step, *tilt_deg))?;
        // To a tenth of a gram, far below e/5.
        Some(((shown_kg - self.taken_off_kg(step)) * 1e4).round() / 1e4)
    }

    /// The rows of tests.csv so far.
    fn tests(&self) -> Vec<Test> {
        let mut tests: Vec<Test> = Vec::new();
        for (i, (step, row)) in self.plan.steps.iter().zip(&self.kept.rows).enumerate() {
            let Row::Taken { minutes, temperature_c, tilt_deg, .. } = row else { continue };
            let (Act::Read, Some(indication_kg)) = (step.act, self.net_kg(i)) else { continue };
            let on_one = step.bodies.first().filter(|first| step.bodies.iter().all(|b| b.plate == first.plate));
            // At an angle an empty plate is the fellow of the loaded one, and both stand at the angle of the empty one.
            let plate = match &step.setting {
                Some(Setting::Tilt { plate, .. }) => Some(plate.clone()),
                _ => on_one.map(|b| b.plate.clone()),
            };
            tests.push(Test {
                line: tests.len() + 2,
                kind: step.kind,
                step: step.step.clone(),
                plate,
                at_mm: on_one.map(|b| b.at_mm),
                load_kg: step.load_kg,
                indication_kg,
                added_g: None,
                minutes: *minutes,
                temperature_c: *temperature_c,
                tilt_deg: self.empty_deg(i).or(*tilt_deg),
            });
        }
        // A load whose addition is still to come says nothing yet.
        if tests.iter().filter(|t| t.kind == TestKind::Discrimination).count() % 2 == 1
            && let Some(i) = tests.iter().rposition(|t| t.kind == TestKind::Discrimination)
        {
            tests.remove(i);
        }
        tests
    }

    fn judge(&mut self) {
        let tests = self.tests();
        self.report = (!tests.is_empty())
            .then(|| verify(&self.deck, &self.calibration, &tests, Phase::Initial).map_err(|e| e.to_string()));
    }

    /// Writes the files of the end once every step was done or left out.
    fn finish(&mut self) {
        let Some(Ok(report)) = self.report.as_ref().filter(|_| self.is_done()) else { return };
        let behind =
            crate::documents::EvidenceFiles { deck: "deck.toml", calibration: "calibration.json", tests: "tests.csv" };
        // A file of the version before does not say when.
        let ended_at = self.kept.ended_at.clone().unwrap_or_else(self.now);
        let evidence = End::documents(["evidence.html", "evidence.de.html"], |reader| {
            crate::documents::evidence(reader, report, behind, &ended_at)
        });
        let tests = formats::tests::write(&self.tests());
        self.keeping.end([("tests.csv", End::Data(tests))].into_iter().chain(evidence));
    }

    pub(super) fn file(&self, name: &str) -> Option<String> {
        self.keeping.file(name)
    }

    /// What the deck shows now, net, kg.
    fn shown_now_kg(&self) -> Option<f64> {
        let counts: Vec<f64> = self.listening.settling(&self.deck)?.counts.into_iter().collect::<Option<_>>()?;
        let next = self.next();
        let stands = self.stands();
        let measured_deg = stands.turned.and_then(|section| self.listening.tilt(section)).map(|tilt| tilt.deg);
        let asked_deg = stands.turned.and_then(|section| stands.angles_deg.get(section).copied());
        let tilt_deg = measured_deg.or_else(|| self.entered_last(next)).or(asked_deg);
        Some(self.shown_kg(&counts, &self.cosines(next, tilt_deg))? - self.taken_off_kg(next))
    }

    /// Whether what is shown may be the load that the next step asks for.
    fn is_near(&self) -> bool {
        let (Some(step), Some(shown_kg)) = (self.step_now(), self.shown_now_kg()) else { return false };
        // A zero is set where the zero before lay, at first where the calibration has it; a tare of the bodies that make it.
        let is_tare = step.act == Act::SetTare;
        let asked_kg = if is_tare { step.bodies.iter().map(|b| b.mass_kg).sum() } else { step.load_kg };
        let limit_g = r76::mpe_g(self.deck.class, self.deck.e_g, asked_kg, false);
        1e3 * (shown_kg - asked_kg).abs() <= FAR_LIMITS * limit_g
    }

    fn stage(&self) -> &'static str {
        if self.is_done() { "done" } else { "place" }
    }
}
