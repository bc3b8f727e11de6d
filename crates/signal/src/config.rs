//! What the path is told once: the deck's geometry, its calibration and the limits of judgement.
//!
//! Configuration is apart from state: it is checked when built, never changes while samples run, and one
//! configuration with the same samples gives the same bits on every machine.

use crate::load::{CENTRE_LEAST_KG, Load};

/// One load cell: where it stands, what a count weighs and what it can bear.
///
/// A reading becomes a mass at the calibration site's gravity by
/// `kg = f (1 + curvature_per_kg f)`, `f = kg_per_count (counts − zero)`, where with a temperature T
/// `zero = zero_counts + zero_counts_per_c (T − T₀)` and `kg_per_count` is divided by
/// `1 + span_per_c (T − T₀)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellConfig {
    /// Index of the plate that the cell carries.
    pub plate: usize,
    /// Place on the bed lying flat, mm: x from the head end to the foot, y from the patient's right to left.
    pub at_mm: [f64; 2],
    /// Counts of the unloaded cell at the reference temperature.
    pub zero_counts: f64,
    /// Mass of a count at the calibration site's gravity, kg; negative for a reversed bridge.
    pub kg_per_count: f64,
    /// Second-order term, 1/kg; 0 for a straight cell.
    pub curvature_per_kg: f64,
    /// Change of zero with temperature, counts per °C.
    pub zero_counts_per_c: f64,
    /// Relative change of sensitivity with temperature, 1/°C.
    pub span_per_c: f64,
    /// Temperature at which zero and span were found, °C.
    pub reference_c: f64,
    /// Counts at and below which the converter is saturated; `-inf` when unknown.
    pub counts_min: f64,
    /// Counts at and above which the converter is saturated; `+inf` when unknown.
    pub counts_max: f64,
    /// Rated load of the cell, kg.
    pub capacity_kg: f64,
    /// Standard deviation of one sample, counts; 0 when unknown.
    pub noise_counts: f64,
    /// Creep of a lasting load, relative to it (positive: the reading grows); 0 when unknown. See [`crate::creep`].
    pub creep_rel: f64,
    /// Relative standard uncertainty of the cell's own gain and straightness (not common to all cells).
    pub u_gain_rel: f64,
}

impl CellConfig {
    /// A straight cell without temperature terms or limits.
    #[must_use]
    pub const fn straight(
        plate: usize,
        at_mm: [f64; 2],
        zero_counts: f64,
        kg_per_count: f64,
        capacity_kg: f64,
    ) -> Self {
        Self {
            plate,
            at_mm,
            zero_counts,
            kg_per_count,
            curvature_per_kg: 0.0,
            zero_counts_per_c: 0.0,
            span_per_c: 0.0,
            reference_c: 20.0,
            counts_min: f64::NEG_INFINITY,
            counts_max: f64::INFINITY,
            capacity_kg,
            noise_counts: 0.0,
            creep_rel: 0.0,
            u_gain_rel: 0.0,
        }
    }
}

/// When a channel is called bad, and what a spike is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelLimits {
    /// A channel without a sample for longer is lost, s; until then the last one stands in.
    pub lost_after_s: f64,
    /// A channel that repeats one count for longer is stuck, s (if its noise shows in counts).
    pub stuck_after_s: f64,
    /// A sample farther than this many scaled median deviations from the median of five is a spike.
    pub spike_sigmas: f64,
    /// No spike is smaller than this, kg.
    pub spike_floor_kg: f64,
    /// A cell that alone changes by more on one plateau drifts, kg.
    pub drift_floor_kg: f64,
}

/// When the load counts as still, and what a change is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StillLimits {
    /// Length of a block, over which samples are averaged before they are judged, s.
    pub block_s: f64,
    /// Standard deviation of block means about their line, kg.
    pub sd_kg: f64,
    /// Standard deviation of samples within blocks, kg.
    pub fast_sd_kg: f64,
    /// Slope over the window, kg/s.
    pub slope_kg_s: f64,
    /// Slope over a whole plateau, kg/s: the fastest that fluid may come or go.
    pub fluid_kg_s: f64,
    /// Spread of a section's angle over the window, degrees.
    pub tilt_deg: f64,
    /// Time over which a plateau forgets, s.
    pub memory_s: f64,
    /// A pause in the samples that is longer starts the window anew, s.
    pub gap_s: f64,
    /// Log-likelihood ratio at which a change is declared.
    pub glr: f64,
    /// Smallest change that is declared, kg.
    pub step_kg: f64,
}

