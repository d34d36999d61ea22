//! (K + shift·C)·x = b by conjugate gradients (Hestenes & Stiefel 1952), preconditioned by an incomplete factor
//! that keeps row sums almost (Gustafsson, BIT 18 (1978) 142): with the cells numbered along z, strong coupling
//! through thin layers is taken exactly, and the number of iterations grows slowly with that of the cells.
//!
//! The factor of A = K + shift·C is (D + L)·D⁻¹·(D + Lᵀ), L the part of A below its diagonal. In unknowns √D·x it is
//! (1 + N)·(1 + Nᵀ), N = D^(−½)·L·D^(−½), and the product of (1 + N)⁻¹·D^(−½)·A·D^(−½)·(1 + Nᵀ)⁻¹ with p is
//! t + (1 + N)⁻¹·(p − E·t), t = (1 + Nᵀ)⁻¹·p, E = 2 − D⁻¹·diag A: the matrix itself is never multiplied (Eisenstat,
//! SIAM J. Sci. Stat. Comput. 2 (1981) 1). One triangle of A in compressed rows serves both ways.

use super::error::FieldError;
use super::system::{Matrix, System};

/// How much of what the incomplete factor drops goes to its diagonal; 1 would keep row sums. Measured on a package
/// of 95 000 cells at shift 0: 0 needs 218 iterations, 0.9 129, 0.98 88, 0.995 71.
const KEPT: f64 = 0.995;
/// Iterations allowed.
const MOST: usize = 5000;

/// The preconditioner of one shift.
#[derive(Debug, Clone)]
pub struct Conjugate {
    shift: f64,
    /// D^(−½).
    scale: Vec<f64>,
    /// N.
    lower: Matrix,
    /// E.
    excess: Vec<f64>,
}

impl Conjugate {
    /// For K + shift·C; shift in 1/s, not negative.
    pub fn new(system: &System, shift: f64) -> Self {
        let cells = system.cells();
        let (scale, excess) = (vec![0.0; cells], vec![0.0; cells]);
        let (mut begins, mut columns) = (vec![0], Vec::new());
        for (i, row) in system.conductance.outer_iterator().enumerate() {
            columns.extend(row.indices().iter().filter(|j| (**j as usize) < i));
            begins.push(columns.len() as u32);
        }
        let values = vec![0.0; columns.len()];
        let lower = Matrix::new((cells, cells), begins, columns, values);
        let mut new = Self { shift, scale, lower, excess };
        new.refresh(system, shift);
        new
    }

    /// The same for other coefficients on the same cells: which of them touch does not change.
    pub fn refresh(&mut self, system: &System, shift: f64) {
        self.shift = shift;
        let (conductance, capacity) = (&system.conductance, system.capacity.data());
        let cells = system.cells();
        // Σ of what couples a cell to those of higher number.
        let mut above = vec![0.0; cells];
        let Conjugate { scale, lower, excess, .. } = self;
        let mut rest = lower.data_mut();
        for (i, row) in conductance.outer_iterator().enumerate() {
            let (mut full, mut dropped) = (shift * capacity[i], 0.0);
            let (own, next) = rest.split_at_mut(row.indices().partition_point(|j| (*j as usize) < i));
            rest = next;
            for (number, (&j, &k)) in row.indices().iter().zip(row.data()).enumerate() {
                let before = j as usize;
                if before < i {
                    dropped -= k * (KEPT * (above[before] + k) - k) * scale[before].powi(2);
                    own[number] = k * scale[before];
                } else if before == i {
                    full += k;
                } else {
                    above[i] -= k;
                }
            }
            let pivot = if full - dropped > 1e-10 * full { full - dropped } else { full };
            scale[i] = 1.0 / pivot.sqrt();
            own.iter_mut().for_each(|v| *v *= scale[i]);
            excess[i] = 2.0 - full / pivot;
        }
    }

    /// Solves from the estimate in `x` until the residual, in the norm of the factor's inverse, is `tolerance` of the
    /// right side's. Gives the number of iterations.
    ///
    /// # Errors
    /// Too many iterations.
    pub fn solve(
        &self,
        system: &System,
        b: &[f64],
        x: &mut [f64],
        tolerance: f64,
    ) -> Result<usize, FieldError> {
        self.solve_together(system, b.as_chunks::<1>().0, x.as_chunks_mut::<1>().0, tolerance)
    }

    /// Solves for `W` right sides side by side, each as if it were alone: the sweeps along z wait for one cell after
    /// another, and do so for all of them at once. Gives the sum of the iterations.
    ///
    /// # Errors
    /// Too many iterations.
    pub(super) fn solve_together<const W: usize>(
        &self,
        system: &System,
        b: &[[f64; W]],
        x: &mut [[f64; W]],
        tolerance: f64,
    ) -> Result<usize, FieldError> {
        let (change, iterations) = self.change_together(system, b, x, tolerance)?;
        for (x, change) in x.iter_mut().zip(&change) {
            (0..W).for_each(|k| x[k] += change[k]);
        }
        Ok(iterations)
    }

