//! The optimiser: Levenberg–Marquardt in a scaled trust region, with the tests of convergence of MINPACK (Moré, "The
//! Levenberg–Marquardt algorithm: implementation and theory", Lecture Notes in Mathematics 630 (1978) 105; Moré, Garbow
//! & Hillstrom, "User guide for MINPACK-1", ANL-80-74 (1980)).

mod step;

#[cfg(test)]
mod published;

use nalgebra::{DMatrix, DVector};

use step::Factors;

/// What is minimised: half the sum of squares of the residuals.
pub trait Problem {
    /// Residuals at these coordinates; of finite values, also where the model refuses them.
    fn residuals(&mut self, u: &[f64]) -> Vec<f64>;

    /// Residuals at several coordinates, which do not depend on one another.
    fn many(&mut self, points: &[Vec<f64>]) -> Vec<Vec<f64>> {
        points.iter().map(|u| self.residuals(u)).collect()
    }

    /// Half the step of the differences that make the Jacobian. Central differences of a function known to 1e-14 have
    /// their smallest error near the cube root of that.
    fn difference(&self) -> f64 {
        1e-5
    }

    /// Relative fall of the sum of squares, foretold and seen, that ends a search: one that a step lowers by less than a
    /// billionth leaves the coordinates within a small part of their standard errors, and one that can reach zero falls
    /// much faster until it is there.
    fn fall(&self) -> f64 {
        1e-9
    }

    /// Whether no more work may be spent; the search then ends where it is.
    fn exhausted(&self) -> bool {
        false
    }
}

/// ∂r/∂u by central differences, residuals by coordinates.
pub fn jacobian(problem: &mut dyn Problem, u: &[f64]) -> DMatrix<f64> {
    let step = problem.difference();
    let moved = |k: usize, by: f64| {
        let mut at = u.to_vec();
        at[k] += by;
        at
    };
    let points: Vec<Vec<f64>> = (0..u.len()).flat_map(|k| [moved(k, step), moved(k, -step)]).collect();
    let columns: Vec<Vec<f64>> = problem
        .many(&points)
        .chunks(2)
        .map(|ends| ends[0].iter().zip(&ends[1]).map(|(a, b)| (a - b) / (2.0 * step)).collect())
        .collect();
    DMatrix::from_fn(columns.first().map_or(0, Vec::len), u.len(), |r, c| columns[c][r])
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Minimum {
    /// Coordinates.
    pub u: Vec<f64>,
    /// Whether the optimiser ended by its own measure; else it ran out of evaluations or of work.
    pub converged: bool,
}

/// When the optimiser ends.
#[derive(Clone, Copy, Debug)]
struct Limits {
    /// Relative fall of the sum of squares, foretold and seen.
    fall: f64,
    /// Bound of the step as a part of the coordinates, both scaled.
    step: f64,
    /// Cosine between the residuals and each column of the Jacobian.
    cosine: f64,
    /// Evaluations for one of (coordinates + 1); those of the Jacobian do not count.
    patience: usize,
}

/// First bound of the step as a multiple of the scaled coordinates.
const FIRST: f64 = 100.0;
/// What a sum of squares must fall by of what was foretold for a step to be taken.
const TAKEN: f64 = 1e-4;

/// Minimises from a start; `patience` times (coordinates + 1) evaluations at most.
pub fn minimise(problem: &mut dyn Problem, start: &[f64], patience: usize) -> Minimum {
    let fall = problem.fall();
    search(problem, start, &Limits { fall, step: 1e-11, cosine: 1e-12, patience })
}

/// Residuals with zeros below where there are fewer than coordinates.
fn residuals(problem: &mut dyn Problem, u: &DVector<f64>) -> DVector<f64> {
    let mut r = problem.residuals(u.as_slice());
    r.resize(r.len().max(u.len()), 0.0);
    DVector::from_vec(r)
}

/// The largest cosine between residuals and a column of the Jacobian.
fn largest_cosine(jacobian: &DMatrix<f64>, r: &DVector<f64>, norm: f64) -> f64 {
    let cosine = |c: nalgebra::DVectorView<'_, f64>| {
        let length = c.norm();
        if length > 0.0 { (c.dot(r) / length / norm).abs() } else { 0.0 }
    };
    jacobian.column_iter().map(cosine).fold(0.0, f64::max)
}

