//! A Foster chain through points of a transient thermal impedance.
//!
//! Resistances on a grid of time constants, none below zero, so that the weighted squares of the errors are least
//! (non-negative least squares: Lawson & Hanson, Solving Least Squares Problems, 1974, ch. 23). Such a fit picks few
//! of the grid's time constants, mostly in pairs side by side, which are joined; time constants are then moved a
//! little where that lessens the error.

use nalgebra::{DMatrix, DVector};
use thiserror::Error;

use super::modal::approach;
use super::network::FosterTerm;
use crate::arithmetic::matrix::singular;

/// Time constants per decade of the grid.
const PER_DECADE: f64 = 10.0;
/// Most time constants of the grid.
const LONGEST: f64 = 300.0;
/// Passes over the time constants.
const PASSES: usize = 6;

/// Points that no thermal impedance has.
#[derive(Debug, Error, Clone, Copy, PartialEq)]
pub enum FitError {
    /// Fewer than three points.
    #[error("{found} points; expected at least 3")]
    TooFew {
        /// Points found.
        found: usize,
    },
    /// A time or impedance that is not a positive number.
    #[error("point {point}: {time} s, {impedance} K/W; expected two positive numbers")]
    NotPositive {
        /// Number of the point, from 1.
        point: usize,
        /// Its time, s.
        time: f64,
        /// Its impedance, K/W.
        impedance: f64,
    },
    /// A time not later than the one before.
    #[error("point {point}: {time} s does not come after {before} s; expected rising times")]
    NotLater {
        /// Number of the point, from 1.
        point: usize,
        /// Its time, s.
        time: f64,
        /// The time before, s.
        before: f64,
    },
    /// An impedance below the one before.
    #[error(
        "point {point}: the impedance falls from {before} K/W to {impedance} K/W at {time} s; under constant power it can only rise"
    )]
    Falls {
        /// Number of the point, from 1.
        point: usize,
        /// Its time, s.
        time: f64,
        /// Its impedance, K/W.
        impedance: f64,
        /// The impedance before, K/W.
        before: f64,
    },
}

/// A fit and how good it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Terms, fastest first.
    pub terms: Vec<FosterTerm>,
    /// Largest relative error at the points.
    pub largest: f64,
    /// Root mean square of the relative errors.
    pub typical: f64,
}

crate::packed!(Fit: terms, largest, typical);

