//! (K + shift·C)·x = b by conjugate gradients (Hestenes & Stiefel 1952), preconditioned by an incomplete factor
//! that keeps row sums almost (Gustafsson, BIT 18 (1978) 142): with the cells numbered along z, strong coupling
//! through thin layers is taken exactly, and the number of iterations grows slowly with that of the cells.
//!
//! The factor is M = (D + L)·D⁻¹·(D + Lᵀ), L the part of A = K + shift·C below its diagonal. The iteration runs on
//! (D + L)⁻¹·A·(D + Lᵀ)⁻¹ with D as its preconditioner, whose product with p is t + (D + L)⁻¹·(p − E·t),
//! t = (D + Lᵀ)⁻¹·p, E = 2D − diag A: the matrix itself is never multiplied (Eisenstat, SIAM J. Sci. Stat. Comput. 2
//! (1981) 1).

use super::system::System;
use super::trouble::FieldTrouble;

/// How much of what the incomplete factor drops goes to its diagonal; 1 would keep row sums. Measured on a package
/// of 95 000 cells at shift 0: 0 needs 218 iterations, 0.9 129, 0.98 88, 0.995 71.
const KEPT: f64 = 0.995;
/// Iterations allowed.
const MOST: usize = 5000;

/// The preconditioner of one shift, and what the iteration needs.
#[derive(Debug, Clone)]
pub struct Conjugate {
    shift: f64,
    /// D.
    pivots: Vec<f64>,
    /// D⁻¹.
    inverse: Vec<f64>,
    /// E.
    excess: Vec<f64>,
    residual: Vec<f64>,
    direction: Vec<f64>,
    image: Vec<f64>,
    scratch: Vec<f64>,
}

impl Conjugate {
    /// For K + shift·C; shift in 1/s, not negative.
    pub fn new(system: &System, shift: f64) -> Self {
        let cells = system.cells();
        let zero = || vec![0.0; cells];
        let mut new = Self {
            shift,
            pivots: zero(),
            inverse: zero(),
            excess: zero(),
            residual: zero(),
            direction: zero(),
            image: zero(),
            scratch: zero(),
        };
        new.refresh(system, shift);
        new
    }

    /// The same for other coefficients on the same cells.
    pub fn refresh(&mut self, system: &System, shift: f64) {
        self.shift = shift;
        for i in 0..system.cells() {
            let full = system.diagonal[i] + shift * system.capacity[i];
            let mut pivot = full;
            for (j, g) in system.links.below(i) {
                let others: f64 = system.links.above(j).filter(|n| n.0 != i).map(|n| n.1).sum();
                pivot -= g * (g + KEPT * others) * self.inverse[j];
            }
            let pivot = if pivot > 1e-10 * full { pivot } else { full };
            self.pivots[i] = pivot;
            self.inverse[i] = 1.0 / pivot;
            self.excess[i] = 2.0 * pivot - full;
        }
    }

    /// Solves from the estimate in `x` until the residual, in the norm of M⁻¹, is `tolerance` of the right side's.
    /// Gives the number of iterations.
    ///
    /// # Errors
    /// Too many iterations.
    pub fn solve(
        &mut self,
        system: &System,
        b: &[f64],
        x: &mut [f64],
        tolerance: f64,
    ) -> Result<usize, FieldTrouble> {
        self.forward(system, b);
        let goal = tolerance * tolerance * weighted(&self.image, &self.pivots);
        system.multiply(self.shift, x, &mut self.scratch);
        for (r, b) in self.scratch.iter_mut().zip(b) {
            *r = b - *r;
        }
        let right = std::mem::take(&mut self.scratch);
        self.forward(system, &right);
        self.scratch = right;
        std::mem::swap(&mut self.residual, &mut self.image);
        let mut size = weighted(&self.residual, &self.pivots);
        for ((p, r), d) in self.direction.iter_mut().zip(&self.residual).zip(&self.pivots) {
            *p = d * r;
        }
        let mut sum = vec![0.0; x.len()];
        let mut done = None;
        for iteration in 0..MOST {
            if size <= goal {
                done = Some(iteration);
                break;
            }
            let slope = self.multiply(system);
            let step = size / slope;
            let mut next = 0.0;
            let vectors = self.residual.iter_mut().zip(&self.image).zip(&self.pivots);
            for ((((r, q), d), y), p) in vectors.zip(&mut sum).zip(&self.direction) {
                *y += step * p;
                *r -= step * q;
                next += *r * *r * d;
            }
            let turn = next / size;
            size = next;
            for ((p, r), d) in self.direction.iter_mut().zip(&self.residual).zip(&self.pivots) {
                *p = d * r + turn * *p;
            }
        }
        std::mem::swap(&mut self.direction, &mut sum);
        self.backward(system);
        x.iter_mut().zip(&self.scratch).for_each(|(x, t)| *x += t);
        done.ok_or(FieldTrouble::NotConverged { cells: system.cells(), iterations: MOST })
    }

    /// image = (D + L)⁻¹·b.
    fn forward(&mut self, system: &System, b: &[f64]) {
        let image = &mut self.image;
        for i in 0..b.len() {
            image[i] = (b[i] + system.links.sum_below(i, image)) * self.inverse[i];
        }
    }

    /// scratch = (D + Lᵀ)⁻¹·direction.
    fn backward(&mut self, system: &System) {
        let t = &mut self.scratch;
        // What is there of old is multiplied by zero where a neighbour is missing.
        for i in (0..t.len()).rev() {
            t[i] = 0.0;
            t[i] = (self.direction[i] + system.links.sum_above(i, t)) * self.inverse[i];
        }
    }

    /// image = (D + L)⁻¹·A·(D + Lᵀ)⁻¹·direction; gives direction·image.
    fn multiply(&mut self, system: &System) -> f64 {
        self.backward(system);
        let Self { image, scratch, direction, excess, inverse, .. } = self;
        let mut slope = 0.0;
        for i in 0..image.len() {
            // `image` holds the second part alone while it is made, scratch the first.
            image[i] =
                (direction[i] - excess[i] * scratch[i] + system.links.sum_below(i, image)) * inverse[i];
        }
        for ((q, t), p) in image.iter_mut().zip(scratch.iter()).zip(direction.iter()) {
            *q += t;
            slope += *q * p;
        }
        slope
    }
}

fn weighted(a: &[f64], d: &[f64]) -> f64 {
    a.iter().zip(d).map(|(a, d)| a * a * d).sum()
}

/// Scalar product, in four sums that do not wait for one another.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a4, b4) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a4.remainder().iter().zip(b4.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a4.zip(b4) {
        for k in 0..4 {
            sums[k] += x[k] * y[k];
        }
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
}
