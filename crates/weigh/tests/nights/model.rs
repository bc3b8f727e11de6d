//! Nights made by a simple model of its own: rigid plates on equal springs, straight cells, white noise, scripted deeds.
//!
//! It shares no code with the signal path. All decks, patients and nights are invented.

use std::f64::consts::TAU;

use formats::actions::{Action, ActionKind};
use formats::calibration::{Calibration, CellCalibration, CellStatus, Covariance};
use formats::deck::Deck;
use formats::recording::{Header, Sample};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// What happens at a time.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Deed {
    /// The patient lies down over some seconds (or gets up, with `up`).
    Patient { from: f64, over: f64, up: bool },
    /// A mass comes (or goes, negative) over some seconds, at a place.
    Thing { at: f64, over: f64, kg: f64, x: f64, y: f64 },
    /// A push of a mean and a wobble while it lasts.
    Push { from: f64, to: f64, kg: f64, wobble_kg: f64, x: f64, y: f64 },
    /// The patient turns: mass moves over by this share.
    Turn { at: f64, share: f64 },
    /// Unrest: white noise on every plate, kg a sample.
    Restless { from: f64, to: f64, kg: f64 },
    /// A section goes to an angle.
    Tilt { section: usize, at: f64, over: f64, deg: f64 },
    /// A cell gives no samples.
    Lost { cell: usize, from: f64, to: f64 },
    /// A cell repeats one count.
    Stuck { cell: usize, from: f64, to: f64 },
    /// A cell's zero wanders, kg/s.
    Drift { cell: usize, from: f64, to: f64, kg_s: f64 },
    /// One sample of a cell is far off.
    Spike { cell: usize, at: f64, counts: f64 },
    /// The recording pauses.
    Gap { from: f64, to: f64 },
}

