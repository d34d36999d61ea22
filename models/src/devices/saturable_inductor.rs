//! Inductor whose core saturates.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, NodeId, Stated};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Built, Entry, Param, Range, STATED_AT, Values, bad, params};

/// λ = L_s·i + (L₀ − L_s)·i/√(1 + (i/I_s)²): the inductance dλ/di falls from L₀ at no current to L_s far beyond I_s, by
/// (1 + (i/I_s)²)^(−3/2), smoothly and odd in i. Stored: ½L_s·i² + (L₀ − L_s)·I_s²·(1 − 1/√(1 + (i/I_s)²)). Pins a, b;
/// local unknowns: the voltage in V, the current in A.
#[derive(Clone, Copy, Debug)]
pub struct SaturableInductor<L> {
    /// L_s, H.
    pub saturated: L,
    /// L₀ − L_s, H.
    pub core: L,
    /// 1/I_s², 1/A².
    pub inverse_square: L,
    /// Resistance of the winding, Ω.
    pub resistance: L,
}

lockstep!(SaturableInductor: saturated, core, inverse_square, resistance);

impl<L: Lane> Law<L, 2> for SaturableInductor<L> {
    const INTERNAL: usize = 1;
    const ABSOLUTE_TOLERANCE: f64 = 1e-9;
    const CURRENTS: bool = true;
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v, i]: [S; 2]) -> Flow<S, 2> {
        let one = S::constant(L::splat(1.0));
        let share = (one + i * i * at.inverse_square).sqrt().recip();
        let flux = i * at.saturated + i * share * at.core;
        Flow { i: [i, i * at.resistance - v], q: [S::constant(L::splat(0.0)), flux] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    required "inductance", "H", Range::Positive, "Inductance without current";
    required "saturated-inductance", "H", Range::Positive, "Inductance far beyond saturation: that of the winding in air";
    required "saturation-current", "A", Range::Positive,
        "Current at which the core's part of the inductance has fallen to 35 % (2^-1.5)";
    with "series-resistance", "ohm", 0.0, Range::NotNegative, "Winding resistance";
    optional "initial-current", "A", Range::Any, "Current at the start; without it the operating point decides";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let (most, least) = (v.number("inductance"), v.number("saturated-inductance"));
    if least > most {
        let what = format!("`saturated-inductance` is {least} H, above `inductance` of {most} H");
        return Err(bad(name, what));
    }
    let law = SaturableInductor {
        saturated: least,
        core: most - least,
        inverse_square: v.number("saturation-current").powi(-2),
        resistance: v.number("series-resistance"),
    };
    let id = circuit.law(name, "saturable-inductor", pins, law, STATED_AT)?;
    circuit.components[id.0 as usize].stated = v.maybe("initial-current").map(|i| Stated::Current(0, i));
    Ok(Built::inductor(id, pins))
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "saturable-inductor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Inductor whose inductance falls as its core saturates, without hysteresis",
        source: "dλ/di = L_s + (L₀ − L_s)·(1 + (i/I_s)²)^(−3/2); v = dλ/dt + R·i",
        dies: &[],
        build,
    }
}
