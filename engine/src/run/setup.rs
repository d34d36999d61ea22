//! What a run needs, and how it is made ready.

use std::sync::Arc;

use super::gauge::{Gauge, Gauges};
use super::switching::{SwitchMeter, Switches};
use super::time_loop::Run;
use super::watch::{Watch, Watcher};
use crate::accounts::counters::Counters;
use crate::accounts::ledger;
use crate::arithmetic::lane::Lane;
use crate::arithmetic::vector::zeros;
use crate::circuit::graph::Circuit;
use crate::circuit::index;
use crate::circuit::probe::{Channel, Probe};
use crate::circuit::topology;
use crate::control::Controller;
use crate::control::board::Board;
use crate::equations::program::Program;
use crate::equations::system::System;
use crate::error::{CircuitError, SolverError};
use crate::readout::Readout;
use crate::step::bounds::Bounds;
use crate::step::method::{ESDIRK4, Method};
use crate::step::robust::Halt;
use crate::step::schedule::{Ladder, Steps};
use crate::step::stage::Tolerance;
use crate::step::start::{charges, operating_point, stated_charges};
use crate::step::state::State;
use crate::step::stepper::Stepper;
use crate::thermal::run::Thermal;

/// How the initial state is found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Start {
    /// All derivatives zero; stated voltages and currents are held at their values.
    #[default]
    OperatingPoint,
    /// Stated voltages and currents, everything else at zero.
    Stated,
}

/// Whether a circuit is stepped by pieces: exactly, from one change of a switch or an ideal diode to the next.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Piecewise {
    /// By the method.
    Never,
    /// By pieces where all devices are ideal diodes and there is one; else by the method.
    #[default]
    WherePossible,
    /// By pieces, or not at all.
    Always,
}

/// Everything a run needs.
#[derive(Debug)]
pub struct Setup<L: Lane> {
    /// The circuit.
    pub circuit: Circuit<L>,
    /// Lines, driven courses, choices.
    pub board: Board<L>,
    /// Logic, in the order in which it looks.
    pub controllers: Vec<Box<dyn Controller<L>>>,
    /// Heat inputs of the circuit, in the order of their numbers; `None`: all temperatures stay as the laws have them.
    pub thermal: Option<Thermal<L>>,
    /// How far the temperature of a law may lag behind the network's, K ([`coupling`](super::coupling)).
    pub heat_error: f64,
    /// Longest time between two exchanges of heat and temperature, s; they fall on ends of steps. Infinite: as long as
    /// `heat_error` allows.
    pub coupling: f64,
    /// Simulated time at the start, s.
    pub begin: f64,
    /// How the initial state is found.
    pub start: Start,
    /// The start for which the circuit's [`topology`] was examined already, with nothing wrong.
    pub examined: Option<Start>,
    /// The stepping method. Where the equations have index 2 ([`index`]) the implicit one of a linearly implicit
    /// method makes all steps ([`Method::implicit`]).
    pub method: &'static Method,
    /// Whether the circuit is stepped by pieces ([`pieces`](crate::step::pieces)); the method then plays no part.
    pub piecewise: Piecewise,
    /// Step lengths.
    pub steps: Steps,
    /// Bounds of the error ratio that opens and closes windows.
    pub bounds: Bounds,
    /// Newton's iteration; `None`: what fits the bounds ([`Bounds::tolerance`], the values at the start).
    pub tolerance: Option<Tolerance>,
    /// What is recorded.
    pub channels: Vec<Channel>,
    /// Shortest time between two samples, s; 0: every step. Edges and events are always sampled.
    pub sample_every: f64,
    /// Quantities whose extremes are kept, whose crossings make events.
    pub watches: Vec<Watch>,
    /// What the events of the run come to ([`Run::readings`]).
    pub gauges: Vec<Gauge>,
    /// Devices whose switching energies are measured, each a row for the recorder.
    pub switches: Vec<SwitchMeter>,
    /// ∫ first·second dt, with the method's own weights (an energy from a voltage and a current).
    pub integrals: Vec<(Probe, Probe)>,
    /// Ends the search for the initial state when it is set.
    pub halt: Halt,
}

