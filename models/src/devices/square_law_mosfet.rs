//! The textbook MOSFET: square law, body diode, breakdown, leakage and charges, without temperature.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::channel::square_law;
use crate::charge::Depletion;
use crate::junction::{Breakdown, Junction};
use crate::model::{Built, Entry, Param, Range, Values, params};

/// The law; pins drain, gate, source. Local unknowns: vds, vgs in V.
#[derive(Clone, Copy, Debug)]
pub struct SquareLawMosfet<L> {
    /// Threshold voltage, V.
    pub threshold: L,
    /// K, A/V².
    pub k: L,
    /// λ, 1/V.
    pub lambda: L,
    /// Body diode (source to drain) with the channel's breakdown.
    pub body: Junction<L>,
    /// Leakage conductance drain to source, S.
    pub leakage: L,
    /// Gate-source capacitance, F.
    pub cgs: L,
    /// Charge of drain against gate.
    pub drain_gate: Depletion<L>,
    /// Charge of drain against source.
    pub drain_source: Depletion<L>,
}

lockstep!(SquareLawMosfet: threshold, k, lambda, body, leakage, cgs, drain_gate, drain_source);

impl<L: Lane> Law<L, 2> for SquareLawMosfet<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [vds, vgs]: [S; 2]) -> Flow<S, 2> {
        let channel = square_law(vds, vgs, at.threshold, at.k, at.lambda);
        let drain = channel - at.body.current(-vds) + vds * at.leakage;
        let qdg = at.drain_gate.charge(vds - vgs);
        let qds = at.drain_source.charge(vds);
        Flow { i: [drain, S::constant(L::splat(0.0))], q: [qdg + qds, vgs * at.cgs - qdg] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    required "threshold", "V", Range::Any, "Threshold voltage";
    required "transconductance-factor", "A/V^2", Range::Positive, "K of the square law I = K/2 (Vgs - Vth)^2";
    with "channel-length-modulation", "1/V", 0.0, Range::NotNegative, "lambda of the square law";
    with "body-saturation-current", "A", 1e-9, Range::Positive, "Saturation current of the body diode";
    with "body-slope-voltage", "V", 0.031, Range::Positive, "nkT/q of the body diode";
    optional "breakdown-voltage", "V", Range::Positive, "Drain-source voltage at the breakdown current";
    with "breakdown-slope-voltage", "V", 0.25, Range::Positive, "Voltage per factor e of breakdown current";
    with "breakdown-current", "A", 1e-3, Range::Positive, "Current at the breakdown voltage";
    with "leakage-conductance", "S", 0.0, Range::NotNegative, "Drain-source leakage";
    with "gate-source-capacitance", "F", 0.0, Range::NotNegative, "Constant";
    with "gate-drain-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
    with "drain-source-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
    with "built-in-voltage", "V", 0.8, Range::Positive, "Built-in voltage of the depletion capacitances";
    with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitances";
    + Param::LINEAR_ABOVE;
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let breakdown = v.maybe("breakdown-voltage").map(|voltage| Breakdown {
        voltage,
        scale: v.number("breakdown-slope-voltage"),
        current: v.number("breakdown-current"),
        drift: 0.0,
        resistance: 0.0,
    });
    let body = Junction::new(
        v.number("body-saturation-current"),
        v.number("body-slope-voltage"),
        v.number("linear-above"),
        breakdown,
    );
    body.check(name)?;
    let depletion =
        |key| Depletion::new(v.number(key), v.number("built-in-voltage"), v.number("depletion-exponent"));
    let law = SquareLawMosfet {
        threshold: v.number("threshold"),
        k: v.number("transconductance-factor"),
        lambda: v.number("channel-length-modulation"),
        body,
        leakage: v.number("leakage-conductance"),
        cgs: v.number("gate-source-capacitance"),
        drain_gate: depletion("gate-drain-capacitance"),
        drain_source: depletion("drain-source-capacitance"),
    };
    let id = circuit.law(name, "square-law-mosfet", pins, law, crate::model::STATED_AT)?;
    Ok(Built {
        components: vec![id],
        dies: vec![("mosfet", vec![id])],
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
        kind: "square-law-mosfet",
        pins: &["drain", "gate", "source"],
        params: PARAMS,
        help: "Textbook MOSFET with body diode, breakdown and charges; no temperature",
        source: "Shichman & Hodges, IEEE JSSC SC-3 (1968) 285",
        dies: &[],
        build,
    }
}
