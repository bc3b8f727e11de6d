//! Materials: the built-in table, and how a `[[material]]` is read.
//!
//! The built-in table is `data/materials.toml`, in the form of the deck file, with the source of every number
//! beside it. Its prices are typical ones without a source, in no particular currency: state your own.

use crate::deck::{Material, MaterialCost};
use crate::limits::Limits;
use crate::toml_document::Document;
use crate::toml_reader::Table;

/// The table as it stands in the repository.
const BUILT_IN: &str = include_str!("../data/materials.toml");

/// The built-in materials.
///
/// # Panics
/// Never: a test of this crate reads the embedded table.
#[must_use]
pub fn built_in() -> Vec<Material> {
    read_table(BUILT_IN).unwrap_or_else(|problems| unreachable!("{problems}"))
}

fn read_table(text: &str) -> Result<Vec<Material>, crate::Problems> {
    let (doc, tree) = Document::parse("materials.toml", text)?;
    let root = Table::root(&doc, &tree);
    let materials = root.tables("material").into_iter().map(read_material).collect();
    root.finish();
    doc.finish(materials).map(|(materials, _)| materials)
}

/// Reads one `[[material]]`.
pub(crate) fn read_material(t: Table<'_>) -> Material {
    let material = Material {
        name: t.text("name"),
        e_mpa: t.number("E_MPa", Limits::POSITIVE),
        e_y_mpa: t.number_opt("E_y_MPa", Limits::POSITIVE),
        nu: t.number("nu", Limits::between(-1.0, 1.0)),
        g_mpa: t.number_opt("G_MPa", Limits::POSITIVE),
        g_transverse_mpa: t.number_opt("G_transverse_MPa", Limits::POSITIVE),
        density_kg_m3: t.number("density_kg_m3", Limits::POSITIVE),
        strength_mpa: t.number("strength_MPa", Limits::POSITIVE),
        cost: read_cost(&t),
    };
    check_poisson(&t, &material);
    t.finish();
    material
}

/// A stiffness must be positive definite, or bending the sheet would set energy free.
fn check_poisson(t: &Table<'_>, m: &Material) {
    match m.e_y_mpa {
        // Isotropic: −1 < ν ≤ 1/2; the limit below keeps E / 2(1+ν) finite.
        None if m.g_mpa.is_none() => {
            if m.nu <= -1.0 || m.nu > 0.5 {
                t.problem("nu", m.nu.to_string(), "a Poisson ratio above -1 and at most 0.5");
            }
        }
        // Orthotropic, ν_xy / E_x = ν_yx / E_y: ν_xy² < E_x / E_y (Lempriere, AIAA J. 6 (1968) 2226, from memory).
        e_y => {
            let most = (m.e_mpa / e_y.unwrap_or(m.e_mpa)).sqrt();
            if m.nu.abs() >= most {
                let expected = format!("a Poisson ratio nearer to 0 than √(E_MPa / E_y_MPa) = {most:.3}");
                t.problem("nu", m.nu.to_string(), expected);
            }
        }
    }
}

fn read_cost(t: &Table<'_>) -> MaterialCost {
    match (t.number_opt("cost_per_kg", Limits::NOT_NEGATIVE), t.number_opt("cost_per_m2", Limits::NOT_NEGATIVE)) {
        (Some(_), Some(_)) => {
            t.problem("cost_per_m2", "a second price", "one of `cost_per_kg` and `cost_per_m2`");
            MaterialCost::Unknown
        }
        (Some(cost), None) => MaterialCost::PerKg(cost),
        (None, Some(cost)) => MaterialCost::PerM2(cost),
        (None, None) => MaterialCost::Unknown,
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn built_in_table_reads_and_names_each_material_once() {
        let materials = read_table(BUILT_IN).unwrap();
        let mut names: Vec<_> = materials.iter().map(|m| m.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), materials.len());
        for needed in ["aluminium 5052", "aluminium 6061", "stainless steel 304", "birch plywood", "XPS foam"] {
            assert!(names.contains(&needed), "{needed}");
        }
    }

    #[test]
    fn built_in_cores_are_soft_in_shear() {
        for m in built_in().iter().filter(|m| m.name.contains("honeycomb") || m.name.contains("foam")) {
            assert!(m.g_transverse_mpa.is_some(), "{}", m.name);
        }
    }
}
