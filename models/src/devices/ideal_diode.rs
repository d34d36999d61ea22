//! Ideal diode: two straight lines that meet at a threshold.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, Valve, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Built, Entry, Param, Range, Values, above, bad, params};

/// The law; pins anode, cathode. Local unknown: the forward voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct IdealDiode<L> {
    /// Voltage from which it conducts, V.
    pub threshold: L,
    /// What the conductance grows by there, S.
    pub on: L,
    /// Conductance below it, S.
    pub off: L,
}

lockstep!(IdealDiode: threshold, on, off);

impl<L: Lane> Law<L, 1> for IdealDiode<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    fn valve(at: &Self) -> Option<Valve> {
        let of = |x: L| (x == L::splat(x.lane(0))).then(|| x.lane(0));
        Some(Valve { threshold: of(at.threshold)?, on: of(at.on)?, off: of(at.off)? })
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let zero = S::constant(L::splat(0.0));
        let over = v - at.threshold;
        let lifted = S::select(over.value().gt(L::splat(0.0)), over * at.on, zero);
        Flow { i: [v * at.off + lifted], q: [zero] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    with "forward-voltage", "V", 0.0, Range::NotNegative, "Voltage from which it conducts";
    with "on-resistance", "ohm", 1e-3, Range::Positive, "Slope while it conducts";
    with "off-resistance", "ohm", 1e7, Range::Positive, "Resistance while it blocks";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let (on, off) = (v.number("on-resistance"), v.number("off-resistance"));
    if !above(on, 0.0) || !above(off - on, 0.0) {
        return Err(bad(name, "`off-resistance` must be above `on-resistance`, and both above zero"));
    }
    // While it conducts, the slope is the on-resistance's alone.
    let law = IdealDiode { threshold: v.number("forward-voltage"), on: 1.0 / on - 1.0 / off, off: 1.0 / off };
    let id = circuit.law(name, "ideal-diode", pins, law, 298.15)?;
    Ok(Built {
        dies: vec![("diode", vec![id])],
        components: vec![id],
        quantities: vec![
            ("voltage", "anode-cathode voltage", Probe::Voltage(pins[0], pins[1])),
            ("current", "forward current", Probe::Conduction(id, 0)),
            ("power", "power dissipated", Probe::Power(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "ideal-diode",
        pins: &["anode", "cathode"],
        params: PARAMS,
        help: "Ideal diode: a threshold and two resistances; with ideal switches alone a circuit is stepped by pieces",
        source: "two straight lines",
        dies: &[],
        build,
    }
}
