//! One value, or N variants side by side.
//!
//! The stepping loop and every device law are written once over [`Lane`]. `f64` is one lane; [`wide::f64x4`] and
//! [`wide::f64x8`] are four and eight. `exp` and `ln` are written here, over the same operations for every width
//! and without fused multiply-add, so that a lane has the same bits however many run beside it and whatever
//! vector unit the build found.

use std::fmt::Debug;
use std::ops::{Add, AddAssign, Div, Mul, MulAssign, Neg, Sub, SubAssign};

use bytemuck::cast;
use wide::{f64x4, f64x8, u64x4, u64x8};

/// Most lanes that there are.
pub const MOST_LANES: usize = 8;

/// The lanes of a set of bits, in their order.
#[inline(always)]
pub fn lanes_in(mut lanes: u32) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let lane = lanes.trailing_zeros();
        let some = lanes != 0;
        lanes &= lanes.wrapping_sub(1);
        some.then_some(lane as usize)
    })
}

/// The arithmetic of one value or of N values side by side.
pub trait Lane:
    Copy
    + Debug
    + Default
    + PartialEq
    + Send
    + Sync
    + 'static
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + AddAssign
    + SubAssign
    + MulAssign
{
    /// How many values lie side by side.
    const WIDTH: usize;
    /// One truth value per lane.
    type Mask: Copy + Debug;

    /// The same value in every lane.
    fn splat(x: f64) -> Self;
    /// The value of one lane. Panics when `lane >= WIDTH`.
    fn lane(self, lane: usize) -> f64;
    /// Replaces the value of one lane. Panics when `lane >= WIDTH`.
    fn set_lane(&mut self, lane: usize, x: f64);
    /// Square root, correctly rounded.
    fn sqrt(self) -> Self;
    /// Absolute value.
    fn abs(self) -> Self;
    /// The larger of two values, lane by lane.
    fn max(self, other: Self) -> Self;
    /// The smaller of two values, lane by lane.
    fn min(self, other: Self) -> Self;
    /// `self < other`, lane by lane.
    fn lt(self, other: Self) -> Self::Mask;
    /// `self <= other`, lane by lane.
    fn le(self, other: Self) -> Self::Mask;
    /// `self > other`, lane by lane.
    fn gt(self, other: Self) -> Self::Mask;
    /// `self >= other`, lane by lane.
    fn ge(self, other: Self) -> Self::Mask;
    /// `yes` where the mask holds, `no` elsewhere.
    fn select(mask: Self::Mask, yes: Self, no: Self) -> Self;
    /// Whether the mask holds in every lane.
    fn all(mask: Self::Mask) -> bool;
    /// Whether the mask holds in some lane.
    fn any(mask: Self::Mask) -> bool;
    /// The mask that holds in these lanes (a set of bits, lane 0 the lowest).
    fn mask(lanes: u32) -> Self::Mask;
    /// The lanes in which a mask holds, as a set of bits.
    fn lanes(mask: Self::Mask) -> u32;
    /// 2ⁿ for whole numbers n given as `n + MAGIC` (see [`MAGIC`]), −1022 ≤ n ≤ 1023.
    fn pow2_of_magic(shifted: Self) -> Self;
    /// Mantissa in [√½, √2) and exponent of a positive normal number.
    fn split(self) -> (Self, Self);

    /// A value per lane from a function of the lane's number.
    fn from_fn(mut f: impl FnMut(usize) -> f64) -> Self {
        let mut out = Self::default();
        for k in 0..Self::WIDTH {
            out.set_lane(k, f(k));
        }
        out
    }

    /// The largest value of all lanes; NaN in any lane gives NaN.
    fn widest(self) -> f64 {
        (0..Self::WIDTH)
            .map(|k| self.lane(k))
            .fold(f64::NEG_INFINITY, |a, b| if a.is_nan() || b <= a { a } else { b })
    }

    /// Whether every lane is a finite number.
    fn is_finite(self) -> bool {
        (0..Self::WIDTH).all(|k| self.lane(k).is_finite())
    }

    /// eˣ within 2 units in the last place; arguments are held to ±708, where the result is still normal.
    #[inline(always)]
    fn exp(self) -> Self {
        let x = self.max(Self::splat(-708.0)).min(Self::splat(708.0));
        let shifted = x * Self::splat(std::f64::consts::LOG2_E) + Self::splat(MAGIC);
        let n = shifted - Self::splat(MAGIC);
        // ln 2 in two parts: the first has 21 trailing zero bits, so n times it is exact (Cody & Waite 1980).
        let r = x - n * Self::splat(LN2_HI) - n * Self::splat(LN2_LO);
        // Taylor to r¹³ (|r| < 0.347: remainder below 2e-17), paired so that the chain is short (Estrin 1960).
        let c = |k: usize| Self::splat(INVERSE_FACTORIAL[k]);
        let r2 = r * r;
        let r4 = r2 * r2;
        let r8 = r4 * r4;
        let p01 = c(2) + r * c(3);
        let p23 = c(4) + r * c(5);
        let p45 = c(6) + r * c(7);
        let p67 = c(8) + r * c(9);
        let p89 = c(10) + r * c(11);
        let pab = c(12) + r * c(13);
        let p = (p01 + r2 * p23) + r4 * (p45 + r2 * p67) + r8 * (p89 + r2 * pab);
        let y = Self::splat(1.0) + (r + r2 * p);
        y * Self::pow2_of_magic(shifted)
    }

    /// Natural logarithm of a positive normal number, within 1 unit in the last place (the rational form of
    /// fdlibm's `e_log.c`, Sun Microsystems 1993). Zero and below give the logarithm of the smallest normal number.
    #[inline(always)]
    fn ln(self) -> Self {
        let (m, k) = self.max(Self::splat(f64::MIN_POSITIVE)).split();
        let f = m - Self::splat(1.0);
        let s = f / (Self::splat(2.0) + f);
        let z = s * s;
        let w = z * z;
        let c = |k: usize| Self::splat(LOG[k]);
        let even = w * (c(1) + w * (c(3) + w * c(5)));
        let odd = z * (c(0) + w * (c(2) + w * (c(4) + w * c(6))));
        let half = Self::splat(0.5) * f * f;
        k * Self::splat(0.693_147_180_369_123_8)
            - ((half - (s * (half + (even + odd)) + k * Self::splat(1.908_214_929_270_587_7e-10))) - f)
    }

    /// xʸ for positive x.
    #[inline(always)]
    fn pow(self, y: Self) -> Self {
        (self.ln() * y).exp()
    }
}

