//! The double pulse: an inductor is charged through the part under test to the current asked for (first pulse), turned
//! off, and turned on again while the upper device carries the current (second pulse).
//!
//! ```text
//! supply ── L_loop, R_loop ── bus ──┬──────────── upper: the same part with its gate off, or a diode
//!                                   L_load        │
//!                                   └── switch ───┤
//!                                                 part under test ── gate: course behind R_g
//!                                               ground
//! ```
//!
//! The test circuit of IEC 60747-8 and -9 (from memory). Turn-off is measured at the end of the first pulse, turn-on
//! and recovery at the beginning of the second. All junctions stay at the stated temperature: two pulses of some
//! microseconds heat little, and the numbers belong to a temperature. The first pulse's length follows from V =
//! L·di/dt + R·i: t₁ = −(L/R)·ln(1 − I·R/V), with the loop's and the part's resistance in R.

mod circuit;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::error::{CircuitError, SolverError};
use joulestep_engine::measure::MeasureError;
use joulestep_engine::measure::recovery::{Record, Recovery, recovery};
use joulestep_engine::measure::signal::Signal;
use joulestep_engine::measure::switching::{Levels, Rules, Switching, Waveforms, turn_off, turn_on};
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::run::watch::Seen;
use joulestep_engine::step::schedule::Steps;
use joulestep_engine::units::people;
use serde::Serialize;

use crate::model::{Built, bad};
use crate::operating::OperatingError;
use crate::part::Part;
use circuit::{PulseCircuit, build};

pub use circuit::has_kelvin;

/// Share of the reverse peak at which the recovery ends.
pub const RECOVERY_SHARE: f64 = 0.02;
/// Before the first edge, s.
const LEAD: f64 = 0.5e-6;

/// A snubber from drain to source of each device.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Snubber {
    /// F.
    pub capacitance: f64,
    /// Ω.
    pub resistance: f64,
}

/// The circuit around the part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bench {
    /// Stray inductance of the power loop outside the parts, H.
    pub loop_inductance: f64,
    /// Its resistance, Ω.
    pub loop_resistance: f64,
    /// Load inductance, H; `None`: such that the first pulse takes [`Bench::first_pulse`].
    pub load: Option<f64>,
    /// Length of the first pulse where the load follows from it, s.
    #[serde(skip)]
    pub first_pulse: f64,
    /// Time between the pulses, s.
    pub pause: f64,
    /// Length of the second pulse, s.
    pub second_pulse: f64,
    /// Gate level that turns on, V.
    pub gate_on: f64,
    /// Gate level that turns off, of both switches, V.
    pub gate_off: f64,
    /// Duration of the gate source's ramps, s.
    #[serde(rename = "gate_ramp")]
    pub ramp: f64,
    /// Gates return to the Kelvin source of parts that have one (see [`has_kelvin`]), else to the common source.
    pub kelvin: bool,
    /// The snubbers.
    pub snubber: Option<Snubber>,
    /// Whose definitions hold.
    #[serde(skip)]
    pub rules: Rules,
}

impl Bench {
    /// 20 nH and 5 mΩ, pulses of 10 µs and 2 µs with 2 µs between them, gate ramps of 5 ns, IEC 60747-8, no snubber;
    /// the gate returns to the Kelvin source where there is one.
    pub fn new(gate_on: f64, gate_off: f64) -> Self {
        Self {
            loop_inductance: 20e-9,
            loop_resistance: 5e-3,
            load: None,
            first_pulse: 10e-6,
            pause: 2e-6,
            second_pulse: 2e-6,
            gate_on,
            gate_off,
            ramp: 5e-9,
            kelvin: true,
            snubber: None,
            rules: Rules::Fet,
        }
    }
}

/// One operating point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Current to be switched, A.
    pub current: f64,
    /// Voltage of the supply, V.
    pub voltage: f64,
    /// Gate resistance outside the part, Ω.
    pub gate_resistance: f64,
    /// Junction temperature of both devices, °C.
    pub celsius: f64,
}

/// Instants of the gate's edges, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edges {
    /// The first pulse begins.
    pub first_on: f64,
    /// It ends: turn-off is measured from here.
    pub off: f64,
    /// The second pulse begins: turn-on is measured from here.
    pub on: f64,
    /// It ends, and the run.
    pub end: f64,
}