/// Fits points (s, K/W) with rising times, with at most `most` terms (none: as many as the points call for).
///
/// # Errors
/// Fewer than three points, numbers not positive, times that do not rise, impedances that fall.
pub fn fit(points: &[(f64, f64)], most: Option<usize>) -> Result<Fit, FitError> {
    check(points)?;
    let (first, last) = (points[0].0, points[points.len() - 1].0);
    // What is faster than the first point, or slower than the last, shows as one term beyond either end.
    let (fast, slow) = (0.2 * first, 3.0 * last);
    let count = ((slow / fast).log10() * PER_DECADE).ceil().min(LONGEST) as usize;
    let grid: Vec<f64> = (0..=count).map(|k| fast * (slow / fast).powf(k as f64 / count as f64)).collect();
    let mut terms = join_neighbours(&Chain::new(points, grid.into_iter()).terms);
    let most = most.unwrap_or(usize::MAX).max(1);
    refine(points, &mut terms);
    while terms.len() > most {
        join_closest(&mut terms);
        refine(points, &mut terms);
    }
    let errors: Vec<f64> = points.iter().map(|(t, z)| value(&terms, *t) / z - 1.0).collect();
    Ok(Fit {
        largest: errors.iter().map(|e| e.abs()).fold(0.0, f64::max),
        typical: (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt(),
        terms,
    })
}

fn check(points: &[(f64, f64)]) -> Result<(), FitError> {
    if points.len() < 3 {
        return Err(FitError::TooFew { found: points.len() });
    }
    for (k, &(time, impedance)) in points.iter().enumerate() {
        let point = k + 1;
        let good = |x: f64| x > 0.0 && x.is_finite();
        if !good(time) || !good(impedance) {
            return Err(FitError::NotPositive { point, time, impedance });
        }
        let Some(before) = k.checked_sub(1).map(|j| points[j]) else { continue };
        if time <= before.0 {
            return Err(FitError::NotLater { point, time, before: before.0 });
        }
        if impedance < before.1 {
            return Err(FitError::Falls { point, time, impedance, before: before.1 });
        }
    }
    Ok(())
}

fn value(terms: &[FosterTerm], t: f64) -> f64 {
    terms.iter().map(|term| term.resistance * approach(t / term.time_constant)).sum()
}

/// Response of a term of 1 K/W at the points, as a share of what they are.
fn column(points: &[(f64, f64)], time_constant: f64) -> DVector<f64> {
    DVector::from_iterator(points.len(), points.iter().map(|(t, z)| approach(t / time_constant) / z))
}

/// A chain of time constants with the resistances that make the relative errors least, and its columns; terms of zero left out.
#[derive(Clone)]
struct Chain {
    terms: Vec<FosterTerm>,
    columns: Vec<DVector<f64>>,
}

impl Chain {
    fn new(points: &[(f64, f64)], time_constants: impl Iterator<Item = f64>) -> Self {
        Self::of(time_constants.map(|tau| (tau, column(points, tau))).collect(), points.len())
    }

    fn of(all: Vec<(f64, DVector<f64>)>, points: usize) -> Self {
        let (taus, columns): (Vec<f64>, Vec<DVector<f64>>) = all.into_iter().unzip();
        let matrix = DMatrix::from_fn(points, columns.len(), |i, j| columns[j][i]);
        let right = DVector::from_element(points, 1.0);
        let free = least_squares(matrix.clone(), &right).filter(|x| x.iter().all(|v| *v > 0.0));
        let resistances = free.unwrap_or_else(|| non_negative(&matrix, &right));
        let terms = resistances.iter().zip(taus);
        let terms =
            terms.map(|(resistance, time_constant)| FosterTerm { resistance: *resistance, time_constant });
        let (terms, columns) = terms.zip(columns).filter(|(term, _)| term.resistance > 0.0).unzip();
        Self { terms, columns }
    }

    /// Sum of the squares of the relative errors.
    fn error(&self, points: usize) -> f64 {
        let at = |k: usize| {
            self.terms
                .iter()
                .zip(&self.columns)
                .map(|(term, column)| term.resistance * column[k])
                .sum::<f64>()
        };
        (0..points).map(|k| (at(k) - 1.0).powi(2)).sum()
    }
}

/// x with the least |A·x − b|; none where columns depend on one another, or are more than the rows.
fn least_squares(a: DMatrix<f64>, b: &DVector<f64>) -> Option<DVector<f64>> {
    if a.ncols() > a.nrows() {
        return None;
    }
    let qr = a.qr();
    let r = qr.r();
    let diagonal = r.diagonal().map(f64::abs);
    if diagonal.min() <= 1e-12 * diagonal.max() {
        return None;
    }
    r.solve_upper_triangular(&(qr.q().transpose() * b))
}

/// x ≥ 0 with the least |A·x − b|: columns enter one at a time where the slope is steepest, and leave where they would
/// turn negative.
fn non_negative(a: &DMatrix<f64>, b: &DVector<f64>) -> DVector<f64> {
    let n = a.ncols();
    let mut x = DVector::zeros(n);
    let mut chosen: Vec<usize> = Vec::new();
    let small = 1e-11 * a.norm() * b.norm();
    for _ in 0..3 * n {
        let slope = a.transpose() * (b - a * &x);
        let free = (0..n).filter(|k| !chosen.contains(k) && slope[*k] > small);
        let Some(next) = free.max_by(|i, j| slope[*i].total_cmp(&slope[*j])) else { break };
        chosen.push(next);
        loop {
            let columns = a.select_columns(&chosen);
            let best = least_squares(columns.clone(), b);
            let best = best.map_or_else(|| singular(columns, true, true).solve(b, 1e-13), Ok);
            let Ok(best) = best else { return x };
            if best.iter().all(|v| *v > 0.0) {
                x.fill(0.0);
                chosen.iter().zip(best.iter()).for_each(|(k, v)| x[*k] = *v);
                break;
            }
            // As far towards it as nothing turns negative.
            let pairs = || chosen.iter().zip(best.iter()).filter(|(_, v)| **v <= 0.0);
            let step = pairs().map(|(k, v)| x[*k] / (x[*k] - v)).fold(1.0, f64::min);
            for (k, v) in chosen.iter().zip(best.iter()) {
                x[*k] += step * (v - x[*k]);
            }
            let tiny = 1e-14 * x.amax();
            chosen.retain(|k| x[*k] > tiny);
            (0..n).filter(|k| !chosen.contains(k)).for_each(|k| x[k] = 0.0);
            if chosen.is_empty() {
                return x;
            }
        }
    }
    x
}

/// Neighbours on the grid are one term between them.
fn join_neighbours(terms: &[FosterTerm]) -> Vec<FosterTerm> {
    let near = 10f64.powf(1.5 / PER_DECADE);
    let mut joined: Vec<FosterTerm> = Vec::new();
    let mut end = 0.0;
    for term in terms {
        match joined.last_mut() {
            Some(last) if term.time_constant < end * near => *last = both(last, term),
            _ => joined.push(*term),
        }
        end = term.time_constant;
    }
    joined
}

fn join_closest(terms: &mut Vec<FosterTerm>) {
    // What joining two terms changes goes with the square of their distance, and counts against what the impedance is
    // by then.
    let mut below = 0.0;
    let mut least = (f64::INFINITY, 0);
    for k in 0..terms.len().saturating_sub(1) {
        let (a, b) = (&terms[k], &terms[k + 1]);
        let both = a.resistance + b.resistance;
        let apart = (b.time_constant / a.time_constant).ln();
        let cost = apart * apart * a.resistance * b.resistance / both / (below + both);
        if cost < least.0 {
            least = (cost, k);
        }
        below += a.resistance;
    }
    let k = least.1;
    terms[k] = both(&terms[k], &terms[k + 1]);
    terms.remove(k + 1);
}

fn both(a: &FosterTerm, b: &FosterTerm) -> FosterTerm {
    let resistance = a.resistance + b.resistance;
    let mean = (a.resistance * a.time_constant.ln() + b.resistance * b.time_constant.ln()) / resistance;
    FosterTerm { resistance, time_constant: mean.exp() }
}

/// Moves the time constants, one after the other, while that lessens the error.
fn refine(points: &[(f64, f64)], terms: &mut Vec<FosterTerm>) {
    let mut best = Chain::new(points, terms.iter().map(|t| t.time_constant));
    let mut least = best.error(points.len());
    for pass in 0..PASSES {
        let reach = 10f64.powf(0.5 / PER_DECADE / f64::powi(1.6, pass as i32));
        for k in 0..best.terms.len() {
            for factor in [reach, 1.0 / reach] {
                let taus = best.terms.iter().map(|t| t.time_constant);
                let mut tried: Vec<_> = taus.zip(best.columns.iter().cloned()).collect();
                let Some(moved) = tried.get_mut(k) else { continue };
                moved.0 *= factor;
                moved.1 = column(points, moved.0);
                tried.sort_by(|a, b| a.0.total_cmp(&b.0));
                let candidate = Chain::of(tried, points.len());
                let new = candidate.error(points.len());
                if new < least {
                    (best, least) = (candidate, new);
                }
            }
        }
    }
    *terms = best.terms;
}
