//! A compact network from a system of many cells, by projection on solutions at a few shifts.
//!
//! The basis holds (K + sC)⁻¹·B for s = 0 and real shifts evenly spread over the decades of time (rational Krylov
//! subspace; Grimme, thesis, Univ. of Illinois 1997, from memory), and the steady temperatures of the boundaries. It
//! is orthogonal in the product of K, so the reduced K is the unit matrix and the reduced C symmetric: a congruence,
//! which keeps the network passive (Odabasioglu, Celik & Pileggi, IEEE Trans. CAD 17 (1998) 645, from memory), the
//! steady state exact, and reproduces the impedance and its slope at each shift. The shifts are doubled until two
//! networks in succession agree; by how much they differ at most over all time is the stated error of the last.

use nalgebra::{Cholesky, DMatrix, SymmetricEigen};

use super::error::FieldError;
use super::iterate::Conjugate;
use super::system::{Matrix, System, along};
use crate::thermal::compact::Compact;

mod append;
mod compare;
mod near;

use compare::{difference, times, trim};
pub use near::{Near, reduce_for_others, reduce_near};

/// Relative residual of a solution at a shift. The impedance errs by its square: the projection is a best fit.
const RESIDUAL: f64 = 1e-5;
/// The same of a steady state, which the network reproduces as it is.
const STEADY: f64 = 1e-11;
/// Heat inputs solved for side by side, at most.
const TOGETHER: usize = 4;
/// Intervals between shifts, at first and at most.
const INTERVALS: [usize; 2] = [5, 80];

/// Over which time a compact network must be right, and how far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Shortest time, s.
    pub shortest: f64,
    /// Longest time, s.
    pub longest: f64,
    /// Largest error of a thermal impedance at any time, relative to the self impedance at that time.
    pub tolerance: f64,
}

impl Default for Span {
    /// 1 µs to 1000 s, a thousandth.
    fn default() -> Self {
        Self { shortest: 1e-6, longest: 1e3, tolerance: 1e-3 }
    }
}

/// A reduction as it is asked for: a [`Span`] alone never stops early.
#[derive(Clone, Copy)]
pub struct Work<'a> {
    /// What must be right.
    pub span: Span,
    /// Asked between solutions: whether to stop.
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

impl From<&Span> for Work<'_> {
    fn from(span: &Span) -> Self {
        Self { span: *span, stop: &|| false }
    }
}

/// A compact network and how it came about.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced {
    /// The network.
    pub network: Compact,
    /// Largest difference to the network of half the shifts over all time, and what was left out of small modes;
    /// relative to the self impedance at that time.
    pub error: f64,
    /// Cells reduced.
    pub cells: usize,
    /// Vectors of the basis.
    pub vectors: usize,
    /// Linear systems solved.
    pub solutions: usize,
    /// Iterations of all of them.
    pub iterations: usize,
    /// Steady rise of the hottest cell per watt in each port, K/W; 0 of one that is not heated.
    pub hottest: Vec<f64>,
}

crate::packed!(Reduced: network, error, cells, vectors, solutions, iterations, hottest);

/// Reduces a system.
///
/// # Errors
/// A linear system that does not converge; [`FieldError::Stopped`].
pub fn reduce<'a>(system: &System, work: impl Into<Work<'a>>) -> Result<Reduced, FieldError> {
    let work = work.into();
    finish(Basis::new(system, &work)?, &work.span, None).map(|done| done.0)
}

/// Adds solutions at shifts, twice as many each time, until two networks in succession agree; `before` is the first of
/// them where the basis is one already.
fn finish<'a>(
    mut basis: Basis<'a>,
    span: &Span,
    mut before: Option<Compact>,
) -> Result<(Reduced, Basis<'a>), FieldError> {
    let (slow, fast) = (0.3 / span.longest, 3.0 / span.shortest);
    let shift = |k: usize, of: usize| slow * (fast / slow).powf(k as f64 / of as f64);
    let ([first, most], times) = (INTERVALS, times(span));
    let mut of = first;
    loop {
        for k in (0..=of).filter(|k| of == first || k % 2 == 1) {
            basis.extend(shift(k, of))?;
        }
        let next = basis.network();
        let heated = &basis.system.ports.heated;
        if let Some(before) = &before {
            let changed = difference(before, &next, heated, &times);
            if changed <= span.tolerance || of >= most {
                let small = trim(&next, heated, 0.02 * span.tolerance);
                let reduced = Reduced {
                    error: changed + difference(&next, &small, heated, &times),
                    network: small,
                    cells: basis.system.cells(),
                    vectors: basis.vectors.len(),
                    solutions: basis.solutions,
                    iterations: basis.iterations,
                    hottest: (0..basis.system.ports.heated.len()).map(|port| basis.hottest(port)).collect(),
                };
                return Ok((reduced, basis));
            }
        }
        before = Some(next);
        of *= 2;
    }
}

