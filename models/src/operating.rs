//! A part at rest: its operating point between two sources, found by the engine from the part's own model, and its
//! small-signal admittances there.

use joulestep_engine::circuit::graph::{Circuit, ComponentId, GROUND, NodeId, WaveId};
use joulestep_engine::circuit::law::Device;
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::equations::system::System;
use joulestep_engine::error::CircuitError;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::run::time_loop::Run;
use nalgebra::{Complex, DMatrix, DVector};

use crate::model::{Built, Entry, Value, Values};

/// What the outer pin (drain, anode) is fed with, against the inner one (source, cathode).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Feed {
    /// A voltage, V.
    Voltage(f64),
    /// A current into it, A.
    Current(f64),
}

/// Why a part has no operating point.
#[derive(Debug, thiserror::Error)]
pub enum OperatingError {
    /// A parameter that the model needs is not given.
    #[error("`{key}` is not given; a {kind} needs it")]
    Missing {
        /// The parameter.
        key: &'static str,
        /// Kind of the catalogue.
        kind: &'static str,
    },
    /// The model has neither two nor three pins (a fourth is left out).
    #[error("a {0} has no drain, gate and source, nor anode and cathode")]
    Pins(&'static str),
    /// The model refuses its values.
    #[error(transparent)]
    Values(#[from] CircuitError),
    /// The engine finds no operating point.
    #[error(transparent)]
    NoPoint(#[from] Refusal),
}

/// A part at rest. The inner pin is ground.
#[derive(Debug)]
pub struct AtRest {
    run: Run<f64>,
    built: Built,
    outer: NodeId,
    gate: Option<(ComponentId, WaveId)>,
    feed: (Option<ComponentId>, WaveId),
    fed: Feed,
}

/// A part between two ideal sources, the inner pin at ground: the circuit before it is solved.
pub(crate) struct Between {
    pub(crate) circuit: Circuit<f64>,
    pub(crate) built: Built,
    pub(crate) feed: (Option<ComponentId>, WaveId),
    outer: NodeId,
    pub(crate) gate: Option<(ComponentId, WaveId)>,
}

/// Puts a part between its sources; see [`AtRest::new`].
pub(crate) fn between(
    entry: &Entry,
    values: &Values,
    gate: f64,
    feed: Feed,
) -> Result<Between, OperatingError> {
    let needed = entry.params.iter().filter(|p| p.default.is_none() && !p.optional);
    if let Some(p) = needed.into_iter().find(|p| !values.0.contains_key(p.key)) {
        return Err(OperatingError::Missing { key: p.key, kind: entry.kind });
    }
    let mut circuit = Circuit::new();
    let outer = circuit.node("outer");
    let (pins, gate) = match entry.needed_pins().len() {
        2 => (vec![outer, GROUND], None),
        3 => {
            let pin = circuit.node("gate");
            let wave = circuit.wave(Wave::Constant(gate));
            let id = circuit.voltage_source("gate-source", pin, GROUND, wave)?;
            (vec![outer, pin, GROUND], Some((id, wave)))
        }
        _ => return Err(OperatingError::Pins(entry.kind)),
    };
    let (wave, id) = match feed {
        Feed::Voltage(volts) => {
            let wave = circuit.wave(Wave::Constant(volts));
            (wave, Some(circuit.voltage_source("feed", outer, GROUND, wave)?))
        }
        Feed::Current(amperes) => {
            let wave = circuit.wave(Wave::Constant(amperes));
            circuit.current_source("feed", GROUND, outer, wave)?;
            (wave, None)
        }
    };
    let built = (entry.build)(&mut circuit, "part", &pins, values)?;
    Ok(Between { circuit, built, feed: (id, wave), outer, gate })
}

impl AtRest {
    /// The part with its gate-source voltage at `gate` (V; of no consequence where there is no gate), fed, all
    /// junctions at `celsius`.
    ///
    /// # Errors
    /// [`OperatingError`].
    pub fn new(
        entry: &Entry,
        values: &Values,
        gate: f64,
        feed: Feed,
        celsius: f64,
    ) -> Result<Self, OperatingError> {
        let mut values = values.clone();
        if let Some(t) = entry.params.iter().find(|p| p.key == "junction-temperature") {
            values.0.insert(t.key, Value::Number(celsius));
        }
        let Between { circuit, built, feed: source, outer, gate } = between(entry, &values, gate, feed)?;
        let run = Setup::new(circuit).ready()?;
        Ok(Self { run, built, outer, gate, feed: source, fed: feed })
    }

    /// Voltage of the outer against the inner pin, V.
    pub fn voltage(&self) -> f64 {
        self.run.state().x[self.run.system().unknown_of_node(self.outer)]
    }

    /// Current into the outer pin, A.
    pub fn current(&self) -> f64 {
        match (self.fed, self.feed.0) {
            (Feed::Current(amperes), _) => amperes,
            (_, Some(id)) => -self.run.state().x[self.run.system().own_unknown(id, 0)],
            (_, None) => f64::NAN,
        }
    }

    /// Charge at the gate, C: at its pin and at the nodes that only resistors part from it. Without a gate, zero. It is
    /// known but for a constant of the model; differences between two operating points count.
    pub fn gate_charge(&self) -> f64 {
        let circuit = &self.run.system().circuit;
        let mut nodes: Vec<NodeId> =
            circuit.find_node("gate").filter(|_| self.gate.is_some()).into_iter().collect();
        let mut k = 0;
        while k < nodes.len() {
            let here = nodes[k];
            let resistors = circuit.components.iter().filter(|c| c.is_resistance() && c.pins.contains(&here));
            for &pin in resistors.flat_map(|c| &c.pins) {
                if pin != GROUND && !nodes.contains(&pin) {
                    nodes.push(pin);
                }
            }
            k += 1;
        }
        nodes.iter().map(|&n| self.run.state().q[self.run.system().unknown_of_node(n)]).sum()
    }

    /// A quantity that the model offers by name ("middle"), if it does.
    pub fn read(&self, quantity: &str) -> Option<f64> {
        let (_, _, probe) = self.built.quantities.iter().find(|q| q.0 == quantity)?;
        Some(self.run.read(probe))
    }

    /// Small-signal admittances at a frequency (Hz), S: current into pin j per volt at pin k, the other pin held,
    /// `[outer, gate][outer, gate]`; without a gate only the first entry is not zero. `None` where the part is fed with
    /// a current.
    pub fn admittances(&self, frequency: f64) -> Option<[[Complex<f64>; 2]; 2]> {
        let system = self.run.system();
        let ports = [self.feed.0.map(|id| (id, self.feed.1)), self.gate];
        ports[0]?;
        let n = system.n;
        let matrix = small_signal(system, &system.devices(), &self.run.state().x, frequency);
        let lu = matrix.lu();
        let mut out = [[Complex::new(0.0, 0.0); 2]; 2];
        for (k, port) in ports.iter().enumerate() {
            let Some((_, wave)) = port else { continue };
            let mut right = DVector::zeros(n);
            for &(row, _, gain) in system.sources.iter().filter(|s| s.1 == *wave && (s.0 as usize) < n) {
                right[row as usize] -= Complex::new(gain, 0.0);
            }
            let solution = lu.solve(&right)?;
            for (j, port) in ports.iter().enumerate() {
                if let Some((id, _)) = port {
                    out[j][k] = -solution[system.own_unknown(*id, 0)];
                }
            }
        }
        Some(out)
    }
}

/// The small-signal equations at the unknowns `x` and a frequency (Hz): ∂f/∂x + jω·∂q/∂x, without ground. `devices`:
/// those of the system, settled.
pub(crate) fn small_signal(
    system: &System<f64>,
    devices: &[Box<dyn Device<f64>>],
    x: &[f64],
    frequency: f64,
) -> DMatrix<Complex<f64>> {
    let (n, omega) = (system.n, std::f64::consts::TAU * frequency);
    let mut matrix = DMatrix::<Complex<f64>>::zeros(n + 1, n + 1);
    let mut add = |r: u32, c: u32, g: f64, q: f64| {
        matrix[(r as usize, c as usize)] += Complex::new(g, omega * q);
    };
    system.g.iter().for_each(|&(r, c, x)| add(r, c, x, 0.0));
    system.c.iter().for_each(|&(r, c, x)| add(r, c, 0.0, x));
    for (stamp, placed) in system.stamps(devices, x).iter().zip(&system.devices) {
        let p = placed.locals.len();
        for k in 0..p {
            for j in 0..p {
                let (g, q) = (stamp[2 * p + k * p + j], stamp[2 * p + p * p + k * p + j]);
                let (row, column) = (placed.locals[k], placed.locals[j]);
                add(row, column, g, q);
                if j < placed.ports {
                    add(row, placed.reference, -g, -q);
                }
                if k < placed.ports {
                    add(placed.reference, column, -g, -q);
                    if j < placed.ports {
                        add(placed.reference, placed.reference, g, q);
                    }
                }
            }
        }
    }
    matrix.view((0, 0), (n, n)).into_owned()
}

/// Resistance between outer and inner pin at a current (A) with the gate at `gate` (V), Ω: what a data sheet calls the
/// on-resistance at that current.
///
/// # Errors
/// [`OperatingError`].
pub fn resistance(
    entry: &Entry,
    values: &Values,
    gate: f64,
    amperes: f64,
    celsius: f64,
) -> Result<f64, OperatingError> {
    let rest = AtRest::new(entry, values, gate, Feed::Current(amperes), celsius)?;
    Ok(rest.voltage() / amperes)
}
