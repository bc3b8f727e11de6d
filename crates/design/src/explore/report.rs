//! What a search found: plain data that serializes to the fields of `explore --json`.

use formats::deck::Bond;

use super::candidate::Scores;
use super::search::Explorer;

/// The designs found so far, and how far the search went.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct ExploreReport {
    /// Non-dominated designs by rising cost.
    pub designs: Vec<DesignReport>,
    /// Designs in the whole space.
    pub space: f64,
    /// Designs evaluated.
    pub candidates: usize,
    /// Plates solved for them.
    pub plates_solved: usize,
    /// Rounds done.
    pub rounds: usize,
    /// Rounds that the table asks for.
    pub of_rounds: usize,
    /// Whether the search went to its end.
    pub finished: bool,
}

/// One design.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct DesignReport {
    /// Its number in the list, from 1.
    pub number: usize,
    /// What it is judged by.
    #[serde(flatten)]
    pub scores: Scores,
    /// Cell type of all plates.
    pub cell_type: String,
    /// Converter: its name in the table, `own` for the deck's.
    pub converter: String,
    /// Plates, in the order of the deck.
    pub plates: Vec<PlateChoice>,
}

/// What was chosen for a plate.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PlateChoice {
    /// Name.
    pub plate: String,
    /// Layers from the top, in words.
    pub stack: String,
    /// `glued` or `loose`.
    pub bond: &'static str,
    /// Material and thickness of each layer.
    pub layers: Vec<LayerChoice>,
    /// Place of each cell on the plate, mm.
    pub cells_at_mm: Vec<[f64; 2]>,
}

/// A layer.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct LayerChoice {
    /// Material.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
}

impl Explorer {
    /// What was found so far.
    pub fn report(&self) -> ExploreReport {
        let progress = self.progress();
        let of_rounds = self.table().rounds;
        let designs = self.front().into_iter().enumerate().map(|(index, found)| {
            let deck = self.deck(&found.candidate);
            let plates = deck.plates.iter().map(|plate| PlateChoice {
                plate: plate.name.clone(),
                stack: super::Stack { bond: plate.bond, layers: plate.layers.clone() }.describe(),
                bond: match plate.bond {
                    Bond::Glued => "glued",
                    Bond::Loose => "loose",
                },
                layers: plate
                    .layers
                    .iter()
                    .map(|l| LayerChoice { material: l.material.clone(), thickness_mm: l.thickness_mm })
                    .collect(),
                cells_at_mm: plate.cells.iter().map(|c| c.at_mm).collect(),
            });
            DesignReport {
                number: index + 1,
                scores: found.scores,
                cell_type: deck.cells().next().map(|(_, cell)| cell.cell_type.clone()).unwrap_or_default(),
                converter: self.table().converters[found.candidate.converter].0.clone(),
                plates: plates.collect(),
            }
        });
        ExploreReport {
            designs: designs.collect(),
            space: self.space(),
            candidates: progress.n_candidates,
            plates_solved: progress.n_solved,
            rounds: self.rounds_done(),
            of_rounds,
            finished: progress.is_done(),
        }
    }
}
