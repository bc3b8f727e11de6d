//! The `[explore]` table: what may vary.
//!
//! ```toml
//! [explore]
//! one_stack = true                    # the same layers on every plate; default false
//! cell_types = ["pad 50", "bar 60"]   # names of [[cell_type]]; absent: the one of the first cell
//! cells_per_plate = [3, 4, 6]         # 3 to 6; absent: 4
//! inset_mm = [40.0, 70.0, 100.0]      # of the outer cells from the edges; absent: 60
//! rounds = 40                         # rounds of the search; default 40
//! candidates_per_round = 2000         # default 2000
//! seed = 1                            # default 1
//! [[explore.stack]]                   # at least one; every choice of thicknesses is a stack of its own
//! bond = "glued"                      # or "loose"
//! layers = [ { material = "aluminium 5052", thickness_mm = [1.0, 1.5, 2.0] }, { material = "birch plywood", thickness_mm = [0.0, 6.0, 9.0] } ]
//! [[explore.converter]]               # absent: the deck's own
//! name = "quiet"
//! excitation_V = 5.0
//! gain = 128.0
//! reference_V = 5.0
//! bits = 24
//! noise_nV_rms = 20.0
//! rate_Hz = 10.0
//! cost_per_channel = 4.0
//! ```
//!
//! A thickness of 0 leaves the layer out. Cells lie: 3 at two corners and the middle of the other long side, 4 at the corners,
//! 5 with one in the middle, 6 with one more on each long side. Ribs and clearance stay as the deck file has them.

use formats::deck::{Bond, Converter, ConverterApproval, Deck, Layer};

use super::ExploreError;

/// Numbers of cells for which a layout is known.
const CELLS: [usize; 2] = [3, 6];
/// Most stacks; beyond them the table of options takes more time than the search it serves.
const STACKS_MAX: usize = 400;
/// Most choices of thicknesses that are written out for one `[[explore.stack]]`; many of them may be the same stack.
const CHOICES_MAX: usize = 20_000;
/// Most distances from the edge: each is an option more for every plate.
const INSETS_MAX: usize = 50;
/// Most rounds, and most candidates a round.
const SEARCH_MAX: usize = 1_000_000;

/// The table, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct ExploreTable {
    /// Whether all plates share one stack.
    pub one_stack: bool,
    /// Cell types, by their place in the deck.
    pub cell_types: Vec<usize>,
    /// Layouts of cells.
    pub layouts: Vec<Layout>,
    /// Stacks of layers.
    pub stacks: Vec<Stack>,
    /// Converters with their names.
    pub converters: Vec<(String, Converter)>,
    /// Rounds of the search.
    pub rounds: usize,
    /// Candidates a round.
    pub candidates_per_round: usize,
    /// Seed of the search.
    pub seed: u64,
}

/// Where the cells of a plate lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// How many.
    pub n_cells: usize,
    /// Distance of the outer ones from the edges, mm.
    pub inset_mm: f64,
}

/// Layers and how they are joined.
#[derive(Debug, Clone, PartialEq)]
pub struct Stack {
    /// Joint.
    pub bond: Bond,
    /// Layers from the top.
    pub layers: Vec<Layer>,
}

impl Stack {
    /// In words, such as `aluminium 5052 2 mm + birch plywood 6 mm, glued`.
    pub fn describe(&self) -> String {
        let layers: Vec<String> = self.layers.iter().map(|l| format!("{} {} mm", l.material, l.thickness_mm)).collect();
        let bond = match self.bond {
            Bond::Glued => "glued",
            Bond::Loose => "loose",
        };
        if layers.len() > 1 { format!("{}, {bond}", layers.join(" + ")) } else { layers.join("") }
    }
}

impl Layout {
    /// Places of the cells on a plate of `size_mm`, mm from its corner.
    pub fn places_mm(&self, size_mm: [f64; 2]) -> Vec<[f64; 2]> {
        let inset = self.inset_mm;
        // Written for the longer side along the first axis, then turned.
        let turned = size_mm[1] > size_mm[0];
        let [long, short] = if turned { [size_mm[1], size_mm[0]] } else { size_mm };
        let (near, far, low, high) = (inset, long - inset, inset, short - inset);
        let (mid_long, mid_short) = (long / 2.0, short / 2.0);
        let corners = [[near, low], [far, low], [near, high], [far, high]];
        let places = match self.n_cells {
            3 => vec![[near, low], [far, low], [mid_long, high]],
            5 => [&corners[..], &[[mid_long, mid_short]]].concat(),
            6 => [&corners[..], &[[mid_long, low], [mid_long, high]]].concat(),
            _ => corners.to_vec(),
        };
        if turned { places.into_iter().map(|[a, b]| [b, a]).collect() } else { places }
    }
}

