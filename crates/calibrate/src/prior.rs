//! What an earlier calibration says of the cells that were not replaced, as observations of this one's problem.
//!
//! The kept gains k₁ with their covariance C₁ enter as L⁻¹ (k − k₁) = 0 with unit noise, C₁ = L Lᵀ; gravity scales them by g₁/g₂.
//! The zeros are read anew. What drifted since is not in C₁: a run that loads a kept cell tests it (`compare`), one that does
//! not takes it on trust.

use crate::equations::State;
use crate::options::{CalibrateError, Earlier};
use crate::problem::Problem;
use formats::calibration::Calibration;
use nalgebra::{DMatrix, DVector};

/// Gains known beforehand.
#[derive(Debug, Clone)]
pub(crate) struct Prior {
    /// Channels whose gains are known.
    pub(crate) channels: Vec<usize>,
    gain: DVector<f64>,
    whitener: DMatrix<f64>,
}

impl Prior {
    /// From the cells that an earlier calibration determined and nobody replaced since.
    pub(crate) fn new(problem: &Problem, earlier: &Earlier, gravity_m_s2: f64) -> Result<Self, CalibrateError> {
        let known = |name: &str| problem.cells.iter().any(|c| c.name == name);
        if let Some(name) = earlier.replaced.iter().find(|name| !known(name)) {
            return Err(CalibrateError::UnknownCell { cell: name.clone() });
        }
        let scale = earlier.calibration.gravity_m_s2 / gravity_m_s2;
        let mut channels = Vec::new();
        let mut gain = Vec::new();
        for (channel, site) in problem.cells.iter().enumerate() {
            let line = earlier.calibration.cells.iter().find(|c| c.name == site.name);
            if let Some(k) = line.and_then(|l| l.kg_per_count).filter(|_| !earlier.replaced.contains(&site.name)) {
                channels.push(channel);
                gain.push(scale * k);
            }
        }
        let names: Vec<&str> = channels.iter().map(|&c| problem.cells[c].name.as_str()).collect();
        let covariance =
            gain_covariance(&earlier.calibration, &names).ok_or(CalibrateError::NoCovariance)? * (scale * scale);
        let l = covariance.cholesky().ok_or(CalibrateError::NoCovariance)?.unpack();
        let whitener = l.try_inverse().ok_or(CalibrateError::NoCovariance)?;
        Ok(Self { channels, gain: DVector::from_vec(gain), whitener })
    }

    /// Starts where the earlier calibration ended.
    pub(crate) fn start(&self, state: &mut State) {
        for (&channel, gain) in self.channels.iter().zip(self.gain.iter()) {
            state.gain[channel] = *gain;
        }
    }

    /// The observations at a state: coefficients of the gains' changes, and the value to be met.
    pub(crate) fn observations(&self, state: &State) -> impl Iterator<Item = (Vec<(usize, f64)>, f64)> + '_ {
        let off = DVector::from_iterator(
            self.gain.len(),
            self.channels.iter().zip(self.gain.iter()).map(|(&c, k)| k - state.gain[c]),
        );
        let aim = &self.whitener * off;
        (0..self.gain.len()).map(move |i| {
            let row = self.channels.iter().enumerate().map(|(j, &c)| (c, self.whitener[(i, j)])).collect();
            (row, aim[i])
        })
    }
}

/// Covariance of the named gains; where the matrix lacks one, its own uncertainty stands alone.
fn gain_covariance(calibration: &Calibration, names: &[&str]) -> Option<DMatrix<f64>> {
    let all = &calibration.covariance;
    let places: Vec<Option<usize>> =
        names.iter().map(|name| all.parameters.iter().position(|p| *p == format!("gain:{name}"))).collect();
    let own = |i: usize| {
        let u = calibration.cells.iter().find(|c| c.name == names[i])?.u_kg_per_count?;
        (u > 0.0).then_some(u * u)
    };
    let mut matrix = DMatrix::zeros(names.len(), names.len());
    for i in 0..names.len() {
        for j in 0..names.len() {
            matrix[(i, j)] = match (places[i], places[j]) {
                (Some(row), Some(column)) => *all.matrix.get(row)?.get(column)?,
                _ if i == j => own(i)?,
                _ => 0.0,
            };
        }
    }
    Some(matrix)
}
