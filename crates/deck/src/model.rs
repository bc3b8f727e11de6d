//! A plate of the deck as the solver takes it.
//!
//! Thin layers bend by Kirchhoff's theory on cells that bear on points. Where a layer names a transverse shear modulus and
//! shear adds noticeably to the deflection, the plate is shear-flexible, and cells bear on squares of [`BEARING_MM`]: into
//! a soft core a point would sink without end. Ribs are eccentric beams glued under the lowest layer.

use formats::deck::{Axis, Deck, Material, Plate, Rib};
use plates::laminate::Laminate;
use plates::{Along, Shear, Spring};

use crate::chain::{cell_type, stiffness_n_per_m};
use crate::error::DeckError;
use crate::stack;
use crate::units::{MM, MPA, m2};

/// Side of the square on which a cell bears under a plate with a soft core, mm: the foot of a small cell (an engineering
/// choice; the deck file does not name it).
pub const BEARING_MM: f64 = 30.0;

/// A plate ready to be solved, with the laminate that turns its moments into stresses.
#[derive(Debug, Clone)]
pub struct Model {
    /// The solver's plate: size, bending stiffness, springs in the order of the plate's cells, ribs in that of the plate's.
    pub plate: plates::Plate,
    /// Its layers.
    pub laminate: Laminate,
}

/// The solver's model of a plate.
///
/// # Errors
/// Unknown material or cell type, or a plate that the solver refuses (cells on one line, say).
pub fn model(deck: &Deck, plate: &Plate) -> Result<Model, DeckError> {
    let laminate = stack::laminate(deck, plate)?;
    let shear = shear(deck, plate, &laminate)?;
    let springs = plate
        .cells
        .iter()
        .map(|cell| {
            let spring = Spring::point(m2(cell.at_mm), stiffness_n_per_m(cell_type(deck, cell)?));
            let bearing_m = if shear.is_some() { BEARING_MM * MM } else { 0.0 };
            Ok(Spring { bearing_m, ..spring })
        })
        .collect::<Result<Vec<_>, DeckError>>()?;
    let mut solver = plates::Plate::new(m2(plate.size_mm), laminate.bending(), springs);
    if let Some(shear) = shear {
        solver = solver.with_shear(shear);
    }
    if !plate.ribs.is_empty() {
        let ribs = plate.ribs.iter().map(|r| rib(deck, plate, r)).collect::<Result<_, _>>()?;
        solver = solver.with_ribs(laminate.section(), ribs);
    }
    solver.check().map_err(|source| DeckError::Plate { plate: plate.name.clone(), source })?;
    Ok(Model { plate: solver, laminate })
}

/// Transverse shear stiffness, where a layer names a modulus for it and it matters.
fn shear(deck: &Deck, plate: &Plate, laminate: &Laminate) -> Result<Option<Shear>, DeckError> {
    if materials(deck, plate)?.iter().all(|m| m.g_transverse_mpa.is_none()) {
        return Ok(None);
    }
    let shear = possible_shear(deck, plate, laminate)?;
    Ok(laminate.shears_noticeably(&shear, m2(plate.size_mm)).then_some(shear))
}

/// What shear through the thickness would add to the deflection along the longer side, as a share, of a plate that is bent
/// without it because no layer names a modulus for it.
///
/// # Errors
/// As [`model`].
pub fn neglected_shear(deck: &Deck, plate: &Plate) -> Result<f64, DeckError> {
    if materials(deck, plate)?.iter().any(|m| m.g_transverse_mpa.is_some()) {
        return Ok(0.0);
    }
    let laminate = stack::laminate(deck, plate)?;
    let shares = laminate.shear_shares(&possible_shear(deck, plate, &laminate)?, m2(plate.size_mm));
    Ok(if plate.size_mm[0] >= plate.size_mm[1] { shares[0] } else { shares[1] })
}

/// A layer that names no transverse modulus shears through its thickness as it does in its plane.
fn possible_shear(deck: &Deck, plate: &Plate, laminate: &Laminate) -> Result<Shear, DeckError> {
    let moduli: Vec<[f64; 2]> = materials(deck, plate)?
        .iter()
        .map(|m| [m.g_transverse_mpa.map_or_else(|| stack::elasticity(m).g_xy_pa, |g| g * MPA); 2])
        .collect();
    laminate.shear(&moduli).map_err(|source| DeckError::Plate { plate: plate.name.clone(), source })
}

fn materials<'a>(deck: &'a Deck, plate: &Plate) -> Result<Vec<&'a Material>, DeckError> {
    let owner = format!("plate `{}`", plate.name);
    plate.layers.iter().map(|l| stack::material(deck, &owner, &l.material)).collect()
}

fn rib(deck: &Deck, plate: &Plate, rib: &Rib) -> Result<plates::Rib, DeckError> {
    let material = stack::material(deck, &format!("rib of plate `{}`", plate.name), &rib.material)?;
    let elasticity = stack::elasticity(material);
    let (along, e_pa) = match rib.along {
        Axis::X => (Along::X, elasticity.e_x_pa),
        Axis::Y => (Along::Y, elasticity.e_y_pa),
    };
    Ok(plates::Rib {
        along,
        at_m: rib.at_mm * MM,
        width_m: rib.width_mm * MM,
        height_m: rib.height_mm * MM,
        e_pa,
        g_pa: elasticity.g_xy_pa,
    })
}
