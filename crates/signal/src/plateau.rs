//! The level of a still load: a line through block means, with forgetting.
//!
//! Weighted least squares of y = L + b (t − now) with weights exp(−(now − t)/τ) and a prior on the slope, b = 0 ± u_b,
//! without which the first seconds would run off on breathing. Five sums hold it; time moves by shifting their origin.
//!
//! | symbol | name         | unit  |
//! |--------|--------------|-------|
//! | L      | `level_kg`   | kg    |
//! | b      | `slope_kg_s` | kg/s  |
//! | τ      | `memory_s`   | s     |
//! | σ      | `sd_kg`      | kg, scatter of a block mean |
//!
//! Source: recursive least squares with exponential forgetting and a Gaussian prior (common practice, no source).
//! Lags nothing on a steady slope up to the prior; a bend of the slope is followed within about τ.

/// A level with its slope, at a time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Level {
    /// Time, s.
    pub t_s: f64,
    /// Load, kg.
    pub kg: f64,
    /// Slope, kg/s.
    pub slope_kg_s: f64,
    /// Standard uncertainty of the load from scatter alone, kg.
    pub u_kg: f64,
    /// Standard uncertainty of the slope, kg/s.
    pub u_slope_kg_s: f64,
}

/// Sums of the weighted line, with their origin at `t_s` and `base_kg`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Line {
    t_s: f64,
    base_kg: f64,
    w: f64,
    wt: f64,
    wtt: f64,
    wy: f64,
    wty: f64,
}

impl Line {
    /// A line without points.
    #[must_use]
    pub const fn new() -> Self {
        Self { t_s: 0.0, base_kg: 0.0, w: 0.0, wt: 0.0, wtt: 0.0, wy: 0.0, wty: 0.0 }
    }

    /// Whether no point was taken.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.w <= 0.0
    }

    /// Sum of the weights: how many blocks the line rests on.
    #[must_use]
    pub const fn weight(&self) -> f64 {
        self.w
    }

    /// Takes a block mean.
    pub fn push(&mut self, t_s: f64, kg: f64, memory_s: f64) {
        if self.is_empty() {
            self.t_s = t_s;
            self.base_kg = kg;
        }
        self.shift(t_s, memory_s);
        let y = kg - self.base_kg;
        self.w += 1.0;
        self.wy += y;
        // The point lies at the origin of time: the sums with t take nothing.
    }

    fn shift(&mut self, to_s: f64, memory_s: f64) {
        let ahead = to_s - self.t_s;
        if ahead > 0.0 {
            let fade = libm::exp(-ahead / memory_s);
            // t' = t − ahead.
            self.wtt = (self.wtt - 2.0 * ahead * self.wt + ahead * ahead * self.w) * fade;
            self.wt = (self.wt - ahead * self.w) * fade;
            self.wty = (self.wty - ahead * self.wy) * fade;
            self.w *= fade;
            self.wy *= fade;
            self.t_s = to_s;
        }
    }

    /// The line at `t_s`, for a scatter `sd_kg` of a block mean and a prior `u_slope` on the slope.
    #[must_use]
    pub fn at(&self, t_s: f64, sd_kg: f64, u_slope: f64) -> Level {
        let prior = sd_kg * sd_kg / (u_slope * u_slope);
        let tt = self.wtt + prior;
        let det = self.w * tt - self.wt * self.wt;
        if det <= 0.0 || !det.is_finite() {
            let kg = if self.w > 0.0 { self.base_kg + self.wy / self.w } else { 0.0 };
            return Level { t_s, kg, slope_kg_s: 0.0, u_kg: sd_kg, u_slope_kg_s: u_slope };
        }
        let level = (tt * self.wy - self.wt * self.wty) / det;
        let slope = (self.w * self.wty - self.wt * self.wy) / det;
        let ahead = t_s - self.t_s;
        // Covariance of (level, slope) is σ² times the inverse of [[w, wt], [wt, tt]].
        let variance = sd_kg * sd_kg * (tt - 2.0 * ahead * self.wt + ahead * ahead * self.w) / det;
        Level {
            t_s,
            kg: self.base_kg + level + slope * ahead,
            slope_kg_s: slope,
            u_kg: libm::sqrt(variance.max(0.0)),
            u_slope_kg_s: libm::sqrt((sd_kg * sd_kg * self.w / det).max(0.0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_slope_is_followed_without_lag() {
        let mut line = Line::new();
        for i in 0..400 {
            line.push(0.5 * f64::from(i), 70.0 - 1e-4 * f64::from(i), 30.0);
        }
        let level = line.at(210.0, 0.01, 1e-3);
        // −0.2 g/s; the prior of 1 g/s draws it by less than a hundredth.
        assert!((level.slope_kg_s + 2e-4).abs() < 2e-6, "{level:?}");
        assert!((level.kg - (70.0 - 2e-4 * 210.0)).abs() < 1e-4, "{level:?}");
    }

    /// By hand, without forgetting or prior: y = 1, 2, 4 at t = 0, 1, 2 has b = 1.5 and the level 4 − 1/6 at t = 2, with
    /// u² = σ² (1/3 + 1/2) there.
    #[test]
    fn without_forgetting_it_is_the_ordinary_line() {
        let mut line = Line::new();
        for (t, y) in [(0.0, 1.0), (1.0, 2.0), (2.0, 4.0)] {
            line.push(t, y, 1e12);
        }
        let level = line.at(2.0, 1.0, 1e9);
        assert!((level.slope_kg_s - 1.5).abs() < 1e-9 && (level.kg - 23.0 / 6.0).abs() < 1e-9, "{level:?}");
        assert!(
            (level.u_kg - libm::sqrt(5.0 / 6.0)).abs() < 1e-9 && (level.u_slope_kg_s - libm::sqrt(0.5)).abs() < 1e-9
        );
    }

    #[test]
    fn one_point_has_the_priors_slope() {
        let mut line = Line::new();
        line.push(3.0, 50.0, 30.0);
        let level = line.at(5.0, 0.01, 1e-3);
        assert!(level.slope_kg_s.abs() < 1e-12 && (level.u_slope_kg_s - 1e-3).abs() < 1e-9);
        assert!((level.u_kg - libm::hypot(0.01, 2e-3)).abs() < 1e-9, "scatter, and the slope over two seconds");
    }
}
