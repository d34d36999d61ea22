//! Dense LU with partial pivoting of a general library: the operating point, the cross-check of the replay, and the
//! fallback when a static order degrades.

use nalgebra::{DMatrix, DVector};

use crate::arithmetic::lane::Lane;

/// Solves A·x = b lane by lane. `a` is row by row, n × n.
///
/// # Errors
/// The first column without a pivot when A is singular or not finite in some lane.
pub fn solve<L: Lane>(n: usize, a: &[L], b: &[L], x: &mut [L]) -> Result<(), usize> {
    for lane in 0..L::WIDTH {
        let matrix = DMatrix::from_fn(n, n, |r, c| a[r * n + c].lane(lane));
        let right = DVector::from_fn(n, |r, _| b[r].lane(lane));
        // Rows are scaled to a largest entry of one: conductances and unit rows of sources differ by many decades.
        let scale: Vec<f64> = (0..n).map(|r| matrix.row(r).amax()).collect();
        let usable = |s: &f64| *s > 0.0 && s.is_finite();
        if let Some(empty) = scale.iter().position(|s| !usable(s)) {
            return Err(empty);
        }
        let scaled = DMatrix::from_fn(n, n, |r, c| matrix[(r, c)] / scale[r]);
        let right = DVector::from_fn(n, |r, _| right[r] / scale[r]);
        let lu = scaled.lu();
        let upper = lu.u();
        let worst = (0..n).min_by(|&i, &j| upper[(i, i)].abs().total_cmp(&upper[(j, j)].abs()));
        let regular = |k: usize| upper[(k, k)].abs() > 1e-15;
        if let Some(k) = worst.filter(|&k| !regular(k)) {
            return Err(k);
        }
        let Some(solution) = lu.solve(&right) else { return Err(worst.unwrap_or(0)) };
        for k in 0..n {
            x[k].set_lane(lane, solution[k]);
        }
    }
    Ok(())
}
