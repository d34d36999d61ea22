//! A part on the test bench: its model in a circuit of ideal sources, at one junction temperature. What a data sheet
//! states is read from the operating point and from the small-signal equations there.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, GROUND, NodeId, WaveId};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::step::near::OperatingPoints;
use nalgebra::{Complex, DVector};

use crate::capacitances::FREQUENCY;
use crate::charge::Depletion;
use crate::devices::diode::Diode;
use crate::model::{Entry, Value, Values};
use crate::operating::small_signal;

/// How the sources are connected. A diode has no gate: its anode is the drain here, and its cathode is ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrangement {
    /// A voltage at the drain, a voltage at the gate.
    Voltage,
    /// A current into the drain, a voltage at the gate.
    Current,
    /// A current into drain and gate, which are tied.
    Tied,
    /// A current into the drain, and a gate voltage such that the drain has the voltage.
    Held,
    /// A current into the drain, which a clamp keeps from rising above the voltage; a voltage at the gate.
    Clamped,
}

/// Gain of the loop that holds a drain voltage, and so how exactly it is held: gate voltage over gain.
const GAIN: f64 = 1e4;

/// A part on the bench.
#[derive(Debug)]
pub struct Bench {
    points: OperatingPoints,
    drain: NodeId,
    gate: Option<NodeId>,
    drain_source: ComponentId,
    gate_source: Option<ComponentId>,
    drain_level: WaveId,
    current_level: WaveId,
    gate_level: WaveId,
    /// The last solution, from which the next is sought.
    pub x: Vec<f64>,
}

/// A diode that conducts a hundred amperes at a few tens of millivolts: the clamp of the gate-charge test.
fn clamp() -> Diode<f64> {
    Diode {
        saturation: 1.0,
        ideality: 0.5,
        gap: 0.5,
        power: 3.0,
        breakdown: None,
        linear_above: 1e4,
        leakage: 0.0,
        depletion: Depletion::new(0.0, 0.8, 0.5),
    }
}

impl Bench {
    /// Puts the model on the bench at a junction temperature in °C. `None`: the model refuses these values, or is
    /// neither a switch nor a diode.
    pub fn new(entry: &Entry, values: &Values, celsius: f64, arrangement: Arrangement) -> Option<Self> {
        let mut circuit = Circuit::<f64>::new();
        let switch = entry.pins.starts_with(&["drain", "gate", "source"]);
        if !switch && entry.pins != ["anode", "cathode"] {
            return None;
        }
        let drain = circuit.node("drain");
        let tied = arrangement == Arrangement::Tied;
        let gate = switch.then(|| if tied { drain } else { circuit.node("gate") });
        let mut values = values.clone();
        values.0.insert("junction-temperature", Value::Number(celsius));
        let pins: Vec<NodeId> = [Some(drain), gate, Some(GROUND)].into_iter().flatten().collect();
        (entry.build)(&mut circuit, "part", &pins, &values).ok()?;
        let [drain_level, current_level, gate_level] =
            std::array::from_fn(|_| circuit.wave(Wave::Constant(0.0)));
        let drain_source = match arrangement {
            Arrangement::Voltage => circuit.voltage_source("drain-source", drain, GROUND, drain_level),
            _ => circuit.current_source("drain-source", GROUND, drain, current_level),
        };
        let mut gate_source = None;
        if let Some(gate) = gate.filter(|_| !tied) {
            gate_source = Some(if arrangement == Arrangement::Held {
                let held = circuit.node("held");
                circuit.voltage_source("level", held, GROUND, drain_level).ok()?;
                circuit.voltage_controlled_voltage("gate-source", [gate, GROUND, drain, held], GAIN).ok()?
            } else {
                circuit.voltage_source("gate-source", gate, GROUND, gate_level).ok()?
            });
        }
        if arrangement == Arrangement::Clamped {
            let supply = circuit.node("supply");
            circuit.voltage_source("supply", supply, GROUND, drain_level).ok()?;
            circuit.law("clamp", "diode", &[drain, supply], clamp(), 298.15).ok()?;
        }
        let drain_source = drain_source.ok()?;
        let points = OperatingPoints::new(circuit, &[]);
        let x = Vec::new();
        Some(Self {
            points,
            drain,
            gate,
            drain_source,
            gate_source,
            drain_level,
            current_level,
            gate_level,
            x,
        })
    }

