//! Metal-oxide varistor.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::model::{Built, Entry, Param, Range, STATED_AT, Surge, Values, above, bad, params};

/// I = |V/K|^(1/b) with the sign of V, besides a leakage conductance and a parallel capacitance; linear above a stated
/// current. Its voltage at a given current changes with temperature by a coefficient (IEC 61051-1, 2.2: a few 10⁻⁴ per
/// kelvin, falling; from memory). Pins a, b. Local unknown: the voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct Varistor<L> {
    /// 1/b.
    alpha: L,
    /// ln K².
    log_k2: L,
    inverse_k: L,
    /// Below this voltage the power law carries less than 1e-18 A and is left out.
    least: L,
    /// Above this voltage it is linear.
    most: L,
    leakage: L,
    capacitance: L,
    /// Relative change of the voltage at a given current, 1/K.
    coefficient: L,
}

impl<L: Lane> Varistor<L> {
    /// V = K·I^b through two points (V, A) of the characteristic: b = ln(V₂/V₁)/ln(I₂/I₁), K = V₁/I₁^b; with leakage
    /// conductance (S), capacitance (F) and the current above which it continues linearly (A).
    pub fn through(points: [(L, L); 2], leakage: L, capacitance: L, linear_above: L) -> Self {
        let [(v1, i1), (v2, i2)] = points;
        let b = (v2.ln() - v1.ln()) / (i2.ln() - i1.ln());
        let log_k = v1.ln() - b * i1.ln();
        Self {
            alpha: L::splat(1.0) / b,
            log_k2: L::splat(2.0) * log_k,
            inverse_k: (-log_k).exp(),
            least: (log_k + b * L::splat(1e-18).ln()).exp(),
            most: (log_k + b * linear_above.ln()).exp(),
            leakage,
            capacitance,
            coefficient: L::splat(0.0),
        }
    }

    /// The same with a relative change of its voltage per kelvin, 1/K.
    pub fn drifting(self, coefficient: L) -> Self {
        Self { coefficient, ..self }
    }

    /// The same with all voltages of its power law times a factor.
    pub fn stretched(self, factor: L) -> Self {
        Self {
            log_k2: self.log_k2 + L::splat(2.0) * factor.ln(),
            inverse_k: self.inverse_k / factor,
            least: self.least * factor,
            most: self.most * factor,
            ..self
        }
    }

    /// The exponent b and the voltage K at 1 A, V.
    pub fn b_and_k(&self) -> (L, L) {
        let one = L::splat(1.0);
        (one / self.alpha, one / self.inverse_k)
    }

    /// The power law's current.
    #[inline(always)]
    fn current<S: Scalar<L>>(&self, v: S) -> S {
        let zero = L::splat(0.0);
        let u = v.value();
        let quiet = u.abs().lt(self.least);
        if L::all(quiet) {
            return v.mapped(zero, zero);
        }
        let held = u.max(-self.most).min(self.most);
        // I/V = (V²/K²)^((1/b − 1)/2)/K: odd in V without a branch.
        let power = (self.alpha - L::splat(1.0)) * L::splat(0.5);
        let chord = (power * ((held * held).ln() - self.log_k2)).exp() * self.inverse_k;
        let slope = self.alpha * chord;
        let value = chord * held + slope * (u - held);
        v.mapped(L::select(quiet, zero, value), L::select(quiet, zero, slope))
    }
}

lockstep!(Varistor: alpha, log_k2, inverse_k, least, most, leakage, capacitance, coefficient);

impl<L: Lane> Law<L, 1> for Varistor<L> {
    type AtTemperature = Self;

