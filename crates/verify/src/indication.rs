//! What a calibrated deck shows: I = Σ kᵢ (rᵢ − zᵢ) / cos θᵢ · g_c / g.
//!
//! | symbol | name                        | unit       |
//! |--------|-----------------------------|------------|
//! | rᵢ     | `counts`                    | counts     |
//! | zᵢ, kᵢ | zero and gain of a cell     | counts, kg per count |
//! | θᵢ     | `cosines`, of the angle at which the section of a cell's plate stands | |
//! | g_c    | gravity of the calibration  | m/s²       |
//! | g      | `gravity_m_s2`, gravity here | m/s²      |
//!
//! The plain sum of a display: nothing filters, tracks zero or corrects creep. Unrounded: an indication in steps of e/5 or finer may be
//! used to find an error (R 76-1, A.4.1.6, memory). A plate feels the normal part of what lies on it, N = W cos θ: statics of the inclined
//! plane, as `signal` has it. The zero is that of the plate at its angle: its own weight does not lean.

use formats::calibration::Calibration;

/// Why nothing can be shown.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IndicationError {
    /// A cell without a line.
    #[error("cell {cell} has no gain or no zero in the calibration: the deck shows no weight")]
    OpenCell {
        /// Its name.
        cell: String,
    },
    /// Counts of other cells.
    #[error("found counts of {found} cells, expected {expected}")]
    OtherCells {
        /// Cells found.
        found: usize,
        /// Cells of the calibration.
        expected: usize,
    },
}

/// The unrounded indication above the calibration's zeros, kg.
///
/// # Errors
/// A cell without a line; counts of another number of cells.
pub fn indication_kg(calibration: &Calibration, counts: &[f64], gravity_m_s2: f64) -> Result<f64, IndicationError> {
    indication_at_kg(calibration, counts, gravity_m_s2, &[])
}

/// The same with sections at angles: the cosine of each cell's angle, 1 where the list ends early.
///
/// # Errors
/// A cell without a line; counts of another number of cells.
pub fn indication_at_kg(
    calibration: &Calibration,
    counts: &[f64],
    gravity_m_s2: f64,
    cosines: &[f64],
) -> Result<f64, IndicationError> {
    if counts.len() != calibration.cells.len() {
        return Err(IndicationError::OtherCells { found: counts.len(), expected: calibration.cells.len() });
    }
    let mut sum_kg = 0.0;
    let cosines = cosines.iter().copied().chain(std::iter::repeat(1.0));
    for ((cell, counts), cosine) in calibration.cells.iter().zip(counts).zip(cosines) {
        let (Some(zero), Some(gain)) = (cell.zero_counts, cell.kg_per_count) else {
            return Err(IndicationError::OpenCell { cell: cell.name.clone() });
        };
        sum_kg += gain * (counts - zero) / cosine;
    }
    Ok(sum_kg * calibration.gravity_m_s2 / gravity_m_s2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use formats::calibration::{CellCalibration, CellStatus, Covariance};

    fn calibration(cells: &[(Option<f64>, Option<f64>)]) -> Calibration {
        let cell = |(i, (zero, gain)): (usize, &(Option<f64>, Option<f64>))| CellCalibration {
            name: format!("C{}", i + 1),
            zero_counts: *zero,
            u_zero_counts: None,
            kg_per_count: *gain,
            u_kg_per_count: None,
            status: CellStatus::Good,
        };
        Calibration {
            deck: "a deck".into(),
            made_at: "2031-01-01T00:00:00Z".into(),
            gravity_m_s2: 9.81,
            cells: cells.iter().enumerate().map(cell).collect(),
            residual_sd_g: 0.0,
            degrees_of_freedom: 1,
            lack_of_fit_p: None,
            max_residual_g: 0.0,
            loads: vec![],
            covariance: Covariance { parameters: vec![], matrix: vec![] },
            findings: vec![],
            residuals: vec![],
            detail: None,
        }
    }

    /// By hand: 0.01 · (1500 − 500) + 0.02 · (250 − 250) = 10 kg; where gravity is a thousandth less, counts of 9.99 kg are 10 kg.
    #[test]
    fn counts_become_kilograms_by_gains_zeros_and_gravity() {
        let two = calibration(&[(Some(500.0), Some(0.01)), (Some(250.0), Some(0.02))]);
        assert!((indication_kg(&two, &[1500.0, 250.0], 9.81).unwrap() - 10.0).abs() < 1e-12);
        let less = indication_kg(&two, &[1499.0, 250.0], 9.81 * 0.999).unwrap();
        assert!((less - 10.0).abs() < 1e-12, "{less}");
    }

    /// By hand: 5 kg on a plate at 60° press with 2.5 kg; on the flat one beside it 3 kg press with 3 kg.
    #[test]
    fn a_plate_at_an_angle_is_divided_by_its_own_cosine() {
        let two = calibration(&[(Some(0.0), Some(0.01)), (Some(0.0), Some(0.01))]);
        let shown = indication_at_kg(&two, &[250.0, 300.0], 9.81, &[60f64.to_radians().cos()]).unwrap();
        assert!((shown - 8.0).abs() < 1e-12, "{shown}");
    }

    #[test]
    fn an_open_cell_and_other_cells_are_told() {
        let open = calibration(&[(Some(1.0), Some(0.01)), (None, None)]);
        assert_eq!(indication_kg(&open, &[1.0, 2.0], 9.81), Err(IndicationError::OpenCell { cell: "C2".into() }));
        let other = indication_kg(&open, &[1.0], 9.81);
        assert_eq!(other, Err(IndicationError::OtherCells { found: 1, expected: 2 }));
    }
}
