//! The cascode: a normally-on JFET switched through its source by a low-voltage MOSFET, with the parasitics
//! between the two dies. It expands into components of its own.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, NodeId};
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::error::CircuitError;

use crate::devices::jfet::{self, Strips, jfet_params};
use crate::devices::mosfet::{self, mosfet_params};
use crate::model::{
    Avalanche, Built, DieEntry, DieKind, Entry, OnGate, Param, Prefixed, Range, Values, above, bad, join,
    known_voltage, params,
};

const OWN: [Param; 11] = params! {
    with "drain-inductance", "H", 0.0, Range::NotNegative, "Drain lead";
    with "source-inductance", "H", 0.0, Range::NotNegative, "Source lead, common to gate and power";
    with "jfet-gate-resistance", "ohm", 1.0, Range::Positive,
        "JFET gate to MOSFET source, resistance as measured at the gate: strips along the die and bond";
    with "jfet-gate-inductance", "H", 0.0, Range::NotNegative, "JFET gate to MOSFET source, inductance";
    optional "jfet-gate-limit", "V", Range::Positive, "Reverse gate-source voltage that the JFET tolerates";
    optional "middle-capacitance", "F", Range::Positive, "Added between middle node and MOSFET source";
    optional "rated-voltage", "V", Range::Positive, "Rated drain-source voltage of the cascode";
    optional "current-range", "A", Range::Positive,
        "Largest drain current, either way, that the channel's law covers";
    + Param::LINEAR_ABOVE, Param::TEMPERATURE, Param::MAXIMUM;
};
/// Quantity that the rated voltage bounds.
const DIE_VOLTAGE: &str = "die-voltage";
const PARAMS: &[Param] =
    &join::<73, 11, 84>(join::<28, 45, 73>(jfet_params!("jfet-"), mosfet_params!("mosfet-")), OWN);

/// A lead of inductance `l` from the outer node to a new inner one; the outer node itself where there is none.
fn lead(
    circuit: &mut Circuit<f64>,
    names: [String; 2],
    outer: NodeId,
    l: f64,
) -> Result<(NodeId, Option<ComponentId>), CircuitError> {
    if !above(l, 0.0) {
        return Ok((outer, None));
    }
    let inner = circuit.node(&names[1]);
    let id = circuit.inductor(&names[0], outer, inner, l, 0.0, None)?;
    Ok((inner, Some(id)))
}

