//! Faults of channels, plates and power, applied to forces and counts.

use super::cable::Cable;
use super::gap::Contact;
use super::load::{BedLoad, Taken};
use crate::built::{BuiltDeck, Footprint};
use crate::cell::STANDARD_GRAVITY;
use crate::chance::Chance;
use crate::error::TwinError;
use crate::scenario::Fault;

const HOUR: f64 = 3600.0;

/// A fault with its place in the deck.
struct Failing {
    from_s: f64,
    to_s: f64,
    how: How,
}

enum How {
    Stuck { cell: usize, last: Option<f64> },
    Lost { cell: usize, share: f64 },
    Saturated { cell: usize },
    Drifting { cell: usize, newton_s: f64 },
    Noisy { cell: usize, times: f64 },
    Spikes { cell: usize, per_s: f64 },
    Jam { plate: usize, cells: Footprint, share: f64 },
    Gap { plate: usize, at_mm: [f64; 2], gap_mm: f64, on: bool },
    Cable { plate: usize, at_mm: [f64; 2], cells: Footprint, cable: Cable },
    PowerCut,
}

/// All faults of a night.
pub(crate) struct Faults {
    all: Vec<Failing>,
    chance: Chance,
}

impl Faults {
    /// # Errors
    /// A cell or plate that the deck does not have.
    pub(crate) fn new(built: &BuiltDeck, faults: &[Fault], chance: Chance) -> Result<Self, TwinError> {
        let all = faults.iter().map(|f| failing(built, f)).collect::<Result<Vec<_>, _>>()?;
        Ok(Self { all, chance })
    }

    /// True while the power is cut.
    pub(crate) fn is_cut(&self, t_s: f64) -> bool {
        self.active(t_s).any(|f| matches!(f.how, How::PowerCut))
    }

    /// True while anything fails.
    pub(crate) fn is_faulty(&self, t_s: f64) -> bool {
        self.active(t_s).next().is_some()
    }

    fn active(&self, t_s: f64) -> impl Iterator<Item = &Failing> {
        self.all.iter().filter(move |f| (f.from_s..f.to_s).contains(&t_s))
    }

    /// Brings what lies in the gaps up to date.
    pub(crate) fn fill_gaps(&mut self, t_s: f64, built: &BuiltDeck, contact: &mut Contact) {
        let mut changed = Vec::new();
        for failing in &mut self.all {
            if let How::Gap { plate, on, .. } = &mut failing.how {
                let now = (failing.from_s..failing.to_s).contains(&t_s);
                if now != *on {
                    *on = now;
                    changed.push(*plate);
                }
            }
        }
        for plate in changed {
            contact.clear(built, plate);
            for failing in &self.all {
                if let How::Gap { plate: other, at_mm, gap_mm, on: true } = failing.how
                    && other == plate
                {
                    contact.jam(built, plate, at_mm, gap_mm);
                }
            }
        }
    }

    /// What cables take off the plates at this sample, as these stood at the sample before.
    pub(crate) fn draw_cables(&mut self, t_s: f64, built: &BuiltDeck, load: &mut BedLoad<'_>) {
        load.taken.clear();
        for failing in &mut self.all {
            let How::Cable { plate, at_mm, cells, cable } = &mut failing.how else { continue };
            if !(failing.from_s..failing.to_s).contains(&t_s) {
                cable.lift();
                continue;
            }
            let down_mm = load.down_mm(*plate, *at_mm);
            let newton = cable.takes(down_mm, load.angle_deg(built.plates[*plate].section));
            load.taken.push(Taken { plate: *plate, cells: cells.clone(), newton });
        }
    }

    /// Load that goes past the cells, kg of each plate added to `shunted_kg`, and zeros that run away.
    pub(crate) fn bend(&self, t_s: f64, built: &BuiltDeck, forces: &mut [f64], shunted_kg: &mut [f64]) {
        for failing in self.active(t_s) {
            match &failing.how {
                How::Jam { plate, cells, share } => {
                    let whole: f64 = forces[built.plates[*plate].cells()].iter().sum();
                    shunted_kg[*plate] += share * whole / STANDARD_GRAVITY;
                    for (force, foot) in forces.iter_mut().zip(cells) {
                        *force -= share * whole * foot;
                    }
                }
                How::Drifting { cell, newton_s } => forces[*cell] += newton_s * (t_s - failing.from_s),
                _ => {}
            }
        }
    }

