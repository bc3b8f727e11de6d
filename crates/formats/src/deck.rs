//! `deck.toml`: a deck, the bed it lies on, and what it is asked to do.
//!
//! Keys that the contract does not know are errors, so that no slip of the pen changes a deck
//! without a word; keys of one's own begin with `x_` or are named `note`, in any table.

mod approval;
mod edit;
mod plate;
mod practice;
pub(crate) mod read;
mod write;

pub use approval::{CellApproval, CellClass, ConverterApproval};
pub use edit::{Edit, EditError, edit};
pub use practice::Practice;
pub use read::{read, read_with_warnings};
pub use write::write;

/// A whole deck file, validated: names resolve, numbers are finite and in range, cells and patches lie on their plates.
#[derive(Debug, Clone, PartialEq)]
pub struct Deck {
    /// Name for people.
    pub name: String,
    /// Largest net load, kg.
    pub max_kg: f64,
    /// Verification scale interval e, g.
    pub e_g: f64,
    /// Accuracy class.
    pub class: AccuracyClass,
    /// Currency of all costs.
    pub currency: String,
    /// Limits that `check` judges.
    pub target: Target,
    /// Where the deck weighs.
    pub site: Site,
    /// Where it is calibrated; `None`: the same site.
    pub calibration_site: Option<Site>,
    /// Range of ambient temperature in use, °C, low then high.
    pub ambient_c: [f64; 2],
    /// The bed's moving parts, from the head end.
    pub sections: Vec<Section>,
    /// Built-in materials with the file's own added or in their place.
    pub materials: Vec<Material>,
    /// Cell types by name.
    pub cell_types: Vec<CellType>,
    /// The bridge converter.
    pub converter: Converter,
    /// How the deck is calibrated and used.
    pub practice: Practice,
    /// The plates, in the order of the file.
    pub plates: Vec<Plate>,
    /// Load cases for `check`.
    pub load_cases: Vec<LoadCase>,
    /// What `explore` may vary, kept as it stands until that stage reads it.
    pub explore: Option<toml::Table>,
}

/// Accuracy class of a non-automatic weighing instrument (OIML R 76-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AccuracyClass {
    /// Special accuracy, I.
    I,
    /// High accuracy, II.
    II,
    /// Medium accuracy, III.
    III,
    /// Ordinary accuracy, IIII.
    IIII,
}

/// Limits to be met; each is optional.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Target {
    /// Largest deflection of any plate, mm.
    pub deflection_mm: Option<f64>,
    /// Expanded uncertainty (k = 2) at every load up to max, g.
    pub expanded_u_g: Option<f64>,
    /// Mass of the whole deck, kg.
    pub mass_kg: Option<f64>,
    /// Cost of the whole deck.
    pub cost: Option<f64>,
    /// Mass of the heaviest plate, kg.
    pub plate_mass_kg: Option<f64>,
}

/// A place, as far as gravity asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Site {
    /// Gravity given, m/s².
    Gravity {
        /// Local gravity, m/s².
        gravity_m_s2: f64,
    },
    /// Gravity to be computed from the place.
    Place {
        /// Geographic latitude, ° (south negative).
        latitude_deg: f64,
        /// Height above the ellipsoid (near enough: sea level), m.
        altitude_m: f64,
    },
}

/// A moving part of the bed.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Name.
    pub name: String,
    /// Length along the bed, mm.
    pub length_mm: f64,
    /// Range of the angle to the horizontal, °, low then high.
    pub angle_deg: [f64; 2],
}

/// A material. Directions: x along the bed, y across it.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name.
    pub name: String,
    /// Young's modulus along x, MPa.
    pub e_mpa: f64,
    /// Young's modulus along y, MPa; `None`: as along x.
    pub e_y_mpa: Option<f64>,
    /// Poisson ratio ν_xy.
    pub nu: f64,
    /// In-plane shear modulus, MPa; `None`: isotropic, E / 2(1+ν).
    pub g_mpa: Option<f64>,
    /// Transverse shear modulus, MPa, of a core; `None`: stiff in shear.
    pub g_transverse_mpa: Option<f64>,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Bending strength along x, MPa.
    pub strength_mpa: f64,
    /// Price.
    pub cost: MaterialCost,
}

/// How a material is priced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MaterialCost {
    /// Per kilogram.
    PerKg(f64),
    /// Per square metre of sheet.
    PerM2(f64),
    /// Not stated; counts as 0 and is named in the bill.
    Unknown,
}

