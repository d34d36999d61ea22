//! The MOSFET die: smooth channel, body diode, breakdown, leakage, charges; all of it follows the temperature. Beside
//! its law, where the parameters ask for them: a drift region, a body diode that stores charge, a superjunction's
//! pillars.

mod params;
mod place;

pub(crate) use params::mosfet_params;
pub(crate) use place::place;

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::channel::{overdrive, slowing};
use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction, Leakage, saturation_at};
use crate::model::{
    Avalanche, BOLTZMANN_OVER_CHARGE, Built, DieEntry, DieKind, Entry, OnGate, Param, Prefixed, Range,
    STATED_AT, Values, known_voltage,
};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
///
/// Channel: I = (nβ/2)·(A² − B²) with A = w·ln(1+e^(a/w)), a = (vgs − Vth)/n, B the same of a − vds, w = 2kT/q: the
/// interpolation of Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83 (from memory),
/// the body tied to the source. Where carriers reach their highest velocity, see [`FastMosfet`]. β follows from the on-resistance, which scales as (T/T₀)^exponent (mobility); the
/// threshold falls linearly with T. Leakage goes by Arrhenius's law.
#[derive(Clone, Copy, Debug)]
pub struct Mosfet<L> {
    /// Threshold at 25 °C, V.
    pub threshold: L,
    /// Its change with temperature, V/K.
    pub threshold_drift: L,
    /// Slope factor n.
    pub slope_factor: L,
    /// On-resistance at 25 °C and `on_gate`, Ω.
    pub on_resistance: L,
    /// Gate-source voltage at which the on-resistance is stated, V.
    pub on_gate: L,
    /// Exponent of the absolute temperature in the on-resistance.
    pub resistance_exponent: L,
    /// Overdrive at `on_gate` over the voltage at which carriers along the channel would reach their highest velocity,
    /// 25 °C; only a [`FastMosfet`] follows it.
    pub velocity_ratio: L,
    /// Body diode: saturation current at 25 °C (A), ideality factor, energy gap (eV). `None` where it lies
    /// beside this law.
    pub body: Option<[L; 3]>,
    /// Breakdown at 25 °C.
    pub breakdown: Option<Breakdown<L>>,
    /// Leakage conductance drain to source.
    pub leakage: Leakage<L>,
    /// Current above which exponentials are linear, A.
    pub linear_above: L,
    /// Gate-source capacitance, F.
    pub cgs: L,
    /// Charge of drain against gate.
    pub drain_gate: Depletion<L>,
    /// Charge of drain against source.
    pub drain_source: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct AtTemperature<L> {
    threshold: L,
    inverse_n: L,
    width: L,
    inverse_width: L,
    half_gain: L,
    inverse_velocity: L,
    body: Junction<L>,
    leakage: L,
    cgs: L,
    drain_gate: Depletion<L>,
    drain_source: Depletion<L>,
}

impl<L: Lane> Mosfet<L> {
    fn body_at(&self, kelvin: L) -> Junction<L> {
        let breakdown = self.breakdown.map(|b| b.at(kelvin));
        let Some([saturation, ideality, gap]) = self.body else {
            return Junction::backward(self.linear_above, breakdown);
        };
        let saturation = saturation_at(kelvin, saturation, ideality, gap, L::splat(3.0));
        let scale = ideality * kelvin * L::splat(BOLTZMANN_OVER_CHARGE);
        Junction::new(saturation, scale, self.linear_above, breakdown)
    }
}

lockstep!(Mosfet: threshold, threshold_drift, slope_factor, on_resistance, on_gate, resistance_exponent,
    velocity_ratio, body,
    breakdown, leakage, linear_above, cgs, drain_gate, drain_source);

impl<L: Lane> Law<L, 2> for Mosfet<L> {
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let one = L::splat(1.0);
        let above = kelvin - L::splat(STATED_AT);
        let width = L::splat(2.0 * BOLTZMANN_OVER_CHARGE) * kelvin;
        let inverse_width = one / width;
        let inverse_n = one / self.slope_factor;
        let threshold = self.threshold + self.threshold_drift * above;
        let warm = Lane::pow(kelvin * L::splat(1.0 / STATED_AT), self.resistance_exponent);
        // At vds → 0 the conductance is n·β·A; the part states its inverse.
        let a = overdrive((self.on_gate - threshold) * inverse_n, width, inverse_width);
        let half_gain = L::splat(0.5) / (self.on_resistance * warm * a);
        AtTemperature {
            threshold,
            inverse_n,
            width,
            inverse_width,
            half_gain,
            // The mobility is that of the on-resistance.
            inverse_velocity: self.velocity_ratio * self.slope_factor / (self.on_gate - self.threshold)
                * slowing(kelvin)
                / warm,
            body: self.body_at(kelvin),
            leakage: self.leakage.at(kelvin),
            cgs: self.cgs,
            drain_gate: self.drain_gate,
            drain_source: self.drain_source,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let at_source = (vgs - at.threshold) * at.inverse_n;
        let a = overdrive(at_source, at.width, at.inverse_width);
        let b = overdrive(at_source - vds, at.width, at.inverse_width);
        at.around((a - b) * (a + b) * at.half_gain, [vds, vgs])
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

impl<L: Lane> AtTemperature<L> {
    /// Everything beside the channel's current, with it.
    #[inline(always)]
    fn around<S: Scalar<L>>(&self, channel: S, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let drain = channel - self.body.current(-vds) + vds * self.leakage;
        let qdg = self.drain_gate.charge(vds - vgs);
        let qds = self.drain_source.charge(vds);
        Flow { i: [drain, S::constant(L::splat(0.0))], q: [qdg + qds, vgs * self.cgs - qdg] }
    }
}

/// The same die whose carriers reach their highest velocity along the channel: with V = 2·v·L/μ the channel closes at
/// A·V/(A + V) and saturates at nβA²/2·V/(A + V) (Sodini, Ko & Moll, IEEE Trans. Electron Devices 31 (1984) 1386; from
/// memory). As in the JFET, the drain's voltage counts k = 1 + A/V times: I = (nβ/2k)·(A² − B²), B the same as A of
/// a − k·vds, so that the on-resistance stays. A is the overdrive at the end from which the carriers come. V goes as
/// the velocity and the inverse of the mobility.
#[derive(Clone, Copy, Debug)]
pub struct FastMosfet<L> {
    /// The die.
    pub die: Mosfet<L>,
}

lockstep!(FastMosfet: die);

impl<L: Lane> Law<L, 2> for FastMosfet<L> {
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        self.die.at_temperature(kelvin)
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let zero = L::splat(0.0);
        let at_source = (vgs - at.threshold) * at.inverse_n;
        let back = vds.value().lt(zero);
        let size = S::select(back, -vds, vds);
        let emits = S::select(back, at_source - vds, at_source);
        let a = overdrive(emits, at.width, at.inverse_width);
        let k = a * at.inverse_velocity + L::splat(1.0);
        let b = overdrive(emits - size * k, at.width, at.inverse_width);
        let channel = (a - b) * (a + b) * at.half_gain * k.recip();
        at.around(S::select(back, -channel, channel), [vds, vgs])
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &{
    let own = mosfet_params!("");
    crate::model::join::<45, 3, 48>(own, [Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM])
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let kelvin = v.kelvin("junction-temperature");
    let own = Prefixed { values: v, prefix: "" };
    let nodes = [pins[0], pins[1], pins[2]];
    let placed = place(circuit, name, nodes, &own, v.number("linear-above"), kelvin)?;
    let (vds, vgs) = (Probe::Voltage(pins[0], pins[2]), Probe::Voltage(placed.gate, pins[2]));
    let (lower, upper) = own.gate_limits();
    let mut limits = vec![("gate", vgs.clone(), lower, upper)];
    if let Some(rated) = v.maybe("rated-voltage") {
        limits.push(("voltage", vds.clone(), f64::NEG_INFINITY, rated));
    }
    let known = known_voltage(v.maybe("breakdown-voltage"), v.maybe("rated-voltage"));
    let avalanche = Avalanche::of("mosfet", &own, vds.clone(), placed.current.clone());
    Ok(Built {
        avalanches: avalanche.into_iter().collect(),
        known: vec![("voltage", vds.clone(), f64::NEG_INFINITY, known)],
        dies: vec![("mosfet", placed.die)],
        hottest: vec![("mosfet", v.number("maximum-temperature"))],
        components: placed.components,
        quantities: vec![
            ("voltage", "drain-source voltage", vds),
            ("gate", "gate-source voltage at the die", vgs),
            ("current", "drain current without displacement", placed.current),
            ("power", "power dissipated", placed.heat),
        ],
        limits,
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "mosfet",
        pins: &["drain", "gate", "source"],
        params: PARAMS,
        help: "MOSFET with smooth channel, body diode, breakdown, leakage and charges that follow temperature",
        source: "Enz, Krummenacher & Vittoz, Analog Integr. Circuits Signal Process. 8 (1995) 83; Sodini, Ko & Moll, IEEE Trans. Electron Devices 31 (1984) 1386; Sze & Ng",
        dies: &[DieEntry {
            name: "mosfet",
            prefix: "",
            is: DieKind::Mosfet,
            blocks: true,
            on: Some(OnGate::Key("on-gate-voltage")),
        }],
        build,
    }
}