/// What the weight's uncertainty is made of, besides the cells' own gains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// Relative standard uncertainty common to all cells: the reference mass, gravity, buoyancy.
    pub scale_rel: f64,
    /// Standard uncertainty of the share of the push along a raised section that is not taken up by friction
    /// there (0 none, 1 frictionless).
    pub lean: f64,
    /// Standard uncertainty of a section's angle, degrees.
    pub tilt_deg: f64,
    /// Creep of a changed load after half an hour, relative, as a standard uncertainty.
    pub creep_rel: f64,
    /// Flicker of the deck's zero, kg: standard uncertainty of a difference over e times the time of averaging, see [`crate::doubt`].
    pub zero_flicker_kg: f64,
    /// Change of the deck's zero with temperature, kg per °C, as a standard uncertainty where no temperature is known.
    pub zero_kg_c: f64,
    /// Change of the deck's span with temperature, relative per °C, as a standard uncertainty where no temperature is known.
    pub span_rel_c: f64,
    /// What the cells' own temperature terms leave of the zero's change where the temperature is known, kg per °C; without such terms all of it.
    pub zero_left_kg_c: f64,
    /// The same of the span, relative per °C.
    pub span_left_rel_c: f64,
    /// Standard uncertainty of the change of temperature between two times far apart where none is measured, °C.
    pub unknown_c: f64,
}

/// All limits of judgement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Channels and spikes.
    pub channel: ChannelLimits,
    /// Stillness and changes.
    pub still: StillLimits,
    /// Uncertainty.
    pub doubt: Doubt,
    /// Time constant of one of the low-pass's four stages, s (see [`crate::filter`] for the response).
    pub tau_s: f64,
    /// Time constant of the angles' low-pass, s.
    pub tilt_tau_s: f64,
    /// Time constant of the cells' creep, s.
    pub creep_tau_s: f64,
    /// Time constant with which the cells follow the thermometer, s.
    pub warmth_tau_s: f64,
}

impl Default for Limits {
    /// Choices of this project for an adult on a deck of a class III scale; no published source names such limits.
    ///
    /// - A lying patient's breathing moves the total by some 10 g, the pulse by tens of grams within a second,
    ///   a movement by hundreds: 50 g on half-second means, 400 g within them.
    /// - 8 g/s over six seconds leaves the mean within 25 g of the end; 1 g/s is 3.6 L/h, past any usual infusion.
    /// - Cells under a mattress follow the room in some ten minutes; a room that warms by 1 °C an hour is then 0.2 °C ahead of them.
    /// - A log-likelihood ratio of 18 is six standard deviations: less than one false alarm in a hundred days.
    fn default() -> Self {
        Self {
            channel: ChannelLimits {
                lost_after_s: 2.0,
                stuck_after_s: 10.0,
                spike_sigmas: 6.0,
                spike_floor_kg: 0.05,
                drift_floor_kg: 0.1,
            },
            still: StillLimits {
                block_s: 0.5,
                sd_kg: 0.05,
                fast_sd_kg: 0.4,
                slope_kg_s: 0.008,
                fluid_kg_s: 0.001,
                tilt_deg: 0.5,
                memory_s: 30.0,
                gap_s: 3.0,
                glr: 18.0,
                step_kg: 0.03,
            },
            doubt: Doubt {
                scale_rel: 0.0,
                lean: 0.15,
                tilt_deg: 0.1,
                creep_rel: 0.0,
                zero_flicker_kg: 0.0,
                unknown_c: 0.0,
                zero_kg_c: 0.0,
                span_rel_c: 0.0,
                zero_left_kg_c: 0.0,
                span_left_rel_c: 0.0,
            },
            tau_s: 0.45,
            tilt_tau_s: 1.0,
            creep_tau_s: crate::doubt::CREEP_S,
            warmth_tau_s: 600.0,
        }
    }
}

