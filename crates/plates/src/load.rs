//! Loads on a plate, down positive.

use crate::plate::{PlateError, finite};

/// One load.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Load {
    /// Even pressure over the whole plate.
    Uniform {
        /// Pa.
        pressure_pa: f64,
    },
    /// Even pressure over a rectangle.
    Patch {
        /// Its corner nearest the plate's corner, m.
        corner_m: [f64; 2],
        /// Its length along x and along y, m.
        size_m: [f64; 2],
        /// Pa.
        pressure_pa: f64,
    },
    /// A force at a point.
    Point {
        /// Its place, m.
        at_m: [f64; 2],
        /// N.
        force_newton: f64,
    },
}

/// Loads that act together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LoadCase {
    /// The loads.
    pub loads: Vec<Load>,
}

impl From<Vec<Load>> for LoadCase {
    fn from(loads: Vec<Load>) -> Self {
        Self { loads }
    }
}

impl From<Load> for LoadCase {
    fn from(load: Load) -> Self {
        Self { loads: vec![load] }
    }
}

/// A rectangle may reach over the edge by this share of the plate's side: the round-off of millimetres turned to metres.
const EDGE_SLACK: f64 = 1e-9;

impl Load {
    /// Even pressure over a rectangle that adds up to `force_newton`, N.
    #[must_use]
    pub fn patch_of(corner_m: [f64; 2], size_m: [f64; 2], force_newton: f64) -> Self {
        Self::Patch { corner_m, size_m, pressure_pa: force_newton / (size_m[0] * size_m[1]) }
    }

    /// Lower and upper corner on a plate of `plate_m`, m.
    #[must_use]
    pub fn extent_m(&self, plate_m: [f64; 2]) -> ([f64; 2], [f64; 2]) {
        match *self {
            Self::Uniform { .. } => ([0.0; 2], plate_m),
            Self::Patch { corner_m, size_m, .. } => (corner_m, [corner_m[0] + size_m[0], corner_m[1] + size_m[1]]),
            Self::Point { at_m, .. } => (at_m, at_m),
        }
    }

    /// Force on a plate of `plate_m`, N.
    #[must_use]
    pub fn force_newton(&self, plate_m: [f64; 2]) -> f64 {
        match *self {
            Self::Uniform { pressure_pa } => pressure_pa * plate_m[0] * plate_m[1],
            Self::Patch { size_m, pressure_pa, .. } => pressure_pa * size_m[0] * size_m[1],
            Self::Point { force_newton, .. } => force_newton,
        }
    }

    /// Centre on a plate of `plate_m`, m.
    #[must_use]
    pub fn centre_m(&self, plate_m: [f64; 2]) -> [f64; 2] {
        let (from, to) = self.extent_m(plate_m);
        [0.5 * (from[0] + to[0]), 0.5 * (from[1] + to[1])]
    }

    fn strength(&self) -> (&'static str, f64) {
        match *self {
            Self::Uniform { pressure_pa } | Self::Patch { pressure_pa, .. } => ("pressure, Pa", pressure_pa),
            Self::Point { force_newton, .. } => ("force, N", force_newton),
        }
    }
}

impl LoadCase {
    /// Whole force on a plate of `plate_m`, N.
    #[must_use]
    pub fn force_newton(&self, plate_m: [f64; 2]) -> f64 {
        self.loads.iter().map(|l| l.force_newton(plate_m)).sum()
    }

    /// Centre of the load, m; `None` when the forces add up to nothing.
    #[must_use]
    pub fn centre_m(&self, plate_m: [f64; 2]) -> Option<[f64; 2]> {
        let total = self.force_newton(plate_m);
        let moment = |axis: usize| -> f64 {
            self.loads.iter().map(|l| l.force_newton(plate_m) * l.centre_m(plate_m)[axis]).sum()
        };
        (total.abs() > 0.0).then(|| [moment(0) / total, moment(1) / total])
    }

    /// Checks that every load of case number `case` is finite, has a size and lies on a plate of `plate_m`.
    ///
    /// # Errors
    /// The first fault found.
    pub fn check(&self, case: usize, plate_m: [f64; 2]) -> Result<(), PlateError> {
        for (index, load) in self.loads.iter().enumerate() {
            let (what, value) = load.strength();
            finite(what, value)?;
            if let Load::Patch { size_m, .. } = load {
                crate::plate::positive("patch length along x, m", size_m[0])?;
                crate::plate::positive("patch length along y, m", size_m[1])?;
            }
            let (from_m, to_m) = load.extent_m(plate_m);
            for axis in 0..2 {
                finite("load place, m", from_m[axis])?;
                let slack = EDGE_SLACK * plate_m[axis];
                if from_m[axis] < -slack || to_m[axis] > plate_m[axis] + slack {
                    return Err(PlateError::LoadOutside { case, load: index, from_m, to_m, size_m: plate_m });
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLATE: [f64; 2] = [0.9, 0.5];

    #[test]
    fn force_and_centre_of_a_mixed_case() {
        let case = LoadCase::from(vec![
            Load::Uniform { pressure_pa: 100.0 },
            Load::patch_of([0.2, 0.1], [0.1, 0.2], 15.0),
            Load::Point { at_m: [0.9, 0.5], force_newton: 40.0 },
        ]);
        assert!((case.force_newton(PLATE) - 100.0).abs() < 1e-12);
        let centre = case.centre_m(PLATE).unwrap();
        assert!((centre[0] - (45.0 * 0.45 + 15.0 * 0.25 + 40.0 * 0.9) / 100.0).abs() < 1e-12);
        assert!((centre[1] - (45.0 * 0.25 + 15.0 * 0.2 + 40.0 * 0.5) / 100.0).abs() < 1e-12);
    }

    #[test]
    fn a_patch_over_the_edge_is_named() {
        let case =
            LoadCase::from(vec![Load::Uniform { pressure_pa: 1.0 }, Load::patch_of([0.85, 0.1], [0.1, 0.1], 5.0)]);
        let error = case.check(3, PLATE);
        assert!(matches!(error, Err(PlateError::LoadOutside { case: 3, load: 1, .. })), "{error:?}");
    }

    #[test]
    fn a_patch_without_size_or_with_nan_is_refused() {
        let flat = LoadCase::from(Load::Patch { corner_m: [0.1, 0.1], size_m: [0.0, 0.1], pressure_pa: 1.0 });
        assert!(matches!(flat.check(0, PLATE), Err(PlateError::NotPositive { .. })));
        let nan = LoadCase::from(Load::Uniform { pressure_pa: f64::NAN });
        assert!(matches!(nan.check(0, PLATE), Err(PlateError::NotFinite { .. })));
    }
}
