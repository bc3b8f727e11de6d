//! Small unconstrained minimization without derivatives: Nelder–Mead to come near, then BFGS with numerical gradients.
//!
//! Source: Nelder & Mead, Comput J 7 (1965) 308–313; Nocedal & Wright, Numerical Optimization, 2nd ed., algorithm 6.1 with
//! backtracking (both from memory). Made for a handful of parameters of order 1, such as logarithms.

use nalgebra::{DMatrix, DVector};

/// Central differences of this step err by h² of a third derivative, and by 1e-15/h of the value.
const GRADIENT_STEP: f64 = 1e-4;

/// Where a search ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// The point.
    pub x: Vec<f64>,
    /// The function there.
    pub value: f64,
    /// Whether it ended because no step improves it, or not by enough, not because steps ran out.
    pub converged: bool,
    /// Evaluations of the function.
    pub evaluations: usize,
}

/// Minimizes `f` from `start`: simplex first, gradient afterwards.
pub fn minimize(f: &mut impl FnMut(&[f64]) -> f64, start: &[f64]) -> Minimum {
    let near = nelder_mead(f, start, 0.5, 1e-4, 200 * start.len().max(1));
    let exact = bfgs(&mut Differences(f), &near.x, 200, 0.0);
    Minimum { evaluations: near.evaluations + exact.evaluations, ..exact }
}

/// Nelder–Mead from a simplex of edge `size`, until it is smaller than `tolerance` in every coordinate.
pub fn nelder_mead(
    f: &mut impl FnMut(&[f64]) -> f64,
    start: &[f64],
    size: f64,
    tolerance: f64,
    evaluations_max: usize,
) -> Minimum {
    let n = start.len();
    let mut evaluations = 0;
    let mut at = |x: Vec<f64>| {
        evaluations += 1;
        let value = f(&x);
        (if value.is_nan() { f64::INFINITY } else { value }, x)
    };
    let mut simplex = vec![at(start.to_vec())];
    for i in 0..n {
        let mut corner = start.to_vec();
        corner[i] += size;
        simplex.push(at(corner));
    }
    let mut converged = false;
    for _ in 0..evaluations_max {
        simplex.sort_by(|a, b| a.0.total_cmp(&b.0));
        let extent = (0..n).map(|i| simplex.iter().fold(0.0, |m: f64, s| m.max((s.1[i] - simplex[0].1[i]).abs())));
        if extent.fold(0.0, f64::max) < tolerance {
            converged = true;
            break;
        }
        let centre: Vec<f64> = (0..n).map(|i| simplex[..n].iter().map(|s| s.1[i]).sum::<f64>() / n as f64).collect();
        let worst = simplex[n].clone();
        let along = |k: f64| -> Vec<f64> { centre.iter().zip(&worst.1).map(|(c, w)| c + k * (w - c)).collect() };
        let reflected = at(along(-1.0));
        if reflected.0 < simplex[0].0 {
            let expanded = at(along(-2.0));
            simplex[n] = if expanded.0 < reflected.0 { expanded } else { reflected };
        } else if reflected.0 < simplex[n - 1].0 {
            simplex[n] = reflected;
        } else {
            let contracted = if reflected.0 < worst.0 { at(along(-0.5)) } else { at(along(0.5)) };
            if contracted.0 < worst.0.min(reflected.0) {
                simplex[n] = contracted;
            } else {
                let best = simplex[0].1.clone();
                for corner in &mut simplex[1..] {
                    *corner = at(corner.1.iter().zip(&best).map(|(c, b)| 0.5 * (c + b)).collect());
                }
            }
        }
    }
    simplex.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (value, x) = simplex.swap_remove(0);
    Minimum { x, value, converged, evaluations }
}

/// A function that is minimized by its slope.
pub trait Objective {
    /// The function at a point.
    fn value(&mut self, x: &[f64]) -> f64;
    /// Its derivatives there.
    fn slope(&mut self, x: &[f64]) -> Vec<f64>;
}

/// A function whose slope is taken by central differences, which costs two evaluations a coordinate.
#[derive(Debug)]
pub struct Differences<F>(pub F);

impl<F: FnMut(&[f64]) -> f64> Objective for Differences<F> {
    fn value(&mut self, x: &[f64]) -> f64 {
        (self.0)(x)
    }

    fn slope(&mut self, x: &[f64]) -> Vec<f64> {
        let mut moved = x.to_vec();
        let mut derivative = |i: usize| {
            moved[i] = x[i] + GRADIENT_STEP;
            let above = (self.0)(&moved);
            moved[i] = x[i] - GRADIENT_STEP;
            let below = (self.0)(&moved);
            moved[i] = x[i];
            (above - below) / (2.0 * GRADIENT_STEP)
        };
        (0..x.len()).map(&mut derivative).collect()
    }
}

