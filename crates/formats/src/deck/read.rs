//! Reading `deck.toml`: the tables one by one, names resolved as they come.

use std::collections::HashMap;

use super::approval::{read_cell_approval, read_converter_approval};
use super::plate::read_plates;
use super::practice::read_practice;
use super::{
    AccuracyClass, Axis, Bond, CellType, Converter, ConverterApproval, Deck, LoadCase, Material, Patch, PatientLoad,
    Plate, Section, Sex, Site, Target,
};
use crate::limits::{Limits, quoted};
use crate::toml_document::Document;
use crate::toml_reader::Table;
use crate::{Problem, Problems, materials, words};

pub(super) const CLASSES: &words::Words<AccuracyClass> =
    &[("I", AccuracyClass::I), ("II", AccuracyClass::II), ("III", AccuracyClass::III), ("IIII", AccuracyClass::IIII)];
pub(super) const BONDS: &words::Words<Bond> = &[("glued", Bond::Glued), ("loose", Bond::Loose)];
pub(super) const AXES: &words::Words<Axis> = &[("x", Axis::X), ("y", Axis::Y)];
pub(crate) const SEXES: &words::Words<Sex> = &[("female", Sex::Female), ("male", Sex::Male)];

/// Temperatures that a deck may meet, °C; beyond them stands a slip or another unit.
const AMBIENT_C: Limits = Limits::between(-40.0, 85.0);
/// Gravity on the ground lies between about 9.76 (equator, high mountains) and 9.84 m/s² (poles).
const GRAVITY_M_S2: Limits = Limits::between(9.75, 9.85).because("gravity on the ground, m/s²");
/// A share of rated output.
const PERCENT: Limits = Limits::between(0.0, 100.0);

/// Lengths of bed and plates: no bed is longer, and a slip of a thousand would ask for a map of a landscape.
pub(super) const LENGTH_MM: Limits = Limits::above(0.0).at_most(10_000.0);
/// Places on the bed.
pub(super) const PLACE_MM: Limits = Limits::between(-10_000.0, 10_000.0);
/// Angles of a section; an upright plate carries nothing.
const ANGLE_DEG: Limits = Limits::between(-89.0, 89.0);

/// Reads a deck.
///
/// # Errors
/// All problems of the file at once: text that is not TOML, keys unknown, missing or of a wrong kind, numbers out
/// of range, names that do not resolve or stand twice, and what the geometry forbids.
pub fn read(file: &str, text: &str) -> Result<Deck, Problems> {
    read_with_warnings(file, text).map(|(deck, _)| deck)
}

/// Reads a deck, and says what is allowed but should be looked at: plates that reach beyond their section.
///
/// # Errors
/// As [`read`].
pub fn read_with_warnings(file: &str, text: &str) -> Result<(Deck, Vec<Problem>), Problems> {
    let (doc, tree) = Document::parse(file, text)?;
    let deck = read_deck(Table::root(&doc, &tree));
    doc.finish(deck)
}

/// What the table `[deck]` holds.
struct Head {
    name: String,
    max_kg: f64,
    e_g: f64,
    class: AccuracyClass,
    currency: String,
    target: Target,
}

fn read_deck(root: Table<'_>) -> Deck {
    let head = root.table("deck").map(read_head);
    let sections = named(root.some_tables("section", "section of the bed"), "section", read_section);
    let own_materials = named(root.tables("material"), "material", materials::read_material);
    let materials = merged(materials::built_in(), own_materials);
    let cell_types = named(root.some_tables("cell_type", "type of cell"), "cell type", read_cell_type);
    let plates = read_plates(&root, &sections, &materials, &cell_types);
    let load_cases = named(root.tables("load_case"), "load case", |t| read_load_case(t, &sections, &plates));
    let site = root.table("site").map(read_site);
    let calibration_site = root.table_opt("calibration_site").map(read_site);
    let ambient = root.table("ambient").map(read_ambient);
    let converter = root.table("converter").map(read_converter);
    let practice = root.table_opt("practice").map(read_practice).unwrap_or_default();
    let explore = root.kept_opt("explore");
    root.finish();

    // What is missing was noted; a stand-in keeps the rest going and never leaves the document.
    let head = head.unwrap_or_else(|| Head {
        name: String::new(),
        max_kg: f64::NAN,
        e_g: f64::NAN,
        class: AccuracyClass::III,
        currency: String::new(),
        target: Target::default(),
    });
    Deck {
        name: head.name,
        max_kg: head.max_kg,
        e_g: head.e_g,
        class: head.class,
        currency: head.currency,
        target: head.target,
        site: site.unwrap_or(Site::Gravity { gravity_m_s2: f64::NAN }),
        calibration_site,
        ambient_c: ambient.unwrap_or([f64::NAN; 2]),
        sections,
        materials,
        cell_types,
        converter: converter.unwrap_or(NO_CONVERTER),
        practice,
        plates,
        load_cases,
        explore,
    }
}