/// Rows of a matrix side by side, zeros and all.
fn full<const W: usize>(matrix: &Matrix, rows: [usize; W]) -> Vec<[f64; W]> {
    let mut all = vec![[0.0; W]; matrix.cols()];
    for (k, row) in rows.into_iter().enumerate() {
        for (cell, value) in matrix.outer_view(row).iter().flat_map(|row| row.iter()) {
            all[cell][k] = *value;
        }
    }
    all
}

/// Takes parts of one vector from each of some side by side.
fn take<const W: usize>(x: &mut [[f64; W]], part: [f64; W], v: &[f64]) {
    for (x, v) in x.iter_mut().zip(v) {
        (0..W).for_each(|k| x[k] -= part[k] * v);
    }
}

struct Basis<'a> {
    system: &'a System,
    stop: &'a (dyn Fn() -> bool + Sync),
    conjugate: Conjugate,
    /// The ports that are heated.
    heated: Vec<usize>,
    /// Steady temperatures for 1 K at a boundary and 0 at the others.
    steady: Vec<Vec<f64>>,
    /// Orthonormal in the product of K.
    vectors: Vec<Vec<f64>>,
    /// vᵀ·C·v for all pairs, lower half by rows.
    stored: Vec<Vec<f64>>,
    solutions: usize,
    iterations: usize,
}

impl<'a> Basis<'a> {
    /// With the steady states.
    fn new(system: &'a System, work: &Work<'a>) -> Result<Self, FieldError> {
        let mut new = Self::empty(system, work);
        new.rest()?;
        Ok(new)
    }

    fn empty(system: &'a System, work: &Work<'a>) -> Self {
        Self {
            system,
            stop: work.stop,
            conjugate: Conjugate::new(system, 0.0),
            heated: (0..system.shares().rows()).filter(|p| system.ports.heated[*p]).collect(),
            steady: Vec::new(),
            vectors: Vec::new(),
            stored: Vec::new(),
            solutions: 0,
            iterations: 0,
        }
    }

    /// Adds the steady states.
    fn rest(&mut self) -> Result<(), FieldError> {
        let (cells, films) = (self.system.cells(), &self.system.films);
        // The steady temperatures of all boundaries together are uniform: the last follows from the others.
        let mut last = vec![1.0; cells];
        for b in 1..films.rows() {
            let x = self.solve(&full(films, [b]), &vec![[0.0]; cells], STEADY)?.into_flattened();
            last.iter_mut().zip(&x).for_each(|(a, b)| *a -= b);
            self.steady.push(x);
        }
        self.steady.insert(0, last);
        for b in 0..self.steady.len() {
            self.append(self.steady[b].as_chunks::<1>().0.to_vec(), None);
        }
        self.solve_heated(0.0, STEADY)
    }

    /// Adds the solutions at a shift.
    fn extend(&mut self, shift: f64) -> Result<(), FieldError> {
        self.conjugate.refresh(self.system, shift);
        self.solve_heated(shift, RESIDUAL)
    }

    /// Adds the solutions for all heat inputs at the shift that the preconditioner is of.
    fn solve_heated(&mut self, shift: f64, residual: f64) -> Result<(), FieldError> {
        let heated = self.heated.clone();
        let mut left = heated.as_slice();
        while !left.is_empty() {
            left = match *left {
                [a, b, c, d, ref rest @ ..] => {
                    self.solve_some::<TOGETHER>([a, b, c, d], shift, residual)?;
                    rest
                }
                [a, b, ref rest @ ..] => {
                    self.solve_some([a, b], shift, residual)?;
                    rest
                }
                [a, ref rest @ ..] => {
                    self.solve_some([a], shift, residual)?;
                    rest
                }
                [] => left,
            };
        }
        Ok(())
    }

    fn solve_some<const W: usize>(
        &mut self,
        ports: [usize; W],
        shift: f64,
        residual: f64,
    ) -> Result<(), FieldError> {
        let heat = full(self.system.shares(), ports);
        let (guess, shares) = self.guess(ports, shift);
        let change = self.solve(&heat, &guess, residual)?;
        self.append(change, Some(shares));
        Ok(())
    }

