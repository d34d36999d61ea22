//! The circuit of the double pulse.

use joulestep_engine::circuit::graph::{Circuit, GROUND, NodeId};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;

use super::{
    Bench, CURRENT, Edges, GATE, LEAD, LOAD, Point, PulseError, SIGNALS, Snubber, UPPER_CHARGE,
    UPPER_CURRENT, UPPER_VOLTAGE, UPPER_WORK, VOLTAGE, WORK, first_pulse,
};
use crate::merit::{is_diode, is_switch};
use crate::model::{Built, Value, Values};
use crate::operating::resistance;
use crate::part::Part;

pub(super) struct PulseCircuit {
    pub circuit: Circuit<f64>,
    pub edges: Edges,
    pub load: f64,
    pub channels: Vec<Channel>,
    pub integrals: Vec<(Probe, Probe)>,
    /// The part under test and the upper device.
    pub built: [Built; 2],
}

/// A part's parameters at a temperature.
fn values_at(part: &Part, celsius: f64) -> Values {
    let mut values = part.values.clone();
    values.0.insert("junction-temperature", Value::Number(celsius));
    values
}

/// Whether the part's model has a Kelvin source: its kind names the pin, and a source lead lies between it and the
/// source.
pub fn has_kelvin(part: &Part) -> bool {
    part.entry().optional_pins().contains(&"kelvin")
        && part.values.maybe("source-inductance").is_some_and(|l| l > 0.0)
}

pub(super) fn build(
    part: &Part,
    upper: &Part,
    bench: &Bench,
    point: &Point,
) -> Result<PulseCircuit, PulseError> {
    let mut c = Circuit::<f64>::new();
    let invalid = |what: String| Err(PulseError::Asked(what));
    if !is_switch(part) {
        return invalid(format!("{} is a {} and has no gate", part.name, part.kind));
    }
    if !is_switch(upper) && !is_diode(upper) {
        return invalid(format!("{} is a {}, neither a switch nor a diode", upper.name, upper.kind));
    }
    let [supply, bus, switch, drain, anode] =
        ["supply", "bus", "switch", "drain", "upper-low"].map(|n| c.node(n));
    let on = resistance(part.entry(), &part.values, bench.gate_on, point.current, point.celsius)?;
    let series = bench.loop_resistance + on;
    let load = bench.load.unwrap_or(bench.first_pulse * point.voltage / point.current);
    let length = first_pulse(load, series, point.current, point.voltage);
    if !(length.is_finite() && length > 0.0) {
        return invalid(format!(
            "{} A cannot be reached: {} V drive less through the {series:.3} ohm of loop and part",
            point.current, point.voltage
        ));
    }
    let off = LEAD + length;
    let again = off + bench.pause;
    let edges = Edges { first_on: LEAD, off, on: again, end: again + bench.second_pulse };

    let wave = c.wave(Wave::Constant(point.voltage));
    c.voltage_source("supply", supply, GROUND, wave)?;
    c.inductor("loop", supply, bus, bench.loop_inductance, bench.loop_resistance, None)?;
    let inductor = c.inductor("load", bus, switch, load, 0.0, None)?;
    let zero = c.wave(Wave::Constant(0.0));
    let meter = c.voltage_source("drain-meter", switch, drain, zero)?;
    let upper_meter = c.voltage_source("upper-meter", switch, anode, zero)?;
    let (lower, gate, reference) = place_lower(&mut c, part, bench, point, &edges, drain)?;
    let above = place_upper(&mut c, upper, bench, point, [bus, anode])?;
    if let Some(Snubber { capacitance, resistance: r }) = bench.snubber {
        for (name, high, low) in [("snubber", drain, GROUND), ("upper-snubber", bus, anode)] {
            let middle = c.node(&format!("{name}-middle"));
            c.capacitor(&format!("{name}-capacitor"), high, middle, capacitance, None)?;
            c.resistor(&format!("{name}-resistor"), middle, low, r)?;
        }
    }

    let one = Probe::Wave(c.wave(Wave::Constant(1.0)));
    let channel =
        |name: &str, words: &str, probe| Channel { name: name.into(), long_name: words.into(), probe };
    let voltage = Probe::Voltage(drain, GROUND);
    let current = Probe::Branch(meter, 0);
    let forward = Probe::Branch(upper_meter, 0);
    let forward_voltage = Probe::Voltage(anode, bus);
    let integrals = vec![
        (voltage.clone(), current.clone()),
        (forward.clone(), one),
        (forward_voltage.clone(), forward.clone()),
    ];
    let mut channels = vec![
        channel(SIGNALS[GATE], "gate-source voltage at the pins", Probe::Voltage(gate, reference)),
        channel(SIGNALS[VOLTAGE], "drain-source voltage at the pins", voltage),
        channel(SIGNALS[CURRENT], "drain current at the pin", current),
        channel(SIGNALS[WORK], "energy taken at drain and source since the start", Probe::Integral(0)),
        channel(SIGNALS[UPPER_CURRENT], "forward current of the upper device", forward),
        channel(SIGNALS[UPPER_VOLTAGE], "voltage over the upper device", Probe::Voltage(bus, anode)),
        channel(SIGNALS[UPPER_CHARGE], "charge through the upper device since the start", Probe::Integral(1)),
        channel(SIGNALS[UPPER_WORK], "energy taken by the upper device since the start", Probe::Integral(2)),
        channel(SIGNALS[LOAD], "load current", Probe::Branch(inductor, 0)),
    ];
    for (name, words, probe) in &lower.quantities {
        if !["voltage", "current"].contains(name) {
            channels.push(channel(&format!("part.{name}"), words, probe.clone()));
        }
    }
    Ok(PulseCircuit { circuit: c, edges, load, channels, integrals, built: [lower, above] })
}