    fn at_temperature(&self, kelvin: L) -> Self {
        let factor = L::splat(1.0) + self.coefficient * (kelvin - L::splat(STATED_AT));
        // However hot, a tenth of it is left.
        self.stretched(factor.max(L::splat(0.1)))
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &Self, [v]: [S; 1]) -> Flow<S, 1> {
        Flow { i: [at.current(v) + v * at.leakage], q: [v * at.capacitance] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

const PARAMS: &[Param] = &params! {
    required "varistor-voltage", "V", Range::Positive, "Voltage at the varistor current";
    with "varistor-current", "A", 1e-3, Range::Positive, "Current at the varistor voltage";
    required "clamping-voltage", "V", Range::Positive, "Voltage at the clamping current";
    required "clamping-current", "A", Range::Positive, "Current at the clamping voltage";
    with "leakage-resistance", "ohm", 1e9, Range::Positive, "Resistance at low voltage";
    with "series-resistance", "ohm", 0.0, Range::NotNegative,
        "Resistance of grains and leads; its drop is part of the clamping voltage";
    with "series-inductance", "H", 0.0, Range::NotNegative, "Inductance of the leads and the clamp's loop";
    with "capacitance", "F", 0.0, Range::NotNegative, "Parallel capacitance";
    with "temperature-coefficient", "1/K", 0.0, Range::Any,
        "Relative change of the voltage at a given current per kelvin from 25 degC";
    optional "disc-height", "m", Range::Positive,
        "Height of the ceramic: with it comes the higher voltage at steep fronts (IEEE WG 3.4.11, 1992)";
    optional "rated-energy", "J", Range::Positive, "Energy that it takes in one surge";
    optional "peak-current", "A", Range::Positive, "Largest surge current that it carries";
    optional "mean-power", "W", Range::Positive, "Mean power that it takes in repeated surges";
    with "linear-above", "A", 1e5, Range::Positive, "Current above which the power law continues linearly";
};

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let (v1, i1) = (v.number("varistor-voltage"), v.number("varistor-current"));
    let (v2, i2) = (v.number("clamping-voltage"), v.number("clamping-current"));
    let (r, l) = (v.number("series-resistance"), v.number("series-inductance"));
    let inner_v2 = v2 - r * i2;
    if !above(i2, i1) || !above(inner_v2, v1) {
        let what = format!(
            "{v2} V at {i2} A (less the drop of the series resistance) does not lie above {v1} V at {i1} A"
        );
        return Err(bad(name, what));
    }
    let leakage = 1.0 / v.number("leakage-resistance");
    let law = Varistor::through(
        [(v1, i1), (inner_v2, i2)],
        leakage,
        v.number("capacitance"),
        v.number("linear-above"),
    );
    let mut components = Vec::new();
    let mut heat = Vec::new();
    let mut inner = pins[0];
    let mut current = None;
    if l > 0.0 || r > 0.0 {
        inner = circuit.node(&format!("{name}.inner"));
        let lead = format!("{name}.lead");
        let id = if l > 0.0 {
            let id = circuit.inductor(&lead, pins[0], inner, l, r, None)?;
            current = Some(Probe::Branch(id, 0));
            id
        } else {
            let id = circuit.resistor(&lead, pins[0], inner, r)?;
            current = Some(Probe::Conduction(id, 0));
            id
        };
        components.push(id);
        heat.push((1.0, Probe::Power(id)));
    }
    let law = law.drifting(v.number("temperature-coefficient"));
    let (mut body, mut body_law, mut front_current) = (inner, law, None);
    if let Some(height) = v.maybe("disc-height") {
        let (node, added) = front(circuit, name, [inner, pins[1]], law, height)?;
        (body, body_law) = (node, Varistor { capacitance: 0.0, ..law });
        front_current = Some(Probe::Conduction(added[0], 0));
        heat.extend(added.iter().map(|&id| (1.0, Probe::Power(id))));
        components.extend(added);
    }
    let id = circuit.law(name, "varistor", &[body, pins[1]], body_law, STATED_AT)?;
    components.push(id);
    heat.push((1.0, Probe::Power(id)));
    let conduction = match front_current {
        None => Probe::Conduction(id, 0),
        Some(front) => Probe::Sum(vec![(1.0, Probe::Conduction(id, 0)), (1.0, front)]),
    };
    let current = current.unwrap_or_else(|| conduction.clone());
    let mut limits = Vec::new();
    if let Some(peak) = v.maybe("peak-current") {
        limits.push(("current", current.clone(), -peak, peak));
    }
    let surge = Surge { energy: v.maybe("rated-energy"), power: v.maybe("mean-power") };
    Ok(Built {
        limits,
        surge,
        dies: vec![("varistor", components.clone())],
        components,
        quantities: vec![
            ("voltage", "voltage of the first pin against the second", Probe::Voltage(pins[0], pins[1])),
            ("current", "current from the first pin to the second", current),
            (
                "conduction",
                "current of the clamp itself, without that of its parallel capacitance",
                conduction,
            ),
            ("power", "power dissipated", Probe::Sum(heat)),
        ],
        clamps: Some(Probe::Conduction(id, 0)),
        ..Built::default()
    })
}

/// The voltage at the front of A₀ over that of the body A₁ at one current: 1.23 to 1.30 from 100 A to 20 kA in the table
/// of the working group (from memory).
const FRONT: f64 = 1.25;

/// What makes the voltage at a steep front higher: A₀ at the terminals, and the slow body, A₁, behind 15 µH and 65 Ω in
/// parallel per metre of height (IEEE Working Group 3.4.11, IEEE Trans. Power Delivery 7 (1992) 302; from memory). The
/// numbers are those of station arresters, so that for a disc of a few millimetres they are extrapolated. Returns the
/// body's node, and what was added, A₀ first.
fn front(
    circuit: &mut Circuit<f64>,
    name: &str,
    [inner, other]: [NodeId; 2],
    law: Varistor<f64>,
    height: f64,
) -> Result<(NodeId, Vec<ComponentId>), CircuitError> {
    let at_once = Varistor { leakage: 0.0, ..law.stretched(FRONT) };
    let body = circuit.node(&format!("{name}.body"));
    let of = |what: &str| format!("{name}.{what}");
    let added = vec![
        circuit.law(&of("front"), "varistor", &[inner, other], at_once, STATED_AT)?,
        circuit.inductor(&of("filter-inductor"), inner, body, 15e-6 * height, 0.0, None)?,
        circuit.resistor(&of("filter-resistor"), inner, body, 65.0 * height)?,
    ];
    Ok((body, added))
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "varistor",
        pins: &["a", "b"],
        params: PARAMS,
        help: "Metal-oxide varistor: power law through two points of the data sheet",
        source: "V = K I^b (IEC 61643-331); steep fronts: IEEE Working Group 3.4.11, IEEE Trans. Power Delivery 7 (1992) 302",
        dies: &[],
        build,
    }
}
