//! The arithmetic a law may use.

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::lane::Lane;

/// A number a device law computes with: a lane, or a lane with its partial derivatives
/// ([`Dual`](super::dual::Dual)). Coefficients are plain lanes, hence the mixed operations.
pub trait Scalar<L: Lane>:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<L, Output = Self>
    + Sub<L, Output = Self>
    + Mul<L, Output = Self>
{
    /// A number without derivative.
    fn constant(x: L) -> Self;
    /// The value without its derivatives.
    fn value(self) -> L;
    /// Square root.
    fn sqrt(self) -> Self;
    /// Exponential.
    fn exp(self) -> Self;
    /// Natural logarithm.
    fn ln(self) -> Self;
    /// 1/x.
    fn recip(self) -> Self;
    /// f(x) from the value and the slope of f at x = `self.value()`: how a function of one variable that shares
    /// work between both (a depletion charge and its capacitance) joins the duals. Tests compare with differences.
    fn mapped(self, value: L, slope: L) -> Self;
    /// f(x, y) from its value and its two slopes at the values of x = `self` and y: the same for two variables (a
    /// channel current and its two conductances).
    fn joined(self, y: Self, value: L, slopes: [L; 2]) -> Self;
    /// `yes` where the mask holds, `no` elsewhere. Both sides are computed.
    fn select(mask: L::Mask, yes: Self, no: Self) -> Self;

    /// x².
    #[inline(always)]
    fn square(self) -> Self {
        self * self
    }
    /// xʸ with a constant exponent, x > 0.
    #[inline(always)]
    fn pow(self, y: L) -> Self {
        (self.ln() * y).exp()
    }
    /// The larger of the value and a bound; with its derivatives where both are equal.
    #[inline(always)]
    fn at_least(self, bound: L) -> Self {
        Self::select(self.value().ge(bound), self, Self::constant(bound))
    }
    /// The smaller of the value and a bound; with its derivatives where both are equal.
    #[inline(always)]
    fn at_most(self, bound: L) -> Self {
        Self::select(self.value().le(bound), self, Self::constant(bound))
    }
}

impl<L: Lane> Scalar<L> for L {
    #[inline(always)]
    fn constant(x: L) -> Self {
        x
    }
    #[inline(always)]
    fn value(self) -> L {
        self
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        Lane::sqrt(self)
    }
    #[inline(always)]
    fn exp(self) -> Self {
        Lane::exp(self)
    }
    #[inline(always)]
    fn ln(self) -> Self {
        Lane::ln(self)
    }
    #[inline(always)]
    fn recip(self) -> Self {
        L::splat(1.0) / self
    }
    #[inline(always)]
    fn mapped(self, value: L, _slope: L) -> Self {
        value
    }
    #[inline(always)]
    fn joined(self, _y: Self, value: L, _slopes: [L; 2]) -> Self {
        value
    }
    #[inline(always)]
    fn select(mask: L::Mask, yes: Self, no: Self) -> Self {
        L::select(mask, yes, no)
    }
}