/// A type of load cell, by its data sheet. Percentages are of rated output.
#[derive(Debug, Clone, PartialEq)]
pub struct CellType {
    /// Name.
    pub name: String,
    /// Rated capacity, kg.
    pub capacity_kg: f64,
    /// Output at rated capacity, mV/V.
    pub output_mv_v: f64,
    /// Stiffness, N/mm.
    pub stiffness_n_mm: f64,
    /// Nonlinearity, ± %.
    pub nonlinearity_pct: f64,
    /// Hysteresis, ± %.
    pub hysteresis_pct: f64,
    /// Repeatability, ± %.
    pub repeatability_pct: f64,
    /// Creep over 30 min, ± %.
    pub creep_pct_30min: f64,
    /// Temperature effect on zero, ± % per 10 °C.
    pub zero_tc_pct_10c: f64,
    /// Temperature effect on span, ± % of reading per 10 °C.
    pub span_tc_pct_10c: f64,
    /// Price of one.
    pub cost: f64,
    /// Mass of one, kg; `None`: not stated, and left out of the deck's mass.
    pub mass_kg: Option<f64>,
    /// What its certificate states.
    pub approval: CellApproval,
}

/// The bridge converter, one channel a cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Converter {
    /// Bridge excitation, V.
    pub excitation_v: f64,
    /// Amplifier gain.
    pub gain: f64,
    /// Reference, V; full scale is ± reference / gain / 2.
    pub reference_v: f64,
    /// Resolution, bits.
    pub bits: u32,
    /// Input noise, nV rms at `rate_hz`.
    pub noise_nv_rms: f64,
    /// Samples per second of a channel.
    pub rate_hz: f64,
    /// Price of one channel.
    pub cost_per_channel: f64,
    /// What its certificate states.
    pub approval: ConverterApproval,
}

/// A plate: a stack of layers on cells over a base.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// Name.
    pub name: String,
    /// Name of the section it lies on.
    pub section: String,
    /// Corner nearest the head end and the patient's right, mm, in bed coordinates.
    pub origin_mm: [f64; 2],
    /// Length along x and along y, mm.
    pub size_mm: [f64; 2],
    /// Free gap under the top plate, mm.
    pub clearance_mm: f64,
    /// Mass of the base with frame and cables, kg; `None`: not stated, and left out of the deck's mass.
    pub base_kg: Option<f64>,
    /// How the layers are joined.
    pub bond: Bond,
    /// Layers from the top.
    pub layers: Vec<Layer>,
    /// Stiffening ribs below.
    pub ribs: Vec<Rib>,
    /// Cells, at least 3.
    pub cells: Vec<Cell>,
}

/// How layers are joined.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bond {
    /// They bend as one.
    Glued,
    /// They slide on each other.
    Loose,
}

/// One layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Name of its material.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
}

/// A bar below the plate, over its whole length.
#[derive(Debug, Clone, PartialEq)]
pub struct Rib {
    /// Direction.
    pub along: Axis,
    /// Distance of its centre line from the plate's edge, mm, across its direction.
    pub at_mm: f64,
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Name of its material.
    pub material: String,
}

/// A direction on the plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// Head to foot.
    X,
    /// The patient's right to left.
    Y,
}

/// A cell under a plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Name, one of a kind in the deck.
    pub name: String,
    /// Name of its type.
    pub cell_type: String,
    /// Place from the plate's own corner, mm.
    pub at_mm: [f64; 2],
}

/// A load that the deck must carry.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadCase {
    /// Name.
    pub name: String,
    /// Spread evenly over all plates by area, kg.
    pub even_kg: Option<f64>,
    /// Even patches.
    pub patches: Vec<Patch>,
    /// A patient lying on the bed.
    pub patient: Option<PatientLoad>,
}

/// A rectangle of even pressure on one plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Name of the plate.
    pub plate: String,
    /// Corner along x from the plate's corner, mm.
    pub x_mm: f64,
    /// Corner along y, mm.
    pub y_mm: f64,
    /// Size along x, mm.
    pub length_mm: f64,
    /// Size along y, mm.
    pub width_mm: f64,
    /// Load, kg.
    pub kg: f64,
}

/// A patient with mattress, as a load.
#[derive(Debug, Clone, PartialEq)]
pub struct PatientLoad {
    /// Body mass, kg.
    pub mass_kg: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Sex, for the segment tables.
    pub sex: Sex,
    /// Mattress mass, kg, even over the bed.
    pub mattress_kg: f64,
    /// Angle of each named section, °; the others lie flat.
    pub angles_deg: Vec<(String, f64)>,
}

/// Sex, as the published tables need it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

impl Deck {
    /// All cells in the order of the file, with the index of their plate.
    pub fn cells(&self) -> impl Iterator<Item = (usize, &Cell)> {
        self.plates.iter().enumerate().flat_map(|(p, plate)| plate.cells.iter().map(move |c| (p, c)))
    }

    /// The plate of that name.
    pub fn plate(&self, name: &str) -> Option<&Plate> {
        self.plates.iter().find(|p| p.name == name)
    }
}
