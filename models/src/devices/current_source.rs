//! Independent current source.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::course::{course, params};
use crate::model::{Built, Entry, Param, Values};

const PARAMS: &[Param] = &params("A");

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let wave = circuit.wave(course(name, v)?);
    let id = circuit.current_source(name, pins[0], pins[1], wave)?;
    Ok(Built {
        components: vec![id],
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            (
                "current",
                "current from the first pin through the source to the second",
                Probe::Conduction(id, 0),
            ),
        ],
        waves: vec![("value", wave)],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "current-source",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Ideal current source: constant, points, sine, ramp, or set by a controller",
        source: "i = course(t), from a to b",
        dies: &[],
        build,
    }
}
