//! Integrals between two samples, from all samples there. Signals are straight lines between samples, or hold their
//! value where the file says so, so the integrals are exact: the trapezoidal rule, and Simpson's for products and squares.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::ops::Range;

use serde::Serialize;

use super::meta::Number;
use super::series::{CHUNK, Series, interpolate};
use crate::output::result::{ResultError, ResultFile};

/// Most samples in one request; the page adds up.
pub(super) const MOST: usize = 1 << 22;

/// A sum that keeps what rounding loses (Neumaier 1974).
#[derive(Clone, Copy, Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, x: f64) {
        let next = self.sum + x;
        self.lost += if self.sum.abs() >= x.abs() { (self.sum - next) + x } else { (x - next) + self.sum };
        self.sum = next;
    }

    fn total(self) -> f64 {
        // Sums that are not finite lose nothing.
        if self.lost.is_finite() { self.sum + self.lost } else { self.sum }
    }
}

/// Integrals and extremes of one signal so far.
#[derive(Clone, Copy)]
struct Sums {
    integral: Sum,
    square: Sum,
    /// Value and instant, s.
    smallest: (f64, f64),
    largest: (f64, f64),
}

/// The integral of a product of two straight lines from (a, b) to (x, y), over a length of 1.
fn product(a: f64, b: f64, x: f64, y: f64) -> f64 {
    (a * b + (a + x) * (b + y) + x * y) / 6.0
}

/// Values of a signal at the instants of a piece.
struct Column {
    values: Vec<f64>,
    holds: bool,
}

impl Column {
    /// From samples; where the piece begins or ends within an interval, its value there is that of the line.
    fn new(samples: &[f64], time: &[f64], held: Vec<f64>, holds: bool) -> Self {
        let mut values = held.clone();
        for (k, &t) in time.iter().enumerate().filter(|(k, t)| **t != samples[*k]) {
            // From behind the first sample, or from before the last.
            let (a, b) = if t > samples[k] { (k, k + 1) } else { (k.saturating_sub(1), k) };
            if b < held.len() {
                values[k] = interpolate((samples[a], held[a]), (samples[b], held[b]), t, holds);
            }
        }
        Self { values, holds }
    }

    /// Both ends of the line from each instant to the next.
    fn lines(&self) -> impl Iterator<Item = (f64, f64)> {
        self.values.windows(2).map(|v| (v[0], if self.holds { v[0] } else { v[1] }))
    }
}

#[derive(Serialize)]
struct Signal {
    integral: Number,
    square: Number,
    min: Number,
    min_at: Number,
    max: Number,
    max_at: Number,
}

/// Integrals between two instants.
#[derive(Serialize)]
pub(super) struct Integrals {
    begin: Number,
    end: Number,
    samples: usize,
    signals: Vec<Signal>,
    products: Vec<Number>,
}

/// Integrals of signals, of their squares and of products of two, with extremes, over the samples of the range and among
/// them from one instant to another (s). The range needs a sample.
pub(super) fn integrate(
    series: &Series,
    file: &ResultFile,
    signals: &[usize],
    pairs: &[(usize, usize)],
    range: Range<usize>,
    [from, to]: [f64; 2],
) -> Result<Integrals, ResultError> {
    let start = Sums {
        integral: Sum::default(),
        square: Sum::default(),
        smallest: (f64::NAN, f64::NAN),
        largest: (f64::NAN, f64::NAN),
    };
    let mut sums = vec![start; signals.len()];
    let mut products = vec![Sum::default(); pairs.len()];
    let mut ends = (f64::NAN, f64::NAN);
    let mut begin = range.start;
    while begin < range.end {
        // One sample of overlap: its interval belongs to the piece that ends there.
        let piece = begin..(begin + CHUNK).min(range.end);
        let samples = series.time(file, piece.clone())?;
        // Only the first and the last piece have an end within an interval.
        let time: Vec<f64> = samples.iter().map(|&t| t.clamp(from, to.max(from))).collect();
        let steps: Vec<f64> = time.windows(2).map(|t| t[1] - t[0]).collect();
        let mut columns = BTreeMap::new();
        for signal in signals.iter().copied().chain(pairs.iter().flat_map(|&(a, b)| [a, b])) {
            if let Entry::Vacant(vacant) = columns.entry(signal) {
                let held = series.values(file, signal, piece.clone())?;
                vacant.insert(Column::new(&samples, &time, held, series.holds(file, signal)));
            }
        }
        for (signal, g) in signals.iter().zip(&mut sums) {
            let column = &columns[signal];
            for ((a, b), h) in column.lines().zip(&steps) {
                g.integral.add(0.5 * h * (a + b));
                g.square.add(h * product(a, a, b, b));
            }
            for (&x, &t) in column.values.iter().zip(&time) {
                if g.smallest.0.is_nan() || x < g.smallest.0 {
                    g.smallest = (x, t);
                }
                if g.largest.0.is_nan() || x > g.largest.0 {
                    g.largest = (x, t);
                }
            }
        }
        for ((a, b), sum) in pairs.iter().zip(&mut products) {
            let (a, b) = (&columns[a], &columns[b]);
            for (((a, x), (b, y)), h) in a.lines().zip(b.lines()).zip(&steps) {
                sum.add(h * product(a, b, x, y));
            }
        }
        let (first, last) = (time.first().copied(), time.last().copied());
        ends = (if begin == range.start { first } else { None }.unwrap_or(ends.0), last.unwrap_or(ends.1));
        if piece.end == range.end {
            break;
        }
        begin = piece.end - 1;
    }
    let signal = |g: Sums| Signal {
        integral: Number(g.integral.total()),
        square: Number(g.square.total()),
        min: Number(g.smallest.0),
        min_at: Number(g.smallest.1),
        max: Number(g.largest.0),
        max_at: Number(g.largest.1),
    };
    Ok(Integrals {
        begin: Number(ends.0),
        end: Number(ends.1),
        samples: range.len(),
        signals: sums.into_iter().map(signal).collect(),
        products: products.into_iter().map(|sum| Number(sum.total())).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_keep_what_rounding_loses() {
        let mut sum = Sum::default();
        [1.0, 1e100, 1.0, -1e100].into_iter().for_each(|x| sum.add(x));
        assert_eq!(sum.total(), 2.0);
    }

    #[test]
    fn products_of_straight_lines_are_exact() {
        // ∫ t (1 - t) dt from 0 to 1 = 1/6, ∫ t² dt = 1/3.
        assert!((product(0.0, 1.0, 1.0, 0.0) - 1.0 / 6.0).abs() < 1e-16);
        assert!((product(0.0, 0.0, 1.0, 1.0) - 1.0 / 3.0).abs() < 1e-16);
    }
}
