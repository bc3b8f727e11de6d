//! The search: a table of options, then rounds of candidates.

use deck::chain::Channel;
use deck::loads;
use formats::deck::Deck;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use stats::resolvable::PER_U;

use super::ExploreError;
use super::candidate::{Candidate, Scored, Scores};
use super::front::Front;
use super::options::{Ground, PlateOption, Prepared, own_g2, prepare, varied};
use super::table::ExploreTable;
use crate::DesignError;
use crate::budget::{Assumptions, COVERAGE_K, Source, chain, change};
use crate::lying::{Lying, usual_case};

/// Share of a round that is drawn anew; the rest are neighbours of the front.
const ANEW: f64 = 0.4;

/// A search under way.
#[derive(Debug, Clone)]
pub struct Explorer {
    deck: Deck,
    table: ExploreTable,
    assumptions: Assumptions,
    ground: Ground,
    /// Options of each unit (plate × cell type) once prepared.
    options: Vec<Option<Vec<PlateOption>>>,
    /// Variance in which all cells of a type err together, and of the place, for each cell type: change and weight, g².
    common: Vec<[f64; 2]>,
    round: usize,
    front: Front,
    n_solved: usize,
    n_candidates: usize,
}

/// How far a search is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Units of work done.
    pub done: usize,
    /// Units in all.
    pub of: usize,
    /// Plates solved for the table of options.
    pub n_solved: usize,
    /// Candidates evaluated.
    pub n_candidates: usize,
    /// Designs on the front.
    pub n_front: usize,
}

impl Progress {
    /// Whether nothing is left to do.
    pub fn is_done(&self) -> bool {
        self.done == self.of
    }
}

impl Explorer {
    /// Opens the design space of a deck.
    ///
    /// # Errors
    /// No or a wrong `[explore]` table, or a deck that cannot be computed.
    pub fn new(deck: &Deck, assumptions: &Assumptions) -> Result<Self, ExploreError> {
        if deck.plates.is_empty() {
            return Err(DesignError::NoPlates.into());
        }
        let table = ExploreTable::read(deck)?;
        let mut cases = deck.load_cases.clone();
        cases.push(usual_case(deck));
        let loads = cases.iter().map(|case| loads::spread(deck, case)).collect::<Result<Vec<_>, _>>()?;
        let ground = Ground { loads };
        let mut explorer = Explorer {
            options: vec![None; deck.plates.len() * table.cell_types.len()],
            common: Vec::new(),
            deck: deck.clone(),
            assumptions: *assumptions,
            table,
            ground,
            round: 0,
            front: Front::default(),
            n_solved: 0,
            n_candidates: 0,
        };
        explorer.common =
            (0..explorer.table.cell_types.len()).map(|t| explorer.common_g2(t)).collect::<Result<_, _>>()?;
        Ok(explorer)
    }

    /// What may vary.
    pub fn table(&self) -> &ExploreTable {
        &self.table
    }

    /// How far the search is.
    pub fn progress(&self) -> Progress {
        let prepared = self.options.iter().filter(|o| o.is_some()).count();
        Progress {
            done: prepared + self.round,
            of: self.options.len() + self.table.rounds,
            n_solved: self.n_solved,
            n_candidates: self.n_candidates,
            n_front: self.front.designs().len(),
        }
    }

    /// Rounds done.
    pub fn rounds_done(&self) -> usize {
        self.round
    }

    /// Candidates in the whole space.
    pub fn space(&self) -> f64 {
        let per_plate = (self.table.stacks.len() * self.table.layouts.len()) as f64;
        let n_plates = self.deck.plates.len() as f64;
        let plates = if self.table.one_stack {
            self.table.stacks.len() as f64 * (self.table.layouts.len() as f64).powf(n_plates)
        } else {
            per_plate.powf(n_plates)
        };
        (self.table.cell_types.len() * self.table.converters.len()) as f64 * plates
    }

    /// Does the next unit of work, if one is left.
    ///
    /// # Errors
    /// A deck that cannot be computed.
    pub fn step(&mut self) -> Result<Progress, ExploreError> {
        if let Some(unit) = self.unprepared().first().copied() {
            let prepared = self.prepare(unit)?;
            self.accept(prepared);
        } else if self.round < self.table.rounds {
            let scored = self.candidates().iter().filter_map(|c| self.evaluate(c)).collect();
            self.finish_round(scored);
        }
        Ok(self.progress())
    }

    /// Units of the table of options that are still to be prepared, in any order and on any thread.
    pub fn unprepared(&self) -> Vec<usize> {
        (0..self.options.len()).filter(|&u| self.options[u].is_none()).collect()
    }

