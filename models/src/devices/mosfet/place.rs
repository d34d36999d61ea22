//! Puts a MOSFET die into a circuit.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use super::{FastMosfet, Mosfet};
use crate::base::Base;
use crate::charge::{Depletion, Pillars};
use crate::devices::diode::{self, Diode};
use crate::devices::nonlinear_capacitor::{PillarCapacitor, Stranding};
use crate::devices::resistor::MobilityResistor;
use crate::junction::{Breakdown, Leakage};
use crate::model::{Prefixed, above, bad};

/// What a die became.
pub(crate) struct Placed {
    /// The node of the gate inside.
    pub gate: NodeId,
    /// All components.
    pub components: Vec<ComponentId>,
    /// Those that heat the die and follow its temperature.
    pub die: Vec<ComponentId>,
    /// Drain current without displacement.
    pub current: Probe,
    /// Power dissipated in the die.
    pub heat: Probe,
}

/// Saturation current (A), ideality factor and energy gap (eV) of the body diode.
fn body_of(v: &Prefixed) -> [f64; 3] {
    ["body-saturation-current", "body-ideality", "body-gap"].map(|key| v.number(key))
}

/// The law from parameters with a prefix; without the body diode where that lies beside it.
///
/// # Errors
/// When the gate voltage of the stated on-resistance does not turn the die on, or breakdown and body diode overlap.
fn law(
    name: &str,
    v: &Prefixed,
    linear_above: f64,
    kelvin: f64,
    beside: bool,
) -> Result<Mosfet<f64>, CircuitError> {
    let (threshold, on_gate) = (v.number("threshold"), v.number("on-gate-voltage"));
    if !above(on_gate, threshold) {
        let what = format!("`{}` is not above `{}`", v.key("on-gate-voltage"), v.key("threshold"));
        return Err(bad(name, what));
    }
    let depletion =
        |key| Depletion::new(v.number(key), v.number("built-in-voltage"), v.number("depletion-exponent"));
    let mut law = Mosfet {
        threshold,
        threshold_drift: v.number("threshold-drift"),
        slope_factor: v.number("slope-factor"),
        on_resistance: v.number("on-resistance") * (1.0 - v.number("drift-share")),
        on_gate,
        resistance_exponent: v.number("resistance-exponent"),
        velocity_ratio: v.number("velocity-ratio"),
        body: Some(body_of(v)),
        breakdown: Breakdown::of(v),
        leakage: Leakage::of(v),
        linear_above,
        cgs: v.number("gate-source-capacitance"),
        drain_gate: depletion("gate-drain-capacitance"),
        drain_source: depletion("drain-source-capacitance"),
    };
    law.body_at(kelvin).check(name)?;
    if beside {
        law.body = None;
    }
    Ok(law)
}

/// Puts the die and its internal gate resistance between `[drain, gate, source]`.
///
/// # Errors
/// As the law's parameters deserve.
pub(crate) fn place(
    circuit: &mut Circuit<f64>,
    name: &str,
    [drain, gate, source]: [NodeId; 3],
    v: &Prefixed,
    linear_above: f64,
    kelvin: f64,
) -> Result<Placed, CircuitError> {
    let above_zero = |x: f64| x > 0.0;
    let stores = Base::given(name, v, "body-")?;
    let beside = stores.0.is_some() || above_zero(v.number("body-resistance"));
    let law = law(name, v, linear_above, kelvin, beside)?;
    let mut components = Vec::new();
    let mut inner = gate;
    let resistance = v.number("gate-resistance");
    if above_zero(resistance) {
        inner = circuit.node(&format!("{name}.gate"));
        components.push(circuit.resistor(&format!("{name}.gate-resistor"), gate, inner, resistance)?);
    }
    // Everything but the drift region lies above it: channel, body diode and charges.
    let (mut die, mut drift) = (Vec::new(), None);
    let mut upper = drain;
    let share = v.number("drift-share");
    if above_zero(share) {
        upper = circuit.node(&format!("{name}.drift-region"));
        let resistance = v.number("on-resistance") * share;
        let law = MobilityResistor { resistance, exponent: v.number("drift-exponent") };
        drift = Some(circuit.law(&format!("{name}.drift"), "resistor", &[drain, upper], law, kelvin)?);
    }
    let nodes = [upper, inner, source];
    let channel = match law.velocity_ratio > 0.0 {
        true => circuit.law(name, "mosfet", &nodes, FastMosfet { die: law }, kelvin)?,
        false => circuit.law(name, "mosfet", &nodes, law, kelvin)?,
    };
    die.push(channel);
    let mut currents = vec![(1.0, Probe::Conduction(channel, 0))];
    if beside {
        let [saturation, ideality, gap] = body_of(v);
        let mut anode = source;
        let resistance = v.number("body-resistance");
        if above_zero(resistance) {
            anode = circuit.node(&format!("{name}.body-contact"));
            let law = MobilityResistor { resistance, exponent: v.number("body-resistance-exponent") };
            let what = format!("{name}.body-resistor");
            die.push(circuit.law(&what, "resistor", &[source, anode], law, kelvin)?);
        }
        let diode = Diode {
            saturation,
            ideality,
            gap,
            power: 3.0,
            breakdown: None,
            linear_above,
            leakage: 0.0,
            depletion: Depletion::new(0.0, 1.0, 0.5),
        };
        // Where the stored charge modulates the drift region, that region is the diode's own base.
        let nodes = [anode, if stores.1.is_some() { drain } else { upper }];
        let id = diode::place(circuit, &format!("{name}.body"), nodes, &diode, stores, kelvin)?;
        currents.push((1.0, Probe::Conduction(id, 1)));
        die.push(id);
    }
    die.extend(drift);
    let (voltage, width) = (v.number("pillar-voltage"), v.number("pillar-width"));
    let share = v.number("stranded-share").max(0.0);
    let (pillars, gate_pillars) = (v.number("pillar-capacitance"), v.number("pillar-gate-capacitance"));
    let mut charges = vec![
        ("pillars", pillars * (1.0 - share), upper, source),
        ("gate-pillars", gate_pillars, upper, inner),
    ];
    if above_zero(share * pillars) {
        let node = circuit.node(&format!("{name}.stranded"));
        let law = Stranding::new(v.number("stranded-voltage"), share * pillars);
        let what = format!("{name}.stranding");
        die.push(circuit.law(&what, "resistor", &[upper, node], law, kelvin)?);
        charges.push(("stranded-pillars", share * pillars, node, source));
    }
    components.extend(&die);
    for (what, capacitance, from, to) in charges {
        if above_zero(capacitance) {
            let law = PillarCapacitor(Pillars::new(capacitance, voltage, width));
            let kind = "nonlinear-capacitor";
            components.push(circuit.law(&format!("{name}.{what}"), kind, &[from, to], law, kelvin)?);
        }
    }
    let one_or_sum = |mut terms: Vec<(f64, Probe)>| match terms.len() {
        1 => terms.remove(0).1,
        _ => Probe::Sum(terms),
    };
    Ok(Placed {
        gate: inner,
        components,
        current: one_or_sum(currents),
        heat: one_or_sum(die.iter().map(|&id| (1.0, Probe::Power(id))).collect()),
        die,
    })
}
