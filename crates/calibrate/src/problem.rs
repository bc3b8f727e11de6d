//! A deck and a run as numbers: who is where, which rows bear which body, what each cell reads without load.
//!
//! Places are in metres from the middle of the plate, counts as in the run, masses in kg.

use crate::options::CalibrateError;
use deck::DeckError;
use deck::chain::{Channel, cell_type};
use formats::deck::Deck;
use formats::run::{Load, Placement, Run};
use std::collections::HashMap;

/// A channel of the run and the place of its cell.
#[derive(Debug, Clone)]
pub(crate) struct CellSite {
    pub(crate) name: String,
    /// Index of the plate that it stands under.
    pub(crate) plate: usize,
    /// Place from the middle of that plate, m.
    pub(crate) at_m: [f64; 2],
    /// Kilograms a count by the data sheet; a start for the fit and a scale for judgement, nothing more.
    pub(crate) nominal_gain: f64,
    pub(crate) capacity_kg: f64,
    /// Of the data sheet, % of rated output.
    pub(crate) nonlinearity_pct: f64,
    /// Of the data sheet, % of rated output.
    pub(crate) hysteresis_pct: f64,
    /// Of the data sheet, % of the load after 30 min.
    pub(crate) creep_pct: f64,
    /// What the data sheet lets a cell keep of a load after it is gone, as a share: creep and hysteresis.
    pub(crate) after_effect: f64,
    /// What it lets a cell err under load, as a share: nonlinearity, hysteresis, creep and repeatability in quadrature.
    pub(crate) allowed_share: f64,
}

/// A plate and the channels of the cells under it.
#[derive(Debug, Clone)]
pub(crate) struct PlateSite {
    pub(crate) name: String,
    pub(crate) channels: Vec<usize>,
}

/// A body that was put on the deck, in one row or in many.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Body {
    /// Known conventional mass and its standard uncertainty, common to all rows that bear it.
    Known { mass_kg: f64, u_kg: f64 },
    /// To be found.
    Unknown { label: String },
}

/// A row with a load on one plate.
#[derive(Debug, Clone)]
pub(crate) struct LoadedRow {
    /// Index of the row in the run.
    pub(crate) row: usize,
    pub(crate) plate: usize,
    /// Place of the load from the middle of the plate, m.
    pub(crate) at_m: [f64; 2],
    pub(crate) body: usize,
}

/// What the fit starts from.
#[derive(Debug, Clone)]
pub(crate) struct Problem<'a> {
    pub(crate) run: &'a Run,
    pub(crate) cells: Vec<CellSite>,
    pub(crate) plates: Vec<PlateSite>,
    pub(crate) bodies: Vec<Body>,
    pub(crate) rows: Vec<LoadedRow>,
    /// Plate that each row of the run loads; `None`: a zero reading.
    pub(crate) loaded_plate: Vec<Option<usize>>,
    /// Standard deviation of the converter's noise, counts.
    pub(crate) converter_sd: f64,
    /// Mean temperature of the run, °C; `None` where a row does not say its own.
    pub(crate) temperature_c: Option<f64>,
    /// How much warmer each row of the run was than the mean, °C; 0 where there is none.
    pub(crate) warmer_c: Vec<f64>,
}

impl<'a> Problem<'a> {
    /// Checks the run against the deck and gathers its bodies.
    ///
    /// `scale_is_known`: gains are known beforehand, so that no known mass need fix the scale.
    pub(crate) fn new(deck: &Deck, run: &'a Run, scale_is_known: bool) -> Result<Self, CalibrateError> {
        let channels = deck::chain::channels(deck)?;
        let (plates, cells) = sites(deck, &channels)?;
        check_cells(&cells, run)?;
        let (temperature_c, warmer_c) = temperatures(run)?;
        let mut problem = Self {
            run,
            cells,
            plates,
            bodies: Vec::new(),
            rows: Vec::new(),
            loaded_plate: Vec::with_capacity(run.rows.len()),
            converter_sd: channels.first().map_or(0.0, |channel| channel.noise_counts),
            temperature_c,
            warmer_c,
        };
        problem.gather_rows(deck)?;
        if !problem.loaded_plate.iter().any(Option::is_none) {
            return Err(CalibrateError::NoZeroReading);
        }
        if !scale_is_known && !problem.rows.iter().any(|r| matches!(problem.bodies[r.body], Body::Known { .. })) {
            return Err(CalibrateError::NoKnownMass);
        }
        Ok(problem)
    }

