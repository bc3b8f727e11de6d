//! Which body to put where, so that every cell is determined best with the lifts allowed.
//!
//! Minimize Φ = Σ_c u_c² + n² u_s² over N placements out of the candidates (bodies × places), with u_c the relative
//! standard uncertainty of cell c's gain, u_s that of the summed weight of a load spread evenly over the deck, n the number
//! of cells: A-optimality with the sum counting as much as all cells together (an L-criterion; Atkinson, Donev & Tobias,
//! Optimum Experimental Designs, 2007, ch. 10 and 12, from memory). Placements are added one by one, then exchanged one by
//! one while that helps (Fedorov 1972 in the form of Cook & Nachtsheim 1980, from memory): a local optimum.
//!
//! | symbol | name         | meaning                                                        | unit |
//! |--------|--------------|----------------------------------------------------------------|------|
//! | R      | `shares`     | part of a load that each cell of its plate bears               | –    |
//! | A      | `rows`       | whitened equations of a placement: load and two moments, as in `equations` | – |
//! | C      | `covariance` | of relative gains and of relative masses of bodies             | –    |
//!
//! `ground` solves the plates for R: what tells more than three cells of a plate apart is how it bends. A rigid plate on n
//! springs spreads every load by the same three numbers, and two rows of three cells under it are never told apart.
//! `bodies` are the masses at hand, alone and stacked; `reading` is the noise of a placement; `design` holds C while
//! placements come and go; `candidates` keeps what plate, cells and person bear; `course` puts the chosen ones in order
//! and makes the run to fill in; `forecast` and `centres` say what is to be expected.
//!
//! Noise: repeatability of the cells in proportion to their load, the converter's noise, play of the place, masses. Not
//! here: bow, hysteresis and creep, which every run has alike.

mod bodies;
mod candidates;
mod centres;
mod course;
mod design;
mod forecast;
mod ground;
mod options;
mod reading;

pub use centres::Centres;
pub use course::{Lift, run_to_fill};
pub use forecast::{CellForecast, Quality, WeightForecast};
pub use options::{PlanError, PlanOptions};

use crate::analysis::MIN_LOAD_FREEDOM;
use crate::model::START_RELATIVE;
use crate::options::Options;
use bodies::Body;
use candidates::Candidate;
use design::Design;
use formats::deck::Deck;
use formats::masses::Mass;
use ground::Ground;
use serde::Serialize;

/// The criterion, in words.
const CRITERION: &str = "least sum of the squared relative uncertainties of all gains, with the weight of a load spread \
                         evenly counting as much as all cells together";

/// The plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// Name of the deck.
    pub deck: String,
    /// The criterion, in words.
    pub criterion: &'static str,
    /// Placements, in the order that saves carrying: body by body, plate by plate.
    pub lifts: Vec<Lift>,
    /// Pieces carried in all of them.
    pub pieces: usize,
    /// Cells in the order of the deck.
    pub cells: Vec<CellForecast>,
    /// The summed weight at several loads.
    pub weights: Vec<WeightForecast>,
    /// Cells that these placements leave open.
    pub open: Vec<String>,
    /// Further placements that would close them; empty where nothing is open, or nothing closes them.
    pub closing: Vec<Lift>,
    /// Fewest placements of this search that determine every cell.
    pub least_lifts: Option<usize>,
    /// Fewest placements of this search that bring every cell within [`PlanOptions::u_pct`] and leave equations to spare,
    /// so that the run shows its own scatter.
    pub enough_lifts: Option<usize>,
    /// Against heavy masses on the plates' centres.
    pub centres: Centres,
    /// What a smaller number of placements would do, before exchanges.
    pub quality: Vec<Quality>,
    /// Masses that no placement needs.
    pub unused: Vec<String>,
    /// What the person should know: masses left out, limits that shape the plan.
    pub notes: Vec<String>,
}

/// Equations to spare from which the calibration will estimate the scatter. Its own count comes out a little lower, for it
/// takes away what noise feigns.
const LEAST_SPARE: f64 = MIN_LOAD_FREEDOM + 0.5;
/// Most placements a cell that the search tries of its own accord.
const MOST_A_CELL: usize = 4;

