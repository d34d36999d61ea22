//! Laws that only checks need, written as a user of the library would write them.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::law::{Flow, Law};

/// An almost ideal diode or clamp: i = g_off·v, and g_on·(v − at) more above `at`.
#[derive(Clone, Copy, Debug)]
pub struct Knee {
    /// Voltage at which it begins to conduct, V.
    pub at: f64,
    /// Conductance above, S.
    pub g_on: f64,
    /// Conductance below, S.
    pub g_off: f64,
}

impl<L: Lane> Law<L, 1> for Knee {
    type AtTemperature = Self;
    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let zero = L::splat(0.0);
        let over = (v - L::splat(at.at)).at_least(zero);
        Flow { i: [v * L::splat(at.g_off) + over * L::splat(at.g_on)], q: [S::constant(zero)] }
    }
}

/// A power-law varistor v = K·iᵇ.
#[derive(Clone, Copy, Debug)]
pub struct PowerLaw {
    /// K, V at 1 A.
    pub k: f64,
    /// Exponent b.
    pub b: f64,
}

impl<L: Lane> Law<L, 1> for PowerLaw {
    type AtTemperature = Self;
    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let x = (v * L::splat(1.0 / at.k)).at_least(L::splat(1e-3));
        Flow { i: [x.pow(L::splat(1.0 / at.b))], q: [S::constant(L::splat(0.0))] }
    }
}

/// A smooth nonlinear one-port: i = g·(v + a·v³), q = c·(v + e·v³).
#[derive(Clone, Copy, Debug)]
pub struct Cubic {
    /// S.
    pub g: f64,
    /// 1/V².
    pub a: f64,
    /// F.
    pub c: f64,
    /// 1/V².
    pub e: f64,
}

impl<L: Lane> Law<L, 1> for Cubic {
    type AtTemperature = Self;
    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let cube = v * v * v;
        let i = (v + cube * L::splat(at.a)) * L::splat(at.g);
        Flow { i: [i], q: [(v + cube * L::splat(at.e)) * L::splat(at.c)] }
    }
}
