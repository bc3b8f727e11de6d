//! The covariance of a design while placements come and go.
//!
//! Adding a placement with whitened rows A: C ← C − C Aᵀ (1 + A C Aᵀ)⁻¹ A C (Woodbury). The criterion tr(W C) falls by tr((1 + A C Aᵀ)⁻¹ A C W C Aᵀ), so that all candidates are compared with 3 × 3
//! matrices alone.

use super::DETERMINED_U;
use super::candidates::Candidate;
use super::reading::Reading;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// A gain may be off by its whole size before anything is put on: so much that any reading outweighs it.
const UNKNOWN_GAIN_U: f64 = 1.0;
/// An exchange must better the criterion by this share, else rounding could exchange for ever.
const LEAST_GAIN: f64 = 1e-6;
/// Trials of an exchange; usually three rounds of all placements are enough.
const MAX_TRIALS: usize = 400;

/// The design.
#[derive(Debug, Clone)]
pub(crate) struct Design {
    n_cells: usize,
    /// Of relative gains, then relative masses.
    covariance: DMatrix<f64>,
    /// C W C.
    leaning: DMatrix<f64>,
    weights: DMatrix<f64>,
}

impl Design {
    /// Nothing put on yet. `even`: part of a load spread evenly that each cell bears.
    pub(crate) fn new(n_cells: usize, relative_u: impl Iterator<Item = f64>, even: &[f64]) -> Self {
        let prior = std::iter::repeat_n(UNKNOWN_GAIN_U, n_cells).chain(relative_u);
        let variances: Vec<f64> = prior.map(|u| u * u).collect();
        let covariance = DMatrix::from_diagonal(&DVector::from_vec(variances));
        let mut weights = DMatrix::zeros(covariance.nrows(), covariance.nrows());
        for i in 0..n_cells {
            weights[(i, i)] += 1.0;
            for j in 0..n_cells {
                weights[(i, j)] += (n_cells * n_cells) as f64 * even[i] * even[j];
            }
        }
        let leaning = &covariance * &weights * &covariance;
        Self { n_cells, covariance, leaning, weights }
    }

    /// tr(W C).
    fn criterion(&self) -> f64 {
        self.weights.component_mul(&self.covariance).sum()
    }

    /// Relative standard uncertainty of each gain.
    pub(crate) fn u_of_cells(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.n_cells).map(|c| self.covariance[(c, c)].max(0.0).sqrt())
    }

    /// Gains that are not determined.
    pub(crate) fn open_cells(&self) -> usize {
        self.u_of_cells().filter(|u| *u > DETERMINED_U).count()
    }

    /// Relative standard uncertainty of a weight of which each cell bears the part given.
    pub(crate) fn u_of_load(&self, parts: &[f64]) -> f64 {
        let load = DVector::from_column_slice(parts);
        let gains = self.covariance.view((0, 0), (self.n_cells, self.n_cells));
        (load.transpose() * gains * load)[(0, 0)].max(0.0).sqrt()
    }

    /// Adds a placement.
    pub(crate) fn add(&mut self, reading: &Reading) {
        self.update(reading);
        self.lean();
    }

    fn lean(&mut self) {
        self.leaning = &self.covariance * &self.weights * &self.covariance;
    }

    fn update(&mut self, reading: &Reading) {
        let inner = Matrix3::identity() + quadratic(&self.covariance, reading);
        // Positive definite, so that it always can be inverted.
        let Some(inverse) = inner.try_inverse() else { return };
        let mut spread = DMatrix::zeros(self.covariance.nrows(), 3);
        for (i, &c) in reading.columns.iter().enumerate() {
            spread += self.covariance.column(c) * reading.rows.column(i).transpose();
        }
        self.covariance -= &spread * inverse * spread.transpose();
    }

    /// Part of a placement's load equation that the design leaves free: 1 − leverage. With whitened rows the first is the
    /// load equation over its own deviation.
    pub(crate) fn load_freedom(&self, reading: &Reading) -> f64 {
        (1.0 - quadratic(&self.covariance, reading)[(0, 0)]).clamp(0.0, 1.0)
    }

    /// How much the criterion falls when the placement is added.
    fn fall(&self, reading: &Reading) -> f64 {
        let inner = Matrix3::identity() + quadratic(&self.covariance, reading);
        inner.try_inverse().map_or(0.0, |i| (i * quadratic(&self.leaning, reading)).trace())
    }

    /// The candidate that betters the criterion most.
    pub(crate) fn best(&self, candidates: &[Candidate]) -> usize {
        let falls = candidates.iter().map(|c| self.fall(&c.reading)).enumerate();
        falls.max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(i, _)| i)
    }
}