    /// The same, giving what is to be added to the estimates.
    pub(super) fn change_together<const W: usize>(
        &self,
        system: &System,
        b: &[[f64; W]],
        x: &[[f64; W]],
        tolerance: f64,
    ) -> Result<(Vec<[f64; W]>, usize), FieldError> {
        let Self { shift, scale, lower, excess } = self;
        let zero = || vec![[0.0; W]; x.len()];
        let (mut image, mut residual, mut scratch, mut sum) = (zero(), zero(), zero(), zero());
        let each = |f: &dyn Fn(usize) -> f64| -> [f64; W] { std::array::from_fn(f) };
        forward(lower, &mut image, |i, k| scale[i] * b[i][k]);
        let goal = dot(&image, &image).map(|size| tolerance * tolerance * size);
        system.multiply_together(*shift, x, &mut scratch);
        forward(lower, &mut residual, |i, k| scale[i] * (b[i][k] - scratch[i][k]));
        let mut direction = residual.clone();
        scratch.copy_from_slice(&residual);
        let mut size = dot(&residual, &residual);
        let mut iterations = 0;
        let mut done = false;
        for _ in 0..MOST {
            // One that has arrived stands still while others go on.
            let goes = |k: usize| size[k].is_nan() || size[k] > goal[k];
            let going = (0..W).filter(|k| goes(*k)).count();
            if going == 0 {
                done = true;
                break;
            }
            iterations += going;
            backward(lower, &mut scratch);
            forward(lower, &mut image, |i, k| direction[i][k] - excess[i] * scratch[i][k]);
            for (q, t) in image.iter_mut().zip(&scratch) {
                (0..W).for_each(|k| q[k] += t[k]);
            }
            let along = dot(&image, &direction);
            let step = each(&|k| if goes(k) { size[k] / along[k] } else { 0.0 });
            let vectors = residual.iter_mut().zip(&image).zip(&mut sum).zip(&direction);
            for (((r, q), y), p) in vectors {
                (0..W).for_each(|k| {
                    y[k] += step[k] * p[k];
                    r[k] -= step[k] * q[k];
                });
            }
            let next = dot(&residual, &residual);
            let turn = each(&|k| if goes(k) { next[k] / size[k] } else { 0.0 });
            size = next;
            for ((p, t), r) in direction.iter_mut().zip(&mut scratch).zip(&residual) {
                (0..W).for_each(|k| {
                    p[k] = r[k] + turn[k] * p[k];
                    t[k] = p[k];
                });
            }
        }
        backward(lower, &mut sum);
        for (t, s) in sum.iter_mut().zip(scale) {
            (0..W).for_each(|k| t[k] *= s);
        }
        if done {
            return Ok((sum, iterations));
        }
        Err(FieldError::NotConverged { cells: system.cells(), iterations: MOST })
    }
}

/// x = (1 + N)⁻¹·b. The solvers of the crate divide by the diagonal, which here is 1: every cell would wait for it.
fn forward<const W: usize>(lower: &Matrix, x: &mut [[f64; W]], b: impl Fn(usize, usize) -> f64) {
    let (columns, values) = (lower.indices(), lower.data());
    for (i, row) in lower.indptr().iter_outer_sz().enumerate() {
        let mut left: [f64; W] = std::array::from_fn(|k| b(i, k));
        for (j, n) in columns[row.clone()].iter().zip(&values[row]) {
            let found = x[*j as usize];
            (0..W).for_each(|k| left[k] -= n * found[k]);
        }
        x[i] = left;
    }
}

/// x ← (1 + Nᵀ)⁻¹·x.
fn backward<const W: usize>(lower: &Matrix, x: &mut [[f64; W]]) {
    let (columns, values) = (lower.indices(), lower.data());
    for (i, row) in lower.indptr().iter_outer_sz().enumerate().rev() {
        let found = x[i];
        for (j, n) in columns[row.clone()].iter().zip(&values[row]) {
            let x = &mut x[*j as usize];
            (0..W).for_each(|k| x[k] -= n * found[k]);
        }
    }
}

/// Scalar products of vectors side by side, each in four sums that do not wait for one another.
pub(super) fn dot<const W: usize>(a: &[[f64; W]], b: &[[f64; W]]) -> [f64; W] {
    products(a, b, |x, y| std::array::from_fn(|k| x[k] * y[k]))
}

/// The same of one vector with each of some side by side.
pub(super) fn dot_each<const W: usize>(one: &[f64], each: &[[f64; W]]) -> [f64; W] {
    products(one, each, |x, y| y.map(|y| x * y))
}

fn products<A, B, const W: usize>(a: &[A], b: &[B], of: impl Fn(&A, &B) -> [f64; W]) -> [f64; W] {
    let mut sums = [[0.0; W]; 4];
    let (a4, b4) = (a.chunks_exact(4), b.chunks_exact(4));
    let mut rest = [0.0; W];
    for (x, y) in a4.remainder().iter().zip(b4.remainder()) {
        let product = of(x, y);
        (0..W).for_each(|k| rest[k] += product[k]);
    }
    for (x, y) in a4.zip(b4) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            let product = of(x, y);
            (0..W).for_each(|k| sum[k] += product[k]);
        }
    }
    std::array::from_fn(|k| (sums[0][k] + sums[1][k]) + (sums[2][k] + sums[3][k]) + rest[k])
}
