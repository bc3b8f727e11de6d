//! Change points: a generalized likelihood ratio on the newest residuals.
//!
//! Residuals e_j of block means from the level are normal with mean 0 and variance σ² until an unknown instant, and have an
//! unknown other mean from then on. Over the newest m of them the likelihood ratio, maximized over that mean, is
//! g_m = (Σ e)² / (2 σ² m); the largest over m is compared with a threshold. The level itself is uncertain by u_L,
//! common to all residuals, which puts σ² m + u_L² m² in the place of σ² m.
//!
//! | symbol | name      | unit |
//! |--------|-----------|------|
//! | e_j    | residual  | kg   |
//! | σ      | `sd`      | kg   |
//! | u_L    | `u_level` | kg   |
//! | g      | `ratio`   | –    |
//!
//! Source: Basseville and Nikiforov, *Detection of Abrupt Changes*, 1993, §2.4.3 (GLR for an unknown change of the mean).
//! Holds for residuals independent of each other; breathing is not, and enters through a larger σ.

/// The likeliest change among the newest residuals.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Glr {
    /// Log-likelihood ratio.
    pub ratio: f64,
    /// Mean after the change.
    pub mean: f64,
    /// Residuals since the change.
    pub since: usize,
}

/// Largest likelihood ratio over all change instants; residuals come newest first.
pub fn glr(newest_first: impl Iterator<Item = f64>, sd: f64, u_level: f64) -> Glr {
    let mut best = Glr::default();
    let (mut sum, mut m) = (0.0, 0.0);
    for (i, residual) in newest_first.enumerate() {
        sum += residual;
        m += 1.0;
        let variance = sd * sd * m + u_level * u_level * m * m;
        if variance > 0.0 {
            let ratio = sum * sum / (2.0 * variance);
            if ratio > best.ratio {
                best = Glr { ratio, mean: sum / m, since: i + 1 };
            }
        }
    }
    best
}
