//! How the deck is calibrated and used: what `[practice]` of the deck file states, and what is taken for granted elsewhere.

use formats::deck::Deck;

/// Assumptions about calibration and use; the default is stated and reasoned at each field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assumptions {
    /// Time over which a settled weight is averaged, s. Default 2: people do not lie still for much longer.
    pub averaging_s: f64,
    /// Standard uncertainty of a section's angle, °: its sensor and its seat on the section. Default 0.3.
    pub angle_u_deg: f64,
    /// Standard deviation with which a bed comes back to the same angle, °. Default 0.1 (no source).
    pub angle_again_deg: f64,
    /// Standard uncertainty of the calibration masses, relative, all of one set. Default 2.9e-5: class M1 at nominal, 50 mg/kg over √3 (OIML R 111-1, Table 1).
    pub masses_u_relative: f64,
    /// Mass put on each cell to calibrate it, kg; no more than half of its capacity is used. Default 20.
    pub calibration_kg: f64,
    /// Placements near each cell in the calibration. Default 2 (loading and unloading).
    pub placements: f64,
    /// Tolerance of the cells' rated output, ± %, for a deck whose cells are not calibrated one by one; `None`: they are. Default `None`.
    pub output_tolerance_pct: Option<f64>,
    /// Half-width of the air pressure about the place's mean, Pa. Default 3000 (weather; common practice, no source).
    pub pressure_pa: f64,
    /// Error of a cell per side force on it, relative. Default 0.01 (an engineering choice, no source).
    pub side_sensitivity: f64,
    /// Mass besides the patient that lies on the deck and is tared (mattress, linen), kg. Default 15.
    pub tare_kg: f64,
    /// Share of the load that a turn in bed moves from cells to other cells. Default 0.3 (no source).
    pub moved_share: f64,
    /// Time over which a ward's temperature forgets itself, h. Default 6: a day's swing (no source).
    pub room_h: f64,
    /// Time since the zero was taken, h; `None`: so long that the temperature has forgotten it. Default `None`.
    pub zero_h: Option<f64>,
    /// Range of loads that the first zero takes off, kg. Default 0: the deck is switched on without a load.
    pub zero_range_kg: f64,
    /// Seed of the draws. Default 1.
    pub seed: u64,
}

impl Default for Assumptions {
    fn default() -> Self {
        Assumptions {
            averaging_s: 2.0,
            angle_u_deg: 0.3,
            angle_again_deg: 0.1,
            masses_u_relative: 50e-6 / 3f64.sqrt(),
            calibration_kg: 20.0,
            placements: 2.0,
            output_tolerance_pct: None,
            pressure_pa: 3000.0,
            side_sensitivity: 0.01,
            tare_kg: 15.0,
            moved_share: 0.3,
            room_h: 6.0,
            zero_h: None,
            zero_range_kg: 0.0,
            seed: 1,
        }
    }
}

impl Assumptions {
    /// What the deck file states, and the defaults for the rest.
    pub fn of(deck: &Deck) -> Self {
        let (stated, usual) = (&deck.practice, Self::default());
        Assumptions {
            averaging_s: stated.averaging_s.unwrap_or(usual.averaging_s),
            angle_u_deg: stated.angle_u_deg.unwrap_or(usual.angle_u_deg),
            angle_again_deg: stated.angle_again_deg.unwrap_or(usual.angle_again_deg),
            masses_u_relative: stated.masses_u_mg_kg.map_or(usual.masses_u_relative, |mg| mg * 1e-6),
            calibration_kg: stated.calibration_kg.unwrap_or(usual.calibration_kg),
            placements: stated.placements.unwrap_or(usual.placements),
            output_tolerance_pct: stated.output_tolerance_pct,
            pressure_pa: stated.pressure_hpa.map_or(usual.pressure_pa, |hpa| 100.0 * hpa),
            side_sensitivity: stated.side_sensitivity_pct.map_or(usual.side_sensitivity, |pct| pct / 100.0),
            tare_kg: stated.tare_kg.unwrap_or(usual.tare_kg),
            moved_share: stated.moved_pct.map_or(usual.moved_share, |pct| pct / 100.0),
            room_h: stated.room_h.unwrap_or(usual.room_h),
            zero_h: stated.zero_h,
            zero_range_kg: stated.zero_range_kg.unwrap_or(usual.zero_range_kg),
            seed: usual.seed,
        }
    }

    /// Share of the variance that a temperature some hours later does not have in common with an earlier one.
    pub(crate) fn fresh(&self, hours: f64) -> f64 {
        1.0 - (-hours / self.room_h).exp()
    }
}
