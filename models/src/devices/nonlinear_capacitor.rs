//! Capacitor whose capacitance depends on its voltage: depletion law or table, kept as charge.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::lockstep::{Lockstep, lanes};
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::Stated;
use joulestep_engine::circuit::graph::{Circuit, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::charge::{Depletion, Pillars};
use crate::model::{Built, Entry, Param, Range, STATED_AT, Values, bad, params};
use crate::table::ChargeTable;

/// C = constant + C₀/(1+v/Vj)^m; pins a, b. Local unknown: the voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct DepletionCapacitor<L> {
    /// The constant part, F.
    pub constant: L,
    /// The depletion part.
    pub depletion: Depletion<L>,
}

lockstep!(DepletionCapacitor: constant, depletion);

impl<L: Lane> Law<L, 1> for DepletionCapacitor<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [S::constant(L::splat(0.0))], q: [at.depletion.charge(v) + v * at.constant] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// Capacitance from a table; pins a, b. Local unknown: the voltage in V.
#[derive(Clone, Debug)]
pub struct TableCapacitor<L> {
    /// The constant part, F.
    pub constant: L,
    /// The table.
    pub table: ChargeTable<L>,
}

lockstep!(TableCapacitor: constant, table);

impl<L: Lane> Law<L, 1> for TableCapacitor<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        self.clone()
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [S::constant(L::splat(0.0))], q: [at.table.charge(v) + v * at.constant] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// The pillars of a superjunction; pins n (drain), p. Local unknown: the voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct PillarCapacitor<L>(
    /// Their charge.
    pub Pillars<L>,
);

impl<L: Lane> Lockstep for PillarCapacitor<L> {
    type Of<K: Lane> = PillarCapacitor<K>;
    fn lockstep<K: Lane>(each: &[&Self]) -> Option<PillarCapacitor<K>> {
        lanes::<_, _, K>(each, |one| &one.0).map(PillarCapacitor)
    }
}

impl<L: Lane> Law<L, 1> for PillarCapacitor<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [S::constant(L::splat(0.0))], q: [at.0.charge(v)] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// What the stranded charge of a superjunction's pillars passes on its way; pins drain, pillar. Local unknown: the
/// voltage in V.
///
/// As the pillars deplete, some of their carriers are cut off in pockets and come out only when the field has grown;
/// on the way back they return at once. So each cycle loses this charge times the voltage that it takes, however slow
/// or fast the cycle is (Roig & Bauwens, IEEE Trans. Electron Devices 62 (2015) 3092; the loss: Fedison et al., APEC
/// 2014, 150; both from memory). i = G·(s(v − V) − s(−v)) + v·G·10⁻⁷, with s a ramp from 0 on that bends over one volt; G
/// charges the capacitance in a nanosecond, and what is stranded comes out by itself in ten milliseconds.
#[derive(Clone, Copy, Debug)]
pub struct Stranding<L> {
    conductance: L,
    voltage: L,
}

lockstep!(Stranding: conductance, voltage);

impl Stranding<f64> {
    /// From the voltage that the charge takes to come out (V) and the capacitance that holds it (F).
    pub(crate) fn new(voltage: f64, capacitance: f64) -> Self {
        Self { conductance: capacitance / 1e-9, voltage }
    }
}

impl<L: Lane> Law<L, 1> for Stranding<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, _kelvin: L) -> Self {
        *self
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        let [zero, one, three, four, most] = [0.0, 1.0, 3.0, 4.0, 0.6].map(L::splat);
        let ramp = |x: S| {
            let u = x.value();
            let bent = u.max(zero).min(one);
            let cube = bent * bent * bent;
            x.mapped(cube * bent * (one - most * bent) + (u.max(one) - one), cube * (four - three * bent))
        };
        let i = (ramp(v - at.voltage) - ramp(-v) + v * L::splat(1e-7)) * at.conductance;
        Flow { i: [i], q: [S::constant(L::splat(0.0))] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    with "constant-capacitance", "F", 0.0, Range::NotNegative, "Constant part";
    optional "capacitance", "F", Range::Positive, "Depletion capacitance at 0 V";
    with "built-in-voltage", "V", 0.8, Range::Positive, "Built-in voltage of the depletion capacitance";
    with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitance";
    table "table", ["V", "F"], Range::Positive, "Capacitance at ascending voltages, instead of the depletion law";
    optional "initial-voltage", "V", Range::Any, "Voltage at the start; without it the operating point decides";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    const KIND: &str = "nonlinear-capacitor";
    let kelvin = STATED_AT;
    let constant = v.number("constant-capacitance");
    let id = match (v.maybe("capacitance"), v.table("table")) {
        (Some(c0), []) => {
            let depletion = Depletion::new(c0, v.number("built-in-voltage"), v.number("depletion-exponent"));
            circuit.law(name, KIND, pins, DepletionCapacitor { constant, depletion }, kelvin)?
        }
        (None, points) if !points.is_empty() => {
            let table = ChargeTable::new(points).map_err(|what| bad(name, what))?;
            circuit.law(name, KIND, pins, TableCapacitor { constant, table }, kelvin)?
        }
        (None, _) => {
            return Err(bad(name, "nothing states the capacitance; expected `capacitance` or `table`"));
        }
        (Some(_), _) => return Err(bad(name, "`capacitance` and `table` exclude each other")),
    };
    circuit.components[id.0 as usize].stated = v.maybe("initial-voltage").map(Stated::Voltage);
    Ok(Built {
        components: vec![id],
        quantities: vec![(
            "voltage",
            "voltage of the first pin against the second",
            Probe::Voltage(pins[0], pins[1]),
        )],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "nonlinear-capacitor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Capacitance that depends on the voltage: depletion law or table",
        source: "Sze & Ng, Physics of Semiconductor Devices, 3rd ed., ch. 2; Fritsch & Carlson 1980",
        dies: &[],
        build,
    }
}
