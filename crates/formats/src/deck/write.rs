//! Writing `deck.toml`, in the order and layout of the contract.

use std::fmt::{self, Write as _};

use super::approval::{cell_approval, converter_approval};
use super::practice::write_practice;
use super::read::{AXES, BONDS, CLASSES, SEXES};
use super::{CellType, Converter, Deck, LoadCase, Material, MaterialCost, Patch, PatientLoad, Plate, Site, Target};
use crate::toml_writer::{key, number, pair, text};
use crate::{materials, words};

/// The deck as text; [`super::read`] gives an equal deck back.
///
/// Materials that the built-in table holds just so are left out.
#[must_use]
pub fn write(deck: &Deck) -> String {
    let mut out = String::new();
    // Writing to a `String` cannot fail.
    let _ = write_deck(&mut out, deck);
    out
}

fn write_deck(out: &mut String, deck: &Deck) -> fmt::Result {
    writeln!(out, "[deck]\nname = {}", text(&deck.name))?;
    writeln!(out, "max_kg = {}\ne_g = {}", number(deck.max_kg), number(deck.e_g))?;
    writeln!(out, "class = {}", text(words::word(CLASSES, &deck.class)))?;
    writeln!(out, "currency = {}", text(&deck.currency))?;
    write_target(out, &deck.target)?;
    write_site(out, "site", &deck.site)?;
    if let Some(site) = &deck.calibration_site {
        write_site(out, "calibration_site", site)?;
    }
    writeln!(out, "\n[ambient]\ntemperature_C = {}", pair(deck.ambient_c))?;
    for section in &deck.sections {
        writeln!(out, "\n[[section]]\nname = {}", text(&section.name))?;
        writeln!(out, "length_mm = {}", number(section.length_mm))?;
        writeln!(out, "angle_deg = {}", pair(section.angle_deg))?;
    }
    let built_in = materials::built_in();
    for material in deck.materials.iter().filter(|m| !built_in.contains(m)) {
        write_material(out, material)?;
    }
    for cell_type in &deck.cell_types {
        write_cell_type(out, cell_type)?;
    }
    write_converter(out, &deck.converter)?;
    write_practice(out, &deck.practice)?;
    for plate in &deck.plates {
        write_plate(out, plate)?;
    }
    for case in &deck.load_cases {
        write_load_case(out, case)?;
    }
    if let Some(explore) = &deck.explore {
        let mut root = toml::Table::new();
        root.insert("explore".to_owned(), toml::Value::Table(explore.clone()));
        write!(out, "\n{root}")?;
    }
    Ok(())
}

fn optional(out: &mut String, name: &str, value: Option<f64>) -> fmt::Result {
    value.map_or(Ok(()), |v| writeln!(out, "{name} = {}", number(v)))
}

fn write_target(out: &mut String, target: &Target) -> fmt::Result {
    if *target == Target::default() {
        return Ok(());
    }
    writeln!(out, "\n[deck.target]")?;
    optional(out, "deflection_mm", target.deflection_mm)?;
    optional(out, "expanded_u_g", target.expanded_u_g)?;
    optional(out, "mass_kg", target.mass_kg)?;
    optional(out, "cost", target.cost)?;
    optional(out, "plate_mass_kg", target.plate_mass_kg)
}

fn write_site(out: &mut String, name: &str, site: &Site) -> fmt::Result {
    writeln!(out, "\n[{name}]")?;
    match *site {
        Site::Gravity { gravity_m_s2 } => writeln!(out, "gravity_m_s2 = {}", number(gravity_m_s2)),
        Site::Place { latitude_deg, altitude_m } => {
            writeln!(out, "latitude_deg = {}\naltitude_m = {}", number(latitude_deg), number(altitude_m))
        }
    }
}

fn write_material(out: &mut String, m: &Material) -> fmt::Result {
    writeln!(out, "\n[[material]]\nname = {}", text(&m.name))?;
    writeln!(out, "E_MPa = {}", number(m.e_mpa))?;
    optional(out, "E_y_MPa", m.e_y_mpa)?;
    writeln!(out, "nu = {}", number(m.nu))?;
    optional(out, "G_MPa", m.g_mpa)?;
    optional(out, "G_transverse_MPa", m.g_transverse_mpa)?;
    writeln!(out, "density_kg_m3 = {}", number(m.density_kg_m3))?;
    writeln!(out, "strength_MPa = {}", number(m.strength_mpa))?;
    match m.cost {
        MaterialCost::PerKg(cost) => writeln!(out, "cost_per_kg = {}", number(cost)),
        MaterialCost::PerM2(cost) => writeln!(out, "cost_per_m2 = {}", number(cost)),
        MaterialCost::Unknown => Ok(()),
    }
}

