//! Shapes that stay smooth where a textbook law has a corner or overflows.

use super::lane::Lane;
use super::scalar::Scalar;

/// eˣ up to `knee`, continued linearly above it: value and slope are continuous and nothing overflows.
#[inline(always)]
pub fn exp_then_linear<L: Lane, S: Scalar<L>>(x: S, knee: L) -> S {
    let e = x.at_most(knee).exp();
    let excess = S::select(x.value().gt(knee), x - knee, S::constant(L::splat(0.0)));
    e + excess * knee.exp()
}

/// ln(1 + eˣ) without overflow: goes to x for large x and to eˣ for very negative x.
#[inline(always)]
pub fn softplus<L: Lane, S: Scalar<L>>(x: S) -> S {
    let zero = L::splat(0.0);
    let positive = x.value().gt(zero);
    // −|x|, written by branch so that the derivative is the branch's own.
    let minus = S::select(positive, -x, x);
    let head = S::select(positive, x, S::constant(zero));
    // ln(1 + e) with the rounding of 1 + e given back, so that the far tail keeps its digits (Kahan's trick).
    let e = minus.exp();
    let w = e + L::splat(1.0);
    head + w.ln() + (e - (w - L::splat(1.0))) * (L::splat(1.0) / w.value())
}

/// (x + √(x² + 4ε²))/2: a smooth max(x, 0), equal to ε at x = 0.
#[inline(always)]
pub fn smooth_positive<L: Lane, S: Scalar<L>>(x: S, epsilon: L) -> S {
    (x + (x.square() + L::splat(4.0) * epsilon * epsilon).sqrt()) * L::splat(0.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arithmetic::dual::Dual;

    #[test]
    fn the_linear_continuation_joins_with_its_slope() {
        let at = |x: f64| exp_then_linear(Dual::<f64, 1>::variable(x, 0), 20.0);
        assert!((at(20.0 - 1e-9).d[0] / at(20.0 + 1e-9).d[0] - 1.0).abs() < 1e-8);
        assert_eq!(at(1.0).v, Lane::exp(1.0));
        assert!((at(900.0).v - 20f64.exp() * 881.0).abs() < 1e-3);
    }

    #[test]
    fn softplus_has_its_two_limits() {
        let at = |x: f64| softplus(Dual::<f64, 1>::variable(x, 0));
        assert_eq!(at(800.0).v, 800.0);
        assert_eq!(at(800.0).d[0], 1.0);
        assert!((at(-30.0).v / (-30f64).exp() - 1.0).abs() < 1e-3);
        assert!((at(0.0).v - 2f64.ln()).abs() < 1e-15);
        assert!((at(0.0).d[0] - 0.5).abs() < 1e-15);
    }
}
