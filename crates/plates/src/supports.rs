//! The unknown reactions under a plate, from flexibility and balance.
//!
//! With u₀ the pinned plate's deflection under the load and Fⱼᵢ at support j under a unit force at support i, the plate
//! yields u₀(j) − Σ Fⱼᵢ Rᵢ + Σ zₘ(j) aₘ, zₘ its rigid motions. A support that bears has closed its gap g and shortened by
//! its force, and the whole is in balance:
//!
//! ```text
//! Σᵢ (Fⱼᵢ + δⱼᵢ/kⱼ) Rᵢ − Σₘ zₘ(j) aₘ = u₀(j) − gⱼ   for each support j that bears
//! Σⱼ zₘ(j) Rⱼ                       = zₘ · f        for each rigid motion m
//! ```
//!
//! | symbol | name                       | shape                     | unit |
//! |--------|----------------------------|---------------------------|------|
//! | F      | `flexibility`              | supports × supports       | m/N  |
//! | R      | `forces_newton`            | supports, pressed positive| N    |
//! | 1/k    | `compliance_m_per_n`, 0 for a rigid one | supports     | m/N  |
//! | g      | `gap_m`                    | supports                  | m    |
//! | a, z   | rigid motions              | motions (at most 3)       | m, – |
//!
//! Source: the force method for statically indeterminate structures. Which supports bear is decided in `contact`.

use nalgebra::{DMatrix, DVector};

use crate::functional::Functional;
use crate::panel::Panel;

/// Right-hand sides solved at once when supports are added: enough to keep the factor busy, few enough to keep in cache.
const BLOCK: usize = 32;

/// One support before its flexibility is known.
#[derive(Debug)]
pub(crate) struct Support {
    pub(crate) reading: Functional,
    pub(crate) compliance_m_per_n: f64,
    pub(crate) gap_m: f64,
}

/// Supports of a panel and how the panel yields to them.
#[derive(Debug)]
pub(crate) struct Supports {
    all: Vec<Support>,
    /// Row j holds F up to its diagonal.
    flexibility: Vec<Vec<f64>>,
    /// Rigid motions at each support.
    motions: Vec<Vec<f64>>,
    n_motions: usize,
    /// The largest flexibility met: the measure for what counts as small, m/N.
    scale_m_per_n: f64,
}

/// What a load does to the pinned panel, as far as the supports see it.
#[derive(Debug, Clone)]
pub(crate) struct Demand {
    /// Deflection of the pinned panel at each support, m.
    pub(crate) deflection_m: Vec<f64>,
    /// Work of the load on each rigid motion.
    pub(crate) motion_work: Vec<f64>,
}

/// Forces of all supports and rigid motions.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    pub(crate) forces_newton: Vec<f64>,
    pub(crate) motions: Vec<f64>,
}