    /// What becomes of the counts.
    pub(crate) fn spoil(&mut self, t_s: f64, dt_s: f64, built: &BuiltDeck, counts: &mut [Option<f64>]) {
        let chance = &mut self.chance;
        for failing in &mut self.all {
            if !(failing.from_s..failing.to_s).contains(&t_s) {
                continue;
            }
            match &mut failing.how {
                How::Stuck { cell, last } => {
                    *last = last.or(counts[*cell]);
                    counts[*cell] = *last;
                }
                How::Lost { cell, share } => {
                    if chance.happens(*share) {
                        counts[*cell] = None;
                    }
                }
                How::Saturated { cell } => counts[*cell] = Some(built.cells[*cell].count_max - 1.0),
                How::Noisy { cell, times } => {
                    let noise = built.cells[*cell].noise_counts * *times * chance.normal();
                    counts[*cell] = counts[*cell].map(|c| (c + noise).round());
                }
                How::Spikes { cell, per_s } => {
                    if chance.happens(*per_s * dt_s) {
                        let size = built.cells[*cell].count_max * chance.within(0.5);
                        counts[*cell] = counts[*cell].map(|c| (c + size).round());
                    }
                }
                How::Drifting { .. } | How::Jam { .. } | How::Gap { .. } | How::Cable { .. } | How::PowerCut => {}
            }
        }
    }
}

fn failing(built: &BuiltDeck, fault: &Fault) -> Result<Failing, TwinError> {
    let unknown = |kind, name: &str| TwinError::Unknown { owner: "a fault".into(), kind, name: name.to_owned() };
    let cell = |name: &str| built.cells.iter().position(|c| c.name == name).ok_or_else(|| unknown("cell", name));
    let plate = |name: &str| built.plates.iter().position(|p| p.name == name).ok_or_else(|| unknown("plate", name));
    let (from_h, to_h, how) = match fault {
        Fault::Stuck { cell: name, from_h, to_h } => (from_h, *to_h, How::Stuck { cell: cell(name)?, last: None }),
        Fault::Lost { cell: name, from_h, to_h, share } => {
            (from_h, *to_h, How::Lost { cell: cell(name)?, share: share.unwrap_or(1.0) })
        }
        Fault::Saturated { cell: name, from_h, to_h } => (from_h, *to_h, How::Saturated { cell: cell(name)? }),
        Fault::Drifting { cell: name, from_h, to_h, kg_h } => {
            (from_h, *to_h, How::Drifting { cell: cell(name)?, newton_s: kg_h * STANDARD_GRAVITY / HOUR })
        }
        Fault::Noisy { cell: name, from_h, to_h, times } => {
            (from_h, *to_h, How::Noisy { cell: cell(name)?, times: *times })
        }
        Fault::Spikes { cell: name, from_h, to_h, per_h } => {
            (from_h, *to_h, How::Spikes { cell: cell(name)?, per_s: per_h / HOUR })
        }
        Fault::Jam { plate: name, from_h, to_h, gap_mm, share, at_mm } => {
            let plate = plate(name)?;
            let how = match (gap_mm, share) {
                (Some(gap_mm), _) => How::Gap { plate, at_mm: *at_mm, gap_mm: *gap_mm, on: false },
                (None, share) => {
                    How::Jam { plate, cells: built.footprint_on(plate, *at_mm), share: share.unwrap_or(0.0) }
                }
            };
            (from_h, *to_h, how)
        }
        Fault::Cable { plate: name, from_h, to_h, at_mm, stiffness_newton_mm, friction_newton, reach_mm } => {
            let plate = plate(name)?;
            let (at_mm, cells) = (*at_mm, built.footprint_on(plate, *at_mm));
            let cable = Cable::new(*stiffness_newton_mm, *friction_newton, *reach_mm);
            (from_h, *to_h, How::Cable { plate, at_mm, cells, cable })
        }
        Fault::PowerCut { from_h, for_s } => (from_h, Some(from_h + for_s / HOUR), How::PowerCut),
    };
    Ok(Failing { from_s: from_h * HOUR, to_s: to_h.map_or(f64::INFINITY, |h| h * HOUR), how })
}
