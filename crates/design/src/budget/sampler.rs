//! Draws from a budget's model, block by block, as fast as random numbers come.
//!
//! Sums that are known in closed form are not drawn: all normal factors that stand alone are one normal. Factors that share
//! their partner (the zero drifts of all cells times one change of temperature) are summed first and multiplied once. Two
//! rectangular factors come from one 64-bit number, 32 bits each: steps of 2⁻³¹ of the half-width, far below any digit that a
//! million draws can tell.

use rand::{Rng, RngExt};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::model::{Factor, Model, Term};

/// Draws made together: a few kilobytes, so that all stays in the nearest cache.
const BLOCK: usize = 1024;

/// A model made ready for drawing.
#[derive(Debug, Clone)]
pub struct Sampler {
    /// Factors that are kept for a block, as more than one term needs them.
    kept: Vec<Factor>,
    /// Sums of factors of their own, each times a combination of kept factors; the first stands alone.
    groups: Vec<Group>,
    /// Terms of kept factors only: coefficient, one factor or two.
    plain: Vec<(f64, usize, Option<usize>)>,
}

/// Σ c X, times a combination of kept factors.
#[derive(Debug, Clone, Default)]
struct Group {
    /// Kept factor and weight; empty: the sum stands alone.
    times: Vec<(usize, f64)>,
    /// Coefficients of rectangular factors.
    rectangular: Vec<f64>,
    /// Variance of the normal ones together.
    normal_g2: f64,
}

impl Sampler {
    /// Prepares a model.
    pub fn new(model: &Model) -> Self {
        let mut kept = Vec::new();
        let mut place = vec![None; model.factors.len()];
        let stands_alone = |f: usize| model.terms.iter().any(|t| t.first == f && t.second.is_none());
        let has_partner = |f: usize| model.terms.iter().any(|t| t.first == f && t.second.is_some());
        for (factor, slot) in place.iter_mut().enumerate() {
            let is_partner = model.terms.iter().any(|t| t.second == Some(factor));
            if is_partner || (stands_alone(factor) && has_partner(factor)) {
                *slot = Some(kept.len());
                kept.push(model.factors[factor]);
            }
        }
        let mut sampler = Sampler { kept, groups: vec![Group::default()], plain: Vec::new() };
        for first in 0..model.factors.len() {
            let terms = || model.terms.iter().filter(move |t| t.first == first && t.coefficient_g.abs() > 0.0);
            if let Some(at) = place[first] {
                let second = |t: &Term| t.second.and_then(|s| place[s]);
                sampler.plain.extend(terms().map(|t| (t.coefficient_g, at, second(t))));
                continue;
            }
            let partners: Vec<(usize, f64)> =
                terms().filter_map(|t| Some((place[t.second?]?, t.coefficient_g))).collect();
            match partners.first() {
                Some(&(_, scale)) => {
                    let times = partners.iter().map(|&(at, g)| (at, g / scale)).collect();
                    group_of(&mut sampler.groups, times).add(model.factors[first], scale);
                }
                None => {
                    let alone = terms().map(|t| t.coefficient_g).sum();
                    sampler.groups[0].add(model.factors[first], alone);
                }
            }
        }
        sampler
    }

    /// Fills `out` with errors, g.
    pub fn fill(&self, rng: &mut Xoshiro256PlusPlus, out: &mut [f64]) {
        let mut kept = vec![[0.0; BLOCK]; self.kept.len()];
        let mut sum = [0.0; BLOCK];
        for chunk in out.chunks_mut(BLOCK) {
            for (buffer, factor) in kept.iter_mut().zip(&self.kept) {
                buffer.fill(0.0);
                Group::of_one(*factor).draw(rng, &mut buffer[..chunk.len()]);
            }
            chunk.fill(0.0);
            for group in &self.groups {
                if group.times.is_empty() {
                    group.draw(rng, chunk);
                    continue;
                }
                let sum = &mut sum[..chunk.len()];
                sum.fill(0.0);
                group.draw(rng, sum);
                for &(at, weight) in &group.times {
                    for ((error, s), partner) in chunk.iter_mut().zip(&*sum).zip(&kept[at]) {
                        *error += weight * s * partner;
                    }
                }
            }
            for &(coefficient_g, first, second) in &self.plain {
                for (i, error) in chunk.iter_mut().enumerate() {
                    *error += coefficient_g * kept[first][i] * second.map_or(1.0, |s| kept[s][i]);
                }
            }
        }
    }
}

fn group_of(groups: &mut Vec<Group>, times: Vec<(usize, f64)>) -> &mut Group {
    let same = |g: &Group| {
        g.times.len() == times.len() && g.times.iter().zip(&times).all(|(a, b)| a.0 == b.0 && (a.1 - b.1).abs() < 1e-12)
    };
    let at = groups.iter().position(same).unwrap_or(groups.len());
    if at == groups.len() {
        groups.push(Group { times, ..Group::default() });
    }
    &mut groups[at]
}

impl Group {
    fn of_one(factor: Factor) -> Self {
        let mut group = Group::default();
        group.add(factor, 1.0);
        group
    }

    fn add(&mut self, factor: Factor, coefficient_g: f64) {
        match factor {
            _ if coefficient_g.abs() <= 0.0 => {}
            Factor::Rectangular => self.rectangular.push(coefficient_g),
            Factor::Normal => self.normal_g2 += coefficient_g * coefficient_g,
        }
    }

    /// Adds the sum's draws to `out`.
    fn draw(&self, rng: &mut Xoshiro256PlusPlus, out: &mut [f64]) {
        // A signed 32-bit number over 2³¹ is even on −1 to 1.
        const HALF: f64 = 1.0 / 2_147_483_648.0;
        let mut pairs = self.rectangular.chunks_exact(2);
        for pair in &mut pairs {
            let (a, b) = (pair[0] * HALF, pair[1] * HALF);
            for error in &mut *out {
                let bits = rng.next_u64();
                *error +=
                    a * f64::from(((bits >> 32) as u32).cast_signed()) + b * f64::from((bits as u32).cast_signed());
            }
        }
        if let [last] = pairs.remainder() {
            let last = last * HALF;
            for error in &mut *out {
                *error += last * f64::from(((rng.next_u64() >> 32) as u32).cast_signed());
            }
        }
        if self.normal_g2 > 0.0 {
            let u = self.normal_g2.sqrt();
            for error in out {
                let z: f64 = rng.sample(StandardNormal);
                *error += u * z;
            }
        }
    }
}