    /// What is to be added to some estimates.
    fn solve<const W: usize>(
        &mut self,
        b: &[[f64; W]],
        guess: &[[f64; W]],
        residual: f64,
    ) -> Result<Vec<[f64; W]>, FieldError> {
        if (self.stop)() {
            return Err(FieldError::Stopped);
        }
        let (change, iterations) = self.conjugate.change_together(self.system, b, guess, residual)?;
        self.iterations += iterations;
        self.solutions += W;
        Ok(change)
    }

    /// The best that the basis has for heat in each of some ports, V·(1 + s·VᵀCV)⁻¹·Vᵀ·b, and its parts along the vectors.
    fn guess<const W: usize>(&self, ports: [usize; W], shift: f64) -> (Vec<[f64; W]>, Vec<[f64; W]>) {
        let n = self.vectors.len();
        let reduced = DMatrix::from_fn(n, n, |i, j| {
            let unit = if i == j { 1.0 } else { 0.0 };
            unit + shift * self.stored[i.max(j)][i.min(j)]
        });
        let right = DMatrix::from_fn(n, W, |i, k| self.system.ports.read(ports[k], &self.vectors[i]));
        let mut x = vec![[0.0; W]; self.system.cells()];
        let mut parts = vec![[0.0; W]; n];
        if let Some(factor) = Cholesky::new(reduced) {
            let shares = factor.solve(&right);
            for (i, (v, part)) in self.vectors.iter().zip(&mut parts).enumerate() {
                *part = std::array::from_fn(|k| shares[(i, k)]);
                take(&mut x, part.map(|p| -p), v);
            }
        }
        (x, parts)
    }

    /// Steady rise of the hottest cell per watt in a port, K/W. The basis holds the steady state of each heated port, and is
    /// orthonormal in the product of K: x = V·Vᵀ·b.
    fn hottest(&self, port: usize) -> f64 {
        if !self.system.ports.heated[port] {
            return 0.0;
        }
        let mut x = vec![0.0; self.system.cells()];
        for v in &self.vectors {
            let share = self.system.ports.read(port, v);
            x.iter_mut().zip(v).for_each(|(x, v)| *x += share * v);
        }
        x.into_iter().fold(0.0, f64::max)
    }

    /// The network of the basis as it is.
    fn network(&self) -> Compact {
        let system = self.system;
        let (m, b, n) = (system.ports.names.len(), system.films.rows(), self.vectors.len());
        let stored = DMatrix::from_fn(n, n, |i, j| self.stored[i.max(j)][i.min(j)]);
        let eigen = SymmetricEigen::new(stored);
        let mut modes: Vec<(f64, usize)> = eigen.eigenvalues.iter().copied().zip(0..n).collect();
        modes.sort_by(|a, b| a.0.total_cmp(&b.0));
        let at_ports =
            DMatrix::from_fn(m, n, |i, k| system.ports.read(i, &self.vectors[k])) * &eigen.eigenvectors;
        let at_boundaries =
            DMatrix::from_fn(b, n, |i, k| along(&system.films, i, &self.vectors[k])) * &eigen.eigenvectors;
        // Below the round-off of the eigenvalues a time constant is none: such a mode rises at once.
        let floor = modes.last().map_or(0.0, |m| m.0) * 1e-15 * n as f64;
        let mut direct = system.ports.direct.clone();
        for (_, k) in modes.iter().filter(|mode| mode.0 <= floor) {
            for i in 0..m {
                for j in 0..m {
                    direct[i * m + j] += at_ports[(i, *k)] * at_ports[(j, *k)];
                }
            }
        }
        modes.retain(|mode| mode.0 > floor);
        let columns = |rows: usize, from: &DMatrix<f64>| -> Vec<f64> {
            (0..rows).flat_map(|i| modes.iter().map(move |(_, k)| from[(i, *k)])).collect()
        };
        let exchange =
            |i: usize, j: usize| if i == j { 0.0 } else { along(&system.films, i, &self.steady[j]) };
        Compact {
            ports: system.ports.names.clone(),
            boundaries: system.boundaries.clone(),
            time_constants: modes.iter().map(|mode| mode.0).collect(),
            rises: columns(m, &at_ports),
            direct,
            follows: columns(b, &at_boundaries),
            shares: (0..b * m).map(|k| system.ports.read(k % m, &self.steady[k / m])).collect(),
            exchange: (0..b * b).map(|k| exchange(k / b, k % b)).collect(),
        }
    }
}
