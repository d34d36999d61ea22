//! Integrals between two samples, from all samples there. Signals are straight lines between samples, as everywhere in
//! the program, so the integrals are exact: the trapezoidal rule, and Simpson's for products and squares.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::ops::Range;

use serde::Serialize;

use super::meta::Number;
use super::track::{PIECE, Track};
use crate::result::{ResultError, ResultFile};

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

/// What is gathered of one signal.
#[derive(Clone, Copy)]
struct Gathered {
    integral: Sum,
    square: Sum,
    /// Value and sample.
    smallest: (f64, usize),
    largest: (f64, usize),
}

/// The integral of a product of two straight lines from (a, b) to (x, y), over a length of 1.
fn product(a: f64, b: f64, x: f64, y: f64) -> f64 {
    (a * b + (a + x) * (b + y) + x * y) / 6.0
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

/// What lies between two samples.
#[derive(Serialize)]
pub(super) struct Between {
    begin: Number,
    end: Number,
    samples: usize,
    signals: Vec<Signal>,
    products: Vec<Number>,
}

/// Integrals of signals, of their squares and of products of two, with extremes. The range needs a sample.
pub(super) fn between(
    track: &Track,
    file: &ResultFile,
    signals: &[usize],
    pairs: &[(usize, usize)],
    range: Range<usize>,
) -> Result<Between, ResultError> {
    let start = Gathered {
        integral: Sum::default(),
        square: Sum::default(),
        smallest: (f64::NAN, range.start),
        largest: (f64::NAN, range.start),
    };
    let mut gathered = vec![start; signals.len()];
    let mut products = vec![Sum::default(); pairs.len()];
    let mut begin = range.start;
    while begin < range.end {
        // One sample of overlap: its interval belongs to the piece that ends there.
        let piece = begin..(begin + PIECE).min(range.end);
        let time = track.time(file, piece.clone())?;
        let steps: Vec<f64> = time.windows(2).map(|t| t[1] - t[0]).collect();
        let mut columns = BTreeMap::new();
        for signal in signals.iter().copied().chain(pairs.iter().flat_map(|&(a, b)| [a, b])) {
            if let Entry::Vacant(vacant) = columns.entry(signal) {
                vacant.insert(track.values(file, signal, piece.clone())?);
            }
        }
        for (signal, g) in signals.iter().zip(&mut gathered) {
            let values = &columns[signal];
            for (pair, h) in values.windows(2).zip(&steps) {
                g.integral.add(0.5 * h * (pair[0] + pair[1]));
                g.square.add(h * product(pair[0], pair[0], pair[1], pair[1]));
            }
            for (k, &x) in values.iter().enumerate() {
                if g.smallest.0.is_nan() || x < g.smallest.0 {
                    g.smallest = (x, begin + k);
                }
                if g.largest.0.is_nan() || x > g.largest.0 {
                    g.largest = (x, begin + k);
                }
            }
        }
        for ((a, b), sum) in pairs.iter().zip(&mut products) {
            let (a, b) = (&columns[a], &columns[b]);
            for ((a, b), h) in a.windows(2).zip(b.windows(2)).zip(&steps) {
                sum.add(h * product(a[0], b[0], a[1], b[1]));
            }
        }
        if piece.end == range.end {
            break;
        }
        begin = piece.end - 1;
    }
    let instant = |sample| track.instant(file, sample).map(Number);
    let signal = |g: Gathered| {
        Ok(Signal {
            integral: Number(g.integral.total()),
            square: Number(g.square.total()),
            min: Number(g.smallest.0),
            min_at: instant(g.smallest.1)?,
            max: Number(g.largest.0),
            max_at: instant(g.largest.1)?,
        })
    };
    Ok(Between {
        begin: instant(range.start)?,
        end: instant(range.end - 1)?,
        samples: range.len(),
        signals: gathered.into_iter().map(signal).collect::<Result<_, _>>()?,
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