const NO_CONVERTER: Converter = Converter {
    excitation_v: f64::NAN,
    gain: f64::NAN,
    reference_v: f64::NAN,
    bits: 0,
    noise_nv_rms: f64::NAN,
    rate_hz: f64::NAN,
    cost_per_channel: f64::NAN,
    approval: ConverterApproval {
        class: None,
        n_max: None,
        step_min_uv: None,
        input_min_mv: None,
        error_share: None,
        temperature_c: None,
        bridge_ohm: None,
        cable_m_mm2: None,
    },
};

/// Reads named tables, each name once.
fn named<'d, T>(tables: Vec<Table<'d>>, what: &str, mut read: impl FnMut(Table<'d>) -> T) -> Vec<T> {
    let mut lines = HashMap::new();
    tables
        .into_iter()
        .map(|table| {
            unique(&mut lines, &table, what);
            read(table)
        })
        .collect()
}

/// Notes a name that stands for another already.
pub(super) fn unique(lines: &mut HashMap<String, usize>, table: &Table<'_>, what: &str) {
    let Some(name) = table.peek_text("name") else { return };
    let line = table.line_of("name");
    if let Some(first) = lines.get(&name) {
        let expected = format!("a name of its own: line {first} has a {what} of this name already");
        table.problem("name", quoted(&name), expected);
    } else {
        lines.insert(name, line);
    }
}

/// The built-in materials, each replaced by the file's own of the same name; the others follow.
fn merged(mut materials: Vec<Material>, own: Vec<Material>) -> Vec<Material> {
    for material in own {
        match materials.iter_mut().find(|m| m.name == material.name) {
            Some(place) => *place = material,
            None => materials.push(material),
        }
    }
    materials
}

fn read_head(t: Table<'_>) -> Head {
    let head = Head {
        name: t.text("name"),
        max_kg: t.number("max_kg", Limits::POSITIVE),
        e_g: t.number("e_g", Limits::POSITIVE),
        class: t.word("class", CLASSES).unwrap_or(AccuracyClass::III),
        currency: t.text("currency"),
        target: t.table_opt("target").map(read_target).unwrap_or_default(),
    };
    if head.e_g > head.max_kg * 1000.0 {
        t.problem("e_g", head.e_g.to_string(), format!("an interval below the largest load of {} kg", head.max_kg));
    }
    t.finish();
    head
}

fn read_target(t: Table<'_>) -> Target {
    let target = Target {
        deflection_mm: t.number_opt("deflection_mm", Limits::POSITIVE),
        expanded_u_g: t.number_opt("expanded_u_g", Limits::POSITIVE),
        mass_kg: t.number_opt("mass_kg", Limits::POSITIVE),
        cost: t.number_opt("cost", Limits::NOT_NEGATIVE),
        plate_mass_kg: t.number_opt("plate_mass_kg", Limits::POSITIVE),
    };
    t.finish();
    target
}

fn read_site(t: Table<'_>) -> Site {
    let gravity = t.number_opt("gravity_m_s2", GRAVITY_M_S2);
    let latitude = Limits::between(-90.0, 90.0);
    // The lowest and the highest ground that people live on, with room.
    let altitude = Limits::between(-500.0, 9000.0);
    let site = if let Some(gravity_m_s2) = gravity {
        for (key, limits) in [("latitude_deg", latitude), ("altitude_m", altitude)] {
            if t.number_opt(key, limits).is_some() {
                t.problem(key, "a place beside `gravity_m_s2`", "one of the two: gravity is given already");
            }
        }
        Site::Gravity { gravity_m_s2 }
    } else if t.has("latitude_deg") || t.has("altitude_m") {
        Site::Place { latitude_deg: t.number("latitude_deg", latitude), altitude_m: t.number("altitude_m", altitude) }
    } else {
        t.missing("gravity_m_s2", "gravity in m/s², or `latitude_deg` and `altitude_m` in its place");
        Site::Gravity { gravity_m_s2: f64::NAN }
    };
    t.finish();
    site
}

fn read_ambient(t: Table<'_>) -> [f64; 2] {
    let range = t.range("temperature_C", AMBIENT_C);
    t.finish();
    range
}

fn read_section(t: Table<'_>) -> Section {
    let section = Section {
        name: t.text("name"),
        length_mm: t.number("length_mm", LENGTH_MM),
        angle_deg: t.range("angle_deg", ANGLE_DEG),
    };
    t.finish();
    section
}

