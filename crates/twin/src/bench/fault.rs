//! What is wrong with a bench's cells on purpose.

use serde::{Deserialize, Serialize};

use crate::built::BuiltDeck;
use crate::cell::CellTruth;
use crate::error::TwinError;

/// Something wrong on purpose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum BenchFault {
    /// Signal wires the wrong way round.
    Reversed {
        /// The cell.
        cell: String,
    },
    /// No signal.
    Dead {
        /// The cell.
        cell: String,
    },
    /// Two cells on each other's channel.
    Swapped {
        /// The one.
        cell: String,
        /// The other.
        with: String,
    },
    /// A bad contact.
    Noisy {
        /// The cell.
        cell: String,
        /// Times the usual noise.
        times: f64,
    },
    /// A bent cell: a bow of this share of rated load, %.
    Nonlinear {
        /// The cell.
        cell: String,
        /// Largest deviation half way, % of rated.
        pct: f64,
    },
    /// A reading with something else on the plate.
    Outlier {
        /// Which reading with a load, from 0.
        reading: usize,
        /// What lay there too, kg.
        kg: f64,
    },
}

pub(super) fn cell_index(built: &BuiltDeck, name: &str) -> Result<usize, TwinError> {
    built.cells.iter().position(|c| c.name == name).ok_or_else(|| TwinError::Unknown {
        owner: "a fault".into(),
        kind: "cell",
        name: name.to_owned(),
    })
}

pub(super) fn with_faults(cells: &[CellTruth], faults: &[BenchFault]) -> Result<Vec<CellTruth>, TwinError> {
    let mut cells = cells.to_vec();
    for fault in faults {
        let (BenchFault::Reversed { cell: name }
        | BenchFault::Dead { cell: name }
        | BenchFault::Noisy { cell: name, .. }
        | BenchFault::Nonlinear { cell: name, .. }) = fault
        else {
            continue;
        };
        let cell = cells.iter_mut().find(|c| c.name == *name).ok_or_else(|| TwinError::Unknown {
            owner: "a fault".into(),
            kind: "cell",
            name: name.clone(),
        })?;
        match fault {
            BenchFault::Reversed { .. } => cell.counts_per_newton = -cell.counts_per_newton,
            BenchFault::Dead { .. } => cell.counts_per_newton = 0.0,
            BenchFault::Noisy { times, .. } => cell.noise_counts *= times,
            BenchFault::Nonlinear { pct, .. } => cell.bow_newton += pct / 100.0 * cell.rated_newton,
            BenchFault::Swapped { .. } | BenchFault::Outlier { .. } => {}
        }
    }
    Ok(cells)
}
