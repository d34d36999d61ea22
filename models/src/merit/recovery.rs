//! Recovery of a part's (integral) diode: its forward current is ramped down through zero until the reverse voltage is
//! held by a clamp.

use joulestep_engine::circuit::graph::{Circuit, GROUND};
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::circuit::wave::Wave;
use joulestep_engine::error::{CircuitError, SolverError};
use joulestep_engine::measure::MeasureError;
use joulestep_engine::measure::recovery::{Record, Recovery, recovery};
use joulestep_engine::measure::signal::Signal;
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::step::schedule::Steps;

use super::{Conditions, is_diode, is_switch};
use crate::charge::Depletion;
use crate::devices::diode::Diode;
use crate::model::{STATED_AT, Value};
use crate::part::Part;

/// Share of the reverse peak at which the charge ends.
pub const SHARE: f64 = 0.02;
/// The ramp goes on to this many times the forward current.
const BEYOND: f64 = 20.0;
/// Stretches of the forward current's fall time after which the recovery must be over.
const PATIENCE: usize = 400;

/// What is done to the diode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ramp {
    /// Forward current at the start, A.
    pub current: f64,
    /// Rate at which it falls, A/s.
    pub rate: f64,
    /// Voltage at which the clamp holds the blocking diode, V.
    pub voltage: f64,
    /// Gate-source voltage, V.
    pub gate: f64,
    /// Junction temperature, °C.
    pub celsius: f64,
}

impl Ramp {
    /// At these conditions and this test current (A).
    pub fn of(c: &Conditions, current: f64) -> Self {
        Self { current, rate: c.rate, voltage: c.voltage, gate: c.gate_off, celsius: c.celsius }
    }
}

/// Why there is no recovery to measure.
#[derive(Debug, thiserror::Error)]
pub enum RecoveryError {
    /// The ramp cannot be.
    #[error("a current of {0} A falling at {1} A/s into {2} V; expected all three above zero")]
    Ramp(f64, f64, f64),
    /// The model refuses its values.
    #[error(transparent)]
    Values(#[from] CircuitError),
    /// No start.
    #[error(transparent)]
    Start(#[from] Refusal),
    /// The equations could not be solved.
    #[error(transparent)]
    Numerical(#[from] SolverError),
    /// The waveform has no recovery.
    #[error("recovery: {0}")]
    Measure(#[from] MeasureError),
}

/// Ramps the diode's current down and measures its recovery. The part's leads are left out: they would ring with its
/// capacitance. A part without stored charge recovers its capacitive charge alone, Q_oss.
///
/// # Errors
/// [`RecoveryError`].
pub fn ramp(part: &Part, ramp: &Ramp) -> Result<Recovery, RecoveryError> {
    let Ramp { current, rate, voltage, gate, celsius } = *ramp;
    if ![current, rate, voltage].iter().all(|x| x.is_finite() && *x > 0.0) {
        return Err(RecoveryError::Ramp(current, rate, voltage));
    }
    let mut values = part.values.clone();
    for key in ["drain-inductance", "source-inductance"] {
        if let Some(value) = values.0.get_mut(key) {
            *value = Value::Number(0.0);
        }
    }
    values.0.insert("junction-temperature", Value::Number(celsius));

    let mut circuit = Circuit::<f64>::new();
    let [feed, outer, hold] = ["feed", "outer", "hold"].map(|n| circuit.node(n));
    // The current leaves the part's outer pin (a diode's cathode, a switch's drain) while it conducts.
    let fall = current / rate;
    let lead = 0.5 * fall;
    let points = vec![(lead, current), (lead + (1.0 + BEYOND) * fall, -BEYOND * current)];
    let course = circuit.wave(Wave::Points(points));
    circuit.current_source("ramp", feed, GROUND, course)?;
    let zero = circuit.wave(Wave::Constant(0.0));
    let meter = circuit.voltage_source("meter", feed, outer, zero)?;
    let held = circuit.wave(Wave::Constant(voltage));
    circuit.voltage_source("clamp-voltage", hold, GROUND, held)?;
    let clamp = Diode {
        saturation: 1e-9,
        ideality: 1.0,
        gap: 1.12,
        power: 3.0,
        breakdown: None,
        linear_above: 2.0 * BEYOND * current,
        leakage: 0.0,
        depletion: Depletion::new(0.0, 1.0, 0.5),
    };
    circuit.law("clamp", "diode", &[feed, hold], clamp, STATED_AT)?;
    let pins = if is_diode(part) {
        vec![GROUND, outer]
    } else if is_switch(part) {
        let pin = circuit.node("gate");
        let level = circuit.wave(Wave::Constant(gate));
        circuit.voltage_source("gate-source", pin, GROUND, level)?;
        vec![outer, pin, GROUND]
    } else {
        return Err(crate::model::bad("part", format!("a {} has no diode", part.kind)).into());
    };
    (part.entry().build)(&mut circuit, "part", &pins, &values)?;

    let unit = Probe::Wave(circuit.wave(Wave::Constant(1.0)));
    let mut setup = Setup::new(circuit);
    setup.steps = Steps::of_base(0.5 * fall);
    let forward = Probe::Sum(vec![(-1.0, Probe::Branch(meter, 0))]);
    setup.integrals = vec![(forward.clone(), unit)];
    let channel = |name: &str, probe| Channel { name: name.into(), long_name: name.into(), probe };
    setup.channels = vec![channel("forward current", forward), channel("charge", Probe::Integral(0))];
    let mut run = setup.ready()?;
    let mut memory = InMemory::default();
    let mut until = lead + fall;
    for stretch in 0..PATIENCE {
        until += fall * (1 + stretch / 20) as f64;
        run.advance(until, &mut memory)?;
        match measured(&memory, until) {
            // A peak at the very end may still grow.
            Ok(found) if found.peak.1 < until => return Ok(found),
            _ => {}
        }
    }
    Ok(measured(&memory, until)?)
}

fn measured(memory: &InMemory<f64>, until: f64) -> Result<Recovery, MeasureError> {
    let [i, q] = [0, 1].map(|k| memory.samples.iter().map(|s| s[k]).collect::<Vec<f64>>());
    let charge = Some(Signal::new(&memory.time, &q)?);
    let record = Record { forward: Signal::new(&memory.time, &i)?, charge, work: None };
    recovery(&record, 0.0, until, SHARE)
}
