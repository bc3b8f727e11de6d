//! Where the run stands, and what each step does to it.

use std::sync::Arc;

use calibrate::meant::{self, Doubt};
use calibrate::plan::{Lift, Plan, PlanOptions, plan, run_to_fill};
use calibrate::settle;
use calibrate::touch::{TouchPlace, touch, touch_places};
use formats::calibration::{Calibration, FindingKind};
use formats::certificate::Details;
use formats::deck::Deck;
use formats::recording::Sample;
use formats::run::{Load, Placement, Run};
use report::text::finding_word;
use serde_json::{Value, json};

use super::kept::{Kept, NAME};
use super::{Body, Start};
use crate::checklist::{drawing_of, touch_drawing};
use crate::guided::keeping::{End, Keeping};
use crate::guided::listening::Listening;
use crate::guided::{against, is_all_the_same, meant_for, no_step};
use crate::words::Reader;
use crate::workbench::Refusal;

/// A touch check takes minutes; more would only fill the memory, s.
const TOUCH_MOST_S: f64 = 1800.0;
/// A press is seen from here on, kg by the data sheet.
const PRESS_KG: f64 = 2.0;
/// Seconds over which the page is told what moves.
const NOW_S: f64 = 1.0;

/// Why a guided calibration cannot begin.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GuideError {
    /// No plan.
    #[error(transparent)]
    Plan(#[from] calibrate::plan::PlanError),
    /// What was kept is of something else.
    #[error("{NAME}: {why}; name another folder, or move the file away to begin anew")]
    Kept {
        /// Why.
        why: String,
    },
}

/// What is to be done next at the deck.
pub(super) enum Task {
    Press { plate: usize, at_mm: [f64; 2] },
    Put(Body),
    Off,
}

pub(super) struct Session {
    deck: Deck,
    plan: Plan,
    run: Run,
    places: Vec<TouchPlace>,
    kept: Kept,
    keeping: Keeping,
    now: fn() -> String,
    listening: Listening,
    touching: Option<Touching>,
    /// Whether the load was seen to change since the last reading.
    is_moved: bool,
    calibration: Option<Result<Calibration, String>>,
}

/// A touch check under way.
struct Touching {
    samples: Vec<Sample>,
    rest: Vec<f64>,
    /// Places pressed so far, with the cell that answered.
    answered: Vec<String>,
    is_pressed: bool,
}

impl Session {
    pub(super) fn new(start: Start) -> Result<Self, GuideError> {
        let Start { deck, masses, kept, keep, now, hands: _ } = start;
        let plan = plan(&deck, &masses, &PlanOptions::default())?;
        let run = run_to_fill(&deck, &plan);
        let planned = formats::run::write(&run);
        let kept = match kept {
            Some(text) => {
                Kept::read(&text, &deck.name, &planned, run.cells.len()).map_err(|why| GuideError::Kept { why })?
            }
            None => Kept::new(&deck.name, &planned),
        };
        let places = touch_places(&deck);
        let mut session = Self {
            deck,
            plan,
            run,
            places,
            kept,
            keeping: Keeping::new(Arc::new(keep)),
            now,
            listening: Listening::default(),
            touching: None,
            is_moved: false,
            calibration: None,
        };
        session.judge();
        session.finish();
        Ok(session)
    }

    pub(super) fn sample(&mut self, sample: Sample) {
        self.listening.hear(sample.clone());
        self.follow_load();
        self.follow_touch(sample);
    }

    fn samples(&self) -> &[Sample] {
        self.listening.samples()
    }

    /// Looks whether the load changes: a reading by itself is of a load that was put there since the last one.
    fn follow_load(&mut self) {
        let Some(last) = self.kept.counts.last().filter(|_| !self.is_moved && !self.is_done()) else { return };
        let moved_kg = settle::moved_kg(&self.deck, self.samples(), last, NOW_S).unwrap_or_default();
        self.is_moved = meant::is_moved(&self.plan, &moved_kg);
    }

    /// The placement of a row; `None` without load.
    fn lift(&self, row: usize) -> Option<&Lift> {
        let step = &self.run.rows.get(row)?.step;
        self.plan.lifts.iter().find(|l| l.step.to_string() == *step)
    }

