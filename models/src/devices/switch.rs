//! Ideal timed switch: one of two resistances, thrown by a sequence or a controller.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::model::{Built, Entry, Param, Range, Values, above, bad, params};

const PARAMS: &[Param] = &params! {
    with "on-resistance", "ohm", 1e-3, Range::Positive, "Resistance while on";
    with "off-resistance", "ohm", 1e7, Range::Positive, "Resistance while off";
    with "initial-state", "1", 0.0, Range::Any, "State at the start: 0 is off, 1 is on";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let state = v.number("initial-state");
    if state != 0.0 && state != 1.0 {
        return Err(bad(name, format!("`initial-state` is {state}, expected 0 (off) or 1 (on)")));
    }
    let (on, off) = (v.number("on-resistance"), v.number("off-resistance"));
    if !above(on, 0.0) || !above(off, 0.0) {
        return Err(bad(name, "a resistance is not above zero"));
    }
    let choice = circuit.choice(vec![1.0 / off, 1.0 / on], state as usize);
    let id = circuit.chosen_resistor(name, "switch", pins[0], pins[1], choice)?;
    Ok(Built {
        components: vec![id],
        dies: vec![("switch", vec![id])],
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            ("current", "current from the first pin to the second", Probe::Conduction(id, 0)),
            ("power", "power dissipated", Probe::Power(id)),
        ],
        choices: vec![("state", choice)],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "switch",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Ideal switch with on and off resistance, thrown at stated instants or by a controller",
        source: "two resistances",
        dies: &[],
        build,
    }
}