impl<L: Lane> Setup<L> {
    /// A setup with sane defaults for a circuit: order 4, base step 1 µs with its finest step ([`Steps::of_base`]),
    /// default bounds of the local error ([`Bounds::default`]), temperatures of laws within 1 K. Where the length of
    /// the run is known, [`Setup::lasting`] knows better steps.
    #[inline(never)]
    pub fn new(circuit: Circuit<L>) -> Self {
        Self {
            board: Board::new(&circuit),
            circuit,
            controllers: Vec::new(),
            thermal: None,
            heat_error: 1.0,
            coupling: f64::INFINITY,
            begin: 0.0,
            start: Start::OperatingPoint,
            examined: None,
            method: &ESDIRK4,
            piecewise: Piecewise::WherePossible,
            steps: Steps::of_base(1e-6),
            bounds: Bounds::default(),
            tolerance: None,
            channels: Vec::new(),
            sample_every: 0.0,
            watches: Vec::new(),
            gauges: Vec::new(),
            switches: Vec::new(),
            integrals: Vec::new(),
            halt: None,
        }
    }

    /// With the default steps of a run that lasts until `end`, s ([`Steps::over`]).
    #[must_use]
    pub fn lasting(mut self, end: f64) -> Self {
        self.steps = Steps::over(end);
        self
    }
}

impl Setup<f64> {
    /// Checks the circuit, finds the initial state and compiles the equations.
    ///
    /// # Errors
    /// [`Refusal`].
    #[inline(never)]
    pub fn ready(self) -> Result<Run<f64>, Refusal> {
        let (base, coupling, error) = (self.steps.base, self.coupling, self.heat_error);
        let positive = |x: f64| x.is_finite() && x > 0.0;
        if !positive(base) || self.steps.finest > Steps::DEEPEST {
            return Err(Refusal::Setup(format!("base step {base} s with {} halvings", self.steps.finest)));
        }
        if !(coupling > 0.0 && positive(error)) && self.thermal.is_some() {
            return Err(Refusal::Setup(format!("coupling of heat within {error} K and {coupling} s")));
        }
        if self.examined != Some(self.start) {
            let findings = topology::examine(&self.circuit, self.start == Start::OperatingPoint);
            if !findings.errors.is_empty() {
                return Err(Refusal::Circuit(findings.errors));
            }
        }
        let method = match index::of_index_two(&self.circuit) {
            Some(_) => self.method.implicit(),
            None => self.method,
        };
        let celsius = self.thermal.as_ref().map(|t| t.temperatures().to_vec()).unwrap_or_default();
        let system = Arc::new(System::new(self.circuit));
        let kelvin = kelvin_of(&system, &celsius);
        let mut board = self.board;
        board.apply_orders(self.begin);
        let devices = system.devices_at(&kelvin);
        let (x, q) = match self.start {
            Start::OperatingPoint => {
                let x = operating_point(&system, self.begin, &kelvin, &board, self.halt)?;
                let q = charges(&system, &devices, &x);
                (x, q)
            }
            Start::Stated => (zeros(system.n + 1), stated_charges(&system, &kelvin)),
        };
        let stamps = system.stamps(&devices, &x);
        let alpha = 1.0 / (method.gamma * base * 0.5f64.powi(self.steps.finest as i32));
        let program = Program::compile(&system, alpha, board.choices(), &stamps).map_err(|no| {
            let node = no.columns.first().map_or("", |&k| system.name(k)).to_string();
            SolverError::Singular { time: self.begin, node }
        })?;
        let integrals: Vec<_> = self
            .integrals
            .iter()
            .map(|(a, b)| (Readout::new(a, &system), Readout::new(b, &system)))
            .collect();
        let accounts = system.accounts() + integrals.len();
        let tolerance_of = |x: &[f64]| {
            let [volt, ampere] = [true, false].map(|voltage| largest(&system, x, voltage));
            self.tolerance.unwrap_or_else(|| self.bounds.tolerance(volt, ampere))
        };
        let tolerance = tolerance_of(&x);
        let mut stepper =
            Stepper::new(Arc::clone(&system), program, method, tolerance, self.bounds, integrals);
        stepper.solver.set_temperatures(&kelvin);
        let by_pieces = match self.piecewise {
            Piecewise::Never => Ok(()),
            Piecewise::WherePossible if !system.has_valves() => Ok(()),
            _ => stepper.by_pieces(base, &board),
        };
        if let (Err(why), Piecewise::Always) = (by_pieces, self.piecewise) {
            return Err(Refusal::Setup(format!("the circuit cannot be stepped by pieces: {why}")));
        }
        let zero = 0.0;
        let mut state = State {
            t: self.begin,
            k: zeros(system.n + 1),
            power: zeros(accounts),
            energy: zeros(accounts),
            history: Vec::new(),
            x,
            q,
            kelvin,
        };
        let ladder = Ladder::new(self.steps, method.error_order, self.begin);
        stepper.finest = ladder.finest_step();
        let tiny = 1e-3 * ladder.finest_step();
        if let Err(error) = stepper.jump(&mut state, tiny, false, &board) {
            return Err(error.located(&system, self.begin, 0).into());
        }
        stepper.solver.tolerate(tolerance_of(&state.x));
        stepper.gauge_from(&state.x);
        // What moves at once belongs to no account yet.
        state.energy.fill(zero);
        stepper.forget(&mut state);
        let stored_at_start = ledger::stored(&system, &devices, &state.x);
        let watcher = Watcher::new(self.watches);
        let gauges = Gauges::new(self.gauges);
        let switches = Switches::new(self.switches);
        Ok(Run::assemble(
            state,
            stepper,
            ladder,
            board,
            self.controllers,
            self.thermal,
            (error, coupling),
            Recording { channels: self.channels, sample_every: self.sample_every, watcher, gauges, switches },
            stored_at_start,
            Counters::default(),
        ))
    }
}

