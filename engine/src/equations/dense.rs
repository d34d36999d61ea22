//! Dense LU with partial pivoting of a general library: the operating point, the cross-check of the replay, and the
//! fallback when a static order degrades.

use nalgebra::{DMatrix, DVector};

use crate::arithmetic::lane::Lane;

/// Solves A·x = b lane by lane. `a` is row by row, n × n.
///
/// # Errors
/// The first column without a pivot when A is singular or not finite in some lane.
pub fn solve<L: Lane>(n: usize, a: &[L], b: &[L], x: &mut [L]) -> Result<(), usize> {
    solve_first(L::WIDTH, n, a, b, x)
}

/// The same in the first so many lanes only.
///
/// # Errors
/// As [`solve`], of those lanes.
pub fn solve_first<L: Lane>(lanes: usize, n: usize, a: &[L], b: &[L], x: &mut [L]) -> Result<(), usize> {
    solve_above(SINGULAR, lanes, n, a, b, x)
}

/// Pivots up to this are none, where rows have a largest entry of one.
const SINGULAR: f64 = 1e-15;

/// The same in all lanes with any pivot but zero, where Newton's iteration judges the solution: nodes that hang on the
/// rest by almost nothing have pivots of the size of rounding.
///
/// # Errors
/// As [`solve`].
pub fn solve_nearly<L: Lane>(n: usize, a: &[L], b: &[L], x: &mut [L]) -> Result<(), usize> {
    solve_above(0.0, L::WIDTH, n, a, b, x)
}

fn solve_above<L: Lane>(
    least: f64,
    lanes: usize,
    n: usize,
    a: &[L],
    b: &[L],
    x: &mut [L],
) -> Result<(), usize> {
    let mut scales = Vec::with_capacity(n);
    for lane in 0..lanes {
        // Rows are scaled to a largest entry of one: conductances and unit rows of sources differ by many decades.
        scales.clear();
        for (r, row) in a.chunks_exact(n.max(1)).take(n).enumerate() {
            let scale = row.iter().fold(0.0, |most: f64, entry| most.max(entry.lane(lane).abs()));
            if !(scale > 0.0 && scale.is_finite()) {
                return Err(r);
            }
            scales.push(scale);
        }
        let matrix = DMatrix::from_fn(n, n, |r, c| a[r * n + c].lane(lane) / scales[r]);
        let mut right = DVector::from_fn(n, |r, _| b[r].lane(lane) / scales[r]);
        let lu = matrix.lu();
        let pivot = |k: usize| lu.lu_internal()[(k, k)].abs();
        let worst = (0..n).min_by(|&i, &j| pivot(i).total_cmp(&pivot(j)));
        if let Some(k) = worst.filter(|&k| pivot(k).is_nan() || pivot(k) <= least) {
            return Err(k);
        }
        if !lu.solve_mut(&mut right) {
            return Err(worst.unwrap_or(0));
        }
        for k in 0..n {
            x[k].set_lane(lane, right[k]);
        }
    }
    Ok(())
}