/// A M Aᵀ for a placement's rows A.
fn quadratic(matrix: &DMatrix<f64>, reading: &Reading) -> Matrix3<f64> {
    let mut sum = Matrix3::zeros();
    for (i, &row) in reading.columns.iter().enumerate() {
        let mut product = Vector3::zeros();
        for (j, &column) in reading.columns.iter().enumerate() {
            product += reading.rows.column(j) * matrix[(row, column)];
        }
        sum += reading.rows.column(i) * product.transpose();
    }
    sum
}

/// Exchanges chosen placements for better ones until none is, and says what criterion is left; `start` is the design with nothing put on.
///
/// A placement is taken away by building the design anew without it: downdates lose all digits where it alone had
/// determined a cell.
pub(crate) fn exchange(start: &Design, chosen: &mut [usize], candidates: &[Candidate]) -> f64 {
    let built = |chosen: &[usize], without: Option<usize>| {
        let mut design = start.clone();
        for (slot, &i) in chosen.iter().enumerate() {
            if Some(slot) != without {
                design.update(&candidates[i].reading);
            }
        }
        design.lean();
        design
    };
    let mut criterion = built(chosen, None).criterion();
    let mut idle = 0;
    for trial in 0..MAX_TRIALS {
        if chosen.is_empty() || idle == chosen.len() {
            break;
        }
        let slot = trial % chosen.len();
        idle += 1;
        let mut design = built(chosen, Some(slot));
        let best = design.best(candidates);
        design.update(&candidates[best].reading);
        if best != chosen[slot] && design.criterion() < criterion * (1.0 - LEAST_GAIN) {
            criterion = design.criterion();
            chosen[slot] = best;
            idle = 0;
        }
    }
    criterion
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3xX;

    fn reading(columns: [usize; 2], entries: [f64; 6]) -> Reading {
        Reading { columns: columns.to_vec(), rows: Matrix3xX::from_column_slice(&entries) }
    }

    /// Against the inverse of the summed information, which the updates never form.
    #[test]
    fn updates_give_the_inverse_of_the_information() {
        let all = [
            reading([0, 2], [3.0, 1.0, -2.0, -1.0, 0.5, 0.0]),
            reading([1, 2], [2.0, -4.0, 1.0, 1.5, 0.0, 2.0]),
            reading([0, 1], [1.0, 1.0, 0.5, -2.0, 0.0, 0.3]),
        ];
        let mut design = Design::new(2, [0.1].into_iter(), &[0.5, 0.5]);
        let mut information = DMatrix::from_diagonal(&DVector::from_vec(vec![1.0, 1.0, 100.0]));
        for r in &all {
            let before = design.criterion();
            let promised = design.fall(r);
            design.add(r);
            assert!((before - design.criterion() - promised).abs() < 1e-12, "the fall is what was promised");
            for (i, &a) in r.columns.iter().enumerate() {
                for (j, &b) in r.columns.iter().enumerate() {
                    information[(a, b)] += r.rows.column(i).dot(&r.rows.column(j));
                }
            }
        }
        let expected = information.try_inverse().unwrap();
        assert!((design.covariance - expected).amax() < 1e-14);
    }
}