/// A night to be made.
pub(crate) struct Night {
    pub(crate) deck: String,
    pub(crate) seed: u64,
    pub(crate) dt: f64,
    pub(crate) jitter: f64,
    pub(crate) end: f64,
    /// Noise of one cell's sample, g.
    pub(crate) noise_g: f64,
    pub(crate) bed_kg: f64,
    pub(crate) patient_kg: f64,
    /// Loss of the patient, kg/h (negative: gain).
    pub(crate) loss_kg_h: f64,
    /// Breathing: shift between head and foot, kg, and swing of the sum, kg.
    pub(crate) breath_kg: [f64; 2],
    /// Share of the push along a raised section that friction does not take up there.
    pub(crate) slip: f64,
    /// What the angle sensors show too much, degrees.
    pub(crate) tilt_error_deg: f64,
    /// How far plates of four cells share as a sheet that bends, 0 (rigid) to 1.
    pub(crate) bends: f64,
    pub(crate) deeds: Vec<Deed>,
    pub(crate) actions: Vec<(f64, ActionKind, Option<f64>)>,
    /// Notes of the actions of a time.
    pub(crate) notes: Vec<(f64, &'static str)>,
    /// Times of the questions that the actions of a time answer.
    pub(crate) asked: Vec<(f64, f64)>,
}

impl Default for Night {
    fn default() -> Self {
        Self {
            deck: deck(&[("back", 760.0), ("seat", 400.0), ("legs", 800.0)], 1, 4, 50.0),
            seed: 1,
            dt: 0.1,
            jitter: 0.0,
            end: 600.0,
            noise_g: 1.5,
            bed_kg: 15.0,
            patient_kg: 74.0,
            loss_kg_h: 0.1,
            breath_kg: [0.1, 0.009],
            slip: 0.0,
            tilt_error_deg: 0.0,
            bends: 0.0,
            deeds: Vec::new(),
            actions: Vec::new(),
            notes: Vec::new(),
            asked: Vec::new(),
        }
    }
}

/// A made night.
pub(crate) struct Made {
    pub(crate) deck: Deck,
    pub(crate) calibration: Calibration,
    pub(crate) header: Header,
    pub(crate) actions: Vec<Action>,
    pub(crate) samples: Vec<Sample>,
    /// Mass of the patient at each sample, kg.
    pub(crate) truth_kg: Vec<f64>,
    pub(crate) disturbed: Vec<[f64; 2]>,
}

/// Text of a deck: sections with so many plates side by side, each on 3 or 4 cells.
pub(crate) fn deck(sections: &[(&str, f64)], abreast: usize, cells: usize, e_g: f64) -> String {
    let mut text = format!(
        "[deck]\nname = \"invented\"\nmax_kg = 180.0\ne_g = {e_g:.1}\nclass = \"III\"\ncurrency = \"EUR\"\n[site]\ngravity_m_s2 = 9.812\n\
         [calibration_site]\ngravity_m_s2 = 9.803\n[ambient]\ntemperature_C = [18.0, 26.0]\n\
         [[material]]\nname = \"sheet\"\nE_MPa = 70000.0\nnu = 0.33\ndensity_kg_m3 = 2700.0\nstrength_MPa = 130.0\ncost_per_kg = 6.0\n\
         [[cell_type]]\nname = \"c\"\ncapacity_kg = 75.0\noutput_mV_V = 1.0\nstiffness_N_mm = 2000.0\nnonlinearity_pct = 0.03\nhysteresis_pct = 0.03\n\
         repeatability_pct = 0.02\ncreep_pct_30min = 0.03\nzero_tc_pct_10C = 0.03\nspan_tc_pct_10C = 0.03\ncost = 3.0\n\
         [converter]\nexcitation_V = 5.0\ngain = 128.0\nreference_V = 5.0\nbits = 24\nnoise_nV_rms = 60.0\nrate_Hz = 10.0\ncost_per_channel = 1.5\n"
    );
    let (mut x, width) = (0.0, 860.0 / abreast as f64);
    for (name, length) in sections {
        text += &format!("[[section]]\nname = \"{name}\"\nlength_mm = {length:.1}\nangle_deg = [-30.0, 70.0]\n");
        let (a, b, inset) = (length - 20.0, width - 10.0, 40.0);
        for i in 0..abreast {
            let y = 20.0 + width * i as f64;
            text += &format!(
                "[[plate]]\nname = \"{name}{i}\"\nsection = \"{name}\"\norigin_mm = [{:.1}, {y:.1}]\nsize_mm = [{a:.1}, {b:.1}]\nclearance_mm = 6.0\nbond = \"glued\"\n\
                 layers = [ {{ material = \"sheet\", thickness_mm = 4.0 }} ]\ncells = [\n",
                x + 10.0
            );
            let spots = if cells == 3 {
                vec![[inset, b / 2.0], [a - inset, inset], [a - inset, b - inset]]
            } else {
                vec![[inset, inset], [a - inset, inset], [a - inset, b - inset], [inset, b - inset]]
            };
            for (c, [cx, cy]) in spots.iter().enumerate() {
                text += &format!("  {{ name = \"{name}{i}{c}\", type = \"c\", at_mm = [{cx:.1}, {cy:.1}] }},\n");
            }
            text += "]\n";
        }
        x += length;
    }
    text
}

fn ramp(t: f64, from: f64, over: f64) -> f64 {
    ((t - from) / over.max(1e-9)).clamp(0.0, 1.0)
}

/// Shares of a load at (x, y) of the plate among its cells, of which `bends` is as a sheet bends and the rest as if it were rigid.
fn shares(cells: &[[f64; 2]], at: [f64; 2], bends: f64) -> Vec<f64> {
    let rigid = rigid_shares(cells, at);
    let [Some(first), Some(last)] = [cells.first(), cells.get(2)] else { return rigid };
    if bends <= 0.0 || cells.len() != 4 {
        return rigid;
    }
    // Bilinear between the four corners, in the order of the deck: along x first, then across.
    let [u, v] = [0, 1].map(|axis| (at[axis] - first[axis]) / (last[axis] - first[axis]));
    let sheet = [(1.0 - u) * (1.0 - v), u * (1.0 - v), u * v, (1.0 - u) * v];
    rigid.iter().zip(sheet).map(|(rigid, sheet)| (1.0 - bends) * rigid + bends * sheet).collect()
}

/// Equal springs under a rigid plate.
fn rigid_shares(cells: &[[f64; 2]], [x, y]: [f64; 2]) -> Vec<f64> {
    let n = cells.len() as f64;
    let mean = |i: usize| cells.iter().map(|c| c[i]).sum::<f64>() / n;
    let (mx, my) = (mean(0), mean(1));
    let moment = |i: usize, j: usize| cells.iter().map(|c| (c[i] - [mx, my][i]) * (c[j] - [mx, my][j])).sum::<f64>();
    let (xx, xy, yy) = (moment(0, 0), moment(0, 1), moment(1, 1));
    let det = xx * yy - xy * xy;
    let (dx, dy) = (x - mx, y - my);
    let (a, b) = ((yy * dx - xy * dy) / det, (xx * dy - xy * dx) / det);
    cells.iter().map(|c| 1.0 / n + a * (c[0] - mx) + b * (c[1] - my)).collect()
}

struct Cell {
    plate: usize,
    zero: f64,
    gain: f64,
}

impl Night {
    /// Makes the recording with its truth.
    pub(crate) fn make(&self) -> Made {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(self.seed);
        let deck = formats::deck::read("deck.toml", &self.deck).expect("the invented deck reads");
        let cells: Vec<Cell> = deck
            .cells()
            .map(|(plate, _)| Cell {
                plate,
                zero: rng.random_range(-80_000.0..80_000.0_f64).round(),
                gain: 2.1e-5 * rng.random_range(0.85..1.15),
            })
            .collect();
        let header = Header {
            cells: deck.cells().map(|(_, c)| c.name.clone()).collect(),
            tilts: deck.sections.iter().map(|s| s.name.clone()).collect(),
            has_temperature: true,
        };
        let (mut samples, mut truth_kg) = (Vec::new(), Vec::new());
        let mut frozen = vec![None; cells.len()];
        let mut t = 0.0;
        while t < self.end {
            let jittered: f64 = t + self.jitter * self.dt * rng.random_range(-0.5..0.5);
            if !self.deeds.iter().any(|d| matches!(d, Deed::Gap { from, to } if (*from..*to).contains(&t))) {
                let sample = self.sample(&deck, &cells, jittered, &mut frozen, &mut rng);
                samples.push(sample);
                truth_kg.push(self.patient_at(jittered));
            }
            t += self.dt;
        }
        Made {
            calibration: calibration(&deck, &cells),
            actions: self.actions(),
            disturbed: self.disturbed(),
            deck,
            header,
            samples,
            truth_kg,
        }
    }

