//! Plates that touch their base, or what jams the gap above it, during a night.

use crate::built::BuiltDeck;
use crate::cell::STANDARD_GRAVITY;
use crate::contact::POINTS;

/// The gaps of a deck and what passes through them.
pub(crate) struct Contact {
    /// Free gap at each contact point, mm, plate by plate.
    gap_mm: Vec<f64>,
    /// Smallest gap of each plate, mm.
    least_mm: Vec<f64>,
    /// What the base pushed at each point at the last sample, N.
    push_newton: Vec<f64>,
    /// Load that passes the cells of each plate by, N.
    shunted_newton: Vec<f64>,
}

impl Contact {
    pub(crate) fn new(built: &BuiltDeck) -> Self {
        let n = built.plates.len();
        let mut contact = Self {
            gap_mm: vec![0.0; POINTS * n],
            least_mm: vec![0.0; n],
            push_newton: vec![0.0; POINTS * n],
            shunted_newton: vec![0.0; n],
        };
        for plate in 0..n {
            contact.clear(built, plate);
        }
        contact
    }

    /// Nothing lies in the gap of a plate.
    pub(crate) fn clear(&mut self, built: &BuiltDeck, plate: usize) {
        let gaps_mm = built.plates[plate].sharing.gaps_mm();
        self.gap_mm[POINTS * plate..POINTS * (plate + 1)].copy_from_slice(gaps_mm);
        self.least_mm[plate] = gaps_mm.iter().copied().fold(f64::INFINITY, f64::min);
    }

    /// Something lies in the gap of a plate and leaves `gap_mm` free at the contact point nearest to a place.
    pub(crate) fn jam(&mut self, built: &BuiltDeck, plate: usize, at_mm: [f64; 2], gap_mm: f64) {
        let point = POINTS * plate + built.plates[plate].sharing.nearest_point(at_mm);
        self.gap_mm[point] = self.gap_mm[point].min(gap_mm);
        self.least_mm[plate] = self.least_mm[plate].min(gap_mm);
    }

    /// Takes off the cells what the base carries; `channels` are those of a footprint, in N and mm. Whether any plate touched.
    pub(crate) fn touch(&mut self, built: &BuiltDeck, channels: &mut [f64]) -> bool {
        let (cells, deflections_mm) = channels.split_at_mut(built.n_cells());
        let mut touched = false;
        for (i, plate) in built.plates.iter().enumerate() {
            let points = POINTS * i..POINTS * (i + 1);
            let own = &mut cells[plate.cells()];
            let shunted_before = std::mem::take(&mut self.shunted_newton[i]);
            let near = plate.sharing.could_touch(own.iter().sum(), self.least_mm[i]);
            let through = |(w, gap): (&f64, &f64)| w > gap;
            if !near || !deflections_mm[points.clone()].iter().zip(&self.gap_mm[points.clone()]).any(through) {
                if shunted_before > 0.0 {
                    self.push_newton[points].fill(0.0);
                }
                continue;
            }
            self.shunted_newton[i] = plate.sharing.touch(
                own,
                &deflections_mm[points.clone()],
                &self.gap_mm[points.clone()],
                &mut self.push_newton[points],
            );
            touched |= self.shunted_newton[i] > 0.0;
        }
        touched
    }

    /// Load that passes the cells of each plate by, kg.
    pub(crate) fn shunted_kg(&self) -> impl Iterator<Item = f64> + '_ {
        self.shunted_newton.iter().map(|n| n / STANDARD_GRAVITY)
    }
}
