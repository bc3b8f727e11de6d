//! From counts to loads: channels, stand-ins for failed ones, sums and low-pass.

use super::{Sample, SignalPath};
use crate::channel::Channel;
use crate::filter::LowPass;
use crate::load::{CENTRE_LEAST_KG, Load};
use crate::stand_in::{Neighbour, stand_in};

impl<const C: usize, const P: usize, const S: usize> SignalPath<C, P, S> {
    /// Turns counts into loads; false where a channel gives nothing and nothing can stand in for it.
    pub(super) fn read_channels(&mut self, sample: &Sample<C, S>) -> bool {
        let mut cells_kg = [None; C];
        self.read_cells(sample, &mut cells_kg);
        let failed = self.reading.channels.map(Channel::is_bad);
        if failed != self.failed {
            self.failed = failed;
            self.gather.clear();
            self.disturb(sample.t_s);
            self.rewired = true;
        }
        let Some(u_kg) = self.fill_in(&mut cells_kg) else { return false };
        self.reading.stand_in_u_kg = u_kg;
        let step = self.gains.share;
        let first = self.total == LowPass::new();
        let mut load = Load::default();
        let mut plate_kg = [0.0; P];
        for ((cell, kg), share) in self.config.cells().zip(&cells_kg).zip(&mut self.share_kg) {
            let kg = kg.unwrap_or(0.0);
            *share += if first { kg - *share } else { step * (kg - *share) };
            load.add(kg, cell.at_mm);
            if let Some(plate) = plate_kg.get_mut(cell.plate) {
                *plate += kg;
            }
        }
        self.low_pass(&load, &plate_kg);
        true
    }

    /// What each cell bears, where its channel gives.
    fn read_cells(&mut self, sample: &Sample<C, S>, cells_kg: &mut [Option<f64>; C]) {
        let mut secants = [1.0; S];
        for ((secant, slant), deg) in
            secants.iter_mut().zip(&mut self.slants).zip(&self.tilt_deg).take(self.config.n_sections)
        {
            *secant = slant.secant(*deg);
        }
        let cells = self.config.cells.iter().zip(&self.lines).take(self.config.n_cells);
        let doubted = self.drifts.iter().zip(&mut self.trusts);
        let states = self.channels.iter_mut().zip(&sample.counts).zip(self.creeps.iter_mut().zip(doubted));
        let outs = self.reading.channels.iter_mut().zip(&mut self.reading.overloaded).zip(cells_kg);
        for (((cell, line), ((state, counts), (creep, (drifts, trust)))), ((channel, overloaded), out)) in
            cells.zip(states).zip(outs)
        {
            let (is, used) = state.push(sample.t_s, *counts, cell, &self.config.limits.channel);
            *channel = if is.gives() && *drifts { Channel::Drifting } else { is };
            if is.gives() {
                let normal = line.normal_kg(used, cell, self.config.gravity_ratio);
                *overloaded = normal > cell.capacity_kg && channel.gives();
                let section = self.config.plate_section.get(cell.plate).copied().unwrap_or(0);
                let normal = creep.push(normal, cell.creep_rel, self.gains.creep);
                let kg = normal * secants.get(section).copied().unwrap_or(1.0);
                if channel.gives() {
                    *out = Some(kg);
                } else {
                    trust.hear(kg, self.gains.share);
                }
            } else {
                *overloaded = false;
            }
        }
    }

    /// Stands in for failed cells, at most one a plate; gives the uncertainty, or `None` where that cannot be.
    fn fill_in(&self, cells_kg: &mut [Option<f64>; C]) -> Option<f64> {
        let given = *cells_kg;
        let mut u2 = 0.0;
        for (index, (cell, out)) in self.config.cells().zip(cells_kg).enumerate() {
            if out.is_some() {
                continue;
            }
            // A channel that was never heard, or is only late, is no failed cell.
            if !self.reading.channels.get(index).is_some_and(|channel| channel.is_bad()) {
                return None;
            }
            let known_kg = self.known_kg.as_ref()?;
            let beside = self.config.cells().zip(given.iter().zip(known_kg)).enumerate();
            let beside = beside.filter(|(i, (other, _))| *i != index && other.plate == cell.plate);
            if beside.clone().any(|(_, (_, (kg, _)))| kg.is_none()) {
                return None;
            }
            let neighbours = beside
                .map(|(_, (other, (kg, was)))| Neighbour { at_mm: other.at_mm, gain_kg: kg.unwrap_or(0.0) - was });
            let elsewhere =
                self.config.cells().zip(given.iter().zip(known_kg)).filter(|(other, _)| other.plate != cell.plate);
            let elsewhere_kg = elsewhere.filter_map(|(_, (kg, was))| Some((kg.as_ref()? - was).abs())).sum();
            let found = stand_in(cell.at_mm, known_kg.get(index).copied()?, neighbours, elsewhere_kg)?;
            *out = Some(found.kg);
            u2 += found.u_kg * found.u_kg;
        }
        Some(libm::sqrt(u2))
    }

    fn low_pass(&mut self, load: &Load, plate_kg: &[f64; P]) {
        let step = self.gains.low_pass;
        let smooth = Load {
            total_kg: self.total.push(load.total_kg, step),
            moment_x: self.moment_x.push(load.moment_x, step),
            moment_y: self.moment_y.push(load.moment_y, step),
        };
        let plates = self.plates.iter_mut().zip(plate_kg).zip(&mut self.reading.plate_kg);
        for ((filter, kg), out) in plates.take(self.config.n_plates) {
            *out = filter.push(*kg, step);
        }
        self.reading.total_kg = load.total_kg;
        self.reading.filtered_kg = smooth.total_kg;
        self.reading.centre_mm = smooth.centre_mm(CENTRE_LEAST_KG);
    }
}