    /// Finds the operating point for a drain (or supply) voltage, a current and a gate voltage, as far as the
    /// arrangement takes them. `None`: there is none to be found.
    pub fn settle(&mut self, voltage: f64, current: f64, gate: f64) -> Option<()> {
        for (wave, level) in
            [(self.drain_level, voltage), (self.current_level, current), (self.gate_level, gate)]
        {
            self.points.set(wave, level);
        }
        self.x = self.points.at(&self.x).ok()?;
        Some(())
    }

    /// Whether the part is a diode.
    pub fn is_diode(&self) -> bool {
        self.gate.is_none()
    }

    fn voltage_of(&self, node: NodeId) -> f64 {
        self.x[self.points.system().unknown_of_node(node)]
    }

    /// Voltage at the drain (or anode), V.
    pub fn drain_voltage(&self) -> f64 {
        self.voltage_of(self.drain)
    }

    /// Voltage at the gate, V.
    pub fn gate_voltage(&self) -> f64 {
        self.gate.map_or(0.0, |g| self.voltage_of(g))
    }

    /// Current into the drain (or anode) where a voltage is applied, A.
    pub fn drain_current(&self) -> f64 {
        -self.x[self.points.system().own_unknown(self.drain_source, 0)]
    }

    /// Charge on the gate's terminal and on everything that only resistors part from it, C.
    pub fn gate_charge(&self) -> f64 {
        let Some(gate) = self.gate else { return 0.0 };
        let system = self.points.system();
        let mut net = vec![gate];
        let mut k = 0;
        while k < net.len() {
            for component in &system.circuit.components {
                if component.is_resistance() && component.pins.contains(&net[k]) {
                    let more = component.pins.iter().filter(|p| **p != GROUND && !net.contains(p));
                    net.extend(more.copied().collect::<Vec<_>>());
                }
            }
            k += 1;
        }
        let rows: Vec<u32> = net.iter().map(|n| system.unknown_of_node(*n) as u32).collect();
        let linear = system.c.iter().filter(|e| rows.contains(&e.0));
        let mut charge: f64 = linear.map(|&(_, c, x)| x * self.x[c as usize]).sum();
        for (placed, stamp) in system.devices.iter().zip(system.stamps(self.points.devices(), &self.x)) {
            let p = placed.locals.len();
            for k in 0..placed.ports {
                if rows.contains(&placed.locals[k]) {
                    charge += stamp[p + k];
                }
                if rows.contains(&placed.reference) {
                    charge -= stamp[p + k];
                }
            }
        }
        charge
    }

    /// Capacitance Im(Y)/ω between terminals at [`FREQUENCY`], F: with a small voltage at the drain or (`at_gate`)
    /// the gate and the other terminal short-circuited to the source, the current into the drain and out of the gate,
    /// or into the gate: (C_oss, C_rss), or (C_iss, C_rss). Needs [`Arrangement::Voltage`].
    pub fn capacitances(&self, at_gate: bool) -> Option<(f64, f64)> {
        let omega = std::f64::consts::TAU * FREQUENCY;
        let system = self.points.system();
        let y = small_signal(system, self.points.devices(), &self.x, FREQUENCY);
        let drain = system.own_unknown(self.drain_source, 0);
        let gate = self.gate_source.map(|id| system.own_unknown(id, 0));
        let driven = if at_gate { gate? } else { drain };
        let mut right = DVector::<Complex<f64>>::zeros(system.n);
        // The branch's row is −v_a + v_b + level = 0.
        right[driven] = Complex::new(-1.0, 0.0);
        let x = y.lu().solve(&right)?;
        let into = -x[driven].im / omega;
        let other = if at_gate { drain } else { gate.unwrap_or(driven) };
        Some((into, x[other].im / omega))
    }
}