    /// What speaks against these counts being those of the load that the next row asks for.
    fn doubt(&self, counts: &[f64]) -> Option<Doubt> {
        let next = self.kept.counts.len();
        let mut taken = self.run.rows.iter().zip(&self.kept.counts).rev();
        let (_, zero) = taken.find(|(row, _)| row.load == Load::Zero)?;
        let kg = settle::between_kg(&self.deck, zero, counts).ok()?;
        let before = next.checked_sub(1).and_then(|before| self.lift(before));
        meant::doubt(&self.deck, &self.plan, self.lift(next), before, &kg)
    }

    /// Whether the next row may be read although nothing was moved: the first one, and two without load on end.
    fn may_stay(&self) -> bool {
        let next = self.kept.counts.len();
        next.checked_sub(1).is_none_or(|before| self.lift(before).is_none() && self.lift(next).is_none())
    }

    fn follow_touch(&mut self, sample: Sample) {
        let Some(mut touching) = self.touching.take() else { return };
        let began_s = touching.samples.first().map_or(sample.t_s, |s| s.t_s);
        if sample.t_s - began_s > TOUCH_MOST_S || sample.t_s < began_s {
            return;
        }
        touching.samples.push(sample);
        let moved = settle::moved_kg(&self.deck, self.samples(), &touching.rest, NOW_S).unwrap_or_default();
        let most = moved.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        match most {
            Some((cell, kg)) if kg.abs() >= PRESS_KG && !touching.is_pressed => {
                touching.is_pressed = true;
                touching.answered.push(self.run.cells.get(cell).cloned().unwrap_or_default());
            }
            Some((_, kg)) if kg.abs() < PRESS_KG / 2.0 => touching.is_pressed = false,
            _ => {}
        }
        self.touching = Some(touching);
    }

    /// Whether the touch check is behind.
    fn is_touched(&self) -> bool {
        self.kept.touch_left_out || self.kept.touched.is_some()
    }

    fn is_done(&self) -> bool {
        self.kept.counts.len() == self.run.rows.len()
    }

    /// What is to be done next.
    pub(super) fn task(&self) -> Task {
        let plate_of = |name: &str| self.deck.plates.iter().position(|p| p.name == name).unwrap_or(0);
        if let Some(touching) = &self.touching {
            return match self.places.get(touching.answered.len()) {
                Some(place) if !touching.is_pressed => {
                    Task::Press { plate: plate_of(&place.plate), at_mm: [place.x_mm, place.y_mm] }
                }
                _ => Task::Off,
            };
        }
        match self.run.rows.get(self.kept.counts.len()).map(|r| &r.load) {
            Some(Load::Known { at, mass_kg, .. }) => {
                Task::Put(Body { plate: plate_of(&at.plate), at_mm: [at.x_mm, at.y_mm], mass_kg: Some(*mass_kg) })
            }
            Some(Load::Unknown { at, .. }) => {
                Task::Put(Body { plate: plate_of(&at.plate), at_mm: [at.x_mm, at.y_mm], mass_kg: None })
            }
            Some(Load::Zero) | None => Task::Off,
        }
    }

    /// A step that the page asks for.
    pub(super) fn step(&mut self, step: &str, entered: &Value) -> Result<Value, Refusal> {
        meant_for(entered, self.kept.counts.len())?;
        match step {
            "begin-touch" => self.begin_touch()?,
            "end-touch" => self.end_touch()?,
            "leave-touch-out" => {
                self.touching = None;
                self.put(Kept { touch_left_out: true, ..self.kept.clone() })?;
            }
            "touch-again" => {
                self.touching = None;
                self.put(Kept { touch_left_out: false, touched: None, ..self.kept.clone() })?;
            }
            "take" => self.take(is_all_the_same(entered))?,
            // Unasked, only of a load that came since the last reading.
            "take-if-moved" => {
                if !self.is_moved && !self.may_stay() {
                    return Err(against("the load was not moved since the last reading: nothing was taken"));
                }
                self.take(false)?;
            }
            "back" => {
                let mut kept = self.kept.clone();
                if kept.counts.pop().is_none() {
                    return Err(against("no reading was taken yet"));
                }
                kept.temperatures_c.pop();
                kept.made_at = None;
                self.put(kept)?;
                self.is_moved = false;
                self.judge();
            }
            other => return Err(no_step(other)),
        }
        Ok(json!({ "done": true }))
    }

    /// Keeps first, and only then holds it to be so.
    fn put(&mut self, kept: Kept) -> Result<(), Refusal> {
        self.keeping.step(NAME, &kept.write())?;
        self.kept = kept;
        Ok(())
    }