/// Plans the placements.
///
/// # Errors
/// Options out of range, a deck that cannot be solved, no known mass that may be lifted, a plate on which nothing may stand.
pub fn plan(deck: &Deck, masses: &[Mass], options: &PlanOptions) -> Result<Plan, PlanError> {
    options.check()?;
    let ground = Ground::new(deck, options)?;
    let (bodies, mut notes) = bodies::bodies(masses, options)?;
    let candidates = candidates::candidates(&ground, &bodies, options, &mut notes)?;
    let n = ground.n_cells();
    let most = options.lifts.unwrap_or(MOST_A_CELL * n);
    let bare = start(&ground, &bodies);
    // A body of unknown mass tells nothing alone, so that a search one by one never begins with it: the second search
    // takes the unknown for nearly known while it chooses.
    let searches = [&bare, &trusting(&ground, &bodies)].map(|guide| {
        let (mut chosen, quality) = grow(&ground, &bare, guide, &candidates, most, options);
        let criterion = design::exchange(&bare, &mut chosen, &candidates);
        (chosen, quality, criterion)
    });
    let [plain, substituting] = searches;
    let is_better = (substituting.0.len(), substituting.2 * BETTER) < (plain.0.len(), plain.2);
    let (chosen, quality, _) = if is_better { substituting } else { plain };
    let enough_lifts = quality.iter().find(|q| q.is_enough(options)).map(|q| q.lifts);
    let least_lifts = quality.iter().find(|q| q.open_cells == 0).map(|q| q.lifts);
    let design = built(&bare, &candidates, &chosen);
    let spare_equations = spare(&design, &candidates, &chosen);
    let (ground, candidates, design) = if spare_equations >= LEAST_SPARE {
        (ground, candidates, design)
    } else {
        notes.push(few_to_spare(chosen.len(), spare_equations));
        let ground = ground.with_scatter(START_RELATIVE);
        let candidates: Vec<Candidate> = candidates.iter().map(|c| c.on(&ground)).collect();
        let design = built(&bare, &candidates, &chosen);
        (ground, candidates, design)
    };

    let cells = forecast::cells(deck, &ground, &design);
    let open: Vec<String> = cells.iter().filter(|c| !c.determined).map(|c| c.name.clone()).collect();
    let closing = if open.is_empty() { Vec::new() } else { closing(&design, &candidates) };
    let lifts = course::in_order(&ground, &bodies, &candidates, &chosen);
    let unused = unused(masses, &bodies, &candidates, &chosen);
    let pieces = lifts.iter().map(|l| l.pieces as usize).sum();
    let centres = centres::against_centres(&ground, &bodies, &candidates, &design, lifts.len(), pieces, options);
    Ok(Plan {
        deck: deck.name.clone(),
        criterion: CRITERION,
        weights: forecast::weights(&ground, &design, deck.max_kg),
        closing: course::in_order(&ground, &bodies, &candidates, &closing),
        lifts,
        pieces,
        cells,
        open,
        least_lifts,
        enough_lifts,
        centres,
        quality,
        unused,
        notes,
    })
}

fn few_to_spare(placements: usize, spare: f64) -> String {
    format!(
        "{placements} placements leave {spare:.0} equations to spare: the run will not show its own scatter, nor a row that \
         does not belong; forecast and calibration then take {} % of the load.",
        100.0 * START_RELATIVE
    )
}

fn start(ground: &Ground, bodies: &[Body]) -> Design {
    Design::new(ground.n_cells(), bodies.iter().map(Body::relative_u), &ground.even())
}

/// The design before anything is put on, with unknown masses known to a part in a thousand.
fn trusting(ground: &Ground, bodies: &[Body]) -> Design {
    Design::new(ground.n_cells(), bodies.iter().map(|b| b.relative_u().min(TRUSTED_U)), &ground.even())
}

fn built(bare: &Design, candidates: &[Candidate], chosen: &[usize]) -> Design {
    let mut design = bare.clone();
    chosen.iter().for_each(|&i| design.add(&candidates[i].reading));
    design
}

/// Masses that may stand somewhere and are put nowhere.
fn unused(masses: &[Mass], bodies: &[Body], candidates: &[Candidate], chosen: &[usize]) -> Vec<String> {
    let of = |c: &Candidate, mass: &Mass| bodies[c.body].name == mass.name;
    let may = |mass: &Mass| candidates.iter().any(|c| of(c, mass));
    let does = |mass: &Mass| chosen.iter().any(|&i| of(&candidates[i], mass));
    masses.iter().filter(|m| may(m) && !does(m)).map(|m| m.name.clone()).collect()
}

/// Degrees of freedom of the load equations.
fn spare(design: &Design, candidates: &[Candidate], chosen: &[usize]) -> f64 {
    chosen.iter().map(|&i| design.load_freedom(&candidates[i].reading)).sum()
}

/// The best next placement in the eyes of `guide`, again and again; of its own accord no more than are enough.
fn grow(
    ground: &Ground,
    bare: &Design,
    guide: &Design,
    candidates: &[Candidate],
    most: usize,
    options: &PlanOptions,
) -> (Vec<usize>, Vec<Quality>) {
    let (mut design, mut guide) = (bare.clone(), guide.clone());
    let (mut chosen, mut quality): (Vec<usize>, Vec<Quality>) = (Vec::new(), Vec::new());
    while chosen.len() < most && (options.lifts.is_some() || !quality.last().is_some_and(|q| q.is_enough(options))) {
        let best = guide.best(candidates);
        guide.add(&candidates[best].reading);
        design.add(&candidates[best].reading);
        chosen.push(best);
        quality.push(Quality::of(ground, &design, chosen.len(), spare(&design, candidates, &chosen)));
    }
    (chosen, quality)
}

/// Placements that, added to the design, determine all cells; none where no few do.
fn closing(design: &Design, candidates: &[Candidate]) -> Vec<usize> {
    let mut design = design.clone();
    let mut added = Vec::new();
    let most = CLOSING_A_CELL * design.open_cells();
    while added.len() < most {
        let best = design.best(candidates);
        design.add(&candidates[best].reading);
        added.push(best);
        if design.open_cells() == 0 {
            return added;
        }
    }
    Vec::new()
}

/// So many placements an open cell must close it; more of them would only average a whisper.
const CLOSING_A_CELL: usize = 2;
/// What the second search takes for the relative uncertainty of an unknown mass.
const TRUSTED_U: f64 = 1e-3;
/// Cans are work to fill and carry: they must better the criterion by a tenth.
const BETTER: f64 = 1.1;
/// Largest relative standard uncertainty of a gain that counts as determined, as in a calibration.
const DETERMINED_U: f64 = Options::DEFAULT_MAX_RELATIVE_U;