    pub(crate) fn n_cells(&self) -> usize {
        self.cells.len()
    }

    /// Counts of a channel in a row of the run.
    pub(crate) fn count(&self, row: usize, channel: usize) -> f64 {
        self.run.rows[row].counts[channel]
    }

    /// Exchanges the places of two channels: each then counts at the other's cell.
    pub(crate) fn exchange(&mut self, a: usize, b: usize) {
        let (place_a, place_b) = ((self.cells[a].plate, self.cells[a].at_m), (self.cells[b].plate, self.cells[b].at_m));
        (self.cells[a].plate, self.cells[a].at_m) = place_b;
        (self.cells[b].plate, self.cells[b].at_m) = place_a;
        for plate in &mut self.plates {
            for channel in &mut plate.channels {
                *channel = match *channel {
                    c if c == a => b,
                    c if c == b => a,
                    c => c,
                };
            }
        }
    }

    fn gather_rows(&mut self, deck: &Deck) -> Result<(), CalibrateError> {
        let plate_idx: HashMap<&str, usize> =
            deck.plates.iter().enumerate().map(|(i, p)| (p.name.as_str(), i)).collect();
        let labelled = bodies_by_label(self.run);
        let mut known: HashMap<BodyKey, usize> = HashMap::new();
        for (i, row) in self.run.rows.iter().enumerate() {
            for &count in &row.counts {
                finite(row.line, "a count", count)?;
            }
            let (at, key) = match &row.load {
                Load::Zero => (None, None),
                Load::Known { mass_kg, at, .. } if *mass_kg == 0.0 => {
                    find_plate(&plate_idx, row.line, at)?;
                    (None, None)
                }
                Load::Known { at, mass_kg, u_mass_g, label } => {
                    not_negative(row.line, "mass_kg", *mass_kg)?;
                    not_negative(row.line, "u_mass_g", *u_mass_g)?;
                    (Some(at), Some(BodyKey::known(*mass_kg, *u_mass_g, label.as_deref())))
                }
                // A label that elsewhere stands beside one known mass names that body.
                Load::Unknown { at, label } => {
                    let key = labelled.get(label.as_str()).cloned().unwrap_or(BodyKey::Unknown(label.clone()));
                    (Some(at), Some(key))
                }
            };
            let (Some(at), Some(key)) = (at, key) else {
                self.loaded_plate.push(None);
                continue;
            };
            let plate = find_plate(&plate_idx, row.line, at)?;
            finite(row.line, "x_mm", at.x_mm)?;
            finite(row.line, "y_mm", at.y_mm)?;
            let bodies = &mut self.bodies;
            let body = *known.entry(key.clone()).or_insert_with(|| {
                bodies.push(key.body());
                bodies.len() - 1
            });
            let size = deck.plates[plate].size_mm;
            let at_m = [(at.x_mm - size[0] / 2.0) * 1e-3, (at.y_mm - size[1] / 2.0) * 1e-3];
            self.rows.push(LoadedRow { row: i, plate, at_m, body });
            self.loaded_plate.push(Some(plate));
        }
        Ok(())
    }
}

/// What makes two rows bear the same body: the label where there is one, and the same mass and uncertainty.
///
/// Rows of one mass without a label count as one body: the error of its mass is then common to them and does not
/// average out, which is the careful case.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum BodyKey {
    Known { label: Option<String>, mass_bits: u64, u_bits: u64 },
    Unknown(String),
}

impl BodyKey {
    fn known(mass_kg: f64, u_mass_g: f64, label: Option<&str>) -> Self {
        Self::Known { label: label.map(str::to_owned), mass_bits: mass_kg.to_bits(), u_bits: u_mass_g.to_bits() }
    }

    fn body(&self) -> Body {
        match self {
            Self::Known { mass_bits, u_bits, .. } => {
                Body::Known { mass_kg: f64::from_bits(*mass_bits), u_kg: f64::from_bits(*u_bits) * 1e-3 }
            }
            Self::Unknown(label) => Body::Unknown { label: label.clone() },
        }
    }
}

