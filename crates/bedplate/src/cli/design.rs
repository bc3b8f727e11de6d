//! Design: `check`, `explore`, `draw`.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use clap::Args;

use super::DocumentLanguage;
use super::threads::Threads;

/// Deflection, cell reactions, stress, error budget, mass and cost of a deck, against its own targets.
///
/// Reads deck.toml. Says how sure a weight and a change of it will be, and what to improve first. With --report it also
/// writes all of it as one HTML file to keep and print.
/// Exits 1 when a target of [deck.target], a cell's capacity or a layer's strength is not met under the loads of the
/// file; what a ward does besides (someone sits on the edge, kneels, moves the bed) is warned of and sets no status.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Write everything found as one printable HTML file, which needs nothing else
    #[arg(long, value_name = "FILE.html")]
    pub(crate) report: Option<PathBuf>,
    /// Language of the report; tables and JSON stay English
    #[arg(long, value_name = "LANGUAGE", value_enum, default_value = "en", requires = "report")]
    pub(crate) language: DocumentLanguage,
    /// Write the deflection of every plate in every load case as CSV: load_case, plate, x_mm, y_mm (from the plate's
    /// corner), bed_x_mm, bed_y_mm (the bed lying flat), deflection_mm, clearance_left_mm (below a rib where there is one)
    #[arg(long, value_name = "FILE.csv")]
    pub(crate) field: Option<PathBuf>,
    /// Print every plate, cell and source of error
    #[arg(long, conflicts_with = "json")]
    pub(crate) all: bool,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Searches the design space that the deck file opens, and prints the designs that none of the others beats.
///
/// Reads deck.toml with its table `explore`, which says what may vary: stacks of layers, cell types, number and place
/// of cells, converter. Designs are set against each other by cost, mass, deflection margin and the smallest change
/// resolved over 24 h. The same file gives the same list. Ctrl-C stops and prints what was found so far.
/// Exits 1 when no design keeps to the deflection.
///
/// JSON: {"designs": [{"number", "cost", "mass_kg", "deflection_margin_mm", "resolvable_24h_g", "expanded_u_g",
/// "cell_type", "converter", "plates": [{"plate", "stack", "bond", "layers": [{"material", "thickness_mm"}],
/// "cells_at_mm"}]}], "space", "candidates", "plates_solved", "rounds", "of_rounds", "finished"}
#[derive(Debug, Args)]
pub(crate) struct ExploreArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Write design N of the list as a whole deck.toml
    #[arg(long, value_name = "N", requires = "output")]
    pub(crate) write: Option<NonZeroUsize>,
    /// The file to write it to
    #[arg(short, long, value_name = "FILE", requires = "write")]
    pub(crate) output: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) threads: Threads,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// Dimensioned drawings of every plate and of the whole deck, as SVG and DXF.
///
/// Reads deck.toml. Writes plate-NAME and assembly, each as .svg and .dxf (release 12, ASCII), in millimetres at full
/// size, seen from above: outlines, cell centres with their coordinates, ribs, layers, dimensions from one corner.
///
/// JSON: {"files": [...]}
#[derive(Debug, Args)]
pub(crate) struct DrawArgs {
    /// The deck, deck.toml
    pub(crate) deck: PathBuf,
    /// Folder to write into; it is made where it is missing
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// Print one JSON document instead of a list
    #[arg(long)]
    pub(crate) json: bool,
}