/// A configuration that cannot be run, with what was found.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum ConfigError {
    /// More of something than the path has room for.
    TooMany {
        /// What there is too much of.
        what: &'static str,
        /// How many were given.
        found: usize,
        /// How many fit.
        room: usize,
    },
    /// No cell was given.
    NoCells,
    /// An index points past the end.
    NoSuch {
        /// What was pointed at: a plate or a section.
        what: &'static str,
        /// The index.
        found: usize,
        /// How many there are.
        count: usize,
    },
    /// A number outside its range.
    OutOfRange {
        /// The quantity.
        what: &'static str,
        /// The cell's index, where it is a cell's.
        cell: Option<usize>,
        /// The number.
        found: f64,
    },
}

impl core::fmt::Display for ConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match *self {
            Self::TooMany { what, found, room } => write!(f, "{found} {what}, room for {room}"),
            Self::NoCells => write!(f, "no cell was given, at least one is needed"),
            Self::NoSuch { what, found, count } => write!(f, "{what} {found} was named, there are {count}"),
            Self::OutOfRange { what, cell: Some(cell), found } => write!(f, "{what} of cell {cell} is {found}"),
            Self::OutOfRange { what, cell: None, found } => write!(f, "{what} is {found}"),
        }
    }
}

impl core::error::Error for ConfigError {}

/// A checked configuration with room for `C` cells, `P` plates and `S` sections.
#[derive(Debug, Clone, PartialEq)]
pub struct Config<const C: usize, const P: usize, const S: usize> {
    pub(crate) cells: [CellConfig; C],
    pub(crate) n_cells: usize,
    pub(crate) plate_section: [usize; P],
    pub(crate) n_plates: usize,
    pub(crate) n_sections: usize,
    pub(crate) gravity_ratio: f64,
    pub(crate) limits: Limits,
}

impl<const C: usize, const P: usize, const S: usize> Config<C, P, S> {
    /// Checks and keeps a configuration.
    ///
    /// `plate_section` names the section of each plate, `gravity_ratio` is the calibration site's gravity over the
    /// weighing site's.
    ///
    /// # Errors
    /// [`ConfigError`] when something does not fit, points nowhere or is not a usable number.
    pub fn new(
        cells: &[CellConfig],
        plate_section: &[usize],
        n_sections: usize,
        gravity_ratio: f64,
        limits: Limits,
    ) -> Result<Self, ConfigError> {
        if cells.is_empty() {
            return Err(ConfigError::NoCells);
        }
        room("cells", cells.len(), C)?;
        room("plates", plate_section.len(), P)?;
        room("sections", n_sections, S)?;
        for &section in plate_section {
            exists("section", section, n_sections)?;
        }
        for (cell_idx, cell) in cells.iter().enumerate() {
            exists("plate", cell.plate, plate_section.len())?;
            check_cell(cell_idx, cell)?;
        }
        in_range("gravity ratio", None, gravity_ratio, gravity_ratio > 0.9 && gravity_ratio < 1.1)?;
        check_limits(&limits)?;
        let mut kept = [CellConfig::straight(0, [0.0; 2], 0.0, 1.0, 1.0); C];
        for (to, from) in kept.iter_mut().zip(cells) {
            *to = *from;
        }
        let mut sections = [0; P];
        for (to, from) in sections.iter_mut().zip(plate_section) {
            *to = *from;
        }
        Ok(Self {
            cells: kept,
            n_cells: cells.len(),
            plate_section: sections,
            n_plates: plate_section.len(),
            n_sections,
            gravity_ratio,
            limits,
        })
    }

    /// The limits of judgement.
    #[must_use]
    pub const fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The cells, in the order of the counts.
    pub fn cells(&self) -> impl Iterator<Item = &CellConfig> + Clone {
        self.cells.iter().take(self.n_cells)
    }

    /// Centre of load for what each cell bears, mm; `None` where next to nothing lies on the deck.
    #[must_use]
    pub fn centre_mm(&self, cells_kg: &[f64; C]) -> Option<[f64; 2]> {
        Load::of(cells_kg.iter().zip(self.cells())).centre_mm(CENTRE_LEAST_KG)
    }

    /// How many sections the bed has.
    #[must_use]
    pub const fn n_sections(&self) -> usize {
        self.n_sections
    }

    /// Section of a plate; 0 past the end.
    #[must_use]
    pub fn section_of(&self, plate: usize) -> usize {
        self.plate_section.get(plate).copied().unwrap_or(0)
    }
}