fn write_cell_type(out: &mut String, c: &CellType) -> fmt::Result {
    writeln!(out, "\n[[cell_type]]\nname = {}", text(&c.name))?;
    for (name, value) in [
        ("capacity_kg", c.capacity_kg),
        ("output_mV_V", c.output_mv_v),
        ("stiffness_N_mm", c.stiffness_n_mm),
        ("nonlinearity_pct", c.nonlinearity_pct),
        ("hysteresis_pct", c.hysteresis_pct),
        ("repeatability_pct", c.repeatability_pct),
        ("creep_pct_30min", c.creep_pct_30min),
        ("zero_tc_pct_10C", c.zero_tc_pct_10c),
        ("span_tc_pct_10C", c.span_tc_pct_10c),
        ("cost", c.cost),
    ] {
        writeln!(out, "{name} = {}", number(value))?;
    }
    optional(out, "mass_kg", c.mass_kg)?;
    out.write_str(&cell_approval(&c.approval))
}

fn write_converter(out: &mut String, c: &Converter) -> fmt::Result {
    writeln!(out, "\n[converter]\nexcitation_V = {}\ngain = {}", number(c.excitation_v), number(c.gain))?;
    writeln!(out, "reference_V = {}\nbits = {}", number(c.reference_v), c.bits)?;
    writeln!(out, "noise_nV_rms = {}\nrate_Hz = {}", number(c.noise_nv_rms), number(c.rate_hz))?;
    writeln!(out, "cost_per_channel = {}", number(c.cost_per_channel))?;
    out.write_str(&converter_approval(&c.approval))
}

fn write_plate(out: &mut String, p: &Plate) -> fmt::Result {
    writeln!(out, "\n[[plate]]\nname = {}\nsection = {}", text(&p.name), text(&p.section))?;
    writeln!(out, "origin_mm = {}\nsize_mm = {}", pair(p.origin_mm), pair(p.size_mm))?;
    writeln!(out, "clearance_mm = {}", number(p.clearance_mm))?;
    optional(out, "base_kg", p.base_kg)?;
    writeln!(out, "bond = {}", text(words::word(BONDS, &p.bond)))?;
    list(out, "layers", &p.layers, |l| {
        format!("material = {}, thickness_mm = {}", text(&l.material), number(l.thickness_mm))
    })?;
    list(out, "ribs", &p.ribs, |r| {
        format!(
            "along = {}, at_mm = {}, width_mm = {}, height_mm = {}, material = {}",
            text(words::word(AXES, &r.along)),
            number(r.at_mm),
            number(r.width_mm),
            number(r.height_mm),
            text(&r.material)
        )
    })?;
    list(out, "cells", &p.cells, |c| {
        format!("name = {}, type = {}, at_mm = {}", text(&c.name), text(&c.cell_type), pair(c.at_mm))
    })
}

/// `name = [` and one inline table a line; nothing where the list is empty.
fn list<T>(out: &mut String, name: &str, items: &[T], inline: impl Fn(&T) -> String) -> fmt::Result {
    if items.is_empty() {
        return Ok(());
    }
    writeln!(out, "{name} = [")?;
    for item in items {
        writeln!(out, "  {{ {} }},", inline(item))?;
    }
    writeln!(out, "]")
}

fn write_load_case(out: &mut String, case: &LoadCase) -> fmt::Result {
    writeln!(out, "\n[[load_case]]\nname = {}", text(&case.name))?;
    optional(out, "even_kg", case.even_kg)?;
    list(out, "patches", &case.patches, patch)?;
    case.patient.as_ref().map_or(Ok(()), |p| writeln!(out, "patient = {{ {} }}", patient(p)))
}

fn patch(p: &Patch) -> String {
    format!(
        "plate = {}, x_mm = {}, y_mm = {}, length_mm = {}, width_mm = {}, kg = {}",
        text(&p.plate),
        number(p.x_mm),
        number(p.y_mm),
        number(p.length_mm),
        number(p.width_mm),
        number(p.kg)
    )
}

fn patient(p: &PatientLoad) -> String {
    let angles: Vec<String> =
        p.angles_deg.iter().map(|(name, angle)| format!("{} = {}", key(name), number(*angle))).collect();
    format!(
        "mass_kg = {}, height_mm = {}, sex = {}, mattress_kg = {}, angles_deg = {{ {} }}",
        number(p.mass_kg),
        number(p.height_mm),
        text(words::word(SEXES, &p.sex)),
        number(p.mattress_kg),
        angles.join(", ")
    )
}
