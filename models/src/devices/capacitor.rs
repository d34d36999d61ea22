//! Capacitor, with series resistance where one is stated.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::model::{Built, Entry, Param, Range, Values, params};

const PARAMS: &[Param] = &params! {
    required "capacitance", "F", Range::Positive, "Capacitance";
    with "series-resistance", "ohm", 0.0, Range::NotNegative, "Equivalent series resistance";
    optional "initial-voltage", "V", Range::Any, "Voltage at the start; without it the operating point decides";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let mut components = Vec::new();
    let mut quantities =
        vec![("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1]))];
    let mut inner = pins[0];
    let mut dies = Vec::new();
    let resistance = v.number("series-resistance");
    if resistance > 0.0 {
        inner = circuit.node(&format!("{name}.inner"));
        let id = circuit.resistor(&format!("{name}.series"), pins[0], inner, resistance)?;
        components.push(id);
        dies.push(("capacitor", vec![id]));
        quantities.push(("current", "current from the first pin to the second", Probe::Conduction(id, 0)));
        quantities.push(("power", "power dissipated", Probe::Power(id)));
        quantities.push(("inner", "voltage of the capacitance alone", Probe::Voltage(inner, pins[1])));
    }
    let id = circuit.capacitor(name, inner, pins[1], v.number("capacitance"), v.maybe("initial-voltage"))?;
    components.push(id);
    Ok(Built { components, dies, quantities, ..Built::default() })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "capacitor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Constant capacitance with series resistance",
        source: "q = C v",
        dies: &[],
        build,
    }
}
