//! REF-1: a cascode double-pulse circuit of textbook laws, elements and values as in `benches/ida/ref1_circuit.h`
//! (the reference solution was computed with SUNDIALS IDA, a general-purpose library for such equations).

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::circuit::graph::{Circuit, ComponentId, GROUND, NodeId, WaveId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::error::CircuitError;
use joulestep_models::charge::Depletion;
use joulestep_models::devices::diode::Diode;
use joulestep_models::devices::square_law_jfet::SquareLawJfet;
use joulestep_models::devices::square_law_mosfet::SquareLawMosfet;
use joulestep_models::junction::{Breakdown, Junction};
use joulestep_models::model::{BOLTZMANN_OVER_CHARGE, STATED_AT};

/// What the gate source does and what loads the switch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Duty {
    /// Two pulses, 5.2 µs: on at 0.2 and 3.2 µs, off at 2.2 and 4.2 µs.
    DoublePulse,
    /// This many pulses at 100 kHz, 8 Ω in series with the load: on at 0.2 µs, off 5 µs later (half the period), 10 ns
    /// edges. A hundred of them last 1 ms and have 200 edges.
    Train(usize),
}

/// The circuit with what its results are asked for by.
#[derive(Debug)]
pub struct Ref1<L: Lane> {
    /// The circuit.
    pub circuit: Circuit<L>,
    /// Nodes 1 to 7 of the specification.
    pub nodes: [NodeId; 7],
    /// Load (1 → 2), loop (source → 1) and common-source (6 → ground) inductors; branch 0 is their current.
    pub inductors: [ComponentId; 3],
    /// Bus and gate sources; the branch current flows from the plus pin through the source.
    pub sources: [ComponentId; 2],
    /// JFET, MOSFET, diode junction.
    pub devices: [ComponentId; 3],
    /// The gate source's course.
    pub gate: WaveId,
    /// End of the duty, s.
    pub end: f64,
}

/// Course of the gate source, V.
pub fn gate_course<L: Lane>(duty: Duty) -> Vec<(f64, L)> {
    let edges: Vec<(f64, f64)> = match duty {
        Duty::DoublePulse => vec![(0.2e-6, 2.2e-6), (3.2e-6, 4.2e-6)],
        Duty::Train(n) => (0..n).map(|k| 1e-5 * k as f64 + 0.2e-6).map(|t| (t, t + 5e-6)).collect(),
    };
    let (low, high, edge) = (L::splat(0.0), L::splat(12.0), 1e-8);
    edges
        .iter()
        .flat_map(|&(on, off)| [(on, low), (on + edge, high), (off, high), (off + edge, low)])
        .collect()
}

/// What may differ from variant to variant; a value per lane.
#[derive(Clone, Copy, Debug)]
pub struct Varied<L> {
    /// Gate resistor, Ω.
    pub gate_resistance: L,
    /// Load inductor, H.
    pub load_inductance: L,
    /// Resistance in series with it, Ω.
    pub load_resistance: L,
}

impl<L: Lane> Varied<L> {
    /// As specified, in every lane.
    pub fn nominal(duty: Duty) -> Self {
        let resistance = match duty {
            Duty::DoublePulse => 0.0,
            Duty::Train(_) => 8.0,
        };
        Self {
            gate_resistance: L::splat(5.0),
            load_inductance: L::splat(40e-6),
            load_resistance: L::splat(resistance),
        }
    }
}

/// Builds REF-1.
pub fn ref1<L: Lane>(duty: Duty) -> Result<Ref1<L>, CircuitError> {
    ref1_varied(duty, Varied::nominal(duty))
}

/// Builds REF-1 with a variant in each lane.
pub fn ref1_varied<L: Lane>(duty: Duty, varied: Varied<L>) -> Result<Ref1<L>, CircuitError> {
    let x = L::splat;
    let half = x(0.5);
    let mut c = Circuit::new();
    let names = ["bus", "switch", "middle", "jfet-gate", "gate", "source", "diode-inner"];
    let nodes = names.map(|name| c.node(name));
    let [bus, switch, middle, jfet_gate, gate, source, inner] = nodes;
    let (supply, drive) = (c.node("supply"), c.node("drive"));

    let battery = c.wave(Wave::Constant(x(400.0)));
    let gate_wave = c.wave(Wave::Points(gate_course(duty)));
    let vbus = c.voltage_source("Vbus", supply, GROUND, battery)?;
    let vg = c.voltage_source("Vg", drive, GROUND, gate_wave)?;
    let line = c.inductor("Lloop", supply, bus, x(20e-9), x(10e-3), None)?;
    c.resistor("Rg", drive, gate, varied.gate_resistance)?;
    let ls = c.inductor("Lls", source, GROUND, x(2e-9), x(1e-3), None)?;
    c.resistor("Rgj", jfet_gate, source, x(1.0))?;
    let end = match duty {
        Duty::DoublePulse => 5.2e-6,
        Duty::Train(n) => 1e-5 * n as f64,
    };
    let load = c.inductor("Lload", bus, switch, varied.load_inductance, varied.load_resistance, None)?;
    c.resistor("Rs", switch, inner, x(20e-3))?;

    // The specification states nVt; the law takes n at 25 °C.
    let diode = Diode {
        saturation: x(1e-14),
        ideality: x(0.0517 / (BOLTZMANN_OVER_CHARGE * STATED_AT)),
        gap: x(1.12),
        power: x(3.0),
        breakdown: None,
        linear_above: x(200.0),
        leakage: x(0.0),
        depletion: Depletion::new(x(1.2e-9), x(1.5), half),
    };
    let jfet = SquareLawJfet {
        pinch_off: x(-7.0),
        k: x(2.0 * 4.0),
        lambda: x(0.002),
        drain_gate: Depletion::new(x(2.0e-9), x(2.7), half),
        source_gate: Depletion::new(x(1.5e-9), x(2.7), half),
        cds: x(30e-12),
    };
    let breakdown =
        Breakdown { voltage: x(30.0), scale: x(0.25), current: x(1e-3), drift: x(0.0), resistance: x(0.0) };
    let mosfet = SquareLawMosfet {
        threshold: x(4.0),
        k: x(60.0),
        lambda: x(0.01),
        body: Junction::new(x(1e-9), x(0.0310), x(200.0), Some(breakdown)),
        leakage: x(1e-6),
        cgs: x(3e-9),
        drain_gate: Depletion::new(x(1.0e-9), x(0.8), half),
        drain_source: Depletion::new(x(2.5e-9), x(0.8), half),
    };
    let kelvin = x(STATED_AT);
    let d = c.law("D", "diode", &[inner, bus], diode, kelvin)?;
    let j = c.law("J", "square-law-jfet", &[switch, jfet_gate, middle], jfet, kelvin)?;
    let m = c.law("M", "square-law-mosfet", &[middle, gate, source], mosfet, kelvin)?;
    Ok(Ref1 {
        circuit: c,
        nodes,
        inductors: [load, line, ls],
        sources: [vbus, vg],
        devices: [j, m, d],
        gate: gate_wave,
        end,
    })
}
