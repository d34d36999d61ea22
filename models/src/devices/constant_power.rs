//! Constant-power load.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Built, Entry, Param, Range, STATED_AT, Values, params};

/// i = P/v from a minimum voltage on; below it i = (P·v/V²)·(1 + (1−s) + (1−s)²) with s = (v/V)², the first terms of
/// 1/s about s = 1, so that the current is C² and ohmic (V²/3P) around zero. Odd in v. Pins a, b; local unknown: v.
#[derive(Clone, Copy, Debug)]
pub struct ConstantPower<L> {
    /// P/V², S.
    pub conductance: L,
    /// 1/V², 1/V².
    pub inverse_square: L,
}

lockstep!(ConstantPower: conductance, inverse_square);

impl<L: Lane> Law<L, 1> for ConstantPower<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let (one, two) = (L::splat(1.0), L::splat(2.0));
        let u = v.value();
        let s = u * u * at.inverse_square;
        let above = s.ge(one);
        let inverse = one / s.max(one);
        let short = one - s.min(one);
        let shape = L::select(above, inverse, one + short + short * short);
        // d(u·shape)/du = shape + 2s·dshape/ds.
        let bend = L::select(above, -(inverse * inverse), -one - two * short);
        let slope = (shape + two * s * bend) * at.conductance;
        Flow { i: [v.mapped(u * shape * at.conductance, slope)], q: [S::constant(L::splat(0.0))] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    required "power", "W", Range::NotNegative, "Power drawn";
    required "minimum-voltage", "V", Range::Positive, "Below this voltage the load goes over to a resistance";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let (p, least) = (v.number("power"), v.number("minimum-voltage"));
    let inverse_square = 1.0 / (least * least);
    let law = ConstantPower { conductance: p * inverse_square, inverse_square };
    let id = circuit.law(name, "constant-power", pins, law, STATED_AT)?;
    Ok(Built {
        components: vec![id],
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            ("current", "current from the first pin to the second", Probe::Conduction(id, 0)),
            ("power", "power drawn", Probe::Power(id)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "constant-power",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Load of constant power, ohmic below a minimum voltage",
        source: "i = P/v",
        dies: &[],
        build,
    }
}
