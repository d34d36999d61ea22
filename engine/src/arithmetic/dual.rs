//! A value and its partial derivatives (forward mode): the only place where derivatives are taken.

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::lane::Lane;
use super::scalar::Scalar;

/// A value with its derivatives with respect to `P` independent variables.
#[derive(Clone, Copy, Debug)]
pub struct Dual<L, const P: usize> {
    /// The value.
    pub v: L,
    /// The partial derivatives.
    pub d: [L; P],
}

impl<L: Lane, const P: usize> Dual<L, P> {
    /// The independent variable number `k`.
    #[inline(always)]
    pub fn variable(x: L, k: usize) -> Self {
        let mut d = [L::splat(0.0); P];
        d[k] = L::splat(1.0);
        Self { v: x, d }
    }

    /// f(x) from the value and the derivative of f there.
    #[inline(always)]
    fn chain(self, value: L, slope: L) -> Self {
        Self { v: value, d: self.d.map(|d| d * slope) }
    }

    #[inline(always)]
    fn zip(self, other: Self, value: L, f: impl Fn(L, L) -> L) -> Self {
        Self { v: value, d: std::array::from_fn(|k| f(self.d[k], other.d[k])) }
    }
}

impl<L: Lane, const P: usize> Add for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn add(self, o: Self) -> Self {
        self.zip(o, self.v + o.v, |a, b| a + b)
    }
}
impl<L: Lane, const P: usize> Sub for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, o: Self) -> Self {
        self.zip(o, self.v - o.v, |a, b| a - b)
    }
}
impl<L: Lane, const P: usize> Mul for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    #[expect(clippy::suspicious_arithmetic_impl, reason = "the product rule adds")]
    fn mul(self, o: Self) -> Self {
        self.zip(o, self.v * o.v, |a, b| a * o.v + b * self.v)
    }
}
impl<L: Lane, const P: usize> Div for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn div(self, o: Self) -> Self {
        let inverse = L::splat(1.0) / o.v;
        let value = self.v * inverse;
        self.zip(o, value, |a, b| (a - b * value) * inverse)
    }
}
impl<L: Lane, const P: usize> Neg for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self { v: -self.v, d: self.d.map(|d| -d) }
    }
}
impl<L: Lane, const P: usize> Add<L> for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn add(self, o: L) -> Self {
        Self { v: self.v + o, d: self.d }
    }
}
impl<L: Lane, const P: usize> Sub<L> for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, o: L) -> Self {
        Self { v: self.v - o, d: self.d }
    }
}
impl<L: Lane, const P: usize> Mul<L> for Dual<L, P> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, o: L) -> Self {
        self.chain(self.v * o, o)
    }
}

impl<L: Lane, const P: usize> Scalar<L> for Dual<L, P> {
    #[inline(always)]
    fn constant(x: L) -> Self {
        Self { v: x, d: [L::splat(0.0); P] }
    }
    #[inline(always)]
    fn value(self) -> L {
        self.v
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        let root = self.v.sqrt();
        self.chain(root, L::splat(0.5) / root)
    }
    #[inline(always)]
    fn exp(self) -> Self {
        let e = self.v.exp();
        self.chain(e, e)
    }
    #[inline(always)]
    fn ln(self) -> Self {
        self.chain(self.v.ln(), L::splat(1.0) / self.v)
    }
    #[inline(always)]
    fn recip(self) -> Self {
        let inverse = L::splat(1.0) / self.v;
        self.chain(inverse, -(inverse * inverse))
    }
    #[inline(always)]
    fn mapped(self, value: L, slope: L) -> Self {
        self.chain(value, slope)
    }
    #[inline(always)]
    fn joined(self, y: Self, value: L, [by_x, by_y]: [L; 2]) -> Self {
        self.zip(y, value, |a, b| a * by_x + b * by_y)
    }
    #[inline(always)]
    fn select(mask: L::Mask, yes: Self, no: Self) -> Self {
        yes.zip(no, L::select(mask, yes.v, no.v), |a, b| L::select(mask, a, b))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn f<S: Scalar<f64>>(x: S, y: S) -> S {
        (x * y + 2.0).ln() / (x.sqrt() + y.exp()) - y.recip() * 3.0 + x.pow(1.7)
    }

    /// Against central differences, step 1e-6: error of the difference about 1e-9.
    #[test]
    fn derivatives_equal_central_differences() {
        let (x, y, h) = (1.3, 0.7, 1e-6);
        let z = f(Dual::<f64, 2>::variable(x, 0), Dual::variable(y, 1));
        assert_eq!(z.v, f(x, y));
        assert!((z.d[0] - (f(x + h, y) - f(x - h, y)) / (2.0 * h)).abs() < 1e-8);
        assert!((z.d[1] - (f(x, y + h) - f(x, y - h)) / (2.0 * h)).abs() < 1e-8);
    }
}
