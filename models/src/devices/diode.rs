//! Junction diode with series resistance, depletion charge and, where their parameters are given, reverse recovery and
//! leakage through a Schottky barrier.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;
use joulestep_engine::lockstep;

use crate::base::{Base, BaseJunction, Stores};
use crate::charge::Depletion;
use crate::devices::resistor::{self, WarmResistor};
use crate::emission::BarrierLeakage;
use crate::junction::{Breakdown, Junction, saturation_at};
use crate::model::{
    Avalanche, BOLTZMANN_OVER_CHARGE, Built, DieEntry, DieKind, Entry, Param, Prefixed, Range, Values, bad,
    join, known_voltage, params,
};
use crate::recovery::{StoringJunction, Times, recovery_params};

/// The law; pins anode, cathode. Local unknown: the forward voltage in V.
#[derive(Clone, Copy, Debug)]
pub struct Diode<L> {
    /// Saturation current at 25 °C, A.
    pub saturation: L,
    /// Ideality factor n.
    pub ideality: L,
    /// Energy gap that drives the saturation current, in eV.
    pub gap: L,
    /// Power of the absolute temperature in the saturation current.
    pub power: L,
    /// Breakdown.
    pub breakdown: Option<Breakdown<L>>,
    /// Current above which the exponential is linear, A.
    pub linear_above: L,
    /// Leakage conductance, S.
    pub leakage: L,
    /// Charge against reverse voltage.
    pub depletion: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct AtTemperature<L> {
    junction: Junction<L>,
    leakage: L,
    depletion: Depletion<L>,
}

impl<L: Lane> Diode<L> {
    /// The same diode with stored charge.
    pub fn storing(&self, times: Times<L>) -> StoringJunction<L> {
        let Self { saturation, ideality, gap, power, breakdown, linear_above, leakage, depletion } = *self;
        StoringJunction {
            saturation,
            ideality,
            gap,
            power,
            times,
            breakdown,
            linear_above,
            leakage,
            depletion,
        }
    }
}

lockstep!(Diode: saturation, ideality, gap, power, breakdown, linear_above, leakage, depletion);

impl<L: Lane> Law<L, 1> for Diode<L> {
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let saturation = saturation_at(kelvin, self.saturation, self.ideality, self.gap, self.power);
        let scale = self.ideality * kelvin * L::splat(BOLTZMANN_OVER_CHARGE);
        let junction =
            Junction::new(saturation, scale, self.linear_above, self.breakdown.map(|b| b.at(kelvin)));
        AtTemperature { junction, leakage: self.leakage, depletion: self.depletion }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [v]: [S; 1]) -> Flow<S, 1> {
        let i = at.junction.current(v) + v * at.leakage;
        Flow { i: [i], q: [-at.depletion.charge(-v)] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}

/// Puts the junction between anode and cathode: with stored charge and base where their numbers are given.
pub(crate) fn place(
    circuit: &mut Circuit<f64>,
    name: &str,
    nodes: [NodeId; 2],
    law: &Diode<f64>,
    stores: Stores,
    kelvin: f64,
) -> Result<ComponentId, CircuitError> {
    match stores {
        (None, _) => circuit.law(name, "diode", &nodes, *law, kelvin),
        (Some(times), None) => circuit.law(name, "diode", &nodes, law.storing(times), kelvin),
        (Some(times), Some(base)) => {
            let law = BaseJunction { junction: law.storing(times), base };
            circuit.law(name, "diode", &nodes, law, kelvin)
        }
    }
}

const OWN: [Param; 21] = params! {
    required "saturation-current", "A", Range::Positive, "Saturation current at 25 degC";
    with "ideality", "1", 1.0, Range::Between(0.5, 10.0), "Ideality factor n";
    with "gap", "eV", 1.12, Range::Between(0.1, 10.0),
        "Energy that drives the saturation current (1.12 Si; barrier height of a Schottky diode)";
    with "saturation-power", "1", 3.0, Range::Any,
        "Power of absolute temperature in the saturation current (3 p-n, 2 Schottky)";
    with "series-resistance", "ohm", 0.0, Range::NotNegative, "Series resistance at 25 degC";
    with "resistance-coefficient", "1/K", 0.0, Range::Any, "Relative change of the series resistance per kelvin";
    with "capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
    with "built-in-voltage", "V", 0.8, Range::Positive, "Built-in voltage of the depletion capacitance";
    with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitance";
    with "leakage-conductance", "S", 0.0, Range::NotNegative, "Leakage that does not follow temperature";
    optional "contact-field", "V/m", Range::Positive,
        "Field at a Schottky contact at the rated voltage; with it comes leakage over and through the barrier (`gap`)";
    with "tunnelling-mass", "1", 0.2, Range::Between(0.01, 10.0),
        "Mass of what tunnels through the barrier, over the electron's";
    optional "breakdown-voltage", "V", Range::Positive, "Reverse voltage at the breakdown current";
    with "breakdown-slope-voltage", "V", 1.0, Range::Positive, "Voltage per factor e of breakdown current";
    with "breakdown-current", "A", 1e-3, Range::Positive, "Current at the breakdown voltage";
    with "breakdown-drift", "1/K", 0.0, Range::Any, "Relative change of the breakdown voltage with temperature";
    with "breakdown-resistance", "ohm", 0.0, Range::NotNegative,
        "Space-charge resistance in breakdown at 25 degC: W^2/(2 eps v A)";
    optional "rated-voltage", "V", Range::Positive, "Rated reverse voltage";
    + Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM;
};
const PARAMS: &[Param] = &join::<21, 8, 29>(OWN, recovery_params!(""));

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let own = Prefixed { values: v, prefix: "" };
    let law = Diode {
        saturation: v.number("saturation-current"),
        ideality: v.number("ideality"),
        gap: v.number("gap"),
        power: v.number("saturation-power"),
        breakdown: Breakdown::of(&own),
        linear_above: v.number("linear-above"),
        leakage: v.number("leakage-conductance"),
        depletion: Depletion::new(
            v.number("capacitance"),
            v.number("built-in-voltage"),
            v.number("depletion-exponent"),
        ),
    };
    let kelvin = v.kelvin("junction-temperature");
    law.at_temperature(kelvin).junction.check(name)?;
    let resistance = v.number("series-resistance");
    let mut components = Vec::new();
    let mut anode = pins[0];
    let mut heat = Vec::new();
    if resistance > 0.0 {
        let inner = circuit.node(&format!("{name}.junction"));
        let series = WarmResistor { resistance, coefficient: v.number("resistance-coefficient") };
        let id = resistor::place(circuit, &format!("{name}.series"), [anode, inner], series, kelvin)?;
        anode = inner;
        components.push(id);
        heat.push((1.0, Probe::Power(id)));
    }
    let nodes = [anode, pins[1]];
    let id = place(circuit, name, nodes, &law, Base::given(name, &own, "")?, kelvin)?;
    components.push(id);
    heat.push((1.0, Probe::Power(id)));
    let mut current = Probe::Conduction(id, 0);
    if let Some(field) = v.maybe("contact-field") {
        let at = v.maybe("rated-voltage").ok_or_else(|| {
            bad(name, "`contact-field` is given without `rated-voltage`, at which it is the field")
        })?;
        let barrier = BarrierLeakage {
            saturation: law.saturation,
            barrier: law.gap,
            power: law.power,
            field,
            at,
            built_in: v.number("built-in-voltage"),
            mass: v.number("tunnelling-mass"),
        };
        let id = circuit.law(&format!("{name}.barrier"), "diode", &[pins[1], anode], barrier, kelvin)?;
        components.push(id);
        heat.push((1.0, Probe::Power(id)));
        current = Probe::Sum(vec![(1.0, current), (-1.0, Probe::Conduction(id, 0))]);
    }
    let voltage = Probe::Voltage(pins[0], pins[1]);
    let rated = v.maybe("rated-voltage").map(|rated| -rated);
    let known = -known_voltage(v.maybe("breakdown-voltage"), v.maybe("rated-voltage"));
    let reverse = Probe::Voltage(pins[1], anode);
    let avalanche = Avalanche::of("diode", &own, reverse, current.clone());
    Ok(Built {
        avalanches: avalanche.into_iter().collect(),
        known: vec![("voltage", voltage.clone(), known, f64::INFINITY)],
        dies: vec![("diode", components.clone())],
        hottest: vec![("diode", v.number("maximum-temperature"))],
        limits: rated.map(|rated| ("voltage", voltage.clone(), rated, f64::INFINITY)).into_iter().collect(),
        components,
        quantities: vec![
            ("voltage", "anode-cathode voltage", voltage),
            ("current", "forward current without displacement", current),
            ("power", "power dissipated", Probe::Sum(heat)),
        ],
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "diode",
        pins: &["anode", "cathode"],
        params: PARAMS,
        help: "Junction or Schottky diode with series resistance and depletion charge; where given: reverse and forward recovery, leakage through its barrier",
        source: "Shockley 1949; Sze & Ng, Physics of Semiconductor Devices, 3rd ed., ch. 2 and 3; Lauritzen & Ma, IEEE Trans. Power Electron. 6 (1991) 188; Padovani & Stratton, Solid-State Electron. 9 (1966) 695",
        dies: &[DieEntry { name: "diode", prefix: "", is: DieKind::Diode, blocks: true, on: None }],
        build,
    }
}
