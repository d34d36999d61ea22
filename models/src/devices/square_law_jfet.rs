//! The textbook JFET: square law and charges, without temperature.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::channel::square_law;
use crate::charge::Depletion;
use crate::model::{Built, Entry, Param, Range, Values, params};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
#[derive(Clone, Copy, Debug)]
pub struct SquareLawJfet<L> {
    /// Pinch-off voltage (gate-source, negative), V.
    pub pinch_off: L,
    /// 2β, A/V²: saturation current β·(vgs − Vp)².
    pub k: L,
    /// λ, 1/V.
    pub lambda: L,
    /// Charge of drain against gate.
    pub drain_gate: Depletion<L>,
    /// Charge of source against gate.
    pub source_gate: Depletion<L>,
    /// Drain-source capacitance, F.
    pub cds: L,
}

lockstep!(SquareLawJfet: pinch_off, k, lambda, drain_gate, source_gate, cds);

impl<L: Lane> Law<L, 2> for SquareLawJfet<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let channel = square_law(vds, vgs, at.pinch_off, at.k, at.lambda);
        let qdg = at.drain_gate.charge(vds - vgs);
        let qsg = at.source_gate.charge(-vgs);
        Flow { i: [channel, S::constant(L::splat(0.0))], q: [qdg + vds * at.cds, -(qdg + qsg)] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    required "pinch-off", "V", Range::Any, "Gate-source voltage that closes the channel (negative)";
    required "transconductance-factor", "A/V^2", Range::Positive,
        "K of the square law I = K/2 (Vgs - Vp)^2, as of the MOSFET: twice the `gain` of format 1";
    with "channel-length-modulation", "1/V", 0.0, Range::NotNegative, "lambda of the square law";
    with "gate-drain-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
    with "gate-source-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
    with "drain-source-capacitance", "F", 0.0, Range::NotNegative, "Constant";
    with "built-in-voltage", "V", 2.7, Range::Positive, "Built-in voltage of the depletion capacitances";
    with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitances";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let depletion =
        |key| Depletion::new(v.number(key), v.number("built-in-voltage"), v.number("depletion-exponent"));
    let law = SquareLawJfet {
        pinch_off: v.number("pinch-off"),
        k: v.number("transconductance-factor"),
        lambda: v.number("channel-length-modulation"),
        drain_gate: depletion("gate-drain-capacitance"),
        source_gate: depletion("gate-source-capacitance"),
        cds: v.number("drain-source-capacitance"),
    };
    let id = circuit.law(name, "square-law-jfet", pins, law, crate::model::STATED_AT)?;
    Ok(Built {
        components: vec![id],
        dies: vec![("jfet", vec![id])],
        quantities: vec![
            ("voltage", "drain-source voltage", Probe::Voltage(pins[0], pins[2])),
            ("gate", "gate-source voltage", Probe::Voltage(pins[1], pins[2])),
            ("current", "drain current without displacement", Probe::Conduction(id, 0)),
            ("power", "power dissipated", Probe::Power(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "square-law-jfet",
        pins: &["drain", "gate", "source"],
        params: PARAMS,
        help: "Textbook JFET with depletion charges; no temperature, no gate junction",
        source: "Square law as Shichman & Hodges, IEEE JSSC SC-3 (1968) 285",
        dies: &[],
        build,
    }
}
