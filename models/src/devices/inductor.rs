//! Inductor with series resistance.

use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::error::CircuitError;

use crate::model::{Built, Entry, Param, Range, Values, params};

const PARAMS: &[Param] = &params! {
    required "inductance", "H", Range::Positive, "Inductance";
    with "series-resistance", "ohm", 0.0, Range::NotNegative, "Winding resistance";
    optional "initial-current", "A", Range::Any, "Current at the start; without it the operating point decides";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let (l, r) = (v.number("inductance"), v.number("series-resistance"));
    let id = circuit.inductor(name, pins[0], pins[1], l, r, v.maybe("initial-current"))?;
    Ok(Built::inductor(id, pins))
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "inductor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Constant inductance with series resistance",
        source: "v = L di/dt + R i",
        dies: &[],
        build,
    }
}