/// 1.5·2⁵²: adding it rounds to a whole number, whose low bits then hold that number.
pub const MAGIC: f64 = 6_755_399_441_055_744.0;
const LN2_HI: f64 = 0.693_147_180_369_123_8;
const LN2_LO: f64 = 1.908_214_929_270_587_7e-10;
const INVERSE_FACTORIAL: [f64; 14] = [
    1.0,
    1.0,
    1.0 / 2.0,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5_040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
    1.0 / 6_227_020_800.0,
];
const LOG: [f64; 7] = [
    0.666_666_666_666_673_5,
    0.399_999_999_994_094_2,
    0.285_714_287_436_623_9,
    0.222_221_984_321_497_84,
    0.181_835_721_616_180_5,
    0.153_138_376_992_093_73,
    0.147_981_986_051_165_86,
];
const MANTISSA: u64 = 0x000f_ffff_ffff_ffff;
const ONE_BITS: u64 = 0x3ff0_0000_0000_0000;
// Offset that carries mantissas at or above √2 into the next exponent (fdlibm).
const ROOT_HALF_OFFSET: u64 = 0x0009_5f62_0000_0000;

impl Lane for f64 {
    const WIDTH: usize = 1;
    type Mask = bool;

    #[inline(always)]
    fn splat(x: f64) -> Self {
        x
    }
    #[inline(always)]
    fn lane(self, lane: usize) -> f64 {
        assert!(lane == 0, "one lane has no lane {lane}");
        self
    }
    #[inline(always)]
    fn set_lane(&mut self, lane: usize, x: f64) {
        assert!(lane == 0, "one lane has no lane {lane}");
        *self = x;
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
    #[inline(always)]
    fn abs(self) -> Self {
        f64::abs(self)
    }
    #[inline(always)]
    fn max(self, other: Self) -> Self {
        if self > other { self } else { other }
    }
    #[inline(always)]
    fn min(self, other: Self) -> Self {
        if self < other { self } else { other }
    }
    #[inline(always)]
    fn lt(self, other: Self) -> bool {
        self < other
    }
    #[inline(always)]
    fn le(self, other: Self) -> bool {
        self <= other
    }
    #[inline(always)]
    fn gt(self, other: Self) -> bool {
        self > other
    }
    #[inline(always)]
    fn ge(self, other: Self) -> bool {
        self >= other
    }
    #[inline(always)]
    fn select(mask: bool, yes: Self, no: Self) -> Self {
        if mask { yes } else { no }
    }
    #[inline(always)]
    fn all(mask: bool) -> bool {
        mask
    }
    #[inline(always)]
    fn any(mask: bool) -> bool {
        mask
    }
    #[inline(always)]
    fn mask(lanes: u32) -> bool {
        lanes & 1 == 1
    }
    #[inline(always)]
    fn lanes(mask: bool) -> u32 {
        u32::from(mask)
    }
    #[inline(always)]
    fn pow2_of_magic(shifted: Self) -> Self {
        f64::from_bits((shifted.to_bits() << 52).wrapping_add(ONE_BITS))
    }
    #[inline(always)]
    fn split(self) -> (Self, Self) {
        let bits = self.to_bits();
        let carry = (bits & MANTISSA).wrapping_add(ROOT_HALF_OFFSET) & (1 << 52);
        let mantissa = f64::from_bits((bits & MANTISSA) | (carry ^ ONE_BITS));
        // The biased exponent as a number: put it into the low bits of 2⁵².
        let exponent = (bits >> 52) + (carry >> 52);
        let k = f64::from_bits(exponent | 0x4330_0000_0000_0000) - (4_503_599_627_370_496.0 + 1023.0);
        (mantissa, k)
    }
}

macro_rules! vector_lanes {
    ($lanes:ident, $bits:ident, $n:literal) => {
        impl Lane for $lanes {
            const WIDTH: usize = $n;
            type Mask = $lanes;

            #[inline(always)]
            fn splat(x: f64) -> Self {
                $lanes::splat(x)
            }
            #[inline(always)]
            fn lane(self, lane: usize) -> f64 {
                self.as_array()[lane]
            }
            #[inline(always)]
            fn set_lane(&mut self, lane: usize, x: f64) {
                self.as_mut_array()[lane] = x;
            }
            #[inline(always)]
            fn sqrt(self) -> Self {
                $lanes::sqrt(self)
            }
            #[inline(always)]
            fn abs(self) -> Self {
                $lanes::abs(self)
            }
            #[inline(always)]
            fn max(self, other: Self) -> Self {
                self.simd_gt(other).select(self, other)
            }
            #[inline(always)]
            fn min(self, other: Self) -> Self {
                self.simd_lt(other).select(self, other)
            }
            #[inline(always)]
            fn lt(self, other: Self) -> Self {
                self.simd_lt(other)
            }
            #[inline(always)]
            fn le(self, other: Self) -> Self {
                self.simd_le(other)
            }
            #[inline(always)]
            fn gt(self, other: Self) -> Self {
                self.simd_gt(other)
            }
            #[inline(always)]
            fn ge(self, other: Self) -> Self {
                self.simd_ge(other)
            }
            #[inline(always)]
            fn select(mask: Self, yes: Self, no: Self) -> Self {
                mask.select(yes, no)
            }
            #[inline(always)]
            fn all(mask: Self) -> bool {
                mask.all()
            }
            #[inline(always)]
            fn any(mask: Self) -> bool {
                mask.any()
            }
            #[inline(always)]
            fn mask(lanes: u32) -> Self {
                let each: $bits = cast(std::array::from_fn::<u64, $n, _>(|k| 1 << k));
                cast(($bits::splat(u64::from(lanes)) & each).simd_eq(each))
            }
            #[inline(always)]
            fn lanes(mask: Self) -> u32 {
                mask.to_bitmask()
            }
            #[inline(always)]
            fn pow2_of_magic(shifted: Self) -> Self {
                let bits: $bits = cast(shifted);
                cast((bits << 52) + $bits::splat(ONE_BITS))
            }
            #[inline(always)]
            fn split(self) -> (Self, Self) {
                let bits: $bits = cast(self);
                let mantissa = bits & $bits::splat(MANTISSA);
                let carry = (mantissa + $bits::splat(ROOT_HALF_OFFSET)) & $bits::splat(1 << 52);
                let m: $lanes = cast(mantissa | (carry ^ $bits::splat(ONE_BITS)));
                let exponent = (bits >> 52) + (carry >> 52);
                let k: $lanes = cast(exponent | $bits::splat(0x4330_0000_0000_0000));
                (m, k - $lanes::splat(4_503_599_627_370_496.0 + 1023.0))
            }
        }
    };
}

vector_lanes!(f64x4, u64x4, 4);
vector_lanes!(f64x8, u64x8, 8);

#[cfg(test)]
#[path = "lane_tests.rs"]
mod tests;