/// The table as it stands in the file.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    #[serde(default)]
    one_stack: bool,
    cell_types: Option<Vec<String>>,
    cells_per_plate: Option<Vec<usize>>,
    inset_mm: Option<Vec<f64>>,
    #[serde(default = "default_rounds")]
    rounds: usize,
    #[serde(default = "default_candidates")]
    candidates_per_round: usize,
    #[serde(default = "default_seed")]
    seed: u64,
    stack: Vec<RawStack>,
    #[serde(default)]
    converter: Vec<RawConverter>,
}

#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStack {
    bond: String,
    layers: Vec<RawLayer>,
}

#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLayer {
    material: String,
    thickness_mm: Vec<f64>,
}

#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawConverter {
    name: String,
    #[serde(rename = "excitation_V")]
    excitation_v: f64,
    gain: f64,
    #[serde(rename = "reference_V")]
    reference_v: f64,
    bits: u32,
    #[serde(rename = "noise_nV_rms")]
    noise_nv_rms: f64,
    #[serde(rename = "rate_Hz")]
    rate_hz: f64,
    cost_per_channel: f64,
}

fn default_rounds() -> usize {
    40
}

fn default_candidates() -> usize {
    2000
}

fn default_seed() -> u64 {
    1
}

fn key(key: impl Into<String>, found: impl std::fmt::Display, expected: impl Into<String>) -> ExploreError {
    ExploreError::Key { key: key.into(), found: found.to_string(), expected: expected.into() }
}

impl ExploreTable {
    /// Reads and checks the table of a deck.
    ///
    /// # Errors
    /// No table, an unknown or malformed key, a name that the deck does not have, a number out of range.
    pub fn read(deck: &Deck) -> Result<Self, ExploreError> {
        let table = deck.explore.clone().ok_or(ExploreError::NoTable)?;
        let raw: Raw =
            table.try_into().map_err(|e: toml::de::Error| ExploreError::Table { message: e.message().to_owned() })?;
        for (name, value) in [("rounds", raw.rounds), ("candidates_per_round", raw.candidates_per_round)] {
            if !(1..=SEARCH_MAX).contains(&value) {
                return Err(key(name, value, format!("1 to {SEARCH_MAX}")));
            }
        }
        Ok(ExploreTable {
            one_stack: raw.one_stack,
            cell_types: cell_types(deck, raw.cell_types.as_deref())?,
            layouts: layouts(deck, raw.cells_per_plate.as_deref(), raw.inset_mm.as_deref())?,
            stacks: stacks(deck, &raw.stack)?,
            converters: converters(deck, raw.converter)?,
            rounds: raw.rounds,
            candidates_per_round: raw.candidates_per_round,
            seed: raw.seed,
        })
    }
}

/// The section on the table for the reference of formats, as Markdown.
#[must_use]
pub fn reference() -> String {
    let head = include_str!("table.rs").lines().map_while(|line| line.strip_prefix("//!")).skip(1);
    let told: Vec<&str> = head.map(|line| line.strip_prefix(' ').unwrap_or(line)).collect();
    format!(
        "\n## [explore] of deck.toml\n\nWhat may vary, for `explore`.\n{}\n\nRefused: more than {STACKS_MAX} stacks in all, {CHOICES_MAX} choices of \
         thicknesses in one `[[explore.stack]]`, {INSETS_MAX} insets, {SEARCH_MAX} rounds or candidates a round.\n",
        told.join("\n")
    )
}

fn cell_types(deck: &Deck, names: Option<&[String]>) -> Result<Vec<usize>, ExploreError> {
    let index = |name: &str| deck.cell_types.iter().position(|t| t.name == name);
    let own = deck.cells().next().map(|(_, cell)| cell.cell_type.clone());
    let own: Vec<String> = own.into_iter().collect();
    let names = names.unwrap_or(&own);
    if names.is_empty() {
        return Err(key("cell_types", "nothing", "at least one name of a [[cell_type]]"));
    }
    let unknown = |name: &String| key("cell_types", format!("\"{name}\""), "the name of a [[cell_type]]");
    names.iter().map(|name| index(name).ok_or_else(|| unknown(name))).collect()
}