/// The largest voltage, or the largest current; of the lanes, the one in which it is least.
fn largest<L: Lane>(system: &System<L>, x: &[L], voltage: bool) -> f64 {
    let of = (0..system.n).filter(|&k| system.judged[k] && system.is_voltage[k] == voltage);
    let each = of.fold(L::splat(0.0), |most, k| most.max(x[k].abs()));
    (0..L::WIDTH).map(|lane| each.lane(lane)).fold(f64::INFINITY, f64::min)
}

/// What is recorded and watched.
#[derive(Debug)]
pub struct Recording {
    /// Channels.
    pub channels: Vec<Channel>,
    /// Shortest time between two samples, s.
    pub sample_every: f64,
    /// Extremes and crossings.
    pub watcher: Watcher,
    /// What events come to.
    pub(super) gauges: Gauges,
    /// Switching energies.
    pub(super) switches: Switches,
}

/// Why a run cannot begin.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// The circuit has no unique solution; all findings.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Circuit(Vec<CircuitError>),
    /// No initial state was found.
    #[error(transparent)]
    Start(#[from] SolverError),
    /// Steps or intervals that cannot be.
    #[error("{0}")]
    Setup(String),
}

/// Absolute temperature of 0 °C, K.
pub const ZERO_CELSIUS: f64 = 273.15;

/// The temperature of each device, K: of its heat input, or (without one) a number that is not used.
pub(super) fn kelvin_of<L: Lane>(system: &System<L>, celsius: &[L]) -> Vec<L> {
    let of = |input: Option<crate::circuit::graph::HeatId>| {
        let celsius = input.and_then(|h| celsius.get(h.0 as usize).copied());
        celsius.map_or(L::splat(298.15), |c| c + L::splat(ZERO_CELSIUS))
    };
    system.devices.iter().map(|d| of(system.heat_of(d))).collect()
}