fn build(circuit: &mut Circuit<f64>, name: &str, pins: &[NodeId], v: &Values) -> Result<Built, CircuitError> {
    let of = |what: &str| format!("{name}.{what}");
    let kelvin = v.kelvin("junction-temperature");
    let linear_above = v.number("linear-above");
    let jfet_values = Prefixed { values: v, prefix: "jfet-" };
    let mosfet_values = Prefixed { values: v, prefix: "mosfet-" };
    let law = jfet::law(name, &jfet_values, linear_above, kelvin)?;

    let mut components = Vec::new();
    let l = v.number("drain-inductance");
    let (drain, drain_lead) = lead(circuit, [of("drain-lead"), of("drain")], pins[0], l)?;
    let l = v.number("source-inductance");
    let (source, source_lead) = match pins {
        [_, _, outer] => {
            let (inner, id) = lead(circuit, [of("source-lead"), of("source")], *outer, l)?;
            (inner, id)
        }
        // A Kelvin pin is the MOSFET's source itself; the power current leaves through the lead.
        [_, _, outer, kelvin_source] if l > 0.0 => {
            let id = circuit.inductor(&of("source-lead"), *outer, *kelvin_source, l, 0.0, None)?;
            (*kelvin_source, Some(id))
        }
        [_, _, _, _] => return Err(bad(name, "a Kelvin pin needs a `source-inductance` above zero")),
        _ => {
            return Err(bad(
                name,
                format!("{} nodes, expected drain, gate, source and perhaps kelvin", pins.len()),
            ));
        }
    };
    components.extend(drain_lead);
    components.extend(source_lead);

    let [middle, near, inner, far] =
        ["middle", "jfet-gate", "jfet-gate-inside", "jfet-gate-far"].map(|node| circuit.node(&of(node)));
    let each = Strips::SECTION * v.number("jfet-gate-resistance");
    let l = v.number("jfet-gate-inductance");
    let loop_name = of("jfet-gate-loop");
    let gate_loop = if l > 0.0 {
        circuit.inductor(&loop_name, near, source, l, each, None)?
    } else {
        circuit.resistor(&loop_name, near, source, each)?
    };
    let pins_of_die = [drain, near, inner, far, middle];
    let jfet_die = circuit.law(&of("jfet"), "jfet", &pins_of_die, Strips::new(law), kelvin)?;
    let strip = circuit.resistor(&of("jfet-gate-strip"), near, inner, each)?;
    let far_strip = circuit.resistor(&of("jfet-gate-far-strip"), inner, far, each)?;
    let jfet = vec![jfet_die, gate_loop, strip, far_strip];
    let jfet_heat = Probe::Sum(jfet.iter().map(|&id| (1.0, Probe::Power(id))).collect());
    components.extend(&jfet);
    let nodes = [middle, pins[1], source];
    let mosfet = mosfet::place(circuit, &of("mosfet"), nodes, &mosfet_values, linear_above, kelvin)?;
    components.extend(mosfet.components);
    if let Some(c) = v.maybe("middle-capacitance") {
        components.push(circuit.capacitor(&of("middle-capacitor"), middle, source, c, None)?);
    }

    let vgs = Probe::Voltage(mosfet.gate, source);
    let vm = Probe::Voltage(middle, source);
    // Where the gate follows last, and the channel is driven furthest either way.
    let vgs_jfet = Probe::Voltage(far, middle);
    let gate_current = (1..4).map(|k| (1.0, Probe::Conduction(jfet_die, k))).collect();
    let current = drain_lead.map_or(Probe::Conduction(jfet_die, 0), |id| Probe::Branch(id, 0));
    let heat = components.iter().map(|&id| (1.0, Probe::Power(id))).collect();

    let (lower, upper) = mosfet_values.gate_limits();
    let mut limits = vec![("gate", vgs.clone(), lower, upper)];
    if let Some(bound) = v.maybe("mosfet-rated-voltage").or_else(|| v.maybe("mosfet-breakdown-voltage")) {
        limits.push(("middle", vm.clone(), f64::NEG_INFINITY, bound));
    }
    if let Some(bound) = v.maybe("jfet-gate-limit") {
        limits.push(("jfet-gate", vgs_jfet.clone(), -bound, f64::INFINITY));
    }
    if let Some(bound) = v.maybe("rated-voltage") {
        // At the dies, where what the leads add counts: another quantity than the voltage at the pins.
        limits.push((DIE_VOLTAGE, Probe::Voltage(drain, source), f64::NEG_INFINITY, bound));
    }
    let beyond = f64::NEG_INFINITY;
    let jfet_known = known_voltage(v.maybe("jfet-breakdown-voltage"), v.maybe("rated-voltage"));
    let mosfet_known = known_voltage(v.maybe("mosfet-breakdown-voltage"), v.maybe("mosfet-rated-voltage"));
    let mut known = vec![
        ("jfet-voltage", Probe::Voltage(drain, near), beyond, jfet_known),
        ("middle", vm.clone(), beyond, mosfet_known),
    ];
    if let Some(range) = v.maybe("current-range") {
        known.push(("current", current.clone(), -range, range));
    }
    let hottest = v.number("maximum-temperature");
    let of_jfet = Probe::Voltage(drain, near);
    let avalanches = [
        Avalanche::of("jfet", &jfet_values, of_jfet, Probe::Conduction(jfet_die, 0)),
        Avalanche::of("mosfet", &mosfet_values, vm.clone(), mosfet.current.clone()),
    ];
    Ok(Built {
        avalanches: avalanches.into_iter().flatten().collect(),
        components,
        dies: vec![("jfet", jfet), ("mosfet", mosfet.die)],
        hottest: vec![("jfet", hottest), ("mosfet", hottest)],
        quantities: vec![
            ("voltage", "drain-source voltage at the pins", Probe::Voltage(pins[0], pins[2])),
            (
                DIE_VOLTAGE,
                "drain-source voltage of the dies, from the JFET's drain to the MOSFET's source",
                Probe::Voltage(drain, source),
            ),
            ("current", "drain current", current),
            ("middle", "middle node against the MOSFET's source", vm),
            ("gate", "gate-source voltage of the MOSFET die", vgs),
            ("jfet-gate", "gate-source voltage of the JFET die at the far end of its gate strips", vgs_jfet),
            ("jfet-voltage", "drain-source voltage of the JFET die", Probe::Voltage(drain, middle)),
            (
                "jfet-gate-current",
                "gate current of the JFET die without displacement",
                Probe::Sum(gate_current),
            ),
            ("mosfet-current", "drain current of the MOSFET die without displacement", mosfet.current),
            ("jfet-power", "power dissipated in the JFET die and its gate resistance", jfet_heat),
            ("mosfet-power", "power dissipated in the MOSFET die", mosfet.heat),
            ("power", "power dissipated in all of the cascode", Probe::Sum(heat)),
        ],
        limits,
        known,
        ..Built::default()
    })
}

/// The line of the catalogue.
pub const fn entry() -> Entry {
    Entry {
        kind: "cascode",
        pins: &["drain", "gate", "source", "kelvin?"],
        params: PARAMS,
        help: "Cascode of a normally-on JFET and a low-voltage MOSFET; `kelvin`, which needs a source-inductance, is a fourth pin",
        source: "its two dies, `jfet` and `mosfet`, and the leads between them",
        dies: &[
            DieEntry { name: "jfet", prefix: "jfet-", is: DieKind::Jfet, blocks: true, on: None },
            DieEntry {
                name: "mosfet",
                prefix: "mosfet-",
                is: DieKind::Mosfet,
                blocks: false,
                on: Some(OnGate::Key("mosfet-on-gate-voltage")),
            },
        ],
        build,
    }
}