/// What the two pulses gave.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The operating point.
    pub point: Point,
    /// Load inductance used, H.
    pub load: f64,
    /// The gate's edges.
    pub edges: Edges,
    /// Current of the load at turn-off and at turn-on: what 100 % is, A.
    pub switched: (f64, f64),
    /// Turn-on of the part under test.
    pub on: Switching,
    /// Turn-off of the part under test.
    pub off: Switching,
    /// Recovery of the upper device; `None` where its current does not come back within the second pulse.
    pub recovery: Option<Recovery>,
    /// Charge (C) and energy (J) that the upper device takes in reverse from the zero of its current to the end of the
    /// second pulse, whatever rings in between: Q_oss is in it, and so is E_oss. `None` without a zero.
    pub upper_whole: Option<(f64, f64)>,
    /// Largest voltage over the upper device after turn-on and when, V and s.
    pub upper_peak: (f64, f64),
    /// The energy account.
    pub ledger: Ledger<f64>,
    /// What was seen of what the parts must keep and of the ranges of their laws, in the order that `prepare` of
    /// [`run_as`] gave the watches.
    pub seen: Vec<Seen>,
    /// What the setup's gauges read, in their order.
    pub readings: Vec<Reading>,
    /// Work done.
    pub counters: Counters,
    /// The waveforms, in the order of [`SIGNALS`] and then what the part itself offers.
    pub waveforms: InMemory<f64>,
}

/// Recorded signals.
pub const SIGNALS: [&str; 9] = [
    "gate-voltage",
    "voltage",
    "current",
    "work",
    "upper-current",
    "upper-voltage",
    "upper-charge",
    "upper-work",
    "load-current",
];
const GATE: usize = 0;
const VOLTAGE: usize = 1;
const CURRENT: usize = 2;
const WORK: usize = 3;
const UPPER_CURRENT: usize = 4;
const UPPER_VOLTAGE: usize = 5;
const UPPER_CHARGE: usize = 6;
const UPPER_WORK: usize = 7;
const LOAD: usize = 8;