fn read_cell_type(t: Table<'_>) -> CellType {
    let cell_type = CellType {
        name: t.text("name"),
        capacity_kg: t.number("capacity_kg", Limits::POSITIVE),
        output_mv_v: t.number("output_mV_V", Limits::POSITIVE),
        stiffness_n_mm: t.number("stiffness_N_mm", Limits::POSITIVE),
        nonlinearity_pct: t.number("nonlinearity_pct", PERCENT),
        hysteresis_pct: t.number("hysteresis_pct", PERCENT),
        repeatability_pct: t.number("repeatability_pct", PERCENT),
        creep_pct_30min: t.number("creep_pct_30min", PERCENT),
        zero_tc_pct_10c: t.number("zero_tc_pct_10C", PERCENT),
        span_tc_pct_10c: t.number("span_tc_pct_10C", PERCENT),
        cost: t.number("cost", Limits::NOT_NEGATIVE),
        mass_kg: t.number_opt("mass_kg", Limits::NOT_NEGATIVE),
        approval: t.table_opt("approval").map(read_cell_approval).unwrap_or_default(),
    };
    t.finish();
    cell_type
}

fn read_converter(t: Table<'_>) -> Converter {
    let converter = Converter {
        excitation_v: t.number("excitation_V", Limits::POSITIVE),
        gain: t.number("gain", Limits::POSITIVE),
        reference_v: t.number("reference_V", Limits::POSITIVE),
        bits: t.whole("bits", 8..=32),
        noise_nv_rms: t.number("noise_nV_rms", Limits::NOT_NEGATIVE),
        rate_hz: t.number("rate_Hz", Limits::POSITIVE),
        cost_per_channel: t.number("cost_per_channel", Limits::NOT_NEGATIVE),
        approval: t.table_opt("approval").map(read_converter_approval).unwrap_or_default(),
    };
    t.finish();
    converter
}

fn read_load_case(t: Table<'_>, sections: &[Section], plates: &[Plate]) -> LoadCase {
    let case = LoadCase {
        name: t.text("name"),
        even_kg: t.number_opt("even_kg", Limits::POSITIVE),
        patches: t.tables("patches").into_iter().map(|p| read_patch(p, plates)).collect(),
        patient: t.table_opt("patient").map(|p| read_patient(p, sections)),
    };
    if !["even_kg", "patches", "patient"].into_iter().any(|key| t.has(key)) {
        t.missing("patient", "a load: `patient`, `patches` or `even_kg`");
    }
    t.finish();
    case
}

fn read_patch(t: Table<'_>, plates: &[Plate]) -> Patch {
    let patch = Patch {
        plate: t.name_of("plate", plates.iter().map(|p| p.name.as_str())),
        x_mm: t.number("x_mm", Limits::ANY),
        y_mm: t.number("y_mm", Limits::ANY),
        length_mm: t.number("length_mm", Limits::POSITIVE),
        width_mm: t.number("width_mm", Limits::POSITIVE),
        kg: t.number("kg", Limits::POSITIVE),
    };
    if let Some(plate) = plates.iter().find(|p| p.name == patch.plate) {
        for (key, start, length, size) in [
            ("x_mm", patch.x_mm, patch.length_mm, plate.size_mm[0]),
            ("y_mm", patch.y_mm, patch.width_mm, plate.size_mm[1]),
        ] {
            if start < 0.0 || start + length > size + super::plate::ROUNDING_MM {
                let found = format!("a patch from {start} to {} mm", start + length);
                let expected = format!(
                    "a patch on its plate, which reaches from 0 to {size} mm: what lies beside the plate it does not carry"
                );
                t.problem(key, found, expected);
            }
        }
    }
    t.finish();
    patch
}

fn read_patient(t: Table<'_>, sections: &[Section]) -> PatientLoad {
    let names = sections.iter().map(|s| s.name.as_str());
    let angles_deg = t.table_opt("angles_deg").map(|angles| {
        let values = angles.named_numbers(&names, "the section", ANGLE_DEG);
        for (name, angle) in &values {
            if let Some(section) = sections.iter().find(|s| s.name == *name) {
                let [low, high] = section.angle_deg;
                if *angle < low || *angle > high {
                    angles.problem(
                        name,
                        angle.to_string(),
                        format!("an angle that the section reaches, {low} to {high}°"),
                    );
                }
            }
        }
        values
    });
    let patient = PatientLoad {
        // What a body can be laid from; a test of `deck` holds these to the limits of `body`.
        mass_kg: t.number("mass_kg", Limits::between(0.4, 450.0)),
        height_mm: t.number("height_mm", Limits::between(250.0, 2600.0).because("in millimetres")),
        sex: t.word("sex", SEXES).unwrap_or(Sex::Female),
        mattress_kg: t.number("mattress_kg", Limits::NOT_NEGATIVE),
        angles_deg: angles_deg.unwrap_or_default(),
    };
    t.finish();
    patient
}
