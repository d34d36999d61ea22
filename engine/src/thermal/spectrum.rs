//! The symmetric eigenproblem of a heat network (set-up, `f64`): G·v = λ·C·v.
//!
//! Time constants of one network span many decades (a die against a heatsink: 10⁻⁶ s to 10³ s), and the usual
//! methods give each eigenvalue an error relative to the *largest*: slow modes, which hold most of the resistance,
//! would lose digits. One-sided Jacobi on a Cholesky factor keeps each eigenvalue's own digits (Demmel & Veselić,
//! SIAM J. Matrix Anal. Appl. 13 (1992) 1204; Veselić & Hari, Numer. Math. 56 (1989) 627). One inverse iteration
//! per mode then gives small nodes their digits in slow modes too. Cost grows as n⁴/3: meant for compact networks,
//! up to a few hundred nodes.

use nalgebra::{DMatrix, DVector};

use super::error::ThermalError;

const SWEEPS: usize = 60;

/// λ (1/s), fastest first, and vectors v (columns) with vᵀ·C·v = 1. `couplings`: conductances between nodes (W/K,
/// symmetric, diagonal ignored); `drains`: conductance from each node to fixed temperatures; `capacitances`: J/K,
/// all positive.
pub(super) fn modes(
    couplings: &DMatrix<f64>,
    drains: &[f64],
    capacitances: &[f64],
) -> Result<(Vec<f64>, DMatrix<f64>), ThermalError> {
    let n = drains.len();
    // Fastest nodes first: the factor is then graded as the method likes it.
    let rate = |k: usize| (couplings.row(k).sum() - couplings[(k, k)] + drains[k]) / capacitances[k];
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| rate(*b).total_cmp(&rate(*a)));

    let scale: Vec<f64> = order.iter().map(|k| capacitances[*k].sqrt()).collect();
    let mut x = factor(couplings, drains, &order);
    for (mut row, scale) in x.row_iter_mut().zip(&scale) {
        row /= *scale;
    }
    let mut columns: Vec<DVector<f64>> = x.column_iter().map(|c| c.into_owned()).collect();
    orthogonalise(&mut columns)?;
    let mut pairs: Vec<(f64, &DVector<f64>)> = columns.iter().map(|c| (c.norm_squared(), c)).collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));

    let mut vectors = DMatrix::zeros(n, n);
    for (mode, (rate, column)) in pairs.iter().enumerate() {
        // An entry of a column has the column's round-off; divided by a small capacitance it would be noise in a
        // slow mode. (G + λC)⁻¹·C damps what belongs to faster modes and at most doubles what belongs to slower.
        let sum: Vec<f64> = (0..n).map(|k| drains[k] + rate * capacitances[k]).collect();
        let lower = factor(couplings, &sum, &order);
        let mut v = DVector::from_fn(n, |k, _| column[k] * scale[k]);
        if !(lower.solve_lower_triangular_mut(&mut v) && lower.tr_solve_lower_triangular_mut(&mut v)) {
            return Err(ThermalError::NotConverged { nodes: n, sweeps: 0 });
        }
        let norm = (0..n).map(|k| (v[k] * scale[k]).powi(2)).sum::<f64>().sqrt();
        for (k, node) in order.iter().enumerate() {
            vectors[(*node, mode)] = v[k] / norm;
        }
    }
    Ok((pairs.iter().map(|c| c.0).collect(), vectors))
}

/// Lower triangular X with X·Xᵀ = G, rows and columns in the given order. Cholesky by elimination of node after
/// node on the conductances themselves: the diagonal is never formed, so nothing cancels.
fn factor(couplings: &DMatrix<f64>, drains: &[f64], order: &[usize]) -> DMatrix<f64> {
    let n = order.len();
    let mut g = DMatrix::from_fn(n, n, |i, j| couplings[(order[i], order[j])]);
    let mut drain: Vec<f64> = order.iter().map(|k| drains[*k]).collect();
    let mut x = DMatrix::zeros(n, n);
    for i in 0..n {
        let pivot = (i + 1..n).map(|j| g[(j, i)]).sum::<f64>() + drain[i];
        let root = pivot.sqrt();
        x[(i, i)] = root;
        for j in i + 1..n {
            let here = g[(j, i)];
            if here == 0.0 {
                continue;
            }
            x[(j, i)] = -here / root;
            drain[j] += here / pivot * drain[i];
            // Only the lower half is used.
            for k in j + 1..n {
                g[(k, j)] += here * (g[(k, i)] / pivot);
            }
        }
    }
    x
}

