//! The unknown reactions of a plate's springs, from flexibility and balance.
//!
//! With u₀ the pinned plate's deflection under the load and gᵢ under a unit force at spring i, the plate deflects
//! u = u₀ − Σ Rᵢ gᵢ + Σ aₘ zₘ, zₘ its rigid motions. Spring j shortens by what lies above it, and the whole is in balance:
//!
//! ```text
//! Σᵢ (Fⱼᵢ + δⱼᵢ/kⱼ) Rᵢ − Σₘ zₘ(j) aₘ = u₀(j)      for each spring j that bears
//! Σⱼ zₘ(j) Rⱼ                       = zₘ · f     for each rigid motion m
//! ```
//!
//! | symbol | name         | shape                    | unit |
//! |--------|--------------|--------------------------|------|
//! | F      | `flexibility`| springs × springs        | m/N  |
//! | R      | reactions    | springs, pressed positive| N    |
//! | k      | spring stiffness, infinite allowed | springs | N/m |
//! | a, z   | rigid motions | motions (at most 3)     | m, – |
//!
//! Source: force method; see any text on statically indeterminate structures.

use nalgebra::{DMatrix, DVector};

use crate::functional::Functional;
use crate::panel::Panel;
use crate::plate::{PlateError, Spring};

/// Springs of a panel and how the panel yields to them.
#[derive(Debug)]
pub(crate) struct Supports {
    readings: Vec<Functional>,
    /// Deflection field of the pinned panel under a unit force at each spring.
    fields: Vec<Vec<f64>>,
    flexibility: DMatrix<f64>,
    /// Rigid motion m at spring j: row j, column m.
    motions: DMatrix<f64>,
    compliance_m_per_n: Vec<f64>,
    /// The largest flexibility at a spring, m/N: the measure for what counts as small.
    scale_m_per_n: f64,
}

/// Reactions and rigid motions of one load.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) reactions_newton: Vec<f64>,
    pub(crate) motions: Vec<f64>,
}

impl Supports {
    /// From the springs' readings and the fields that unit forces there cause.
    pub(crate) fn new(panel: &Panel, springs: &[Spring], readings: Vec<Functional>, fields: Vec<Vec<f64>>) -> Self {
        let n = readings.len();
        // Symmetric by reciprocity: the mean of both halves drops the solver's round-off.
        let raw = DMatrix::from_fn(n, n, |j, i| readings[j].of(&fields[i]));
        let flexibility = (&raw + raw.transpose()) * 0.5;
        let motions = DMatrix::from_fn(n, panel.motions().len(), |j, m| readings[j].of(&panel.motions()[m]));
        let compliance_m_per_n: Vec<f64> = springs.iter().map(|s| 1.0 / s.stiffness_n_per_m).collect();
        // Rigid springs at the pins alone have no flexibility at all: the plate's own size of it then stands in. A plate
        // yields by about 1 % of side² / D to a force at its middle.
        let size_m = panel.grid().size_m();
        let own = 0.01 * size_m[0] * size_m[1] / panel.bending().d11;
        let scale_m_per_n = (0..n).map(|j| flexibility[(j, j)] + compliance_m_per_n[j]).fold(own, f64::max);
        Self { readings, fields, flexibility, motions, compliance_m_per_n, scale_m_per_n }
    }

    /// Reactions of the springs that are `bearing`, the others being let go, to a load vector `load` under which the
    /// pinned panel deflects by `field`.
    pub(crate) fn answer(
        &self,
        panel: &Panel,
        bearing: &[bool],
        load: &[f64],
        field: &[f64],
    ) -> Result<Answer, PlateError> {
        let active: Vec<usize> = (0..bearing.len()).filter(|&j| bearing[j]).collect();
        let (n, n_motions) = (active.len(), self.motions.ncols());
        if n + n_motions == 0 {
            return Ok(Answer { reactions_newton: vec![0.0; bearing.len()], motions: Vec::new() });
        }
        // One scale for the flexibilities, so that both kinds of rows are of like size.
        let scale = self.scale_m_per_n;
        let mut matrix = DMatrix::zeros(n + n_motions, n + n_motions);
        let mut right = DVector::zeros(n + n_motions);
        for (row, &j) in active.iter().enumerate() {
            for (column, &i) in active.iter().enumerate() {
                matrix[(row, column)] = self.flexibility[(j, i)] / scale;
            }
            matrix[(row, row)] += self.compliance_m_per_n[j] / scale;
            for m in 0..n_motions {
                matrix[(row, n + m)] = -self.motions[(j, m)];
                matrix[(n + m, row)] = self.motions[(j, m)];
            }
            right[row] = self.readings[j].of(field) / scale;
        }
        for (m, motion) in panel.motions().iter().enumerate() {
            right[n + m] = motion.iter().zip(load).map(|(z, f)| z * f).sum();
        }
        let solved = matrix.lu().solve(&right).ok_or(PlateError::NotHeld)?;
        let mut reactions_newton = vec![0.0; bearing.len()];
        for (row, &j) in active.iter().enumerate() {
            reactions_newton[j] = solved[row];
        }
        Ok(Answer { reactions_newton, motions: solved.rows(n, n_motions).iter().map(|a| a * scale).collect() })
    }

    /// The plate's deflection for an answer, given the pinned panel's `field`.
    pub(crate) fn deflection(&self, panel: &Panel, answer: &Answer, field: &[f64]) -> Vec<f64> {
        let mut dof = field.to_vec();
        let parts = answer
            .reactions_newton
            .iter()
            .map(|r| -r)
            .zip(&self.fields)
            .chain(answer.motions.iter().copied().zip(panel.motions()));
        for (factor, part) in parts {
            for (value, p) in dof.iter_mut().zip(part) {
                *value += factor * p;
            }
        }
        dof
    }

    /// Force by which the springs' law is missed, N: what would close the largest gap between plate and spring.
    pub(crate) fn law_residual_newton(&self, answer: &Answer, bearing: &[bool], dof: &[f64]) -> f64 {
        (0..bearing.len())
            .filter(|&j| bearing[j])
            .map(|j| {
                let gap_m = self.readings[j].of(dof) - answer.reactions_newton[j] * self.compliance_m_per_n[j];
                gap_m.abs() / self.scale_m_per_n
            })
            .fold(0.0, f64::max)
    }

    pub(crate) fn readings(&self) -> &[Functional] {
        &self.readings
    }
}
