//! Resistor: the specimen of a model file.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Built, Entry, Param, Range, STATED_AT, Values, params};

/// A resistance that follows its temperature: R·(1 + α·(T − 25 °C)), never below a hundredth of R. Pins a, b; local
/// unknown: the voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct WarmResistor<L> {
    /// Resistance at 25 °C, Ω.
    pub resistance: L,
    /// α, 1/K.
    pub coefficient: L,
}

lockstep!(WarmResistor: resistance, coefficient);

impl<L: Lane> Law<L, 1> for WarmResistor<L> {
    const RESISTANCE: bool = true;
    /// The conductance, S.
    type AtTemperature = L;

    fn at_temperature(&self, kelvin: L) -> L {
        let one = L::splat(1.0);
        let factor = one + self.coefficient * (kelvin - L::splat(STATED_AT));
        one / (self.resistance * factor.max(L::splat(0.01)))
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &L, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [v * *at], q: [S::constant(L::splat(0.0))] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// A resistance that follows the mobility of carriers: R·(T/298.15 K)^exponent. Pins a, b; local unknown: the voltage
/// in V.
#[derive(Clone, Copy, Debug)]
pub struct MobilityResistor<L> {
    /// Resistance at 25 °C, Ω.
    pub resistance: L,
    /// The exponent.
    pub exponent: L,
}

lockstep!(MobilityResistor: resistance, exponent);

impl<L: Lane> Law<L, 1> for MobilityResistor<L> {
    const RESISTANCE: bool = true;
    /// The conductance, S.
    type AtTemperature = L;

    fn at_temperature(&self, kelvin: L) -> L {
        L::splat(1.0) / (self.resistance * Lane::pow(kelvin * L::splat(1.0 / STATED_AT), self.exponent))
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &L, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [v * *at], q: [S::constant(L::splat(0.0))] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// Puts in a resistor: a constant one where the coefficient is zero, else one that follows its temperature.
pub(crate) fn place(
    circuit: &mut Circuit<f64>,
    name: &str,
    [a, b]: [NodeId; 2],
    law: WarmResistor<f64>,
    kelvin: f64,
) -> Result<ComponentId, CircuitError> {
    if law.coefficient == 0.0 {
        return circuit.resistor(name, a, b, law.resistance);
    }
    circuit.law(name, "resistor", &[a, b], law, kelvin)
}

const PARAMS: &[Param] = &params! {
    required "resistance", "ohm", Range::Positive, "Resistance at 25 degC";
    with "temperature-coefficient", "1/K", 0.0, Range::Any, "Relative change of the resistance per kelvin";
    + Param::TEMPERATURE;
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let law =
        WarmResistor { resistance: v.number("resistance"), coefficient: v.number("temperature-coefficient") };
    let id = place(circuit, name, [pins[0], pins[1]], law, v.kelvin("junction-temperature"))?;
    Ok(Built {
        components: vec![id],
        dies: vec![("resistor", vec![id])],
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            ("current", "current from the first pin to the second", Probe::Conduction(id, 0)),
            ("power", "power dissipated", Probe::Power(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "resistor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Resistance, constant or following its temperature",
        source: "Ohm's law",
        dies: &[],
        build,
    }
}
