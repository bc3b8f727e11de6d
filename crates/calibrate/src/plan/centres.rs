//! The plan against heavy traceable masses on the plates' centres, where a hurried workshop would put them.
//!
//! With scatter in proportion to load a load that its cells share has less of it than one near a single cell: ρ m |R| with
//! |Σ w R| ≤ Σ w |R|. So for a load on the centres no placements beat the centres themselves in the same number; but
//! those never tell the cells of a plate apart, and a patient does not lie on the centres.

use super::bodies::Body;
use super::candidates::Candidate;
use super::design::Design;
use super::forecast::JUDGED_KG;
use super::ground::Ground;
use super::options::PlanOptions;
use super::reading::{Put, Reading};
use super::start;
use serde::Serialize;

/// The comparison, for a load of 80 kg on the middle of each plate's cells, the plates loaded by their areas.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Centres {
    /// The load, kg.
    pub kg: f64,
    /// Standard uncertainty by the plan, g.
    pub plan_u_g: f64,
    /// By that load of traceable masses on the plates' centres in turn, in as many placements, g; `None` where they are
    /// fewer than the plates.
    pub centres_u_g: Option<f64>,
    /// The same with as many pieces carried as in the plan, g; `None` where that is fewer than one a plate.
    pub centres_same_pieces_u_g: Option<f64>,
    /// Cells that they leave open.
    pub centres_open_cells: usize,
    /// Placements with which the plan, continued, is as good; `None` where four times as many are not enough.
    pub lifts_to_match: Option<usize>,
    /// Whether the plan is at least as good in the same number of placements.
    pub as_good: bool,
    /// In words: whether, and why not.
    pub text: String,
}

/// A plan is continued to at most so many times its placements.
const MOST_TIMES: usize = 4;

pub(crate) fn against_centres(
    ground: &Ground,
    bodies: &[Body],
    candidates: &[Candidate],
    design: &Design,
    lifts: usize,
    pieces: usize,
    options: &PlanOptions,
) -> Centres {
    let parts = ground.spread(|p| &p.places[0].shares);
    let u_g = |d: &Design| 1e3 * JUDGED_KG * d.u_of_load(&parts);
    let plan_u_g = u_g(design);
    let rival = |placements: usize| (placements >= ground.plates.len()).then(|| on_centres(ground, bodies, placements));
    let same = rival(lifts);
    let centres_u_g = same.as_ref().map(u_g);
    let pieces_a_lift = (JUDGED_KG / options.lift_kg).ceil().max(1.0) as usize;
    let centres_same_pieces_u_g = rival(pieces / pieces_a_lift).as_ref().map(u_g);
    let centres_open_cells = same.as_ref().map_or(ground.n_cells(), Design::open_cells);
    let as_good = centres_u_g.is_none_or(|u| plan_u_g <= u);
    let lifts_to_match = centres_u_g.and_then(|aim_g| lifts_to_match(design, candidates, lifts, |d| u_g(d) <= aim_g));
    let mut centres = Centres {
        kg: JUDGED_KG,
        plan_u_g,
        centres_u_g,
        centres_same_pieces_u_g,
        centres_open_cells,
        lifts_to_match,
        as_good,
        text: String::new(),
    };
    centres.text = words(&centres, lifts, pieces, ground);
    centres
}

/// The design of 80 kg, as well known as the best mass at hand, on the plates' centres in turn.
fn on_centres(ground: &Ground, bodies: &[Body], placements: usize) -> Design {
    let known = bodies.iter().filter(|b| b.mass_kg.is_some());
    let relative = known.map(Body::relative_u).fold(f64::INFINITY, f64::min);
    let mass = Body {
        name: String::new(),
        label: String::new(),
        mass_kg: Some(JUDGED_KG),
        nominal_kg: JUDGED_KG,
        u_kg: relative * JUDGED_KG,
        pieces: 1,
    };
    let mut design = start(ground, std::slice::from_ref(&mass));
    for i in 0..placements {
        let put = Put::new(ground, i % ground.plates.len(), 0, JUDGED_KG);
        if let Some(reading) = put.and_then(|put| Reading::new(ground, &put, ground.n_cells())) {
            design.add(&reading);
        }
    }
    design
}

fn lifts_to_match(
    design: &Design,
    candidates: &[Candidate],
    lifts: usize,
    is_matched: impl Fn(&Design) -> bool,
) -> Option<usize> {
    let mut design = design.clone();
    for n in lifts..=(MOST_TIMES * lifts).min(PlanOptions::MOST_LIFTS) {
        if is_matched(&design) {
            return Some(n);
        }
        design.add(&candidates[design.best(candidates)].reading);
    }
    None
}

fn words(c: &Centres, lifts: usize, pieces: usize, ground: &Ground) -> String {
    let (n, kg) = (ground.n_cells(), c.kg);
    let Some(centres_u_g) = c.centres_u_g else {
        return format!(
            "{lifts} placements are fewer than the {} plates: {kg} kg of traceable masses on the plates' centres would \
             leave plates unweighed.",
            ground.plates.len()
        );
    };
    let figures = format!(
        "A weight of {kg} kg lying on the plates' centres will be known to {:.1} g (standard uncertainty, from the \
         calibration); {kg} kg of traceable masses put on those centres in the same {lifts} placements would give {:.1} g",
        c.plan_u_g, centres_u_g
    );
    let elsewhere = format!(
        "Those would leave {} of {n} cells open, so that a patient who lies elsewhere is weighed wrong by as much as the \
         cells differ.",
        c.centres_open_cells
    );
    if c.as_good {
        return format!("{figures}: the plan is at least as good. {elsewhere}");
    }
    let reached = c.lifts_to_match.map_or_else(
        || format!("{} placements would not make up for it", (MOST_TIMES * lifts).min(PlanOptions::MOST_LIFTS)),
        |m| format!("with {m} placements the plan is as good"),
    );
    let carried = c.centres_same_pieces_u_g.map_or_else(String::new, |u| {
        format!(" Counted in pieces carried ({pieces}), the masses on the centres give {u:.1} g.")
    });
    format!(
        "{figures}. Why not as good: the same placements must tell {n} cells apart, and a load near one cell has that cell's \
         scatter whole, where one on the centre shares it among them; {reached}.{carried} {elsewhere}"
    )
}
