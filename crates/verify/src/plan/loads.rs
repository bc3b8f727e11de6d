//! Loads made of pieces, and where the pieces go.

use deck::chain::plate_capacity_kg;
use deck::oiml::r76;
use formats::deck::{Deck, Plate};
use formats::masses::Mass;

use super::{FOOT_MM, Placed, PlanError, Step};

/// Part of a plate's capacity that a stack on its middle may take: the cells bear unequal parts of it (engineering choice).
pub(super) const CAPACITY_PART: f64 = 0.6;
/// Pieces lighter than so many intervals make no load: they cost a hand more than they bring (engineering choice).
const LIGHTEST_E: f64 = 5.0;
/// Decimal rounding of masses, kg.
const ROUNDING_KG: f64 = 1e-9;

/// One piece.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub(super) name: String,
    pub(super) kg: f64,
    u_g: f64,
}

/// The pieces of known mass, the heaviest first.
pub(super) struct Pieces {
    all: Vec<Piece>,
    capacity_kg: Vec<f64>,
    lightest_kg: f64,
}

impl Pieces {
    pub(super) fn new(deck: &Deck, masses: &[Mass]) -> Result<Self, PlanError> {
        let mut all = Vec::new();
        for mass in masses {
            let Some(kg) = mass.mass_kg else { continue };
            let piece = Piece { name: mass.name.clone(), kg, u_g: mass.u_g };
            all.extend(std::iter::repeat_n(piece, mass.count as usize));
        }
        if all.is_empty() {
            return Err(PlanError::NoMass);
        }
        all.sort_by(|a, b| b.kg.total_cmp(&a.kg));
        let capacity_kg = deck.plates.iter().map(|p| plate_capacity_kg(deck, p)).collect::<Result<_, _>>()?;
        Ok(Self { all, capacity_kg, lightest_kg: LIGHTEST_E * deck.e_g / 1e3 })
    }

    /// All pieces together, kg.
    pub(super) fn total_kg(&self) -> f64 {
        self.all.iter().map(|p| p.kg).sum()
    }

    /// Pieces whose sum comes near a load from below, the heaviest first; those of `taken` stay where they are.
    pub(super) fn towards(&self, kg: f64, taken: &[Piece]) -> Vec<Piece> {
        self.of_at_least(self.lightest_kg, kg, taken)
    }

    fn of_at_least(&self, lightest_kg: f64, kg: f64, taken: &[Piece]) -> Vec<Piece> {
        let mut held = taken.to_vec();
        let mut left_kg = kg;
        let mut chosen = Vec::new();
        for piece in &self.all {
            if let Some(i) = held.iter().position(|h| h == piece) {
                held.swap_remove(i);
            } else if piece.kg <= left_kg + ROUNDING_KG && piece.kg >= lightest_kg {
                left_kg -= piece.kg;
                chosen.push(piece.clone());
            }
        }
        chosen
    }

    /// The lightest pieces whose sum is within two masses, kg, both ends included; none beside `taken`: `None`.
    pub(super) fn between(&self, low_kg: f64, high_kg: f64, taken: &[Piece]) -> Option<Vec<Piece>> {
        let found = self.of_at_least(0.0, high_kg, taken);
        (sum(&found) >= low_kg - ROUNDING_KG).then_some(found)
    }

    /// Lays pieces on the middles of the plates: each where the load by area is least so far. Pieces for which no plate has
    /// capacity stay away.
    pub(super) fn spread(&self, deck: &Deck, pieces: &[Piece]) -> Vec<Placed> {
        let mut on_kg = vec![0.0; deck.plates.len()];
        let mut placed = Vec::with_capacity(pieces.len());
        for piece in pieces {
            let area = |i: &usize| deck.plates[*i].size_mm[0] * deck.plates[*i].size_mm[1];
            let bears = |i: &usize| on_kg[*i] + piece.kg <= CAPACITY_PART * self.capacity_kg[*i];
            let least = (0..deck.plates.len())
                .filter(bears)
                .min_by(|a, b| ((on_kg[*a] + piece.kg) / area(a)).total_cmp(&((on_kg[*b] + piece.kg) / area(b))));
            let Some(i) = least else { continue };
            on_kg[i] += piece.kg;
            let plate = &deck.plates[i];
            placed.push(on(piece, plate, [plate.size_mm[0] / 2.0, plate.size_mm[1] / 2.0]));
        }
        placed
    }

    /// Where the masses' own uncertainty is too large for the limits of a load.
    pub(super) fn doubts(&self, deck: &Deck, steps: &[Step]) -> Vec<String> {
        let u_g = |body: &str| self.all.iter().find(|p| p.name == body).map_or(0.0, |p| p.u_g);
        let worst = steps
            .iter()
            .filter(|s| s.load_kg > 0.0)
            // Errors of masses of one make go together: their uncertainties add up. k = 2.
            .map(|s| (s.load_kg, 2.0 * s.bodies.iter().map(|b| u_g(&b.body)).sum::<f64>()))
            .find(|(kg, u)| *u > r76::weights_limit_g(deck.class, deck.e_g, *kg));
        worst
            .map(|(kg, u)| {
                format!(
                    "the masses that make {kg:.3} kg are known to ± {u:.1} g (k = 2), more than a third of the permissible error \
                     there (3.7.1)"
                )
            })
            .into_iter()
            .collect()
    }
}

pub(super) fn sum(pieces: &[Piece]) -> f64 {
    // To the tenth of a milligram: sums of decimal fractions.
    (pieces.iter().map(|p| p.kg).sum::<f64>() * 1e7).round() / 1e7
}

/// A piece on a mark; its foot stays on the plate.
pub(super) fn on(piece: &Piece, plate: &Plate, at_mm: [f64; 2]) -> Placed {
    let at_mm = [0, 1].map(|axis| {
        let half = (FOOT_MM / 2.0).min(plate.size_mm[axis] / 2.0);
        at_mm[axis].clamp(half, plate.size_mm[axis] - half)
    });
    Placed { body: piece.name.clone(), mass_kg: piece.kg, plate: plate.name.clone(), at_mm }
}