    fn patient_at(&self, t: f64) -> f64 {
        self.patient_kg - self.loss_kg_h * (t / 3600.0)
    }

    fn sample(
        &self,
        deck: &Deck,
        cells: &[Cell],
        t: f64,
        frozen: &mut [Option<f64>],
        rng: &mut Xoshiro256PlusPlus,
    ) -> Sample {
        let mut kg = vec![0.0; cells.len()];
        for (load, place) in self.loads(deck, t, rng) {
            put(deck, &mut kg, load, place, self.bends);
        }
        let tilt_deg: Vec<f64> = (0..deck.sections.len()).map(|s| self.tilt(s, t)).collect();
        self.lean(deck, cells, &mut kg, &tilt_deg);
        let noise = Normal::new(0.0, self.noise_g / 1e3).expect("a noise of at least 0");
        let counts = cells.iter().zip(&kg).enumerate().map(|(i, (cell, kg))| {
            let section =
                deck.sections.iter().position(|s| s.name == deck.plates[cell.plate].section).expect("a section");
            let felt =
                (kg * tilt_deg[section].to_radians().cos() + noise.sample(rng)) * 9.812 / 9.803 + self.drift(i, t);
            self.count(i, t, (cell.zero + felt / cell.gain).round(), &mut frozen[i])
        });
        let counts = counts.collect();
        let tilt_deg = tilt_deg.iter().map(|deg| deg + self.tilt_error_deg).collect();
        Sample { t_s: t, temperature_c: Some(22.0), tilt_deg, counts }
    }