/// Rotates pairs of columns until all are orthogonal.
fn orthogonalise(columns: &mut [DVector<f64>]) -> Result<(), ThermalError> {
    let n = columns.len();
    let small = f64::EPSILON * n.max(4) as f64;
    for _ in 0..SWEEPS {
        let mut rotated = false;
        for p in 0..n {
            for q in p + 1..n {
                let (head, tail) = columns.split_at_mut(q);
                let (x, y) = (&mut head[p], &mut tail[0]);
                let (xx, yy, xy) = (x.norm_squared(), y.norm_squared(), x.dot(y));
                if xy.abs() <= small * xx.sqrt() * yy.sqrt() {
                    continue;
                }
                rotated = true;
                let zeta = (yy - xx) / (2.0 * xy);
                let t = zeta.signum() / (zeta.abs() + zeta.hypot(1.0));
                let c = 1.0 / t.hypot(1.0);
                let s = c * t;
                for (a, b) in x.iter_mut().zip(y.iter_mut()) {
                    (*a, *b) = (c * *a - s * *b, s * *a + c * *b);
                }
            }
        }
        if !rotated {
            return Ok(());
        }
    }
    Err(ThermalError::NotConverged { nodes: n, sweeps: SWEEPS })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// nalgebra's eigenvalues on a problem of moderate spread, and residuals on one of twelve decades.
    #[test]
    fn modes_solve_the_eigenproblem() {
        for spread in [1.0, 1e3] {
            let n = 7;
            let c: Vec<f64> = (0..n).map(|k| 1e-3 * f64::powf(spread, k as f64 / 1.5)).collect();
            let mut g = DMatrix::zeros(n, n);
            for k in 1..n {
                for j in [k - 1, k / 2] {
                    g[(k, j)] += 2.0 + k as f64;
                    g[(j, k)] = g[(k, j)];
                }
            }
            let mut drains = vec![0.0; n];
            drains[n - 1] = 0.3;
            let (rates, v) = modes(&g, &drains, &c).unwrap();
            let full = DMatrix::from_fn(n, n, |i, j| {
                if i == j { g.row(i).sum() - g[(i, i)] + drains[i] } else { -g[(i, j)] }
            });
            let scaled = DMatrix::from_fn(n, n, |i, j| full[(i, j)] / (c[i] * c[j]).sqrt());
            let mut reference: Vec<f64> =
                nalgebra::SymmetricEigen::new(scaled.clone()).eigenvalues.iter().copied().collect();
            reference.sort_by(|a, b| b.total_cmp(a));
            for k in 0..n {
                assert!((rates[k] - reference[k]).abs() < 1e-13 * rates[0], "{rates:?} {reference:?}");
            }
            // The inverse sees the slow modes first: λ there to a relative 1e-12.
            let mut inverse: Vec<f64> = nalgebra::SymmetricEigen::new(scaled.cholesky().unwrap().inverse())
                .eigenvalues
                .iter()
                .copied()
                .collect();
            inverse.sort_by(f64::total_cmp);
            assert!(
                (rates[n - 1] * inverse[n - 1] - 1.0).abs() < 1e-12,
                "{spread}: {}",
                rates[n - 1] * inverse[n - 1] - 1.0
            );
            let gram = v.transpose() * DMatrix::from_diagonal(&DVector::from_vec(c)) * &v;
            assert!((gram - DMatrix::identity(n, n)).amax() < 1e-13);
        }
    }
}
