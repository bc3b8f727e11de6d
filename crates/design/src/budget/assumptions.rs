//! What a deck file does not say about how the deck is calibrated and used.

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
            seed: 1,
        }
    }
}
