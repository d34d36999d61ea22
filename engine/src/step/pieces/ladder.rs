//! Propagators of z' = F·z over steps of base/2ᵏ, and the integrals of quadratic forms along them.
//!
//! From a step so short that few terms of the series suffice, by doubling (scaling and squaring: Moler & Van Loan 2003,
//! SIAM Rev. 45, 3). Kept is Ψ = exp(F·h) − 1, doubled as 2Ψ + Ψ², so that slow modes keep their digits beside fast
//! ones. ∫ exp(Fᵀs)·P·exp(Fs) ds is doubled beside it (Van Loan 1978, IEEE Trans. Autom. Control 23, 395).

use nalgebra::DMatrix;

/// The finest step is base / 2^FINEST.
pub(super) const FINEST: u32 = 30;
/// Size of F·h at which the series begins.
const SMALL: f64 = 0.05;
/// Terms of the series: SMALL^10/10! is below rounding.
const TERMS: u32 = 10;

/// Ψ of each step length, the longest first.
pub(super) fn propagators(f: &DMatrix<f64>, base: f64) -> Vec<DMatrix<f64>> {
    let (mut psi, extra) = start(f, base);
    for _ in 0..extra {
        psi = doubled(&psi);
    }
    let mut all = vec![psi];
    for _ in 0..FINEST {
        all.push(doubled(&all[all.len() - 1]));
    }
    all.reverse();
    all
}

/// ∫ exp(Fᵀs)·P·exp(Fs) ds over the finest and over the longest step.
pub(super) fn gramians(f: &DMatrix<f64>, base: f64, p: &DMatrix<f64>) -> [DMatrix<f64>; 2] {
    let (mut psi, extra) = start(f, base);
    let h = shortest(base, extra);
    let mut term = p * h;
    let mut q = term.clone();
    for k in 1..TERMS {
        term = (f.tr_mul(&term) + &term * f) * (h / f64::from(k + 1));
        q += &term;
    }
    let mut finest = q.clone();
    for k in 0..extra + FINEST {
        if k == extra {
            finest.copy_from(&q);
        }
        let right = &q * &psi;
        q = &q * 2.0 + right.transpose() + psi.tr_mul(&right) + &right;
        psi = doubled(&psi);
    }
    [finest, q]
}

fn shortest(base: f64, extra: u32) -> f64 {
    base * 0.5f64.powi((FINEST + extra) as i32)
}

/// Ψ of a step short enough for the series, and how many doublings lead from it to the finest step.
fn start(f: &DMatrix<f64>, base: f64) -> (DMatrix<f64>, u32) {
    let size = f.row_iter().map(|r| r.iter().map(|x| x.abs()).sum::<f64>()).fold(0.0, f64::max);
    let mut extra = 0;
    while extra < 200 && size * shortest(base, extra) > SMALL {
        extra += 1;
    }
    let h = shortest(base, extra);
    let mut term = f * h;
    let mut psi = term.clone();
    for k in 2..=TERMS {
        term = &term * f * (h / f64::from(k));
        psi += &term;
    }
    (psi, extra)
}

fn doubled(psi: &DMatrix<f64>) -> DMatrix<f64> {
    psi * 2.0 + psi * psi
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stiff decay beside a slow one, and an oscillation: e^{Ft} in closed form (elementary).
    #[test]
    fn propagators_and_integrals_in_closed_form() {
        let (fast, slow, w, base): (f64, f64, f64, f64) = (-1e12, -1e2, 1e6, 1e-6);
        let mut f = DMatrix::zeros(4, 4);
        f[(0, 0)] = fast;
        f[(1, 1)] = slow;
        f[(2, 3)] = w;
        f[(3, 2)] = -w;
        let all = propagators(&f, base);
        assert_eq!(all.len(), FINEST as usize + 1);
        for (k, psi) in all.iter().enumerate() {
            let h = base * 0.5f64.powi(k as i32);
            assert!((psi[(0, 0)] - (fast * h).exp_m1()).abs() < 1e-13);
            assert!((psi[(1, 1)] / (slow * h).exp_m1() - 1.0).abs() < 1e-13, "slow mode at {h}");
            assert!((psi[(2, 3)] - (w * h).sin()).abs() < 1e-13);
        }
        let mut p = DMatrix::zeros(4, 4);
        p[(0, 0)] = 1.0;
        p[(1, 1)] = 1.0;
        p[(2, 2)] = 1.0;
        let [finest, whole] = gramians(&f, base, &p);
        let exact = |a: f64, h: f64| (2.0 * a * h).exp_m1() / (2.0 * a);
        for (q, h) in [(&finest, base * 0.5f64.powi(FINEST as i32)), (&whole, base)] {
            assert!((q[(0, 0)] / exact(fast, h) - 1.0).abs() < 1e-12);
            assert!((q[(1, 1)] / exact(slow, h) - 1.0).abs() < 1e-12);
            let cosine = 0.5 * h + (2.0 * w * h).sin() / (4.0 * w);
            assert!((q[(2, 2)] / cosine - 1.0).abs() < 1e-12);
        }
    }
}