fn search(problem: &mut dyn Problem, start: &[f64], limits: &Limits) -> Minimum {
    let mut u = DVector::from_column_slice(start);
    let ended = |u: &DVector<f64>, converged| Minimum { u: u.as_slice().to_vec(), converged };
    let mut r = residuals(problem, &u);
    let mut norm = r.norm();
    if u.is_empty() || !norm.is_finite() {
        return ended(&u, false);
    }
    let most = limits.patience * (u.len() + 1);
    let mut evaluations = 1;
    // Scales of the coordinates, bound of the scaled step, multiplier of the last one.
    let mut scales = DVector::zeros(u.len());
    let (mut delta, mut lambda) = (0.0, 0.0);
    let mut first = true;
    while norm > f64::MIN_POSITIVE {
        let mut a = jacobian(problem, u.as_slice()).resize_vertically(r.len(), 0.0);
        let cosine = largest_cosine(&a, &r, norm);
        if a.iter().any(|x| !x.is_finite()) {
            return ended(&u, false);
        }
        if cosine <= limits.cosine {
            return ended(&u, true);
        }
        for (k, mut column) in a.column_iter_mut().enumerate() {
            let length = column.norm();
            scales[k] = if first && length == 0.0 { 1.0 } else { length.max(scales[k]) };
            column /= scales[k];
        }
        if first {
            let size = u.component_mul(&scales).norm();
            delta = if size > 0.0 { FIRST * size } else { FIRST };
        }
        let factors = Factors::new(a, r.clone());
        loop {
            let Some(step) = factors.step(delta, lambda) else { return ended(&u, false) };
            lambda = step.lambda;
            if first {
                delta = step.length.min(delta);
                first = false;
            }
            // What the linear problem foretells, and the slope along the step, as parts of the sum of squares.
            let linear = (factors.image(&step.q) / norm).powi(2);
            let damping = lambda * (step.length / norm).powi(2);
            let (foretold, slope) = (linear + 2.0 * damping, -(linear + damping));
            let trial = &u - step.q.component_div(&scales);
            let there = residuals(problem, &trial);
            evaluations += 1;
            let new = there.norm();
            let fall = if 0.1 * new < norm { 1.0 - (new / norm).powi(2) } else { -1.0 };
            let ratio = if foretold > 0.0 { fall / foretold } else { 0.0 };
            if ratio <= 0.25 {
                let by = if fall >= 0.0 { 0.5 } else { 0.5 * slope / (slope + 0.5 * fall) };
                let by = if 0.1 * new < norm { f64::max(by, 0.1) } else { 0.1 };
                delta = by * delta.min(10.0 * step.length);
                lambda /= by;
            } else if lambda == 0.0 || ratio >= 0.75 {
                delta = 2.0 * step.length;
                lambda *= 0.5;
            }
            let taken = ratio >= TAKEN;
            if taken {
                (u, r, norm) = (trial, there, new);
            }
            let size = u.component_mul(&scales).norm();
            // The same with the rounding of numbers for a measure: no further digit can be won, an end as good as any.
            let flat = |part: f64| fall.abs() <= part && foretold <= part && ratio <= 2.0;
            let short = |part: f64| delta <= part * size;
            if flat(limits.fall) || short(limits.step) {
                return ended(&u, true);
            }
            if evaluations >= most || problem.exhausted() {
                return ended(&u, false);
            }
            if flat(f64::EPSILON) || short(f64::EPSILON) || cosine <= f64::EPSILON {
                return ended(&u, true);
            }
            if taken {
                break;
            }
        }
    }
    ended(&u, true)
}