/// Why a point has no numbers.
#[derive(Debug, thiserror::Error)]
pub enum PulseError {
    /// Something asked for cannot be.
    #[error("{0}")]
    Asked(String),
    /// A model refuses its values.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// No resistance to plan the first pulse with.
    #[error(transparent)]
    Operating(#[from] OperatingError),
    /// No start.
    #[error(transparent)]
    Start(#[from] Refusal),
    /// The equations could not be solved.
    #[error(transparent)]
    Numerical(#[from] SolverError),
    /// The waveforms do not meet a definition.
    #[error("{0}: a longer pause or pulse may help, or a smaller gate resistance")]
    Measure(#[from] MeasureError),
}

/// t₁ = −(L/R)·ln(1 − I·R/V), s: how long it takes to bring an inductor to a current. NaN where it never gets there.
pub fn first_pulse(load: f64, resistance: f64, current: f64, voltage: f64) -> f64 {
    let share = current * resistance / voltage;
    // ln(1 − x)/x → −1: without resistance, L·I/V.
    if share.abs() < 1e-9 { load * current / voltage } else { -load / resistance * (-share).ln_1p() }
}

fn check(bench: &Bench, point: &Point) -> Result<(), PulseError> {
    let positive = [
        ("current", point.current, "A"),
        ("voltage", point.voltage, "V"),
        ("gate resistance", point.gate_resistance, "ohm"),
        ("loop inductance", bench.loop_inductance, "H"),
        ("first pulse", bench.first_pulse, "s"),
        ("pause", bench.pause, "s"),
        ("second pulse", bench.second_pulse, "s"),
        ("gate ramp", bench.ramp, "s"),
        ("load inductance", bench.load.unwrap_or(1.0), "H"),
        ("snubber capacitance", bench.snubber.map_or(1.0, |s| s.capacitance), "F"),
        ("snubber resistance", bench.snubber.map_or(1.0, |s| s.resistance), "ohm"),
    ];
    if let Some((what, x, unit)) = positive.into_iter().find(|p| !(p.1.is_finite() && p.1 > 0.0)) {
        return Err(PulseError::Asked(format!("the {what} is {x} {unit}; expected above zero")));
    }
    if bench.ramp >= bench.pause.min(bench.second_pulse) {
        return Err(PulseError::Asked(format!(
            "a gate ramp of {} does not fit into the pause and the second pulse",
            people(bench.ramp, "s")
        )));
    }
    if bench.gate_on <= bench.gate_off || bench.loop_resistance < 0.0 {
        let what =
            "the gate's on level must be above its off level, and the loop's resistance not below zero";
        return Err(PulseError::Asked(what.into()));
    }
    Ok(())
}

/// Runs the double pulse and measures it. `upper` may be the same part or a diode.
///
/// # Errors
/// [`PulseError`].
pub fn run(part: &Part, upper: &Part, bench: &Bench, point: &Point) -> Result<Outcome, PulseError> {
    run_as(part, upper, bench, point, &mut |_, _| ())
}

/// The same, with a word in its setup: `prepare` gets it beside the two devices as they were built ("part", "upper"),
/// and may change steps and bounds or add watches.
///
/// # Errors
/// [`PulseError`].
pub fn run_as(
    part: &Part,
    upper: &Part,
    bench: &Bench,
    point: &Point,
    prepare: &mut dyn FnMut(&mut Setup<f64>, [Built; 2]),
) -> Result<Outcome, PulseError> {
    check(bench, point)?;
    for p in [part, upper] {
        if let Some(key) = p.missing().first() {
            return Err(bad(&p.name, format!("`{key}` is not given")).into());
        }
    }
    let PulseCircuit { circuit, edges, load, channels, integrals, built } = build(part, upper, bench, point)?;
    let mut setup = Setup::new(circuit);
    setup.channels = channels;
    setup.integrals = integrals;
    setup.steps = Steps::of_base(2e-7);
    prepare(&mut setup, built);
    let mut run = setup.ready()?;
    let mut waveforms = InMemory::default();
    run.advance(edges.end, &mut waveforms)?;
    let ledger = run.ledger();

    let columns: Vec<Vec<f64>> =
        (0..SIGNALS.len()).map(|k| waveforms.samples.iter().map(|s| s[k]).collect()).collect();
    let signal = |k: usize| Signal::new(&waveforms.time, &columns[k]);
    let load_current = signal(LOAD)?;
    let switched = (load_current.at(edges.off), load_current.at(edges.on));
    let w = Waveforms {
        gate: signal(GATE)?,
        voltage: signal(VOLTAGE)?,
        current: signal(CURRENT)?,
        work: Some(signal(WORK)?),
    };
    let levels = |current| Levels {
        voltage: point.voltage,
        current,
        gate_off: bench.gate_off,
        gate_on: bench.gate_on,
    };
    let off = turn_off(&w, levels(switched.0), edges.off, edges.on, bench.rules)?;
    let on = turn_on(&w, levels(switched.1), edges.on, edges.end, bench.rules)?;
    let record = Record {
        forward: signal(UPPER_CURRENT)?,
        charge: Some(signal(UPPER_CHARGE)?),
        work: Some(signal(UPPER_WORK)?),
    };
    let recovery = recovery(&record, edges.on, edges.end, RECOVERY_SHARE).ok();
    let zero = record.forward.falls_to(0.0, edges.on).filter(|&t| t < edges.end);
    let taken = |k: usize, from: f64| Ok::<f64, MeasureError>(signal(k)?.at(edges.end) - signal(k)?.at(from));
    let upper_whole = match zero {
        Some(zero) => Some((-taken(UPPER_CHARGE, zero)?, taken(UPPER_WORK, zero)?)),
        None => None,
    };
    let upper_peak = signal(UPPER_VOLTAGE)?.largest(edges.on, edges.end);
    Ok(Outcome {
        point: *point,
        load,
        edges,
        switched,
        on,
        off,
        recovery,
        upper_whole,
        upper_peak,
        ledger,
        seen: run.watcher().seen(),
        readings: run.readings(),
        counters: run.counters(),
        waveforms,
    })
}