    /// Solves a unit's plates.
    ///
    /// # Errors
    /// A deck that cannot be computed.
    pub fn prepare(&self, unit: usize) -> Result<Prepared, ExploreError> {
        prepare(&self.deck, &self.table, &self.ground, &self.assumptions, unit)
    }

    /// Takes a unit's options into the table.
    pub fn accept(&mut self, prepared: Prepared) {
        self.n_solved += prepared.n_solved;
        self.options[prepared.unit] = Some(prepared.options);
    }

    /// Candidates of the next round, each to be evaluated once all units are prepared; empty when the rounds are over.
    pub fn candidates(&self) -> Vec<Candidate> {
        if self.round >= self.table.rounds || !self.unprepared().is_empty() {
            return Vec::new();
        }
        if self.round == 0 {
            return self.alike();
        }
        // One stream a round: the candidates do not depend on what ran before but for the front, which is the same.
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(self.table.seed);
        for _ in 0..self.round {
            rng.jump();
        }
        (0..self.table.candidates_per_round).filter_map(|_| self.draw(&mut rng)).collect()
    }

    /// Scores of a candidate; `None` where a plate has no such option.
    pub fn evaluate(&self, candidate: &Candidate) -> Option<Scored> {
        let converter = &self.table.converters.get(candidate.converter)?.1;
        let kind = &self.deck.cell_types[*self.table.cell_types.get(candidate.cell_type)?];
        let [mut change_g2, mut weight_g2] = self.common[candidate.cell_type];
        let (mut cost, mut mass_kg, mut margin_mm, mut n_cells) = (0.0, 0.0, f64::INFINITY, 0);
        for (plate, &option) in candidate.options.iter().enumerate() {
            let option = self.options_of(plate, candidate.cell_type).get(option)?;
            cost += option.cost;
            mass_kg += option.mass_kg;
            margin_mm = option.margin_mm.min(margin_mm);
            n_cells += option.n_cells;
            change_g2 += option.change_g2;
            weight_g2 += option.weight_g2;
        }
        let electric_g2 = n_cells as f64 * self.electric_g2(&Channel::new(kind, converter), converter.rate_hz);
        let scores = Scores {
            cost: cost + n_cells as f64 * converter.cost_per_channel,
            mass_kg,
            deflection_margin_mm: margin_mm,
            resolvable_24h_g: PER_U * (change_g2 + electric_g2).sqrt(),
            expanded_u_g: COVERAGE_K * (weight_g2 + electric_g2).sqrt(),
        };
        Some(Scored { candidate: candidate.clone(), scores })
    }

    /// Takes the scores of a whole round, in the order of its candidates.
    pub fn finish_round(&mut self, scored: Vec<Scored>) {
        self.n_candidates += scored.len();
        for one in scored {
            if one.scores.deflection_margin_mm >= 0.0 {
                self.front.insert(one);
            }
        }
        self.round += 1;
    }

    /// The non-dominated designs so far, by rising cost.
    pub fn front(&self) -> Vec<Scored> {
        self.front.by_cost()
    }

    /// A candidate as a deck of its own, without the `[explore]` table.
    pub fn deck(&self, candidate: &Candidate) -> Deck {
        let kind = self.deck.cell_types[self.table.cell_types[candidate.cell_type]].name.clone();
        let plates = self.deck.plates.iter().enumerate().map(|(index, plate)| {
            let option = &self.options_of(index, candidate.cell_type)[candidate.options[index]];
            varied(plate, &self.table.stacks[option.stack], &self.table.layouts[option.layout], &kind)
        });
        Deck {
            plates: plates.collect(),
            converter: self.table.converters[candidate.converter].1.clone(),
            explore: None,
            ..self.deck.clone()
        }
    }

    /// A candidate in words: cell type, converter, and each plate's stack and cells.
    pub fn describe(&self, candidate: &Candidate) -> Vec<String> {
        let kind = &self.deck.cell_types[self.table.cell_types[candidate.cell_type]].name;
        let mut lines =
            vec![format!("cells {kind}"), format!("converter {}", self.table.converters[candidate.converter].0)];
        for (index, plate) in self.deck.plates.iter().enumerate() {
            let option = &self.options_of(index, candidate.cell_type)[candidate.options[index]];
            let layout = &self.table.layouts[option.layout];
            let stack = self.table.stacks[option.stack].describe();
            lines.push(format!("{}: {stack}; {} cells, {} mm in", plate.name, layout.n_cells, layout.inset_mm));
        }
        lines
    }

