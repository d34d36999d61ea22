//! The base of a p-n junction: resistance that stored charge modulates, and the sweep of its charge in reverse.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Prefixed, STATED_AT, bad};
use crate::recovery::{self, StoringJunction, Times};

/// The base of a junction that stores charge.
#[derive(Clone, Copy, Debug)]
pub struct Base<L> {
    /// Resistance at 25 °C without stored charge, Ω.
    pub resistance: L,
    /// Exponent of the absolute temperature in it.
    pub exponent: L,
    /// Stored charge that halves it, C.
    pub charge: L,
    /// One over the reverse voltage that halves the transit time, 1/V; 0: none does.
    pub sweep: L,
}

lockstep!(Base: resistance, exponent, charge, sweep);

/// Times of the stored charge and its base, where they are given.
pub(crate) type Stores = (Option<Times<f64>>, Option<Base<f64>>);

impl Base<f64> {
    /// From the parameters of [`recovery::recovery_params`]; `None` for what is not given.
    ///
    /// # Errors
    /// When times or base are given by halves, or a base without times.
    pub(crate) fn given(name: &str, v: &Prefixed, of: &str) -> Result<Stores, CircuitError> {
        let times = Times::given(name, v, of)?;
        let key = |key: &str| format!("{of}{key}");
        let (resistance, charge) = (v.maybe(&key("base-resistance")), v.maybe(&key("base-charge")));
        let sweep = v.maybe(&key("sweep-voltage"));
        let (Some(resistance), Some(charge)) = (resistance, charge) else {
            if resistance.is_none() && charge.is_none() && sweep.is_none() {
                return Ok((times, None));
            }
            let [a, b, c] = ["base-resistance", "base-charge", "sweep-voltage"].map(|k| v.key(&key(k)));
            return Err(bad(name, format!("`{a}` and `{b}` belong together, and `{c}` needs both")));
        };
        if times.is_none() {
            let (a, b) = (v.key(&key("base-resistance")), v.key(&key("lifetime")));
            return Err(bad(name, format!("`{a}` is given without `{b}`: nothing modulates the base")));
        }
        let (exponent, sweep) = (v.number(&key("base-exponent")), sweep.map_or(0.0, |v| 1.0 / v));
        Ok((times, Some(Self { resistance, exponent, charge, sweep })))
    }
}

/// A junction whose stored charge modulates the resistance of its base; pins anode, cathode. Local unknowns: the
/// forward voltage in V, the stored charge q_M over the lifetime in A, and the junction's own voltage in V.
///
/// The resistance is R₀/(1 + q_M/Q₀): the carriers of the stored charge beside those of the doping (Lauritzen & Ma's
/// lumped charge: Ma, Lauritzen & Sigg, IEEE Trans. Power Electron. 12 (1997) 398; Baliga, Fundamentals of Power
/// Semiconductor Devices, ch. 5; both from memory). At rest, q_M = I·τ, the base drops no more than R₀·Q₀/τ however
/// large the current. At turn-on the charge is not there yet, and the base drops R₀·i: forward recovery (Benda &
/// Spenke, Proc. IEEE 55 (1967) 1331; from memory).
///
/// In reverse the depletion layer widens into the charge that is left, which then has less far to go: the transit time
/// is T_M/(1 + (v/V_s)²), so that at high voltage the tail is short and breaks off. The shape is ours; that recovery is
/// the snappier the nearer the voltage comes to that of reach-through is common practice, no source.
#[derive(Clone, Copy, Debug)]
pub struct BaseJunction<L> {
    /// The junction.
    pub junction: StoringJunction<L>,
    /// Its base.
    pub base: Base<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct AtTemperature<L> {
    junction: recovery::AtTemperature<L>,
    conductance: L,
    /// τ/Q₀, 1/A.
    modulates: L,
    sweep: L,
}

lockstep!(BaseJunction: junction, base);

impl<L: Lane> Law<L, 3> for BaseJunction<L> {
    const INTERNAL: usize = 2;
    const ABSOLUTE_TOLERANCE: f64 = <StoringJunction<L> as Law<L, 2>>::ABSOLUTE_TOLERANCE;
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let junction = self.junction.at_temperature(kelvin);
        let warm = Lane::pow(kelvin * L::splat(1.0 / STATED_AT), self.base.exponent);
        AtTemperature {
            conductance: L::splat(1.0) / (self.base.resistance * warm),
            modulates: junction.lifetime() / self.base.charge,
            sweep: self.base.sweep,
            junction,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [v, stored, inner]: [S; 3]) -> Flow<S, 3> {
        let (zero, one) = (L::splat(0.0), L::splat(1.0));
        let grown = stored * at.modulates;
        // Below zero, where only an iteration comes, it stays above zero, and goes on with equal slope and curvature.
        let lacking = grown.at_most(zero);
        let below = lacking * (lacking.square() + one).sqrt().recip() + one;
        let modulated = S::select(grown.value().ge(zero), grown + one, below);
        let through = (v - inner) * modulated * at.conductance;
        let swept = ((-v).at_least(zero) * at.sweep).square() + one;
        let crossing = at.junction.crossing(inner, stored) * swept;
        Flow {
            i: [through + at.junction.beside(v), stored - crossing, crossing - through],
            q: [at.junction.depleted(v), stored * at.junction.lifetime(), S::constant(zero)],
        }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}
