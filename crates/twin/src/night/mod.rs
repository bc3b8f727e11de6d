//! A night on a built deck: counts, sample by sample, with what people did and what is true.
//!
//! [`Night::new`] draws the whole programme and the patient's fluids at once; [`Night::next_sample`] then yields the recording
//! in constant memory. The samples are those of the converter, or means of its conversions where the recording is slower.
//!
//! The way of a sample: what lies on the bed (`load`: mattress, things, patient with breathing, heart and stirring, hands)
//! presses at each plate's angle, is shared among its cells by the plate's bending ([`crate::sharing`]), becomes counts in
//! each cell ([`crate::cell`]) and is spoiled by faults (`failing`).

mod cable;
mod failing;
mod gap;
mod load;
mod lying;
mod papers;
mod programme;
mod roll;
mod routine;
mod shunts;
mod signal;
pub mod truth;
mod weather;

use formats::actions::Action;
use formats::chart::Entry;
use formats::deck::Deck;
use formats::patient::PatientFile;
use formats::recording::{Header, Sample};

use crate::built::BuiltDeck;
use crate::cell::{CellSpread, CellState, REFERENCE_C, Step, counts};
use crate::chance::Chance;
use crate::error::TwinError;
use crate::fluid::charting::Charted;
use crate::fluid::course::Course;
use crate::fluid::metabolism::Physique;
use crate::fluid::{chart, live};
use crate::scenario::Scenario;
use failing::Faults;
use load::BedLoad;
use papers::{patient_file, physique, regimen, truth};
use programme::Programme;
use shunts::Shunts;
pub use truth::{Disturbance, Moment, NightTruth, TrueEvent, TrueKind, TrueShunt};
use weather::Weather;

/// What a night is made of once it is drawn.
pub struct Night<'a> {
    built: &'a BuiltDeck,
    scenario: &'a Scenario,
    step: Step,
    n_samples: u64,
    next: u64,
    programme: Programme,
    next_happening: usize,
    course: Course,
    charted: Charted,
    patient_file: PatientFile,
    truth: NightTruth,
    header: Header,
    load: BedLoad<'a>,
    cells: Vec<CellState>,
    cells_started: bool,
    faults: Faults,
    weather: Weather,
    chance: Chance,
    forces: Vec<f64>,
    shunts: Shunts,
    /// Load that passes the cells of each plate by at this sample, kg.
    shunted_kg: Vec<f64>,
    now: Moment,
    sensor_error_deg: Vec<f64>,
}

impl<'a> Night<'a> {
    /// Draws a night; `built` may be the deck of a bench run, so that its calibration fits.
    ///
    /// # Errors
    /// Numbers out of range, names that the deck does not have, a patient who cannot be laid on the bed.
    pub fn new(deck: &Deck, built: &'a BuiltDeck, scenario: &'a Scenario, seed: u64) -> Result<Self, TwinError> {
        scenario.check()?;
        let step = Step::new(1.0 / scenario.rate_hz, deck.converter.rate_hz);
        let programme = routine::programme(deck, built, scenario, seed)?;
        let physique = physique(scenario);
        let regimen = regimen(scenario, &physique, seed);
        let physique = Physique { burned_share: regimen.burned_share, ..physique };
        let mut fluid_chance = Chance::stream(seed, "fluid");
        let course = live(&physique, &regimen, scenario.hours, &programme.pad_changes_s, &mut fluid_chance);
        let start = scenario.start_time()?;
        let charted = chart(&course, &scenario.fluid.habits, start, &mut Chance::stream(seed, "chart"));
        let mut chance = Chance::stream(seed, "night");
        let load = BedLoad::new(built, scenario, step, &mut chance)?;
        let truth = truth(scenario, &programme, &course, &charted, load.tare_kg, seed);
        let patient_file = patient_file(scenario, &regimen);
        let sensor_error_deg = deck.sections.iter().map(|_| scenario.bed.angle_error_deg * chance.normal()).collect();
        let header = Header {
            cells: built.cells.iter().map(|c| c.name.clone()).collect(),
            tilts: deck.sections.iter().map(|s| s.name.clone()).collect(),
            has_temperature: true,
        };
        let faults = Faults::new(built, &scenario.fault, Chance::stream(seed, "faults"))?;
        let weather = Weather::new(scenario, built.plates.len(), start, step.dt_s, &mut chance);
        Ok(Self {
            built,
            scenario,
            step,
            n_samples: (scenario.hours * 3600.0 * scenario.rate_hz).floor() as u64,
            next: 0,
            programme,
            next_happening: 0,
            course,
            charted,
            patient_file,
            truth,
            header,
            load,
            cells: Vec::new(),
            cells_started: false,
            faults,
            weather,
            chance,
            forces: vec![0.0; built.n_cells()],
            shunts: Shunts::new(built.plates.iter().map(|p| p.name.clone()).collect()),
            shunted_kg: vec![0.0; built.plates.len()],
            now: Moment::default(),
            sensor_error_deg,
        })
    }

    /// What the recording's columns are.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// What people did.
    #[must_use]
    pub fn actions(&self) -> &[Action] {
        &self.programme.actions
    }

    /// What they charted.
    #[must_use]
    pub fn chart(&self) -> &[Entry] {
        &self.charted.entries
    }

    /// The patient as the ward knows him.
    #[must_use]
    pub fn patient_file(&self) -> &PatientFile {
        &self.patient_file
    }

    /// What is true of the whole night; the load that passed the cells by so far.
    #[must_use]
    pub fn truth(&self) -> &NightTruth {
        &self.truth
    }

