//! Shown and true weight over the night, thinned out so that a long night is drawn as fast as a short one.

/// Points of the curve that the page draws; more are thinned out.
const POINTS_MOST: usize = 600;

/// Hours, weight shown and true weight, kg; absent where nothing is to be drawn.
type Point = (f64, Option<f64>, Option<f64>);

/// The curve so far.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Curve {
    rows: usize,
    /// Every how-manieth row is drawn.
    every: usize,
    points: Vec<Point>,
}

impl Default for Curve {
    fn default() -> Self {
        Self { rows: 0, every: 1, points: Vec::new() }
    }
}

impl Curve {
    pub(super) fn add(&mut self, t_s: f64, shown_kg: Option<f64>, true_kg: Option<f64>) {
        self.rows += 1;
        if self.rows.is_multiple_of(self.every) {
            self.points.push((t_s / 3600.0, shown_kg, true_kg));
        }
        if self.points.len() > POINTS_MOST {
            let mut keep = false;
            self.points.retain(|_| {
                keep = !keep;
                keep
            });
            self.every *= 2;
        }
    }

    pub(super) fn points(&self) -> &[Point] {
        &self.points
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_night_is_thinned_out_and_keeps_its_length() {
        let mut curve = Curve::default();
        for i in 0..100_000 {
            curve.add(f64::from(i), Some(70.0), Some(70.0));
        }
        let points = curve.points();
        assert!(points.len() <= POINTS_MOST && points.len() > POINTS_MOST / 3, "{}", points.len());
        assert!(points.last().unwrap().0 > 27.5, "{:?}", points.last());
    }
}
