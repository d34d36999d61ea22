//! The step of a trust region: the minimum of ‖A·q − b‖ over ‖q‖ ≤ Δ (Moré, "The Levenberg–Marquardt algorithm:
//! implementation and theory", Lecture Notes in Mathematics 630 (1978) 105, sections 3 to 5).

use nalgebra::{DMatrix, DVector, PermutationSequence};

/// Part of Δ by which the length of a step may miss it.
const MISS: f64 = 0.1;
/// Tries of the multiplier λ; two or three are usual.
const TRIES: usize = 10;

/// A·P = Q·R with the columns in the order of a rank-revealing factorisation, and Qᵀb.
pub(super) struct Factors {
    r: DMatrix<f64>,
    b: DVector<f64>,
    order: PermutationSequence<nalgebra::Dyn>,
    /// Leading columns that are independent.
    rank: usize,
}

/// A step, the multiplier that made it, and its length ‖q‖.
pub(super) struct Step {
    pub q: DVector<f64>,
    pub lambda: f64,
    pub length: f64,
}

impl Factors {
    /// Factorises A, which has at least as many rows as columns.
    pub fn new(a: DMatrix<f64>, mut b: DVector<f64>) -> Self {
        let n = a.ncols();
        let factors = a.col_piv_qr();
        factors.q_tr_mul(&mut b);
        let order = factors.p().clone();
        let r = factors.unpack_r();
        let largest = r.diagonal().amax();
        let none = n as f64 * f64::EPSILON * largest;
        let rank = (0..n).find(|&k| r[(k, k)].abs() <= none).unwrap_or(n);
        Self { b: b.rows(0, n).into_owned(), r, order, rank }
    }

    /// ‖A·q‖.
    pub fn image(&self, q: &DVector<f64>) -> f64 {
        let mut q = q.clone();
        self.order.permute_rows(&mut q);
        (&self.r * q).norm()
    }

    /// The step for Δ, from the multiplier of the step before; `None` where numbers fail.
    pub fn step(&self, delta: f64, before: f64) -> Option<Step> {
        let (q, lambda) = self.bounded(delta, before)?;
        let length = q.norm();
        let mut out = Step { q, lambda, length };
        self.order.inv_permute_rows(&mut out.q);
        length.is_finite().then_some(out)
    }

    /// The undamped step, as short as the independent columns make it.
    fn full(&self) -> Option<DVector<f64>> {
        let k = self.rank;
        let mut q = DVector::zeros(self.b.len());
        let leading = self.r.view((0, 0), (k, k)).solve_upper_triangular(&self.b.rows(0, k))?;
        q.rows_mut(0, k).copy_from(&leading);
        Some(q)
    }

    /// R and Qᵀb of the rows of A with √λ·I below.
    fn damped(&self, lambda: f64) -> (DMatrix<f64>, DVector<f64>) {
        let n = self.b.len();
        let mut rows = DMatrix::zeros(2 * n, n);
        rows.rows_mut(0, n).copy_from(&self.r);
        rows.rows_mut(n, n).fill_diagonal(lambda.sqrt());
        let mut right = DVector::zeros(2 * n);
        right.rows_mut(0, n).copy_from(&self.b);
        let factors = rows.qr();
        factors.q_tr_mul(&mut right);
        (factors.unpack_r(), right.rows(0, n).into_owned())
    }

    fn bounded(&self, delta: f64, before: f64) -> Option<(DVector<f64>, f64)> {
        let mut q = self.full()?;
        let mut excess = q.norm() - delta;
        if excess <= MISS * delta {
            return Some((q, 0.0));
        }
        // Newton's correction of λ for φ(λ) = ‖q(λ)‖ − Δ = 0, by way of 1/‖q‖ (section 5).
        let correction = |r: &DMatrix<f64>, q: &DVector<f64>, excess: f64| {
            let slope = r.tr_solve_upper_triangular(&(q / q.norm()))?.norm_squared();
            Some(excess / delta / slope)
        };
        let mut low = if self.rank == q.len() { correction(&self.r, &q, excess)? } else { 0.0 };
        let mut high = self.r.tr_mul(&self.b).norm() / delta;
        if high == 0.0 {
            high = f64::MIN_POSITIVE / delta.min(0.1);
        }
        let mut lambda = before.max(low).min(high);
        if lambda == 0.0 {
            lambda = high * delta / q.norm();
        }
        for tried in 1..=TRIES {
            if lambda == 0.0 {
                lambda = f64::MIN_POSITIVE.max(1e-3 * high);
            }
            let (r, b) = self.damped(lambda);
            q = r.solve_upper_triangular(&b)?;
            let last = excess;
            excess = q.norm() - delta;
            let near = excess.abs() <= MISS * delta;
            if near || (low == 0.0 && excess <= last && last < 0.0) || tried == TRIES {
                break;
            }
            let by = correction(&r, &q, excess)?;
            if excess > 0.0 {
                low = low.max(lambda);
            } else {
                high = high.min(lambda);
            }
            lambda = low.max(lambda + by);
        }
        Some((q, lambda))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> (DMatrix<f64>, DVector<f64>) {
        let a =
            DMatrix::from_row_slice(4, 3, &[1.0, 2.0, 0.0, 0.5, -1.0, 3.0, 2.0, 0.1, 0.2, -1.0, 0.7, 4.0]);
        (a, DVector::from_row_slice(&[1.0, -2.0, 0.5, 3.0]))
    }

    /// Without a bound in the way: the normal equations hold. With one: (AᵀA + λ)·q = Aᵀb and ‖q‖ = Δ within a tenth.
    #[test]
    fn a_step_satisfies_the_conditions_of_its_minimum() {
        let (a, b) = example();
        let factors = Factors::new(a.clone(), b.clone());
        for delta in [10.0, 0.3, 1e-3] {
            let step = factors.step(delta, 0.0).unwrap();
            let left = a.tr_mul(&(&a * &step.q)) + &step.q * step.lambda;
            assert!((left - a.tr_mul(&b)).norm() < 1e-12, "delta {delta}");
            assert!(step.length <= 1.1 * delta && (step.lambda == 0.0 || step.length >= 0.9 * delta));
            assert!((factors.image(&step.q) - (&a * &step.q).norm()).abs() < 1e-12);
        }
    }

    /// Columns that depend on one another leave a step that still solves the normal equations.
    #[test]
    fn dependent_columns_take_no_harm() {
        let (mut a, b) = example();
        let twice = a.column(0) * 2.0;
        a.set_column(2, &twice);
        let factors = Factors::new(a.clone(), b.clone());
        for delta in [100.0, 0.1] {
            let step = factors.step(delta, 0.0).unwrap();
            let left = a.tr_mul(&(&a * &step.q)) + &step.q * step.lambda;
            assert!((left - a.tr_mul(&b)).norm() < 1e-9, "delta {delta}");
        }
    }
}
