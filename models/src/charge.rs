//! Charges of nonlinear capacitances.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::lockstep::{Lockstep, lanes};
use joulestep_engine::arithmetic::scalar::Scalar;

use crate::channel::overdrive;

/// How the power of the depletion law is had.
#[derive(Clone, Copy, Debug)]
enum Power {
    /// Exponent 1/2 in every lane: a square root.
    Root,
    /// Exponent 1/2 in no lane: exponential and logarithm.
    General,
    /// Both, lane by lane, so that a lane has the bits that it has alone.
    Mixed,
}

/// The charge of a depletion layer against its reverse voltage v, in C:
/// q(v) = C₀·Vj/(1−m)·((1+v/Vj)^(1−m) − 1), so that C(v) = C₀/(1+v/Vj)^m (Sze & Ng, Physics of Semiconductor
/// Devices, 3rd ed., ch. 2; from memory). Below v = −Vj/2 (forward bias) it continues linearly with the capacitance
/// reached there.
#[derive(Clone, Copy, Debug)]
pub struct Depletion<L> {
    c0: L,
    inverse_vj: L,
    scale: L,
    knee: L,
    exponent: L,
    is_root: L,
    power: Power,
}

impl<L: Lane> Lockstep for Depletion<L> {
    type Of<K: Lane> = Depletion<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<Depletion<K>> {
        let is_root = lanes::<_, _, K>(each, |one| &one.is_root)?;
        Some(Depletion {
            c0: lanes::<_, _, K>(each, |one| &one.c0)?,
            inverse_vj: lanes::<_, _, K>(each, |one| &one.inverse_vj)?,
            scale: lanes::<_, _, K>(each, |one| &one.scale)?,
            knee: lanes::<_, _, K>(each, |one| &one.knee)?,
            exponent: lanes::<_, _, K>(each, |one| &one.exponent)?,
            is_root,
            power: Power::of(is_root),
        })
    }
}

impl Power {
    fn of<L: Lane>(is_root: L) -> Self {
        match (0..L::WIDTH).filter(|&k| is_root.lane(k) == 1.0).count() {
            0 => Self::General,
            n if n == L::WIDTH => Self::Root,
            _ => Self::Mixed,
        }
    }
}

impl<L: Lane> Depletion<L> {
    /// From the capacitance at zero bias C₀ (F), the built-in voltage Vj (V, above 0) and the depletion exponent m
    /// (0 ≤ m < 1).
    pub fn new(c0: L, vj: L, m: L) -> Self {
        let one = L::splat(1.0);
        let is_root = L::from_fn(|k| f64::from(m.lane(k) == 0.5));
        Self {
            c0,
            inverse_vj: one / vj,
            scale: c0 * vj / (one - m),
            knee: vj * L::splat(-0.5),
            exponent: one - m,
            is_root,
            power: Power::of(is_root),
        }
    }

    /// A multiple of it.
    pub fn times(self, factor: L) -> Self {
        Self { c0: self.c0 * factor, scale: self.scale * factor, ..self }
    }

    /// x^(1−m) and x^(−m).
    #[inline(always)]
    fn powers(&self, x: L) -> (L, L) {
        let root = || {
            // √x/x, because the division can run beside the root.
            let r = x.sqrt();
            (r, r * (L::splat(1.0) / x))
        };
        let general = || {
            let p = (x.ln() * self.exponent).exp();
            (p, p / x)
        };
        match self.power {
            Power::Root => root(),
            Power::General => general(),
            Power::Mixed => {
                let mask = self.is_root.gt(L::splat(0.5));
                let (r, g) = (root(), general());
                (L::select(mask, r.0, g.0), L::select(mask, r.1, g.1))
            }
        }
    }

    /// The charge at the reverse voltage v, C.
    #[inline(always)]
    pub fn charge<S: Scalar<L>>(&self, v: S) -> S {
        let one = L::splat(1.0);
        let u = v.value();
        let held = u.max(self.knee);
        let (power, inverse) = self.powers(one + held * self.inverse_vj);
        let c = self.c0 * inverse;
        v.mapped(self.scale * (power - one) + c * (u - held), c)
    }

    /// Energy ∫ v dq from 0 to the reverse voltage v, in J (v ≥ −Vj/2).
    pub fn energy(&self, v: L) -> L {
        // ∫ v C dv = v·q − ∫ q dv, with ∫ q dv = scale·(Vj/(2−m)·((1+v/Vj)^(2−m) − 1) − v).
        let one = L::splat(1.0);
        let x = one + v * self.inverse_vj;
        let (power, _) = self.powers(x);
        let above = (x * power - one) / (self.inverse_vj * (one + self.exponent));
        v * self.scale * (power - one) - self.scale * (above - v)
    }
}

/// The charge of a superjunction's pillars against the drain's voltage v, in C: while they deplete sideways their
/// capacitance is C₀, and it vanishes when they are depleted, C(v) = C₀/(1 + exp((v − Vp)/w)), so that
/// q(v) = C₀·(s(Vp) − s(Vp − v)) with s(x) = w·ln(1 + exp(x/w)). The charge C₀·Vp is what the pillars hold. The shape
/// is ours; what it must show, a fall by two to three decades within a few tens of volts, is common practice, no
/// source.
#[derive(Clone, Copy, Debug)]
pub struct Pillars<L> {
    c0: L,
    voltage: L,
    width: L,
    inverse_width: L,
    all: L,
}

joulestep_engine::lockstep!(Pillars: c0, voltage, width, inverse_width, all);

impl<L: Lane> Pillars<L> {
    /// From C₀ (F), the voltage Vp at which half of it is left (V) and the width w of the fall (V, above 0).
    pub fn new(c0: L, voltage: L, width: L) -> Self {
        let inverse_width = L::splat(1.0) / width;
        Self { c0, voltage, width, inverse_width, all: overdrive(voltage, width, inverse_width) }
    }

    /// The charge at the voltage v, C.
    #[inline(always)]
    pub fn charge<S: Scalar<L>>(&self, v: S) -> S {
        let left = overdrive(-v + self.voltage, self.width, self.inverse_width);
        (-left + self.all) * self.c0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wide::f64x4;

    /// Lanes with and without an exponent of 1/2 side by side.
    #[test]
    fn mixed_exponents_have_the_bits_of_one_lane() {
        let m = [0.5, 0.37, 0.5, 0.62];
        let many = Depletion::new(f64x4::splat(1e-9), f64x4::splat(0.8), f64x4::from_fn(|k| m[k]));
        for v in [-3.0, -0.4, -0.1, 0.0, 0.3, 17.0, 640.0] {
            let q = many.charge(f64x4::splat(v));
            for (k, &m) in m.iter().enumerate() {
                let alone = Depletion::new(1e-9, 0.8, m).charge(v);
                assert_eq!(q.lane(k).to_bits(), alone.to_bits());
            }
        }
    }
}