    fn begin_touch(&mut self) -> Result<(), Refusal> {
        let rest = self.listening.reading(&self.deck)?;
        // The recording begins at rest, with what was just heard.
        self.touching =
            Some(Touching { samples: self.samples().to_vec(), rest, answered: Vec::new(), is_pressed: false });
        Ok(())
    }

    fn end_touch(&mut self) -> Result<(), Refusal> {
        let Some(touching) = &self.touching else { return Err(against("no touch check is under way")) };
        let report = touch(&self.deck, &touching.samples).map_err(|e| against(&e.to_string()))?;
        let found = report.findings.iter().map(|f| format!("{}: {}", finding_word(f.kind), f.text)).collect();
        self.put(Kept { touched: Some(found), ..self.kept.clone() })?;
        self.touching = None;
        Ok(())
    }

    fn take(&mut self, all_the_same: bool) -> Result<(), Refusal> {
        if !self.is_touched() {
            return Err(against("make the touch check first, or leave it out"));
        }
        if self.is_done() {
            return Err(against("every reading was taken"));
        }
        let counts = self.listening.reading(&self.deck)?;
        if let Some(doubt) = self.doubt(&counts).filter(|_| !all_the_same) {
            return Err(against(&doubt.to_string()));
        }
        let mut kept = self.kept.clone();
        kept.counts.push(counts);
        kept.temperatures_c.push(self.listening.temperature_c());
        kept.made_at = (kept.counts.len() == self.run.rows.len()).then(self.now);
        self.put(kept)?;
        self.listening.forget();
        self.is_moved = false;
        self.judge();
        self.finish();
        Ok(())
    }

    /// The calibration that the whole run gave.
    pub(super) fn calibration(&self) -> Option<Calibration> {
        self.calibration.as_ref().filter(|_| self.is_done())?.as_ref().ok().cloned()
    }

    /// The run as far as it was taken.
    fn taken(&self) -> Run {
        let read = self.kept.counts.iter().zip(&self.kept.temperatures_c);
        let rows = self.run.rows.iter().zip(read).map(|(row, (counts, temperature_c))| formats::run::Row {
            counts: counts.clone(),
            temperature_c: *temperature_c,
            ..row.clone()
        });
        let rows = rows.collect();
        Run { cells: self.run.cells.clone(), rows }
    }

    fn judge(&mut self) {
        let run = self.taken();
        let has_load = run.rows.iter().any(|r| matches!(r.load, Load::Known { .. }));
        let made_at = self.kept.made_at.clone().unwrap_or_else(self.now);
        self.calibration = has_load.then(|| {
            calibrate::calibrate(&self.deck, &run, &calibrate::Options::new(made_at)).map_err(|e| e.to_string())
        });
    }

    /// Writes the files of the end once all readings were taken.
    fn finish(&mut self) {
        if !self.is_done() {
            return;
        }
        let run = self.taken();
        let mut files = vec![("run.csv", End::Data(formats::run::write(&run)))];
        if let Some(Ok(calibration)) = &self.calibration {
            files.push(("calibration.json", End::Data(formats::calibration::write(calibration))));
            let details = Details::default();
            if let Ok(stated) = calibrate::certificate::certificate(&self.deck, &run, calibration, &details) {
                let source = crate::certificate::Source {
                    deck: &self.deck,
                    run_file: "run.csv",
                    calibration,
                    details: &details,
                    certificate: &stated,
                    gravity_in_use_m_s2: deck_gravity(&self.deck),
                };
                files.extend(End::documents(["certificate.html", "certificate.de.html"], |reader| {
                    crate::certificate::certificate(reader, &source)
                }));
            }
        }
        self.keeping.end(files);
    }

    pub(super) fn file(&self, name: &str) -> Option<String> {
        self.keeping.file(name)
    }

