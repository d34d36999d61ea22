//! Resistor: the specimen of a model file.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::trouble::CircuitTrouble;

use crate::model::{Built, Entry, Param, Range, Values};

const PARAMS: &[Param] = &[Param::required("resistance", "ohm", Range::Positive, "Resistance")];

fn build<L: Lane>(
    circuit: &mut Circuit<L>,
    name: &str,
    pins: &[NodeId],
    v: &Values<L>,
) -> Result<Built, CircuitTrouble> {
    let id = circuit.resistor(name, pins[0], pins[1], v.number("resistance"))?;
    Ok(Built {
        components: vec![id],
        dies: vec![("resistor", vec![id])],
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            ("current", "current from the first pin to the second", Probe::Conduction(id, 0)),
            ("heat", "power turned into heat", Probe::Heat(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry<L: Lane>() -> Entry<L> {
    Entry {
        kind: "resistor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Constant resistance",
        source: "Ohm's law",
        build: build::<L>,
    }
}