/// Mean temperature of the run and how far each row is above it, °C.
fn temperatures(run: &Run) -> Result<(Option<f64>, Vec<f64>), CalibrateError> {
    for row in &run.rows {
        row.temperature_c.map_or(Ok(()), |t| finite(row.line, "temperature_C", t))?;
    }
    let all: Option<Vec<f64>> = run.rows.iter().map(|r| r.temperature_c).collect();
    Ok(match all.filter(|all| !all.is_empty()) {
        Some(all) => {
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            (Some(mean), all.iter().map(|t| t - mean).collect())
        }
        None => (None, vec![0.0; run.rows.len()]),
    })
}

/// Labels that stand beside exactly one known mass.
fn bodies_by_label(run: &Run) -> HashMap<&str, BodyKey> {
    let mut found: HashMap<&str, Option<BodyKey>> = HashMap::new();
    for row in &run.rows {
        if let Load::Known { mass_kg, u_mass_g, label: Some(label), .. } = &row.load {
            let key = BodyKey::known(*mass_kg, *u_mass_g, Some(label));
            found
                .entry(label)
                .and_modify(|seen| {
                    if seen.as_ref() != Some(&key) {
                        *seen = None;
                    }
                })
                .or_insert(Some(key));
        }
    }
    found.into_iter().filter_map(|(label, key)| key.map(|k| (label, k))).collect()
}

/// The plates and cells in the order of the file; a cell's nominal gain is that of its data sheet on the converter.
fn sites(deck: &Deck, channels: &[Channel]) -> Result<(Vec<PlateSite>, Vec<CellSite>), DeckError> {
    let mut plates = Vec::new();
    let mut cells = Vec::new();
    for (p, plate) in deck.plates.iter().enumerate() {
        let first = cells.len();
        for cell in &plate.cells {
            let kind = cell_type(deck, cell)?;
            let parts = [kind.nonlinearity_pct, kind.hysteresis_pct, kind.creep_pct_30min, kind.repeatability_pct];
            cells.push(CellSite {
                name: cell.name.clone(),
                plate: p,
                at_m: [
                    (cell.at_mm[0] - plate.size_mm[0] / 2.0) * 1e-3,
                    (cell.at_mm[1] - plate.size_mm[1] / 2.0) * 1e-3,
                ],
                nominal_gain: 1.0 / channels[cells.len()].counts_per_kg,
                capacity_kg: kind.capacity_kg,
                nonlinearity_pct: kind.nonlinearity_pct,
                hysteresis_pct: kind.hysteresis_pct,
                creep_pct: kind.creep_pct_30min,
                after_effect: (kind.creep_pct_30min + kind.hysteresis_pct) / 100.0,
                allowed_share: parts.iter().map(|p| p * p).sum::<f64>().sqrt() / 100.0,
            });
        }
        plates.push(PlateSite { name: plate.name.clone(), channels: (first..cells.len()).collect() });
    }
    Ok((plates, cells))
}

fn check_cells(cells: &[CellSite], run: &Run) -> Result<(), CalibrateError> {
    let other = |first: &str| CalibrateError::OtherCells {
        found: run.cells.len(),
        expected: cells.len(),
        first: first.to_owned(),
    };
    if let Some((_, found)) = cells.iter().zip(&run.cells).find(|(site, name)| site.name != **name) {
        return Err(other(&format!("\"{found}\" differs")));
    }
    if cells.len() != run.cells.len() || run.rows.iter().any(|r| r.counts.len() != cells.len()) {
        return Err(other("a row is too short or too long"));
    }
    Ok(())
}

fn find_plate(plates: &HashMap<&str, usize>, line: usize, at: &Placement) -> Result<usize, CalibrateError> {
    plates.get(at.plate.as_str()).copied().ok_or_else(|| CalibrateError::UnknownPlate { line, plate: at.plate.clone() })
}

fn finite(line: usize, what: &'static str, found: f64) -> Result<(), CalibrateError> {
    if found.is_finite() { Ok(()) } else { Err(CalibrateError::BadNumber { line, what, found, negative: false }) }
}

fn not_negative(line: usize, what: &'static str, found: f64) -> Result<(), CalibrateError> {
    if found.is_finite() && found >= 0.0 {
        Ok(())
    } else {
        Err(CalibrateError::BadNumber { line, what, found, negative: true })
    }
}
