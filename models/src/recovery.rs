//! Charge control of a p-n junction: stored charge, and with it reverse recovery.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction, saturation_at};
use crate::model::{BOLTZMANN_OVER_CHARGE, Prefixed, STATED_AT, bad};

/// The two times of charge control, with their temperature laws.
#[derive(Clone, Copy, Debug)]
pub struct Times<L> {
    /// Carrier lifetime τ at 25 °C, s.
    pub lifetime: L,
    /// Exponent of the absolute temperature in the lifetime.
    pub lifetime_exponent: L,
    /// Diffusion transit time T_M at 25 °C, s.
    pub transit: L,
    /// Exponent of the absolute temperature in the transit time.
    pub transit_exponent: L,
}

impl Times<f64> {
    /// From the parameters of [`recovery_params`]; `None` where neither time is given: no stored charge.
    ///
    /// # Errors
    /// When only one of the two is given.
    pub(crate) fn given(name: &str, v: &Prefixed, of: &str) -> Result<Option<Self>, CircuitError> {
        let key = |key: &str| format!("{of}{key}");
        match (v.maybe(&key("lifetime")), v.maybe(&key("transit-time"))) {
            (None, None) => Ok(None),
            (Some(lifetime), Some(transit)) => Ok(Some(Self {
                lifetime,
                lifetime_exponent: v.number(&key("lifetime-exponent")),
                transit,
                transit_exponent: v.number(&key("transit-exponent")),
            })),
            (Some(_), None) | (None, Some(_)) => {
                let (a, b) = (v.key(&key("lifetime")), v.key(&key("transit-time")));
                Err(bad(name, format!("one of `{a}` and `{b}` is given; expected both, or neither")))
            }
        }
    }
}

/// The parameters of [`Times`], with prefixes to their keys.
macro_rules! recovery_params {
    ($($p:literal),+) => {
        [
            Param::optional(
                concat!($($p,)+ "base-resistance"),
                "ohm",
                Range::Positive,
                "Resistance of the base at 25 degC without stored charge, which modulates it; needs lifetime and transit time",
            ),
            Param::optional(
                concat!($($p,)+ "base-charge"),
                "C",
                Range::Positive,
                "Stored charge that halves the resistance of the base",
            ),
            Param::with(
                concat!($($p,)+ "base-exponent"),
                "1",
                2.3,
                Range::Any,
                "Resistance of the base scales as (T/298.15 K) to this power",
            ),
            Param::optional(
                concat!($($p,)+ "sweep-voltage"),
                "V",
                Range::Positive,
                "Reverse voltage that halves the transit time as the depletion layer sweeps the base: snap-off",
            ),
            Param::optional(
                concat!($($p,)+ "lifetime"),
                "s",
                Range::Positive,
                "Carrier lifetime at 25 degC; with the transit time it gives reverse recovery",
            ),
            Param::optional(
                concat!($($p,)+ "transit-time"),
                "s",
                Range::Positive,
                "Diffusion transit time at 25 degC; with the lifetime it gives reverse recovery",
            ),
            Param::with(
                concat!($($p,)+ "lifetime-exponent"),
                "1",
                1.5,
                Range::Any,
                "Carrier lifetime scales as (T/298.15 K) to this power",
            ),
            Param::with(
                concat!($($p,)+ "transit-exponent"),
                "1",
                0.0,
                Range::Any,
                "Transit time scales as (T/298.15 K) to this power",
            ),
        ]
    };
}
pub(crate) use recovery_params;

/// A junction with stored charge; pins anode, cathode. Local unknowns: the forward voltage in V, and the stored charge
/// q_M divided by the lifetime τ, in A.
///
/// Charge control of Lauritzen & Ma, IEEE Trans. Power Electron. 6 (1991) 188 (from memory, re-derived): with
/// q_E = Is·τ·(exp(v/nVt) − 1) the charge at the junction, i = (q_E − q_M)/T_M and
/// dq_M/dt + q_M/τ − (q_E − q_M)/T_M = 0. At rest i = Is·(exp(v/nVt) − 1)·τ/(τ + T_M). Soft recovery with one time
/// constant, 1/(1/τ + 1/T_M); for snap-off and forward recovery see [`crate::base`]. Breakdown, leakage and depletion charge lie beside it.
///
/// The power v·i counts as heat at once, also what the stored charge takes along and gives back; over a cycle that
/// returns to its beginning it is the heat.
#[derive(Clone, Copy, Debug)]
pub struct StoringJunction<L> {
    /// Is at 25 °C, A.
    pub saturation: L,
    /// Ideality factor n.
    pub ideality: L,
    /// Energy gap that drives the saturation current, eV.
    pub gap: L,
    /// Power of the absolute temperature in the saturation current.
    pub power: L,
    /// Lifetime and transit time.
    pub times: Times<L>,
    /// Breakdown.
    pub breakdown: Option<Breakdown<L>>,
    /// Current above which exponentials are linear, A.
    pub linear_above: L,
    /// Leakage conductance, S.
    pub leakage: L,
    /// Charge against reverse voltage.
    pub depletion: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct AtTemperature<L> {
    forward: Junction<L>,
    reverse: Junction<L>,
    lifetime: L,
    pull: L,
    leakage: L,
    depletion: Depletion<L>,
}

lockstep!(Times: lifetime, lifetime_exponent, transit, transit_exponent);
lockstep!(StoringJunction: saturation, ideality, gap, power, times, breakdown, linear_above, leakage, depletion);

impl<L: Lane> AtTemperature<L> {
    /// The lifetime, s.
    pub(crate) fn lifetime(&self) -> L {
        self.lifetime
    }

    /// The current from the charge at the junction into the stored charge, A. All charges over τ: currents.
    #[inline(always)]
    pub(crate) fn crossing<S: Scalar<L>>(&self, v: S, stored: S) -> S {
        (self.forward.current(v) - stored) * self.pull
    }

    /// Breakdown and leakage, A.
    #[inline(always)]
    pub(crate) fn beside<S: Scalar<L>>(&self, v: S) -> S {
        self.reverse.current(v) + v * self.leakage
    }

    /// The depletion layer's charge at the forward voltage, C.
    #[inline(always)]
    pub(crate) fn depleted<S: Scalar<L>>(&self, v: S) -> S {
        -self.depletion.charge(-v)
    }
}

impl<L: Lane> Law<L, 2> for StoringJunction<L> {
    const INTERNAL: usize = 1;
    /// 0.1 mA, for a lifetime of 10 ns a picocoulomb.
    const ABSOLUTE_TOLERANCE: f64 = 1e-4;
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let saturation = saturation_at(kelvin, self.saturation, self.ideality, self.gap, self.power);
        let scale = self.ideality * kelvin * L::splat(BOLTZMANN_OVER_CHARGE);
        let warm = (kelvin * L::splat(1.0 / STATED_AT)).ln();
        let lifetime = self.times.lifetime * (warm * self.times.lifetime_exponent).exp();
        let transit = self.times.transit * (warm * self.times.transit_exponent).exp();
        AtTemperature {
            forward: Junction::new(saturation, scale, self.linear_above, None),
            reverse: Junction::backward(self.linear_above, self.breakdown.map(|b| b.at(kelvin))),
            lifetime,
            pull: lifetime / transit,
            leakage: self.leakage,
            depletion: self.depletion,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [v, stored]: [S; 2]) -> Flow<S, 2> {
        let crossing = at.crossing(v, stored);
        Flow { i: [crossing + at.beside(v), stored - crossing], q: [at.depleted(v), stored * at.lifetime] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}