    fn options_of(&self, plate: usize, cell_type: usize) -> &[PlateOption] {
        self.options[plate * self.table.cell_types.len() + cell_type].as_deref().unwrap_or(&[])
    }

    /// Variance of noise and step of one cell in a difference of two readings, g².
    fn electric_g2(&self, channel: &Channel, rate_hz: f64) -> f64 {
        let samples = (rate_hz * self.assumptions.averaging_s).max(1.0);
        2.0 * channel.noise_g.powi(2) / samples + 2.0 * (channel.step_g() / 2.0).powi(2) / 3.0
    }

    /// What does not depend on the options: the budget of a deck of the cell type, less what its cells bring for themselves.
    fn common_g2(&self, cell_type: usize) -> Result<[f64; 2], ExploreError> {
        let kind = self.deck.cell_types[self.table.cell_types[cell_type]].name.clone();
        let mut deck = self.deck.clone();
        for cell in deck.plates.iter_mut().flat_map(|p| &mut p.cells) {
            cell.cell_type.clone_from(&kind);
        }
        let n = deck.cells().count();
        let load = &self.ground.loads[self.ground.loads.len() - 1];
        let mut lying = Lying::new(&deck, &usual_case(&deck), load);
        // How the load is shared among cells of one type is nothing to what they do together.
        lying.shares = vec![1.0 / n as f64; n];
        lying.tare_shares = vec![1.0 / n as f64; n];
        lying.slopes_rad = vec![0.0; n];
        let electric = |m: &crate::budget::Model| m.u_of_g(Source::Noise).powi(2) + m.u_of_g(Source::Step).powi(2);
        let common = |m: &crate::budget::Model| (m.u_g().powi(2) - own_g2(m) - electric(m)).max(0.0);
        Ok([
            common(&change::model(&deck, &lying, &self.assumptions, 24.0)?),
            common(&chain::model(&deck, &lying, &self.assumptions, self.deck.max_kg)?),
        ])
    }

    /// All candidates whose plates have the same stack and layout.
    fn alike(&self) -> Vec<Candidate> {
        let mut all = Vec::new();
        for cell_type in 0..self.table.cell_types.len() {
            for first in self.options_of(0, cell_type) {
                let same = |plate| {
                    let options = self.options_of(plate, cell_type);
                    options.iter().position(|o| o.stack == first.stack && o.layout == first.layout)
                };
                let Some(options) = (0..self.deck.plates.len()).map(same).collect::<Option<Vec<_>>>() else {
                    continue;
                };
                for converter in 0..self.table.converters.len() {
                    all.push(Candidate { cell_type, converter, options: options.clone() });
                }
            }
        }
        all
    }

    fn draw(&self, rng: &mut Xoshiro256PlusPlus) -> Option<Candidate> {
        let best = self.front.designs();
        let mut candidate = if best.is_empty() || rng.random::<f64>() < ANEW {
            let cell_type = rng.random_range(0..self.table.cell_types.len());
            let converter = rng.random_range(0..self.table.converters.len());
            let options = (0..self.deck.plates.len())
                .map(|plate| self.any_option(plate, cell_type, rng))
                .collect::<Option<Vec<_>>>()?;
            Candidate { cell_type, converter, options }
        } else {
            let mut near = best[rng.random_range(0..best.len())].candidate.clone();
            // The converter now and then, else one or two plates.
            if self.table.converters.len() > 1 && rng.random::<f64>() < 0.2 {
                near.converter = rng.random_range(0..self.table.converters.len());
            }
            for _ in 0..rng.random_range(1..=2) {
                let plate = rng.random_range(0..near.options.len());
                near.options[plate] = self.any_option(plate, near.cell_type, rng)?;
            }
            near
        };
        if self.table.one_stack {
            self.share_stack(&mut candidate)?;
        }
        Some(candidate)
    }

    fn any_option(&self, plate: usize, cell_type: usize, rng: &mut Xoshiro256PlusPlus) -> Option<usize> {
        let n = self.options_of(plate, cell_type).len();
        (n > 0).then(|| rng.random_range(0..n))
    }

    /// Gives all plates the stack of the first, each with its own layout.
    fn share_stack(&self, candidate: &mut Candidate) -> Option<()> {
        let cell_type = candidate.cell_type;
        let stack = self.options_of(0, cell_type).get(candidate.options[0])?.stack;
        for (plate, option) in candidate.options.iter_mut().enumerate() {
            let options = self.options_of(plate, cell_type);
            let layout = options.get(*option)?.layout;
            *option = options.iter().position(|o| o.stack == stack && o.layout == layout)?;
        }
        Some(())
    }
}