fn layouts(deck: &Deck, cells: Option<&[usize]>, insets: Option<&[f64]>) -> Result<Vec<Layout>, ExploreError> {
    let cells = cells.unwrap_or(&[4]);
    let insets = insets.unwrap_or(&[60.0]);
    let shortest = deck.plates.iter().flat_map(|p| p.size_mm).fold(f64::INFINITY, f64::min);
    if let Some(n) = cells.iter().find(|n| !(CELLS[0]..=CELLS[1]).contains(n)) {
        return Err(key("cells_per_plate", n, format!("{} to {}", CELLS[0], CELLS[1])));
    }
    let fits = |inset: &f64| inset.is_finite() && *inset >= 0.0 && *inset < 0.45 * shortest;
    if let Some(inset) = insets.iter().find(|i| !fits(i)) {
        let expected = format!("0 to below {:.0} mm, 0.45 of the shortest side of a plate", 0.45 * shortest);
        return Err(key("inset_mm", inset, expected));
    }
    if insets.len() > INSETS_MAX {
        return Err(key("inset_mm", format!("{} values", insets.len()), format!("{INSETS_MAX} or fewer")));
    }
    if cells.is_empty() || insets.is_empty() {
        return Err(key("cells_per_plate, inset_mm", "an empty list", "at least one value"));
    }
    Ok(cells.iter().flat_map(|&n_cells| insets.iter().map(move |&inset_mm| Layout { n_cells, inset_mm })).collect())
}

fn stacks(deck: &Deck, raw: &[RawStack]) -> Result<Vec<Stack>, ExploreError> {
    let mut all: Vec<Stack> = Vec::new();
    for (index, stack) in raw.iter().enumerate() {
        let here = |rest: &str| format!("stack[{index}].{rest}");
        let bond = match stack.bond.as_str() {
            "glued" => Bond::Glued,
            "loose" => Bond::Loose,
            other => return Err(key(here("bond"), format!("\"{other}\""), "\"glued\" or \"loose\"")),
        };
        let n_choices = stack.layers.iter().map(|layer| layer.thickness_mm.len()).fold(1, usize::saturating_mul);
        if n_choices > CHOICES_MAX {
            return Err(key(here("layers"), format!("{n_choices} choices"), format!("{CHOICES_MAX} or fewer")));
        }
        let mut choices: Vec<Vec<Layer>> = vec![Vec::new()];
        for layer in &stack.layers {
            if !deck.materials.iter().any(|m| m.name == layer.material) {
                return Err(key(here("layers"), format!("\"{}\"", layer.material), "the name of a material"));
            }
            if let Some(bad) = layer.thickness_mm.iter().find(|t| !(t.is_finite() && **t >= 0.0)) {
                return Err(key(here("layers"), bad, "a thickness of 0 mm or more"));
            }
            let with = |begun: &Vec<Layer>, thickness_mm: f64| {
                let mut layers = begun.clone();
                if thickness_mm > 0.0 {
                    layers.push(Layer { material: layer.material.clone(), thickness_mm });
                }
                layers
            };
            choices =
                choices.iter().flat_map(|begun| layer.thickness_mm.iter().map(move |&t| with(begun, t))).collect();
        }
        for layers in choices.into_iter().filter(|layers| !layers.is_empty()) {
            let new = Stack { bond, layers };
            if !all.contains(&new) {
                all.push(new);
            }
        }
    }
    match all.len() {
        0 => Err(key("stack", "no stack with a layer", "at least one [[explore.stack]] with a thickness above 0")),
        n if n > STACKS_MAX => Err(key("stack", format!("{n} stacks"), format!("{STACKS_MAX} or fewer in all"))),
        _ => Ok(all),
    }
}

fn converters(deck: &Deck, raw: Vec<RawConverter>) -> Result<Vec<(String, Converter)>, ExploreError> {
    if raw.is_empty() {
        return Ok(vec![("own".to_owned(), deck.converter.clone())]);
    }
    raw.into_iter()
        .enumerate()
        .map(|(index, c)| {
            let numbers = [
                ("excitation_V", c.excitation_v),
                ("gain", c.gain),
                ("reference_V", c.reference_v),
                ("rate_Hz", c.rate_hz),
            ];
            for (name, value) in numbers {
                if !(value.is_finite() && value > 0.0) {
                    return Err(key(format!("converter[{index}].{name}"), value, "more than 0"));
                }
            }
            if !(8..=32).contains(&c.bits) {
                return Err(key(format!("converter[{index}].bits"), c.bits, "8 to 32"));
            }
            for (name, value) in [("noise_nV_rms", c.noise_nv_rms), ("cost_per_channel", c.cost_per_channel)] {
                if !(value.is_finite() && value >= 0.0) {
                    return Err(key(format!("converter[{index}].{name}"), value, "0 or more"));
                }
            }
            let converter = Converter {
                excitation_v: c.excitation_v,
                gain: c.gain,
                reference_v: c.reference_v,
                bits: c.bits,
                noise_nv_rms: c.noise_nv_rms,
                rate_hz: c.rate_hz,
                cost_per_channel: c.cost_per_channel,
                // What its certificate states is not part of the table.
                approval: ConverterApproval::default(),
            };
            Ok((c.name, converter))
        })
        .collect()
}
