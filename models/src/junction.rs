//! The current of a junction: exponential forward, breakdown in reverse.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::error::CircuitError;

use crate::channel::slowing;
use crate::model::{BOLTZMANN_OVER_CHARGE, Prefixed, STATED_AT};

/// The unit of current in which junctions count, A; below it a junction carries nothing.
const UNIT: f64 = 1e-18;

/// i(v) = Is·(exp(v/V₁) − 1) − Ib·(exp((−v − Vb)/V₂) − …): the ideal diode law (Shockley 1949; Sze & Ng ch. 2, from
/// memory) with an exponential breakdown in reverse. Both exponentials are written as U·eʸ with one small unit of
/// current U, so that one exponential serves whichever side conducts, and none is computed where both are below U.
/// Above the stated current they continue linearly, in breakdown from where the slope has fallen to the space-charge
/// resistance. The error made by leaving out the other side is below U.
#[derive(Clone, Copy, Debug)]
pub struct Junction<L> {
    forward: L,
    forward_log: L,
    reverse: L,
    reverse_log: L,
    knee: L,
    reverse_knee: L,
    at_zero: L,
}

/// Breakdown in reverse: `current` flows at `voltage`, e times as much for every further `scale`, until the slope
/// `scale`/I has fallen to the resistance of the space charge: from there on the current rises in a straight line. The
/// carriers of a large avalanche current fill the depletion layer and take W²/(2·ε·v·A) of the voltage per ampere, v
/// their highest velocity (Sze & Ng ch. 8 and Baliga, Fundamentals of Power Semiconductor Devices, ch. 3; from memory).
/// The hotter the lattice, the sooner carriers lose their energy: the voltage rises with temperature.
#[derive(Clone, Copy, Debug)]
pub struct Breakdown<L> {
    /// At 25 °C, V.
    pub voltage: L,
    /// V per factor e.
    pub scale: L,
    /// A.
    pub current: L,
    /// Relative change of the voltage, 1/K.
    pub drift: L,
    /// Space-charge resistance at 25 °C, Ω; 0: none.
    pub resistance: L,
}

joulestep_engine::lockstep!(Junction: forward, forward_log, reverse, reverse_log, knee, reverse_knee, at_zero);
joulestep_engine::lockstep!(Breakdown: voltage, scale, current, drift, resistance);

impl Breakdown<f64> {
    /// From the parameters of a die; `None` where it states no breakdown voltage.
    pub(crate) fn of(v: &Prefixed) -> Option<Self> {
        let voltage = v.maybe("breakdown-voltage")?;
        let number = |key| v.number(key);
        Some(Self {
            voltage,
            scale: number("breakdown-slope-voltage"),
            current: number("breakdown-current"),
            drift: number("breakdown-drift"),
            resistance: number("breakdown-resistance"),
        })
    }
}

impl<L: Lane> Breakdown<L> {
    /// The same at a temperature in K. The space charge's resistance goes as the inverse of the carriers' velocity.
    pub fn at(self, kelvin: L) -> Self {
        let stretch = L::splat(1.0) + self.drift * (kelvin - L::splat(STATED_AT));
        Self { voltage: self.voltage * stretch, resistance: self.resistance * slowing(kelvin), ..self }
    }
}

impl<L: Lane> Junction<L> {
    /// From the saturation current (A), the voltage per factor e (V: nkT/q), the current above which exponentials
    /// continue linearly (A) and, if there is one, the breakdown.
    pub fn new(saturation: L, scale: L, linear_above: L, breakdown: Option<Breakdown<L>>) -> Self {
        let zero = L::splat(0.0);
        let one = L::splat(1.0);
        let log = |i: L| (i * L::splat(1.0 / UNIT)).ln();
        let forward_log = log(saturation);
        let knee = log(linear_above).max(one);
        let (reverse, reverse_log, reverse_knee) = match breakdown {
            Some(b) => {
                // From the breakdown current on at the earliest; without resistance up to the highest current.
                let straight = log(b.scale / b.resistance.max(L::splat(1e-30))).max(log(b.current));
                (one / b.scale, log(b.current) - b.voltage / b.scale, knee.min(straight.max(one)))
            }
            None => (zero, L::splat(-1.0), knee),
        };
        Self {
            forward: one / scale,
            forward_log,
            reverse,
            reverse_log,
            knee,
            reverse_knee,
            at_zero: forward_log.max(zero).exp(),
        }
    }