/// The part under test with its gate's source; its gate pin and the node that the gate returns to.
fn place_lower(
    c: &mut Circuit<f64>,
    part: &Part,
    bench: &Bench,
    point: &Point,
    edges: &Edges,
    drain: NodeId,
) -> Result<(Built, NodeId, NodeId), PulseError> {
    let [gate, level] = ["gate", "gate-level"].map(|n| c.node(n));
    let kelvin = bench.kelvin && has_kelvin(part);
    let reference = if kelvin { c.node("kelvin") } else { GROUND };
    let (high, low, ramp) = (bench.gate_on, bench.gate_off, bench.ramp);
    let points = [(edges.first_on, low, high), (edges.off, high, low), (edges.on, low, high)]
        .into_iter()
        .flat_map(|(t, from, to)| [(t, from), (t + ramp, to)]);
    let wave = c.wave(Wave::Points(points.collect()));
    c.voltage_source("gate-source", level, reference, wave)?;
    c.resistor("gate-resistor", level, gate, point.gate_resistance)?;
    let mut pins = vec![drain, gate, GROUND];
    if kelvin {
        pins.push(reference);
    }
    let built = (part.entry().build)(c, "part", &pins, &values_at(part, point.celsius))?;
    Ok((built, gate, reference))
}

/// The upper device, off.
fn place_upper(
    c: &mut Circuit<f64>,
    upper: &Part,
    bench: &Bench,
    point: &Point,
    [high, low]: [NodeId; 2],
) -> Result<Built, PulseError> {
    let pins = if is_diode(upper) {
        vec![low, high]
    } else {
        let [gate, level] = ["upper-gate", "upper-gate-level"].map(|n| c.node(n));
        let mut pins = vec![high, gate, low];
        let mut reference = low;
        if bench.kelvin && has_kelvin(upper) {
            reference = c.node("upper-kelvin");
            pins.push(reference);
        }
        let wave = c.wave(Wave::Constant(bench.gate_off));
        c.voltage_source("upper-gate-source", level, reference, wave)?;
        c.resistor("upper-gate-resistor", level, gate, point.gate_resistance)?;
        pins
    };
    Ok((upper.entry().build)(c, "upper", &pins, &values_at(upper, point.celsius))?)
}
