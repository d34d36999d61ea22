//! The four linear controlled sources.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::model::{Built, Entry, Param, Range, params};

const PINS: &[&str] = &["a", "b", "sense-a", "sense-b"];
const SOURCE: &str = "linear two-port; the sensing pair is open (voltage) or an ideal ammeter (current)";

type Add = fn(&mut Circuit<f64>, &str, [NodeId; 4], f64) -> Result<ComponentId, CircuitError>;

fn add(
    circuit: &mut Circuit<f64>,
    name: &str,
    pins: &[NodeId],
    gain: f64,
    add: Add,
) -> Result<Built, CircuitError> {
    let id = add(circuit, name, [pins[0], pins[1], pins[2], pins[3]], gain)?;
    Ok(Built {
        components: vec![id],
        quantities: vec![
            ("voltage", "output voltage", Probe::Voltage(pins[0], pins[1])),
            ("current", "output current, from the first pin through the source", Probe::Conduction(id, 0)),
        ],
        ..Built::default()
    })
}

const VOLTAGE_GAIN: &[Param] = &params! {
    required "gain", "1", Range::Any, "Output voltage per sensed voltage";
};
const TRANSCONDUCTANCE: &[Param] = &params! {
    required "transconductance", "S", Range::Any, "Output current per sensed voltage";
};
const TRANSRESISTANCE: &[Param] = &params! {
    required "transresistance", "ohm", Range::Any, "Output voltage per sensed current";
};
const CURRENT_GAIN: &[Param] = &params! {
    required "gain", "1", Range::Any, "Output current per sensed current";
};

/// The line of the catalogue: v_a − v_b = gain·v_sense.
pub const fn voltage_by_voltage() -> Entry {
    Entry {
        kind: "voltage-controlled-voltage",
        pins: PINS,
        params: VOLTAGE_GAIN,
        help: "Voltage source controlled by a voltage",
        source: SOURCE,
        dies: &[],
        build: |c, name, pins, v| add(c, name, pins, v.number("gain"), Circuit::voltage_controlled_voltage),
    }
}

/// The line of the catalogue: i = transconductance·v_sense.
pub const fn current_by_voltage() -> Entry {
    Entry {
        kind: "voltage-controlled-current",
        pins: PINS,
        params: TRANSCONDUCTANCE,
        help: "Current source controlled by a voltage",
        source: SOURCE,
        dies: &[],
        build: |c, name, pins, v| {
            add(c, name, pins, v.number("transconductance"), Circuit::voltage_controlled_current)
        },
    }
}

/// The line of the catalogue: v_a − v_b = transresistance·i_sense.
pub const fn voltage_by_current() -> Entry {
    Entry {
        kind: "current-controlled-voltage",
        pins: PINS,
        params: TRANSRESISTANCE,
        help: "Voltage source controlled by a current",
        source: SOURCE,
        dies: &[],
        build: |c, name, pins, v| {
            add(c, name, pins, v.number("transresistance"), Circuit::current_controlled_voltage)
        },
    }
}

/// The line of the catalogue: i = gain·i_sense.
pub const fn current_by_current() -> Entry {
    Entry {
        kind: "current-controlled-current",
        pins: PINS,
        params: CURRENT_GAIN,
        help: "Current source controlled by a current",
        source: SOURCE,
        dies: &[],
        build: |c, name, pins, v| add(c, name, pins, v.number("gain"), Circuit::current_controlled_current),
    }
}