    fn count(&self, cell_idx: usize, t: f64, counts: f64, frozen: &mut Option<f64>) -> Option<f64> {
        let mut out = Some(counts);
        for deed in &self.deeds {
            match *deed {
                Deed::Lost { cell, from, to } if cell == cell_idx && (from..to).contains(&t) => out = None,
                Deed::Stuck { cell, from, to } if cell == cell_idx && (from..to).contains(&t) => {
                    out = Some(*frozen.get_or_insert(counts));
                }
                Deed::Spike { cell, at, counts: off } if cell == cell_idx && (t - at).abs() < self.dt / 2.0 => {
                    out = Some(counts + off);
                }
                _ => {}
            }
        }
        out
    }

    fn drift(&self, cell_idx: usize, t: f64) -> f64 {
        let of = |deed: &Deed| match *deed {
            Deed::Drift { cell, from, to, kg_s } if cell == cell_idx => kg_s * (t.min(to) - from).max(0.0),
            _ => 0.0,
        };
        self.deeds.iter().map(of).sum()
    }

    fn tilt(&self, section_idx: usize, t: f64) -> f64 {
        let mut angle = 0.0;
        for deed in &self.deeds {
            if let Deed::Tilt { section, at, over, deg } = *deed
                && section == section_idx
            {
                angle += (deg - angle) * ramp(t, at, over);
            }
        }
        angle
    }

    /// The push that friction on a raised section does not take up is borne by the next section toward the foot.
    fn lean(&self, deck: &Deck, cells: &[Cell], kg: &mut [f64], tilt_deg: &[f64]) {
        for (s, tilt) in tilt_deg.iter().enumerate() {
            let on =
                |cell: &Cell, s: usize| deck.sections.get(s).is_some_and(|x| x.name == deck.plates[cell.plate].section);
            let load: f64 = cells.iter().zip(kg.iter()).filter(|(c, _)| on(c, s)).map(|(_, kg)| kg).sum();
            let extra = self.slip * load * tilt.to_radians().sin().powi(2);
            let n = cells.iter().filter(|c| on(c, s + 1)).count() as f64;
            for (cell, kg) in cells.iter().zip(kg.iter_mut()) {
                if on(cell, s + 1) {
                    *kg += extra / n;
                }
            }
        }
    }

    fn loads(&self, deck: &Deck, t: f64, rng: &mut Xoshiro256PlusPlus) -> Vec<(f64, [f64; 2])> {
        let length: f64 = deck.sections.iter().map(|s| s.length_mm).sum();
        let mut loads: Vec<_> =
            (0..10).map(|i| (self.bed_kg / 10.0, [length * (f64::from(i) + 0.5) / 10.0, 440.0])).collect();
        let (mut here, mut over) = (0.0, 0.0);
        for deed in &self.deeds {
            match *deed {
                Deed::Patient { from, over, up: false } => here += (1.0 - here) * ramp(t, from, over),
                Deed::Patient { from, over, up: true } => here -= here * ramp(t, from, over),
                Deed::Thing { at, over, kg, x, y } => loads.push((kg * ramp(t, at, over), [x, y])),
                Deed::Push { from, to, kg, wobble_kg, x, y } if (from..to).contains(&t) => {
                    loads.push((kg + wobble_kg * (TAU * 0.31 * t).sin(), [x, y]));
                }
                Deed::Turn { at, share } => over += share * ramp(t, at, 6.0),
                Deed::Restless { from, to, kg } if (from..to).contains(&t) => {
                    for plate in &deck.plates {
                        let [x, y] = [0, 1].map(|i| plate.origin_mm[i] + plate.size_mm[i] / 2.0);
                        let noise: f64 = StandardNormal.sample(rng);
                        loads.push((kg * noise, [x, y]));
                    }
                }
                _ => {}
            }
        }
        let patient = self.patient_at(t) * here;
        let breath = (TAU * 0.26 * t).sin() * here;
        let [shift, swing] = self.breath_kg;
        // Trunk, seat, thighs and lower legs as points; a turn moves them across and the trunk down the bed.
        for (share, at, sign) in [(0.52, 0.2, 1.0), (0.26, 0.46, -1.0), (0.14, 0.66, 0.0), (0.08, 0.86, 0.0)] {
            let kg = patient * share + shift * breath * sign + swing * breath * share;
            loads.push((kg, [length * at + 60.0 * over, 440.0 + 150.0 * over]));
        }
        loads
    }

