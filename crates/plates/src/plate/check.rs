//! Checks a plate once before solving: every number, and that what holds it keeps it from tipping.

use super::{Bending, Edge, Plate, PlateError, Spring};

/// Springs within this share of the plate's diagonal of one line count as on it: 1 mm for a plate of 1 m. A real spring is
/// not placed better, and the reactions that hold such a plate level are a thousand times its load.
const COLLINEAR_SHARE: f64 = 1e-3;

/// Fails unless `value` is finite and above zero.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<(), PlateError> {
    finite(what, value)?;
    if value > 0.0 { Ok(()) } else { Err(PlateError::NotPositive { what, value }) }
}

/// Fails unless `value` is finite.
pub(crate) fn finite(what: &'static str, value: f64) -> Result<(), PlateError> {
    if value.is_finite() { Ok(()) } else { Err(PlateError::NotFinite { what, value }) }
}

impl Plate {
    /// Checks every number of the plate and that its supports hold it.
    ///
    /// # Errors
    /// The first fault found, with what was found and what was expected.
    pub fn check(&self) -> Result<(), PlateError> {
        self.check_alone()?;
        self.check_these(&self.springs)?;
        self.check_held_by(self.springs.iter().map(|s| s.at_m))
    }

    /// Checks all but the springs.
    pub(crate) fn check_alone(&self) -> Result<(), PlateError> {
        positive("plate length along x, m", self.size_m[0])?;
        positive("plate length along y, m", self.size_m[1])?;
        for row in self.bending.matrix() {
            for value in row {
                finite("bending stiffness, N·m", value)?;
            }
        }
        if !self.bending.is_positive_definite() {
            let Bending { d11, d12, d22, d66, .. } = self.bending;
            return Err(PlateError::IndefiniteBending { d11, d22, d12, d66 });
        }
        finite("foundation, Pa/m", self.foundation_pa_per_m)?;
        if self.foundation_pa_per_m < 0.0 {
            return Err(PlateError::NotPositive { what: "foundation, Pa/m", value: self.foundation_pa_per_m });
        }
        self.check_rich()
    }

    /// Checks springs that are to stand under this plate.
    pub(crate) fn check_these(&self, springs: &[Spring]) -> Result<(), PlateError> {
        for (index, spring) in springs.iter().enumerate() {
            if self.shear.is_some() {
                positive("bearing of a spring under a shear-flexible plate, m", spring.bearing_m)?;
            }
            for axis in 0..2 {
                finite("spring place, m", spring.at_m[axis])?;
                if !(0.0..=self.size_m[axis]).contains(&spring.at_m[axis]) {
                    return Err(PlateError::SpringOutside { index, at_m: spring.at_m, size_m: self.size_m });
                }
            }
            let value = spring.stiffness_n_per_m;
            if value.is_nan() {
                return Err(PlateError::NotFinite { what: "spring stiffness, N/m", value });
            }
            if value <= 0.0 {
                return Err(PlateError::NotPositive { what: "spring stiffness, N/m", value });
            }
            finite("spring bearing, m", spring.bearing_m)?;
            if spring.bearing_m < 0.0 {
                return Err(PlateError::NotPositive { what: "spring bearing, m", value: spring.bearing_m });
            }
        }
        Ok(())
    }

    /// What only plates with ribs or transverse shear have.
    fn check_rich(&self) -> Result<(), PlateError> {
        if let Some(shear) = &self.shear {
            positive("shear stiffness along x, N/m", shear.x_n_per_m)?;
            positive("shear stiffness along y, N/m", shear.y_n_per_m)?;
        }
        if let Some(section) = &self.section {
            for value in section.a.iter().chain(&section.b).chain(&section.d).flatten() {
                finite("stiffness of the section", *value)?;
            }
            finite("depth of the underside, m", section.lower_face_m)?;
        } else if !self.ribs.is_empty() {
            return Err(PlateError::NoSection { n_ribs: self.ribs.len() });
        }
        self.ribs.iter().enumerate().try_for_each(|(index, rib)| rib.check(index, self.size_m))
    }

    /// Checks that springs at `places` hold the plate against tipping.
    pub(crate) fn check_held_by(&self, places: impl Iterator<Item = [f64; 2]>) -> Result<(), PlateError> {
        let places: Vec<_> = places.collect();
        let needed_m = COLLINEAR_SHARE * self.size_m[0].hypot(self.size_m[1]);
        match self.free_motions().len() {
            0 => Ok(()),
            // A plate that hangs on one edge is held by any spring off that edge.
            1 => {
                let off = |p: &[f64; 2]| {
                    let e = &self.edges;
                    if e.x0 != Edge::Free {
                        p[0]
                    } else if e.x1 != Edge::Free {
                        self.size_m[0] - p[0]
                    } else if e.y0 != Edge::Free {
                        p[1]
                    } else {
                        self.size_m[1] - p[1]
                    }
                };
                if places.iter().any(|p| off(p) > needed_m) { Ok(()) } else { Err(PlateError::NotHeld) }
            }
            _ if places.len() < 3 => Err(PlateError::TooFewSprings { n_springs: places.len() }),
            _ => {
                let off_line_m = off_line_m(&places);
                if off_line_m > needed_m { Ok(()) } else { Err(PlateError::CollinearSprings { off_line_m, needed_m }) }
            }
        }
    }

