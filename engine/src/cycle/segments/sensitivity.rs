//! What is left at the end of a stretch of a small change at its beginning.

use nalgebra::{DMatrix, DVector};

/// Singular values of what two sweeps differ by below which, relative to the largest, nothing is read from them.
const READABLE: f64 = 1e-3;
/// Share of an end's changes that its row of the sensitivity may leave unexplained.
const EXPLAINED: f64 = 0.25;

/// The matrix that leads changes of all beginnings between two sweeps to those of the ends, by least squares in units of
/// `scale`.
pub(super) fn fitted(
    before: &[Vec<DVector<f64>>; 2],
    starts: &[DVector<f64>],
    ends: &[DVector<f64>],
    scale: &DVector<f64>,
) -> Option<DMatrix<f64>> {
    let changes = |now: &[DVector<f64>], then: &[DVector<f64>]| {
        let each: Vec<_> = now.iter().zip(then).map(|(a, b)| (a - b).component_div(scale)).collect();
        DMatrix::from_columns(&each)
    };
    let (begin, end) = (changes(starts, &before[0]), changes(ends, &before[1]));
    if !begin.iter().chain(&end).all(|x| x.is_finite()) {
        return None;
    }
    let singular = begin.clone().svd(true, true);
    let cut = READABLE * singular.singular_values.max();
    let inverse = singular.pseudo_inverse(cut).ok()?;
    let mut map = &end * inverse;
    let n = scale.len();
    // What is not so explained is forgotten within a segment, and follows whatever the control does at a border.
    let missed = &end - &map * &begin;
    for row in 0..n {
        // Written so that what is not a number is not explained.
        let explained = missed.row(row).norm() <= EXPLAINED * end.row(row).norm();
        if !explained {
            map.row_mut(row).fill(0.0);
        }
    }
    let map = DMatrix::from_fn(n, n, |i, j| map[(i, j)] * scale[i] / scale[j]);
    map.iter().all(|x| x.is_finite()).then_some(map)
}