    fn actions(&self) -> Vec<Action> {
        let note = |t_s: f64| {
            let of = self.notes.iter().find(|(at, _)| at.total_cmp(&t_s).is_eq());
            of.map_or_else(String::new, |(_, note)| (*note).to_owned())
        };
        let asked = |t_s: f64| self.asked.iter().find(|(at, _)| at.total_cmp(&t_s).is_eq()).map(|(_, asked)| *asked);
        let action = |&(t_s, kind, kg): &(f64, ActionKind, Option<f64>)| Action {
            line: 0,
            t_s,
            kind,
            kg,
            note: note(t_s),
            asked_s: asked(t_s),
        };
        let mut actions: Vec<Action> = self.actions.iter().map(action).collect();
        actions.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        actions
    }

    /// Times in which no weight may be called settled.
    fn disturbed(&self) -> Vec<[f64; 2]> {
        let mut spans: Vec<_> = self
            .deeds
            .iter()
            .filter_map(|deed| match *deed {
                Deed::Patient { from, over, .. } => Some([from, from + over]),
                Deed::Push { from, to, .. } | Deed::Restless { from, to, .. } => Some([from, to]),
                Deed::Turn { at, .. } => Some([at, at + 6.0]),
                _ => None,
            })
            .collect();
        let held = |kind| self.actions.iter().filter(move |a| a.1 == kind).map(|a| a.0);
        spans.extend(held(ActionKind::Hold).zip(held(ActionKind::Release)).map(|(a, b)| [a, b]));
        spans
    }
}

fn put(deck: &Deck, kg: &mut [f64], load: f64, [x, y]: [f64; 2], bends: f64) {
    // The plate nearest to the place bears it: the mattress bridges the gaps.
    let far = |p: &formats::deck::Plate| {
        (0..2).map(|i| ([x, y][i] - p.origin_mm[i] - p.size_mm[i] / 2.0).abs() - p.size_mm[i] / 2.0).fold(0.0, f64::max)
    };
    let nearest = (0..deck.plates.len()).min_by(|a, b| far(&deck.plates[*a]).total_cmp(&far(&deck.plates[*b])));
    let plate_idx = nearest.expect("a plate");
    let plate = &deck.plates[plate_idx];
    let spots: Vec<[f64; 2]> = plate.cells.iter().map(|c| c.at_mm).collect();
    let share = shares(&spots, [x - plate.origin_mm[0], y - plate.origin_mm[1]], bends);
    let first: usize = deck.plates[..plate_idx].iter().map(|p| p.cells.len()).sum();
    for (i, share) in share.iter().enumerate() {
        kg[first + i] += load * share;
    }
}

fn calibration(deck: &Deck, cells: &[Cell]) -> Calibration {
    let lines = deck.cells().zip(cells).map(|((_, c), cell)| CellCalibration {
        name: c.name.clone(),
        zero_counts: Some(cell.zero),
        u_zero_counts: Some(5.0),
        kg_per_count: Some(cell.gain),
        u_kg_per_count: Some(2e-4 * cell.gain),
        status: CellStatus::Good,
    });
    Calibration {
        deck: deck.name.clone(),
        made_at: "2031-03-04T08:00:00Z".to_owned(),
        gravity_m_s2: 9.803,
        cells: lines.collect(),
        residual_sd_g: 1.0,
        degrees_of_freedom: 20,
        lack_of_fit_p: None,
        max_residual_g: 2.0,
        loads: Vec::new(),
        covariance: Covariance { parameters: Vec::new(), matrix: Vec::new() },
        findings: Vec::new(),
        residuals: Vec::new(),
        detail: None,
    }
}