    /// What changes while somebody waits.
    pub(super) fn live(&self, reader: Reader) -> Value {
        let touching = self.touching.as_ref().map(|t| {
            let moved = settle::moved_kg(&self.deck, self.samples(), &t.rest, NOW_S).unwrap_or_default();
            json!({ "pressed": t.answered.len(), "of": self.places.len(), "is_pressed": t.is_pressed, "answered": t.answered,
                    "moved_kg": moved })
        });
        let mut live = self.listening.told(&self.deck);
        live["cells"] = json!(self.run.cells);
        live["touching"] = json!(touching);
        live["next"] = self.kept.counts.len().into();
        live["stage"] = self.stage().into();
        live["moved"] = (self.is_moved || self.may_stay()).into();
        let doubt =
            (live["settled"] == true && self.stage() == "place").then(|| self.listening.reading(&self.deck).ok());
        let doubt = doubt.flatten().and_then(|counts| self.doubt(&counts));
        live["doubt"] = json!(doubt.map(|doubt| reader.stage(&doubt.to_string())));
        live
    }

    fn stage(&self) -> &'static str {
        if !self.is_touched() {
            "touch"
        } else if self.is_done() {
            "done"
        } else {
            "place"
        }
    }

    /// Where the run stands.
    pub(super) fn state(&self, reader: Reader, has_hands: bool) -> Value {
        let next = self.kept.counts.len();
        let steps: Vec<Value> =
            self.run.rows.iter().enumerate().map(|(i, row)| self.step_of(reader, i, &row.load, next)).collect();
        let touched = self.kept.touched.as_ref().map(|t| t.iter().map(|f| reader.stage(f)).collect::<Vec<_>>());
        let touch = json!({
            "places": self.places, "drawings": self.touch_drawings(reader), "under_way": self.touching.is_some(),
            "found": touched, "left_out": self.kept.touch_left_out,
        });
        json!({
            "deck": self.deck.name,
            "stage": self.stage(),
            "touch": touch,
            "steps": steps,
            "next": next,
            "drawing": self.drawing(reader, next),
            "found": self.found(reader),
            "expected": self.plan.cells.iter().map(|c| json!({ "cell": c.name, "u_pct": c.u_pct })).collect::<Vec<_>>(),
            "notes": self.plan.notes,
            "files": self.keeping.names(reader),
            "has_hands": has_hands,
        })
    }

    fn step_of(&self, reader: Reader, index: usize, load: &Load, next: usize) -> Value {
        let at = |at: &Placement| (at.plate.clone(), at.x_mm, at.y_mm);
        let (what, mass_kg, place) = match load {
            Load::Zero => (reader.say("nothing on the deck").to_owned(), None, None),
            Load::Known { at: place, mass_kg, label, .. } => {
                (label.clone().unwrap_or_else(|| reader.say("a mass").into()), Some(*mass_kg), Some(at(place)))
            }
            Load::Unknown { at: place, label } => (label.clone(), None, Some(at(place))),
        };
        let place = place.map(|(plate, x_mm, y_mm)| json!({ "plate": plate, "x_mm": x_mm, "y_mm": y_mm }));
        json!({ "step": self.run.rows[index].step, "what": what, "mass_kg": mass_kg, "place": place, "done": index < next })
    }

    /// Where to press, place by place, while that is asked for.
    fn touch_drawings(&self, reader: Reader) -> Vec<String> {
        let drawn = |place| reader.drawn(&touch_drawing(reader, &self.deck, place).svg());
        if self.touching.is_some() { self.places.iter().map(drawn).collect() } else { Vec::new() }
    }

    fn drawing(&self, reader: Reader, next: usize) -> Option<String> {
        let lift = self.lift(next)?;
        Some(reader.drawn(&drawing_of(reader, &self.deck, lift).svg()))
    }

    fn found(&self, reader: Reader) -> Value {
        match &self.calibration {
            None => Value::Null,
            Some(Err(problem)) => json!({ "problem": reader.stage(problem) }),
            Some(Ok(found)) => json!({
                "determined": found.cells.iter().filter(|c| c.kg_per_count.is_some()).count(),
                "of": found.cells.len(),
                "residual_sd_g": found.residual_sd_g,
                "residuals": found.residuals.iter().map(|r| json!({ "step": r.step, "plate": r.plate, "load_kg": r.load_kg, "g": r.residual_g })).collect::<Vec<_>>(),
                // Cells whose masses are still to come are open, which the count above says; at the end it is a finding.
                "findings": found.findings.iter().filter(|f| self.is_done() || f.kind != FindingKind::NotDetermined).map(|f| reader.stage(&format!("{}: {}", finding_word(f.kind), f.text))).collect::<Vec<_>>(),
            }),
        }
    }
}

fn deck_gravity(deck: &Deck) -> f64 {
    deck::gravity_m_s2(&deck.site)
}