/// BFGS with backtracking, at most `steps_max` steps. An evaluation is one of the function or of its slope.
///
/// It comes to rest where the quadratic through what it has seen, ½ g' H g, promises a fall of less than `gain_min`; with 0, where
/// no step improves within rounding, which costs some forty evaluations to find out.
pub fn bfgs(f: &mut impl Objective, start: &[f64], steps_max: usize, gain_min: f64) -> Minimum {
    let n = start.len();
    let mut x = DVector::from_column_slice(start);
    let mut value = f.value(x.as_slice());
    let mut slope = DVector::from_vec(f.slope(x.as_slice()));
    let mut evaluations = 2;
    let mut inverse = DMatrix::<f64>::identity(n, n);
    let mut converged = false;
    for _ in 0..steps_max {
        let mut direction = -&inverse * &slope;
        if direction.dot(&slope) >= 0.0 || !direction.iter().all(|d| d.is_finite()) {
            inverse = DMatrix::identity(n, n);
            direction = -&slope;
        }
        if -0.5 * direction.dot(&slope) < gain_min {
            converged = true;
            break;
        }
        // No step longer than 1, lest a flat likelihood throws the search far off.
        let longest = direction.amax();
        if longest > 1.0 {
            direction /= longest;
        }
        let Some((next, next_value, tried)) = backtrack(f, &x, value, &direction, &slope) else {
            converged = true;
            break;
        };
        evaluations += tried + 1;
        let next_slope = DVector::from_vec(f.slope(next.as_slice()));
        let (s, y) = (&next - &x, &next_slope - &slope);
        (x, value, slope) = (next, next_value, next_slope);
        let sy = s.dot(&y);
        if sy > 1e-12 * s.norm() * y.norm() {
            let rho = 1.0 / sy;
            let left = DMatrix::identity(n, n) - &s * y.transpose() * rho;
            inverse = &left * &inverse * left.transpose() + &s * s.transpose() * rho;
        }
        if s.amax() < 1e-9 {
            converged = true;
            break;
        }
    }
    Minimum { x: x.as_slice().to_vec(), value, converged, evaluations }
}

/// Halves the step until the function falls (Armijo); `None` where no step does within rounding.
fn backtrack(
    f: &mut impl Objective,
    x: &DVector<f64>,
    value: f64,
    direction: &DVector<f64>,
    slope: &DVector<f64>,
) -> Option<(DVector<f64>, f64, usize)> {
    let falling = 1e-4 * direction.dot(slope);
    let mut length = 1.0;
    for tried in 1..=40 {
        let next = x + direction * length;
        let next_value = f.value(next.as_slice());
        if next_value <= value + length * falling && next_value < value {
            return Some((next, next_value, tried));
        }
        length *= 0.5;
    }
    None
}

/// Second derivatives of `f` at `x` by central differences of step `h`.
pub fn hessian(f: &mut impl FnMut(&[f64]) -> f64, x: &[f64], h: f64) -> DMatrix<f64> {
    let n = x.len();
    let centre = f(x);
    let mut at = |steps: &[(usize, f64)]| {
        let mut moved = x.to_vec();
        steps.iter().for_each(|&(i, step)| moved[i] += step);
        f(&moved)
    };
    let mut result = DMatrix::zeros(n, n);
    for i in 0..n {
        result[(i, i)] = (at(&[(i, h)]) - 2.0 * centre + at(&[(i, -h)])) / (h * h);
        for j in 0..i {
            let same = at(&[(i, h), (j, h)]) + at(&[(i, -h), (j, -h)]);
            let opposite = at(&[(i, h), (j, -h)]) + at(&[(i, -h), (j, h)]);
            let mixed = (same - opposite) / (4.0 * h * h);
            result[(i, j)] = mixed;
            result[(j, i)] = mixed;
        }
    }
    result
}

/// Second derivatives at `x` by central differences of the slope, of step `h`; made symmetric.
pub fn hessian_by_slope(f: &mut impl Objective, x: &[f64], h: f64) -> DMatrix<f64> {
    let n = x.len();
    let mut moved = x.to_vec();
    let mut result = DMatrix::zeros(n, n);
    for i in 0..n {
        moved[i] = x[i] + h;
        let above = f.slope(&moved);
        moved[i] = x[i] - h;
        let below = f.slope(&moved);
        moved[i] = x[i];
        for j in 0..n {
            let half = (above[j] - below[j]) / (4.0 * h);
            result[(i, j)] += half;
            result[(j, i)] += half;
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_bottom_of_a_curved_valley() {
        // Rosenbrock's function, minimum 0 at (1, 1), from its usual start.
        let mut f = |x: &[f64]| (1.0 - x[0]).powi(2) + 100.0 * (x[1] - x[0] * x[0]).powi(2);
        let found = minimize(&mut f, &[-1.2, 1.0]);
        assert!(found.converged, "{found:?}");
        assert!((found.x[0] - 1.0).abs() < 1e-5 && (found.x[1] - 1.0).abs() < 1e-5, "{found:?}");
    }

    /// A looser rest costs fewer evaluations and leaves no more than was allowed.
    #[test]
    fn comes_to_rest_where_little_is_left_to_gain() {
        let n = std::cell::Cell::new(0);
        let mut f = |x: &[f64]| {
            n.set(n.get() + 1);
            (x[0] - 1.0).powi(2) + 2.0 * (x[1] + 0.5).powi(2) + x[0] * x[1]
        };
        let exact = bfgs(&mut Differences(&mut f), &[0.0, 0.0], 50, 0.0);
        let evaluations = n.replace(0);
        let loose = bfgs(&mut Differences(&mut f), &[0.0, 0.0], 50, 1e-3);
        assert!(exact.converged && loose.converged);
        assert!(loose.value - exact.value < 1e-3, "{} {}", loose.value, exact.value);
        assert!(n.get() < evaluations, "{} against {evaluations}", n.get());
    }

    #[test]
    fn second_derivatives_of_a_quadratic_are_exact_to_rounding() {
        let mut f = |x: &[f64]| 2.0 * x[0] * x[0] + 3.0 * x[0] * x[1] + 5.0 * x[1] * x[1];
        let h = hessian(&mut f, &[0.3, -0.2], 1e-2);
        let exact = DMatrix::from_row_slice(2, 2, &[4.0, 3.0, 3.0, 10.0]);
        assert!((h - &exact).amax() < 1e-10);
        // Slopes by differences of step 1e-4 are sure to 1e-11, over a step of 1e-2.
        let by_slope = hessian_by_slope(&mut Differences(f), &[0.3, -0.2], 1e-2);
        assert!((by_slope - exact).amax() < 1e-8);
    }
}