    /// Breakdown alone, for a junction whose forward current is had elsewhere; without one it carries nothing.
    pub fn backward(linear_above: L, breakdown: Option<Breakdown<L>>) -> Self {
        // A forward current far below the unit that never grows.
        Self::new(L::splat(UNIT * UNIT), L::splat(f64::INFINITY), linear_above, breakdown)
    }

    /// Whether the two exponentials keep clear of each other.
    ///
    /// # Errors
    /// When the breakdown voltage is so low that forward and reverse conduction overlap.
    pub fn check(&self, component: &str) -> Result<(), CircuitError> {
        let (f, r) = (self.forward, self.reverse);
        let v = (self.reverse_log - self.forward_log) / (f + r);
        if L::all((v * f + self.forward_log).lt(L::splat(0.0))) || L::all(r.le(L::splat(0.0))) {
            return Ok(());
        }
        Err(CircuitError::BadValue {
            component: component.to_string(),
            what: "the breakdown voltage is too low: forward and reverse conduction of the junction overlap"
                .into(),
        })
    }

    /// The current at the forward voltage v, A.
    #[inline(always)]
    pub fn current<S: Scalar<L>>(&self, v: S) -> S {
        let (zero, one, unit) = (L::splat(0.0), L::splat(1.0), L::splat(UNIT));
        let u = v.value();
        let ahead = u * self.forward + self.forward_log;
        let back = self.reverse_log - u * self.reverse;
        let y = ahead.max(back);
        if L::all(y.le(zero)) {
            return v.mapped(unit * (one - self.at_zero), zero);
        }
        let conducts = y.gt(zero);
        let is_back = back.gt(ahead);
        let held = y.max(zero).min(L::select(is_back, self.reverse_knee, self.knee));
        let e = held.exp();
        let grown = e + e * (y.max(zero) - held);
        let value = unit * (L::select(is_back, L::splat(2.0) - grown, grown) - self.at_zero);
        let slope = unit * e * L::select(is_back, self.reverse, self.forward);
        v.mapped(value, L::select(conducts, slope, zero))
    }
}

/// Saturation current at a temperature in K from its value at 25 °C:
/// Is·(T/T₀)^(p/n)·exp(Eg/(n·k)·(1/T₀ − 1/T)), Eg in eV, p = 3 for p-n and 2 for Schottky junctions (Sze & Ng ch. 2
/// and 3, from memory).
pub fn saturation_at<L: Lane>(kelvin: L, saturation: L, ideality: L, gap: L, power: L) -> L {
    let stated = L::splat(STATED_AT);
    let activation = gap * L::splat(1.0 / BOLTZMANN_OVER_CHARGE);
    let exponent =
        power * (kelvin / stated).ln() + activation * (L::splat(1.0) / stated - L::splat(1.0) / kelvin);
    saturation * (exponent / ideality).exp()
}

/// A leakage conductance that goes with the temperature by Arrhenius's law, G·exp(E/k·(1/T₀ − 1/T)): carriers generated
/// over a barrier (Sze & Ng ch. 2, from memory). However hot the die, it stays below G·exp(E/kT₀).
#[derive(Clone, Copy, Debug)]
pub struct Leakage<L> {
    /// G, S.
    pub conductance: L,
    /// E, eV.
    pub energy: L,
    /// T₀, K.
    pub stated_at: L,
}

joulestep_engine::lockstep!(Leakage: conductance, energy, stated_at);

impl Leakage<f64> {
    /// From the parameters of a die.
    pub(crate) fn of(v: &Prefixed) -> Self {
        Self {
            conductance: v.number("leakage-conductance"),
            energy: v.number("leakage-energy"),
            stated_at: v.values.kelvin(&v.key("leakage-temperature")),
        }
    }
}

impl<L: Lane> Leakage<L> {
    /// The conductance at a temperature in K, S.
    pub fn at(&self, kelvin: L) -> L {
        let one = L::splat(1.0);
        let activation = self.energy * L::splat(1.0 / BOLTZMANN_OVER_CHARGE);
        self.conductance * (activation * (one / self.stated_at - one / kelvin)).exp()
    }
}