    /// The patient's fluids.
    #[must_use]
    pub fn course(&self) -> &Course {
        &self.course
    }

    /// What is true at the sample last given.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.now
    }

    /// Whether a channel, a plate or the power is at fault at a time.
    #[must_use]
    pub fn is_faulty(&self, t_s: f64) -> bool {
        self.faults.is_faulty(t_s)
    }

    /// Samples in all, those lost to power cuts included.
    #[must_use]
    pub fn n_samples(&self) -> u64 {
        self.n_samples
    }

    /// The next sample into the buffers of `sample`; false at the end.
    ///
    /// # Errors
    /// A patient who cannot be laid on the bed in a pose of the programme.
    pub fn next_sample(&mut self, sample: &mut Sample) -> Result<bool, TwinError> {
        loop {
            if self.next >= self.n_samples {
                self.shunts.end(&mut self.truth);
                return Ok(false);
            }
            let t_s = self.next as f64 * self.step.dt_s;
            self.next += 1;
            self.advance(t_s)?;
            if !self.faults.is_cut(t_s) {
                self.write(t_s, sample);
                return Ok(true);
            }
        }
    }

    /// Moves the world to `t_s`.
    fn advance(&mut self, t_s: f64) -> Result<(), TwinError> {
        while let Some(happening) = self.programme.happenings.get(self.next_happening)
            && happening.t_s <= t_s
        {
            self.load.begin(happening, &self.programme.items)?;
            self.next_happening += 1;
        }
        let patient_kg = self.course.patient_kg_at(t_s);
        let pad_kg = self.course.pad_kg_at(t_s);
        let comes = self.load.aboard <= 0.0;
        let gone_with_pads_kg =
            if comes { 0.0 } else { self.now.gone_with_pads_kg + (self.now.pad_kg - pad_kg).max(0.0) };
        let pad_before_kg = if comes { pad_kg } else { self.now.pad_before_kg };
        self.faults.fill_gaps(t_s, self.built, &mut self.load.contact);
        self.faults.draw_cables(t_s, self.built, &mut self.load);
        self.load.forces(t_s, patient_kg, pad_kg, &self.programme.items, &mut self.chance, &mut self.forces);
        self.load.contact.shunted_kg().zip(&mut self.shunted_kg).for_each(|(kg, sum)| *sum = kg);
        self.faults.bend(t_s, self.built, &mut self.forces, &mut self.shunted_kg);
        self.load.taken().for_each(|(plate, kg)| self.shunted_kg[plate] += kg);
        self.shunts.at(t_s, &self.shunted_kg, &mut self.truth);
        self.now = Moment {
            t_s,
            patient_kg,
            aboard: self.load.aboard,
            pad_kg,
            gone_with_pads_kg,
            pad_before_kg,
            items_kg: self.load.items_kg,
            untold_kg: self.load.untold_kg,
            tare_kg: self.load.tare_kg,
            shunted_kg: self.shunted_kg.iter().sum(),
        };
        self.weather.advance(t_s, self.step.dt_s, self.scenario, &self.load, &mut self.chance);
        if !self.cells_started {
            // The mattress has lain there for long.
            let cells = self.built.cells.iter().zip(&self.forces);
            self.cells = cells.map(|(c, f)| CellState::at_rest(c, *f, &mut self.chance)).collect();
            self.cells_started = true;
        }
        Ok(())
    }

    fn write(&mut self, t_s: f64, sample: &mut Sample) {
        sample.t_s = round_time(t_s);
        sample.temperature_c = Some(((self.weather.room_c(t_s, self.scenario)) * 10.0).round() / 10.0);
        sample.tilt_deg.clear();
        for (section, error) in self.sensor_error_deg.iter().enumerate() {
            let shown = self.load.angle_deg(section) + self.load.apparent_deg + error + 0.02 * self.chance.normal();
            // + 0.0: a negative zero would be written as one.
            sample.tilt_deg.push((shown * 100.0).round() / 100.0 + 0.0);
        }
        sample.counts.clear();
        let hum = std::f64::consts::TAU * HUM_HZ * t_s;
        let hum_left = self.step.averaged(HUM_HZ);
        let mut cell = 0;
        for (plate, temperature_c) in self.built.plates.iter().zip(&self.weather.plates_c) {
            for _ in 0..plate.n_cells() {
                let truth = &self.built.cells[cell];
                let above_k = temperature_c - REFERENCE_C;
                let output =
                    self.cells[cell].advance(truth, self.forces[cell], above_k, self.step.dt_s, &mut self.chance);
                let hum = if truth.hum_counts > 0.0 { hum_left * (hum + truth.hum_phase).sin() } else { 0.0 };
                sample.counts.push(Some(counts(truth, output, hum, self.step, &mut self.chance)));
                cell += 1;
            }
        }
        self.faults.spoil(t_s, self.step.dt_s, self.built, &mut sample.counts);
    }
}

/// Mains frequency as the converter's clock sees it: a crystal is off by some 10⁻⁵, the net by up to 0.1 %.
const HUM_HZ: f64 = 50.02;

/// Times are written to the tenth of a millisecond, as k/rate has no end in binary.
fn round_time(t_s: f64) -> f64 {
    (t_s * 1e4).round() / 1e4
}

impl Scenario {
    /// The scenario's choices for what the cells' sheets leave out.
    #[must_use]
    pub fn cell_spread(&self) -> CellSpread {
        CellSpread {
            sheet: self.cells.sheet,
            wander_g_sqrt_h: self.cells.wander_g_sqrt_h,
            hum_nv: self.cells.hum_nv,
            ..CellSpread::default()
        }
    }
}