const fn room(what: &'static str, found: usize, room: usize) -> Result<(), ConfigError> {
    if found > room { Err(ConfigError::TooMany { what, found, room }) } else { Ok(()) }
}

const fn exists(what: &'static str, found: usize, count: usize) -> Result<(), ConfigError> {
    if found >= count { Err(ConfigError::NoSuch { what, found, count }) } else { Ok(()) }
}

const fn in_range(what: &'static str, cell: Option<usize>, found: f64, ok: bool) -> Result<(), ConfigError> {
    if ok { Ok(()) } else { Err(ConfigError::OutOfRange { what, cell, found }) }
}

fn check_cell(cell_idx: usize, cell: &CellConfig) -> Result<(), ConfigError> {
    let cell_at = Some(cell_idx);
    let [x_mm, y_mm] = cell.at_mm;
    in_range("x", cell_at, x_mm, x_mm.abs() < 1e5)?;
    in_range("y", cell_at, y_mm, y_mm.abs() < 1e5)?;
    in_range("zero", cell_at, cell.zero_counts, cell.zero_counts.abs() < 1e12)?;
    let k = cell.kg_per_count;
    in_range("mass of a count", cell_at, k, k.abs() > 1e-15 && k.abs() < 1e6)?;
    in_range("capacity", cell_at, cell.capacity_kg, cell.capacity_kg > 0.0 && cell.capacity_kg < 1e6)?;
    in_range("curvature", cell_at, cell.curvature_per_kg, cell.curvature_per_kg.abs() < 1.0)?;
    in_range("zero with temperature", cell_at, cell.zero_counts_per_c, cell.zero_counts_per_c.abs() < 1e9)?;
    in_range("span with temperature", cell_at, cell.span_per_c, cell.span_per_c.abs() < 0.01)?;
    in_range("reference temperature", cell_at, cell.reference_c, cell.reference_c.abs() < 100.0)?;
    in_range("creep", cell_at, cell.creep_rel, cell.creep_rel.abs() < 0.1)?;
    in_range("noise", cell_at, cell.noise_counts, (0.0..1e9).contains(&cell.noise_counts))?;
    in_range("relative uncertainty", cell_at, cell.u_gain_rel, (0.0..1.0).contains(&cell.u_gain_rel))?;
    in_range("lower end of the converter", cell_at, cell.counts_min, cell.counts_min < cell.counts_max)
}

fn check_limits(limits: &Limits) -> Result<(), ConfigError> {
    let Limits { channel, still, doubt, tau_s, tilt_tau_s, creep_tau_s, warmth_tau_s } = limits;
    let positive = [
        ("time until a channel is lost", channel.lost_after_s),
        ("time until a channel is stuck", channel.stuck_after_s),
        ("spike threshold", channel.spike_sigmas),
        ("spike floor", channel.spike_floor_kg),
        ("drift floor", channel.drift_floor_kg),
        ("block length", still.block_s),
        ("stillness", still.sd_kg),
        ("stillness within a block", still.fast_sd_kg),
        ("slope", still.slope_kg_s),
        ("slope of a plateau", still.fluid_kg_s),
        ("spread of an angle", still.tilt_deg),
        ("memory of a plateau", still.memory_s),
        ("gap", still.gap_s),
        ("likelihood ratio", still.glr),
        ("smallest step", still.step_kg),
        ("time constant", *tau_s),
        ("time constant of the angles", *tilt_tau_s),
        ("time constant of creep", *creep_tau_s),
        ("time constant of warmth", *warmth_tau_s),
    ];
    for (what, found) in positive {
        in_range(what, None, found, found > 0.0 && found < 1e9)?;
    }
    let doubts = [
        ("uncertainty of the scale", doubt.scale_rel),
        ("uncertainty of the lean", doubt.lean),
        ("uncertainty of the angle", doubt.tilt_deg),
        ("creep", doubt.creep_rel),
        ("flicker of zero", doubt.zero_flicker_kg),
        ("unknown temperature", doubt.unknown_c),
        ("zero with temperature", doubt.zero_kg_c),
        ("span with temperature", doubt.span_rel_c),
        ("zero with temperature, corrected", doubt.zero_left_kg_c),
        ("span with temperature, corrected", doubt.span_left_rel_c),
    ];
    for (what, found) in doubts {
        in_range(what, None, found, (0.0..1e3).contains(&found))?;
    }
    Ok(())
}