    /// Rigid motions that edges and foundation leave free, each as a + b x + c y.
    pub(crate) fn free_motions(&self) -> Vec<[f64; 3]> {
        let [lx, ly] = self.size_m;
        if self.foundation_pa_per_m > 0.0 {
            return Vec::new();
        }
        let e = &self.edges;
        let held: Vec<(Edge, [f64; 3])> = [
            (e.x0, [0.0, 1.0 / lx, 0.0]),
            (e.x1, [1.0, -1.0 / lx, 0.0]),
            (e.y0, [0.0, 0.0, 1.0 / ly]),
            (e.y1, [1.0, 0.0, -1.0 / ly]),
        ]
        .into_iter()
        .filter(|(edge, _)| *edge != Edge::Free)
        .collect();
        match held.as_slice() {
            // Moved about the centre, so that the three are of like size and nearly independent.
            [] => vec![[1.0, 0.0, 0.0], [-0.5, 1.0 / lx, 0.0], [-0.5, 0.0, 1.0 / ly]],
            [(Edge::Simple | Edge::Diaphragm, hinge)] => vec![*hinge],
            _ => Vec::new(),
        }
    }
}

/// Root mean square distance of points from the line that fits them best, m.
fn off_line_m(points: &[[f64; 2]]) -> f64 {
    let n = points.len() as f64;
    let mean = |axis: usize| points.iter().map(|p| p[axis]).sum::<f64>() / n;
    let (mx, my) = (mean(0), mean(1));
    let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0);
    for p in points {
        let (dx, dy) = (p[0] - mx, p[1] - my);
        sxx += dx * dx / n;
        sxy += dx * dy / n;
        syy += dy * dy / n;
    }
    // Smaller eigenvalue of the scatter, from the determinant: the plain difference cancels when it is small.
    let larger = 0.5 * (sxx + syy) + (0.5 * (sxx - syy)).hypot(sxy);
    if larger > 0.0 { ((sxx * syy - sxy * sxy) / larger).max(0.0).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plate::Edges;

    fn springs(places: &[[f64; 2]]) -> Vec<Spring> {
        places.iter().map(|&p| Spring::point(p, 1e6)).collect()
    }

    fn plate(places: &[[f64; 2]]) -> Plate {
        Plate::new([0.9, 0.5], Bending::isotropic_of(1400.0, 0.3), springs(places))
    }

    #[test]
    fn a_held_plate_passes() {
        assert_eq!(plate(&[[0.1, 0.1], [0.8, 0.1], [0.4, 0.4]]).check(), Ok(()));
    }

    #[test]
    fn springs_on_one_line_are_refused() {
        let error = plate(&[[0.1, 0.1], [0.5, 0.3], [0.3, 0.2], [0.7, 0.4]]).check();
        assert!(matches!(error, Err(PlateError::CollinearSprings { .. })), "{error:?}");
    }

    #[test]
    fn two_springs_are_refused() {
        let error = plate(&[[0.1, 0.1], [0.5, 0.3]]).check();
        assert_eq!(error, Err(PlateError::TooFewSprings { n_springs: 2 }));
    }

    #[test]
    fn each_bad_number_is_named() {
        let good = || plate(&[[0.1, 0.1], [0.8, 0.1], [0.4, 0.4]]);
        let mut p = good();
        p.size_m[1] = 0.0;
        assert!(matches!(p.check(), Err(PlateError::NotPositive { what, .. }) if what.contains("along y")));
        let mut p = good();
        p.springs[1].stiffness_n_per_m = -1.0;
        assert!(matches!(p.check(), Err(PlateError::NotPositive { what, .. }) if what.contains("stiffness")));
        let mut p = good();
        p.springs[2].at_m = [0.4, 0.51];
        assert!(matches!(p.check(), Err(PlateError::SpringOutside { index: 2, .. })));
        let mut p = good();
        p.bending.d12 = 2.0 * p.bending.d11;
        assert!(matches!(p.check(), Err(PlateError::IndefiniteBending { .. })));
        let mut p = good();
        p.bending.d22 = f64::NAN;
        assert!(matches!(p.check(), Err(PlateError::NotFinite { .. })));
    }

    #[test]
    fn one_hinged_edge_needs_a_spring_off_it() {
        let edges = Edges { x0: Edge::Simple, ..Edges::default() };
        assert_eq!(plate(&[[0.0, 0.2]]).with_edges(edges).check(), Err(PlateError::NotHeld));
        assert_eq!(plate(&[[0.8, 0.2]]).with_edges(edges).check(), Ok(()));
    }
}
