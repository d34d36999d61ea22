//! How well points determine parameters: the covariance of a linear fit, from the singular values of its Jacobian
//! (Press et al., Numerical Recipes, 3rd ed., 15.4; from memory).

use joulestep_engine::arithmetic::matrix;
use nalgebra::{DMatrix, DVector};

use super::least_squares::{Problem, jacobian};

/// A singular value smaller than this part of the largest (of the Jacobian with columns of length one) counts as zero:
/// the differences that make the Jacobian are no better.
const SINGULAR: f64 = 1e-7;

/// Uncertainty of the coordinates of a least-squares fit; all lists have one entry per coordinate (column).
#[derive(Clone, Debug, PartialEq)]
pub struct Certainty {
    /// Standard error of each coordinate for residuals of standard deviation 1; infinite where it is not determined.
    pub error: Vec<f64>,
    /// For each coordinate the one that it is most strongly correlated with, and the correlation.
    pub partner: Vec<Option<(usize, f64)>>,
    /// Correlation coefficients; 0 where a coordinate is not determined.
    pub correlation: Vec<Vec<f64>>,
}

/// Uncertainty from a Jacobian of m rows (residuals, each scaled to a standard deviation of 1) and n columns
/// (coordinates, in whatever unit: errors are in the same). Where no covariance exists (no rows, a column of zeros, an
/// entry that is not finite, fewer rows than columns) the errors of the coordinates concerned are infinite; there is no
/// error to return.
pub fn certainty(jacobian: &DMatrix<f64>) -> Certainty {
    let n = jacobian.ncols();
    let lengths: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    let longest = lengths.iter().copied().fold(0.0, f64::max);
    let felt: Vec<usize> =
        (0..n).filter(|&k| lengths[k] > 1e-9 * longest && lengths[k].is_finite()).collect();
    let mut error = vec![f64::INFINITY; n];
    let mut partner = vec![None; n];
    let mut correlation = vec![vec![0.0; n]; n];
    // A singular value decomposition of what is not finite would not end.
    if felt.is_empty() || jacobian.nrows() == 0 || jacobian.iter().any(|x| !x.is_finite()) {
        return Certainty { error, partner, correlation };
    }
    let scaled =
        DMatrix::from_fn(jacobian.nrows(), felt.len(), |r, c| jacobian[(r, felt[c])] / lengths[felt[c]]);
    let svd = matrix::singular(scaled, false, true);
    let Some(vt) = svd.v_t else { return Certainty { error, partner, correlation } };
    let largest = svd.singular_values.max();
    let singular = |k: usize| k >= svd.singular_values.len() || svd.singular_values[k] < SINGULAR * largest;
    let mut covariance = DMatrix::<f64>::zeros(felt.len(), felt.len());
    let mut lost = DVector::<f64>::zeros(felt.len());
    for k in 0..vt.nrows() {
        let row = vt.row(k).transpose();
        if singular(k) {
            lost += row.component_mul(&row);
        } else {
            covariance += &row * row.transpose() / svd.singular_values[k].powi(2);
        }
    }
    // Fewer residuals than coordinates: what no singular vector spans is lost.
    if vt.nrows() < felt.len() {
        let spanned: DVector<f64> =
            DVector::from_fn(felt.len(), |j, _| vt.column(j).iter().map(|x| x * x).sum());
        lost += spanned.map(|s| (1.0 - s).max(0.0));
    }
    for (j, &k) in felt.iter().enumerate() {
        error[k] = if lost[j] > 1e-6 { f64::INFINITY } else { covariance[(j, j)].sqrt() / lengths[k] };
        let with = |i: &usize| {
            let size = (covariance[(*i, *i)] * covariance[(j, j)]).sqrt();
            if size > 0.0 { covariance[(*i, j)] / size } else { 0.0 }
        };
        for i in (0..felt.len()).filter(|&i| i != j && lost[i] <= 1e-6 && lost[j] <= 1e-6) {
            correlation[k][felt[i]] = with(&i);
        }
        let best = (0..felt.len()).filter(|i| *i != j).max_by(|a, b| with(a).abs().total_cmp(&with(b).abs()));
        partner[k] = best.map(|i| (felt[i], with(&i)));
    }
    Certainty { error, partner, correlation }
}

/// Uncertainty of a fit at its minimum, from the differences of its residuals; `factors`: the standard deviation of each
/// residual.
pub fn certainty_of(problem: &mut dyn Problem, u: &[f64], factors: &[f64]) -> Certainty {
    let mut slopes = jacobian(problem, u);
    slopes.row_iter_mut().zip(factors).for_each(|(mut row, factor)| row /= *factor);
    certainty(&slopes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight line through x = 0, 1, 2, 3: variances Σx²/Δ and n/Δ with Δ = nΣx² − (Σx)² = 20, covariance −Σx/Δ
    /// (Press et al. 15.2).
    #[test]
    fn a_straight_line_has_its_textbook_errors() {
        let j = DMatrix::from_fn(4, 2, |r, c| if c == 0 { 1.0 } else { r as f64 });
        let c = certainty(&j);
        assert!((c.error[0] - (14.0f64 / 20.0).sqrt()).abs() < 1e-12);
        assert!((c.error[1] - (4.0f64 / 20.0).sqrt()).abs() < 1e-12);
        let (with, r) = c.partner[0].unwrap();
        assert!(with == 1 && (r + 6.0 / (14.0f64 * 4.0).sqrt()).abs() < 1e-12);
        assert!(c.correlation == [[0.0, r], [r, 0.0]]);
    }

    #[test]
    fn what_points_do_not_tell_has_no_error_bound() {
        // The second column is twice the first, the third is nothing.
        let j = DMatrix::from_fn(5, 4, |r, c| {
            [1.0, 2.0, 0.0, 0.3][c] * if c == 3 { (r * r) as f64 } else { (r + 1) as f64 }
        });
        let c = certainty(&j);
        assert!(c.error[0].is_infinite() && c.error[1].is_infinite() && c.error[2].is_infinite());
        assert!(c.error[3].is_finite());
    }
}
