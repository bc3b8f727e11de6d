//! Where each element's entries go in the sparse matrix: the pattern is found once, values are added for each new plate.

use faer::sparse::SymbolicSparseColMat;

/// Marks a dof that is held.
const HELD: u32 = u32::MAX;

/// Lower triangle of the stiffness matrix of the dof that are not held.
#[derive(Debug)]
pub(crate) struct Pattern {
    unknown_of_dof: Vec<u32>,
    symbolic: SymbolicSparseColMat<u32>,
    /// For each element its packed lower triangle's places in the values; held pairs go to one place past the end.
    slots: Vec<u32>,
    slots_per_element: usize,
}

impl Pattern {
    /// From the dof of each element (`per_element` of them, one element after the other), which dof are held, and all dof in
    /// the order in which their unknowns are numbered and eliminated.
    pub(crate) fn new(connectivity: &[u32], per_element: usize, held: &[bool], order: &[u32]) -> Self {
        let mut n_unknowns = 0u32;
        let mut unknown_of_dof = vec![HELD; held.len()];
        for &dof in order {
            if !held[dof as usize] {
                unknown_of_dof[dof as usize] = n_unknowns;
                n_unknowns += 1;
            }
        }
        let n = n_unknowns as usize;
        let elements: Vec<u32> = connectivity.iter().map(|&dof| unknown_of_dof[dof as usize]).collect();
        let (col_ptr, row_idx) = columns(&elements, per_element, n);
        let slots = slots(&elements, per_element, &col_ptr, &row_idx);
        Self {
            unknown_of_dof,
            symbolic: SymbolicSparseColMat::new_checked(n, n, col_ptr, None, row_idx),
            slots,
            slots_per_element: per_element * (per_element + 1) / 2,
        }
    }

    /// Number of unknowns.
    pub(crate) fn n_unknowns(&self) -> usize {
        self.symbolic.ncols()
    }

    /// The sparse pattern.
    pub(crate) fn symbolic(&self) -> &SymbolicSparseColMat<u32> {
        &self.symbolic
    }

    /// Zeros to add elements to. The last one gathers what falls on held dof and is no part of the matrix.
    pub(crate) fn zeros(&self) -> Vec<f64> {
        vec![0.0; self.symbolic.row_idx().len() + 1]
    }

    /// Adds an element's matrix, given as its packed lower triangle.
    pub(crate) fn add(&self, element: usize, packed: &[f64], values: &mut [f64]) {
        let first = element * self.slots_per_element;
        for (&slot, &entry) in self.slots[first..first + self.slots_per_element].iter().zip(packed) {
            values[slot as usize] += entry;
        }
    }

    /// True for a dof that is held.
    pub(crate) fn is_held(&self, dof: usize) -> bool {
        self.unknown_of_dof[dof] == HELD
    }

    /// Copies the unknowns' entries of a vector over all dof.
    pub(crate) fn gather(&self, all: &[f64], unknowns: &mut [f64]) {
        for (&unknown, &value) in self.unknown_of_dof.iter().zip(all) {
            if unknown != HELD {
                unknowns[unknown as usize] = value;
            }
        }
    }

    /// Vector over all dof, 0 where held.
    pub(crate) fn scatter(&self, unknowns: &[f64]) -> Vec<f64> {
        self.unknown_of_dof
            .iter()
            .map(|&unknown| if unknown == HELD { 0.0 } else { unknowns[unknown as usize] })
            .collect()
    }
}

/// Packed lower triangle of a square matrix, row by row.
pub(crate) fn pack<const N: usize>(k: &[[f64; N]; N]) -> Vec<f64> {
    k.iter().enumerate().flat_map(|(i, row)| row[..=i].iter().copied()).collect()
}

/// Column pointers and sorted rows of the lower triangle.
fn columns(elements: &[u32], per_element: usize, n: usize) -> (Vec<u32>, Vec<u32>) {
    let mut elements_of = vec![Vec::new(); n];
    for (position, &unknown) in elements.iter().enumerate() {
        if unknown != HELD {
            elements_of[unknown as usize].push(position / per_element);
        }
    }
    let mut col_ptr = vec![0u32];
    let mut row_idx = Vec::new();
    let mut seen = vec![HELD; n];
    for (column, touching) in (0u32..).zip(&elements_of) {
        let first = row_idx.len();
        for &element in touching {
            for &row in &elements[element * per_element..(element + 1) * per_element] {
                if row != HELD && row >= column && seen[row as usize] != column {
                    seen[row as usize] = column;
                    row_idx.push(row);
                }
            }
        }
        row_idx[first..].sort_unstable();
        col_ptr.push(row_idx.len() as u32);
    }
    (col_ptr, row_idx)
}

fn slots(elements: &[u32], per_element: usize, col_ptr: &[u32], row_idx: &[u32]) -> Vec<u32> {
    let outside = row_idx.len() as u32;
    let mut slots = Vec::with_capacity(elements.len() * (per_element + 1) / 2);
    for element in elements.chunks_exact(per_element) {
        for (i, &a) in element.iter().enumerate() {
            for &b in &element[..=i] {
                if a == HELD || b == HELD {
                    slots.push(outside);
                    continue;
                }
                let (column, row) = (a.min(b) as usize, a.max(b));
                let (first, last) = (col_ptr[column] as usize, col_ptr[column + 1] as usize);
                let within = row_idx[first..last].partition_point(|&r| r < row);
                slots.push((first + within) as u32);
            }
        }
    }
    slots
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_springs_in_a_row_assemble_to_the_known_matrix() {
        // Dof 0–1–2 joined by two springs of stiffness 3, dof 0 held.
        let pattern = Pattern::new(&[0, 1, 1, 2], 2, &[true, false, false], &[0, 1, 2]);
        let mut values = pattern.zeros();
        let spring = pack(&[[3.0, -3.0], [-3.0, 3.0]]);
        pattern.add(0, &spring, &mut values);
        pattern.add(1, &spring, &mut values);
        assert_eq!(pattern.n_unknowns(), 2);
        assert_eq!(pattern.symbolic().row_idx(), &[0, 1, 1]);
        assert_eq!(&values[..3], &[6.0, -3.0, 3.0]);
        assert_eq!(pattern.scatter(&[7.0, 8.0]), vec![0.0, 7.0, 8.0]);
    }
}
