//! What a plate is: its size, bending stiffness, springs and edges.

mod check;
mod error;
mod held;
mod stiffness;

use crate::ribs::Rib;

pub(crate) use check::{finite, positive};
pub use error::PlateError;
pub use held::{Edge, Edges, Spring};
pub use stiffness::{Bending, Section, Shear};

/// A rectangular plate.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Plate {
    /// Length along x and along y, m.
    pub size_m: [f64; 2],
    /// Bending stiffness.
    pub bending: Bending,
    /// Springs under it.
    pub springs: Vec<Spring>,
    /// How its edges are held; a deck's plates have free edges.
    pub edges: Edges,
    /// Even elastic foundation, Pa/m (N/m³); 0 for none.
    pub foundation_pa_per_m: f64,
    /// Transverse shear stiffness where it matters; `None` for a thin plate.
    pub shear: Option<Shear>,
    /// Stretching and coupled stiffness, needed for ribs.
    pub section: Option<Section>,
    /// Ribs under it.
    pub ribs: Vec<Rib>,
}

impl Plate {
    /// A plate with free edges on springs.
    #[must_use]
    pub fn new(size_m: [f64; 2], bending: Bending, springs: Vec<Spring>) -> Self {
        Self {
            size_m,
            bending,
            springs,
            edges: Edges::default(),
            foundation_pa_per_m: 0.0,
            shear: None,
            section: None,
            ribs: Vec::new(),
        }
    }

    /// The same plate with its edges held.
    #[must_use]
    pub fn with_edges(mut self, edges: Edges) -> Self {
        self.edges = edges;
        self
    }

    /// The same plate on an even elastic foundation, Pa/m.
    #[must_use]
    pub fn with_foundation(mut self, foundation_pa_per_m: f64) -> Self {
        self.foundation_pa_per_m = foundation_pa_per_m;
        self
    }

    /// The same plate with transverse shear. Its springs must then bear on more than a point, as a point sinks without end.
    #[must_use]
    pub fn with_shear(mut self, shear: Shear) -> Self {
        self.shear = Some(shear);
        self
    }

    /// The same plate with ribs glued under it; `section` is that of the plate without them.
    #[must_use]
    pub fn with_ribs(mut self, section: Section, ribs: Vec<Rib>) -> Self {
        self.section = Some(section);
        self.ribs = ribs;
        self
    }
}
