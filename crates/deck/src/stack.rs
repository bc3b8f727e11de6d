//! From materials and thicknesses to a laminate with its strength, mass and price.

use formats::deck::{Axis, Bond, Deck, Material, MaterialCost, Plate};
use plates::laminate::{self, Elasticity, Laminate, Stress};

use crate::error::DeckError;
use crate::geometry::area_m2;
use crate::units::{MM, MPA};

/// The material of that name.
///
/// # Errors
/// The deck has none of that name.
pub fn material<'a>(deck: &'a Deck, owner: &str, name: &str) -> Result<&'a Material, DeckError> {
    deck.materials.iter().find(|m| m.name == name).ok_or_else(|| DeckError::Unknown {
        owner: owner.to_owned(),
        kind: "material",
        name: name.to_owned(),
    })
}

/// In-plane elasticity of a material; one that names no shear modulus is taken as isotropic in shear, G = E/2(1+ν).
pub fn elasticity(material: &Material) -> Elasticity {
    let e_x_pa = material.e_mpa * MPA;
    Elasticity {
        e_x_pa,
        e_y_pa: material.e_y_mpa.map_or(e_x_pa, |e| e * MPA),
        g_xy_pa: material.g_mpa.map_or(e_x_pa / (2.0 * (1.0 + material.nu)), |g| g * MPA),
        nu_xy: material.nu,
    }
}

/// What a stress asks of a material, Pa: the greater of the largest principal stress and the equivalent stress.
///
/// The strength of the deck file is one number (yield of a metal, bending strength of a board), so the measure is the
/// one that is right for a ductile sheet and not unsafe for a brittle board along its stronger direction.
pub fn demand_pa(stress: &Stress) -> f64 {
    stress.principal_pa().abs().max(stress.equivalent_pa())
}

/// The layers of a plate as a laminate.
///
/// # Errors
/// Unknown material, or numbers that make no plate.
pub fn laminate(deck: &Deck, plate: &Plate) -> Result<Laminate, DeckError> {
    let owner = format!("plate `{}`", plate.name);
    let layers = plate
        .layers
        .iter()
        .map(|layer| {
            let elasticity = elasticity(material(deck, &owner, &layer.material)?);
            Ok(laminate::Layer { thickness_m: layer.thickness_mm * MM, elasticity })
        })
        .collect::<Result<Vec<_>, DeckError>>()?;
    let bond = match plate.bond {
        Bond::Glued => laminate::Bond::Glued,
        Bond::Loose => laminate::Bond::Loose,
    };
    Laminate::new(&layers, bond).map_err(|source| DeckError::Plate { plate: plate.name.clone(), source })
}

/// One piece of material in a plate: for mass, price and the bill.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// What it is, such as `aluminium 5052 sheet 2 mm`.
    pub item: String,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Price; `None` where the material names none.
    pub cost: Option<f64>,
    /// Area of sheet, or length × width of a rib, m².
    pub area_m2: f64,
}

/// Layers and ribs of a plate with mass and price, from the top.
///
/// # Errors
/// Unknown material.
pub fn pieces(deck: &Deck, plate: &Plate) -> Result<Vec<Piece>, DeckError> {
    let owner = format!("plate `{}`", plate.name);
    let sheet = |name: &str, thickness_mm: f64, area_m2: f64, item: String| {
        let material = material(deck, &owner, name)?;
        let mass_kg = area_m2 * thickness_mm * MM * material.density_kg_m3;
        let cost = match material.cost {
            MaterialCost::PerKg(price) => Some(price * mass_kg),
            MaterialCost::PerM2(price) => Some(price * area_m2),
            MaterialCost::Unknown => None,
        };
        Ok(Piece { item, mass_kg, cost, area_m2 })
    };
    let layers = plate.layers.iter().map(|layer| {
        let item = format!("{} sheet {} mm", layer.material, layer.thickness_mm);
        sheet(&layer.material, layer.thickness_mm, area_m2(plate), item)
    });
    let ribs = plate.ribs.iter().map(|rib| {
        let length_mm = match rib.along {
            Axis::X => plate.size_mm[0],
            Axis::Y => plate.size_mm[1],
        };
        let item = format!("{} rib {} × {} mm", rib.material, rib.width_mm, rib.height_mm);
        sheet(&rib.material, rib.height_mm, length_mm * rib.width_mm * MM * MM, item)
    });
    layers.chain(ribs).collect()
}
