//! Creep of a cell: what a lasting load adds by and by, and what stays for a while when it has gone.
//!
//! First order and recovering: r = F + x, dx/dt = (c F − x) / τ. Known c and τ, the force is F = r − x, with x followed from sample to
//! sample, exact for a force that holds between them.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | r      | `reading_kg`| kg   |
//! | F      | the load    | kg   |
//! | x      | `crept_kg`  | kg   |
//! | c      | `creep_rel` | –    |
//! | τ      | `creep_tau_s` | s  |
//!
//! Source: first-order viscoelastic creep (common practice, no source). A new cell is taken to have crept all it will: that is the
//! error of the first half hour, and in the uncertainty (see [`crate::doubt`]). Real creep has several time constants.

/// What one cell has crept.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Creep {
    crept_kg: f64,
    begun: bool,
}

impl Creep {
    /// A cell that was not read yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { crept_kg: 0.0, begun: false }
    }

    /// Takes a reading and gives the load; `gain` is [`crate::filter::gain`] of the time since the last with τ.
    pub fn push(&mut self, reading_kg: f64, creep_rel: f64, gain: f64) -> f64 {
        if self.begun {
            let load = reading_kg - self.crept_kg;
            self.crept_kg += gain * (creep_rel * load - self.crept_kg);
        } else {
            self.begun = true;
            self.crept_kg = reading_kg * creep_rel / (1.0 + creep_rel);
        }
        reading_kg - self.crept_kg
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filter::gain;

    /// Load on for an hour and off for an hour, the creep by its closed form: c F (1 − e^(−t/τ)), then its remainder dying away.
    #[test]
    fn a_load_that_stays_and_goes_is_given_back_without_its_creep() {
        const DT_S: f64 = 0.1;
        let (c, tau_s, load) = (1e-3, 600.0, 50.0);
        let mut creep = Creep::new();
        creep.push(0.0, c, 0.0);
        let mut worst = 0.0_f64;
        for i in 1..72_000 {
            let t = f64::from(i) * DT_S;
            let (force, crept) = if t <= 3600.0 {
                (load, -c * load * libm::expm1(-t / tau_s))
            } else {
                (0.0, -c * load * libm::expm1(-3600.0 / tau_s) * libm::exp(-(t - 3600.0) / tau_s))
            };
            let found = creep.push(force + crept, c, gain(DT_S, tau_s));
            worst = worst.max((found - force).abs());
        }
        // Left alone it would be 50 g; one sample late it is c F dt/τ = 8 mg.
        assert!(worst < 2e-5, "{worst}");
    }

    #[test]
    fn without_creep_nothing_changes() {
        let mut creep = Creep::new();
        for i in 0..100 {
            let kg = f64::from(i % 7);
            assert!((creep.push(kg, 0.0, 0.1) - kg).abs() < 1e-15);
        }
    }
}