impl Supports {
    /// None yet.
    pub(crate) fn new(panel: &Panel) -> Self {
        // A plate yields by about 1 % of side² / D to a force at its middle: stands in where all supports lie on pins.
        let size_m = panel.grid().size_m();
        let scale_m_per_n = 0.01 * size_m[0] * size_m[1] / panel.bending().d11;
        Self {
            all: Vec::new(),
            flexibility: Vec::new(),
            motions: Vec::new(),
            n_motions: panel.motions().len(),
            scale_m_per_n,
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.all.len()
    }

    pub(crate) fn n_motions(&self) -> usize {
        self.n_motions
    }

    pub(crate) fn get(&self, j: usize) -> &Support {
        &self.all[j]
    }

    /// Rigid motions at support `j`.
    pub(crate) fn motions(&self, j: usize) -> &[f64] {
        &self.motions[j]
    }

    /// Adds supports and finds how the panel yields to each.
    pub(crate) fn extend(&mut self, panel: &Panel, added: Vec<Support>) {
        let first = self.all.len();
        self.all.extend(added);
        for start in (first..self.all.len()).step_by(BLOCK) {
            let block = start..(start + BLOCK).min(self.all.len());
            let loads: Vec<Vec<f64>> = self.all[block.clone()].iter().map(|s| panel.vector(&s.reading)).collect();
            for (j, field) in block.zip(panel.deflections(&loads)) {
                // F is symmetric (reciprocity), so its lower triangle is enough.
                let row: Vec<f64> = self.all[..=j].iter().map(|s| s.reading.of(&field)).collect();
                self.scale_m_per_n = self.scale_m_per_n.max(row[j] + self.all[j].compliance_m_per_n);
                self.flexibility.push(row);
                self.motions.push(panel.motions().iter().map(|z| self.all[j].reading.of(z)).collect());
            }
        }
    }

    fn flexibility(&self, j: usize, i: usize) -> f64 {
        self.flexibility[j.max(i)][j.min(i)]
    }

    /// What a load of vector `load`, under which the pinned panel deflects by `field`, asks of the supports.
    pub(crate) fn demand(&self, panel: &Panel, load: &[f64], field: &[f64]) -> Demand {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum();
        Demand {
            deflection_m: self.all.iter().map(|s| s.reading.of(field)).collect(),
            motion_work: panel.motions().iter().map(|z| dot(z, load)).collect(),
        }
    }

    /// Forces when the supports that are `bearing` bear (pull where they must) and the others do not; `None` when those that
    /// bear do not hold the plate.
    pub(crate) fn answer(&self, bearing: &[bool], demand: &Demand) -> Option<Answer> {
        let active: Vec<usize> = (0..self.len()).filter(|&j| bearing[j]).collect();
        let (n, n_motions) = (active.len(), self.n_motions);
        let mut answer = Answer { forces_newton: vec![0.0; self.len()], motions: vec![0.0; n_motions] };
        if n + n_motions == 0 {
            return Some(answer);
        }
        if n < n_motions {
            return None;
        }
        // One scale for the flexibilities, so that both kinds of rows are of like size.
        let scale = self.scale_m_per_n;
        let mut matrix = DMatrix::zeros(n + n_motions, n + n_motions);
        let mut right = DVector::zeros(n + n_motions);
        for (row, &j) in active.iter().enumerate() {
            for (column, &i) in active.iter().enumerate() {
                matrix[(row, column)] = self.flexibility(j, i) / scale;
            }
            matrix[(row, row)] += self.all[j].compliance_m_per_n / scale;
            for m in 0..n_motions {
                matrix[(row, n + m)] = -self.motions[j][m];
                matrix[(n + m, row)] = self.motions[j][m];
            }
            right[row] = (demand.deflection_m[j] - self.all[j].gap_m) / scale;
        }
        for m in 0..n_motions {
            right[n + m] = demand.motion_work[m];
        }
        let solved = matrix.lu().solve(&right).filter(|x| x.iter().all(|v| v.is_finite()))?;
        for (row, &j) in active.iter().enumerate() {
            answer.forces_newton[j] = solved[row];
        }
        answer.motions = solved.rows(n, n_motions).iter().map(|a| a * scale).collect();
        Some(answer)
    }

    /// Room left at support `j`, m: its gap and shortening less the plate's deflection. 0 where it bears.
    pub(crate) fn room_m(&self, j: usize, answer: &Answer, demand: &Demand) -> f64 {
        let yielded: f64 = answer
            .forces_newton
            .iter()
            .enumerate()
            .map(|(i, r)| if *r == 0.0 { 0.0 } else { self.flexibility(j, i) * r })
            .sum();
        let moved: f64 = self.motions[j].iter().zip(&answer.motions).map(|(z, a)| z * a).sum();
        let deflection_m = demand.deflection_m[j] - yielded + moved;
        self.all[j].gap_m + self.all[j].compliance_m_per_n * answer.forces_newton[j] - deflection_m
    }

    /// The largest flexibility met, m/N.
    pub(crate) fn scale_m_per_n(&self) -> f64 {
        self.scale_m_per_n
    }
}
