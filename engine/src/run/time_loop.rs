//! The time loop: step, look, couple, record. It reads like the recipe.

use std::ops::Range;
use std::sync::Arc;

use super::coupling::Coupling;
use super::gauge::Gauges;
use super::report::Open;
use super::setup::Recording;
use super::switching::Switches;
use super::watch::Watcher;
use crate::accounts::counters::Counters;
use crate::accounts::ledger::{self, Ledger};
use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Channel;
use crate::control::Controller;
use crate::control::board::Board;
use crate::equations::system::System;
use crate::error::SolverError;
use crate::readout::{Readout, Readouts, Seat};
use crate::recorder::Recorder;
use crate::step::balance::Balance;
use crate::step::schedule::Ladder;
use crate::step::state::State;
use crate::step::stepper::{Attempt, Stepper};
use crate::thermal::run::Thermal;

/// How a stretch of a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The instant asked for was reached.
    Reached,
    /// The recorder asked to stop.
    Stopped,
}

/// A controller with the probes it asked for.
#[derive(Debug)]
pub(super) struct Observer<L: Lane> {
    pub(super) logic: Box<dyn Controller<L>>,
    /// Which of the run's values are its own.
    pub(super) reads: Range<usize>,
    pub(super) then: Vec<L>,
    pub(super) now: Vec<L>,
}

/// What a run does next.
#[derive(Clone, Copy, Debug)]
pub(super) enum Next {
    /// A step.
    Step(Planned),
    /// A walk by pieces until an instant, the next fixed corner, in steps no longer than this; s.
    Walk(f64, f64, f64),
    /// Nothing more.
    Over(Ended),
}

/// A step that is to be made.
#[derive(Clone, Copy, Debug)]
pub(super) struct Planned {
    /// Its end, s.
    pub end: f64,
    /// Its length, s.
    pub h: f64,
    /// The next corner of a course that is not driven, s.
    pub corner: f64,
}

/// Called before something needs the whole state of a run, which may lie in a lane of others
/// ([`abreast`](super::abreast)).
pub(super) type Fetch<'a> = &'a mut dyn FnMut(&mut State<f64>, &mut Stepper<f64>, &Board<f64>);

/// A run that has its whole state itself.
pub(super) fn whole(_: &mut State<f64>, _: &mut Stepper<f64>, _: &Board<f64>) {}

/// A run: a state carried through time.
#[derive(Debug)]
pub struct Run<L: Lane> {
    pub(super) system: Arc<System<L>>,
    pub(super) state: State<L>,
    pub(super) stepper: Stepper<L>,
    pub(super) ladder: Ladder,
    pub(super) balance: Balance,
    pub(super) board: Board<L>,
    /// The options with which the state was found: the board's own but for what it has just changed.
    pub(super) choices: Vec<usize>,
    pub(super) observers: Vec<Observer<L>>,
    pub(super) thermal: Option<Thermal<L>>,
    pub(super) celsius: Vec<L>,
    pub(super) coupling: Option<Coupling<L>>,
    /// Accounts that heat each input.
    pub(super) heating: Vec<Vec<u32>>,
    pub(super) channels: Vec<Channel>,
    /// Whether energies are read between the ends of stretches: by channels, or heat inputs.
    pub(super) tells_energy: bool,
    pub(super) sample_every: f64,
    pub(super) sampled_at: f64,
    /// The last instant told to a recorder, s.
    pub(super) recorded_until: f64,
    /// The instant at which probes are read, s: that of the state, or the next one just after a jump.
    pub(super) seen_at: f64,
    /// All that is read at the ends of steps: of controllers, then of what watches, then of channels.
    pub(super) reads: Readouts<L>,
    pub(super) watched: Range<usize>,
    /// Their values. Of a run in a lane the lanes tell them.
    pub(super) values: Vec<L>,
    pub(super) told: bool,
    pub(super) watcher: Watcher,
    pub(super) gauges: Gauges,
    pub(super) switches: Switches,
    pub(super) rows: Vec<Open<L>>,
    pub(super) stored_at_start: Vec<L>,
    pub(super) counters: Counters,
    pub(super) began: bool,
    /// Where the elimination order was last chosen anew, s.
    pub(super) reordered_at: Option<f64>,
    /// Where limited changes were last tried, s.
    pub(super) patient_at: Option<f64>,
    /// Where another solution was last taken, s.
    pub(super) snapped_at: Option<f64>,
    /// The next corner of a course that is not driven, s.
    pub(super) fixed_corner: f64,
}

impl Run<f64> {
    #[expect(clippy::too_many_arguments, reason = "called once, by Setup::ready")]
    pub(super) fn assemble(
        state: State<f64>,
        stepper: Stepper<f64>,
        ladder: Ladder,
        board: Board<f64>,
        controllers: Vec<Box<dyn Controller<f64>>>,
        thermal: Option<Thermal<f64>>,
        (bound, longest): (f64, f64),
        recording: Recording,
        stored_at_start: Vec<f64>,
        counters: Counters,
    ) -> Self {
        let system = Arc::clone(stepper.system());
        let mut readouts: Vec<Readout<f64>> = Vec::new();
        let mut observers = Vec::new();
        for logic in controllers {
            let begin = readouts.len();
            readouts.extend(logic.probes().iter().map(|p| Readout::new(p, &system)));
            let zeros = vec![0.0; readouts.len() - begin];
            observers.push(Observer { logic, reads: begin..readouts.len(), then: zeros.clone(), now: zeros });
        }
        let Recording { channels, sample_every, watcher, mut gauges, switches } = recording;
        let begin = readouts.len();
        watcher.readouts(&system, &mut readouts);
        gauges.readouts(&system, &mut readouts, begin);
        switches.readouts(&system, &mut readouts);
        let watched = begin..readouts.len();
        readouts.extend(channels.iter().map(|c| Readout::new(&c.probe, &system)));
        let tells_integrals = readouts[watched.end..].iter().any(Readout::is_integral);
        let reads = Readouts::new(readouts, system.accounts());
        let celsius = thermal.as_ref().map(|t| t.temperatures().to_vec()).unwrap_or_default();
        let first = stepper.pieces().map(|_| ladder.step());
        let coupling = thermal.as_ref().map(|t| Coupling::new(t, (bound, longest), first, state.t));
        let owners = system.account_owners();
        let heats = system.devices.len() + system.dissipators.len();
        let heating = (0..celsius.len()).map(|input| {
            let mine = |k: &usize| {
                system.circuit.components[owners[*k].0 as usize].heat.is_some_and(|h| h.0 as usize == input)
            };
            (0..heats).filter(mine).map(|k| k as u32).collect()
        });
        Self {
            observers,
            heating: heating.collect(),
            tells_energy: !celsius.is_empty() || tells_integrals,
            coupling,
            values: vec![0.0; reads.count()],
            reads,
            watched,
            told: false,
            sampled_at: f64::NEG_INFINITY,
            recorded_until: f64::NEG_INFINITY,
            seen_at: state.t.next_up(),
            sample_every,
            watcher,
            gauges,
            switches,
            rows: Vec::new(),
            choices: board.choices().to_vec(),
            began: false,
            reordered_at: None,
            fixed_corner: f64::NEG_INFINITY,
            patient_at: None,
            snapped_at: None,
            balance: Balance::new(stepper.coarser),
            system,
            state,
            stepper,
            ladder,
            board,
            thermal,
            celsius,
            channels,
            stored_at_start,
            counters,
        }
    }

    /// The state now.
    pub fn state(&self) -> &State<f64> {
        &self.state
    }
    /// The equations.
    pub fn system(&self) -> &System<f64> {
        &self.system
    }
    /// Work so far.
    pub fn counters(&self) -> Counters {
        self.counters
    }
    /// Extremes of the watched quantities.
    pub fn watcher(&self) -> &Watcher {
        &self.watcher
    }
    /// The thermal network.
    pub fn thermal(&self) -> Option<&Thermal<f64>> {
        self.thermal.as_ref()
    }
    /// Temperatures of the heat inputs, °C.
    pub fn celsius(&self) -> &[f64] {
        &self.celsius
    }
    /// The stepper, for measurements of cost.
    pub fn stepper(&mut self) -> &mut Stepper<f64> {
        &mut self.stepper
    }
    /// Value of an integral asked for in the setup, by its number there.
    pub fn integral(&self, k: usize) -> f64 {
        self.state.energy[self.system().accounts() + k]
    }
    /// Whether something keeps what no search for a periodic state displaces: a controller ([`Controller::remembers`]),
    /// or a device with a flux of its own.
    pub fn remembers(&self) -> bool {
        let fluxes = || self.system().devices().iter().any(|d| d.fluxes() > 0);
        self.observers.iter().any(|o| o.logic.remembers()) || fluxes()
    }
    /// The energy ledger from the start until now.
    #[inline(never)]
    pub fn ledger(&self) -> Ledger<f64> {
        let devices = self.system().devices_at(&self.state.kelvin);
        let mut ledger = ledger::ledger(self.system(), &devices, &self.state, &self.stored_at_start);
        ledger.turnover = ledger.turnover.max(self.balance.turned());
        ledger
    }
    /// Goes on until the instant `until`, s.
    ///
    /// # Errors
    /// Numerical error, with time, node and device. What was recorded until then stays valid.
    #[inline(never)]
    pub fn advance(&mut self, until: f64, recorder: &mut dyn Recorder<f64>) -> Result<Ended, SolverError> {
        loop {
            let step = match self.next(until, recorder, &mut whole)? {
                Next::Over(ended) => return Ok(ended),
                Next::Walk(stop, corner, near) => {
                    if self.walk((stop, corner, near), until, recorder)? == Ended::Stopped {
                        return Ok(Ended::Stopped);
                    }
                    continue;
                }
                Next::Step(step) => step,
            };
            let (board, waves) = (&self.board, &self.system.circuit.waves);
            let seat = Seat { t: self.state.t, board, waves, choices: board.choices() };
            let outcome = self.stepper.attempt(&self.state, step.end, step.h, seat);
            let mut attempt = match outcome {
                Ok(attempt) => attempt,
                Err(error) => {
                    self.recover(error)?;
                    if !recorder.go_on(self.state.t) {
                        return Ok(Ended::Stopped);
                    }
                    continue;
                }
            };
            self.look_closer(&mut attempt);
            let mean = |stepper: &Stepper<f64>, account: usize| stepper.mean_power(account);
            if !self.accepts(attempt, step, &mean) {
                continue;
            }
            let before = self.state.t;
            self.stepper.commit(&mut self.state);
            if !self.took(attempt, step, before, recorder, &mut whole)? {
                return Ok(Ended::Stopped);
            }
        }
    }

    /// What comes next on the way to `until`, s; what needs no step is done at once.
    pub(super) fn next(
        &mut self,
        until: f64,
        recorder: &mut dyn Recorder<f64>,
        fetch: Fetch<'_>,
    ) -> Result<Next, SolverError> {
        if !self.began {
            self.begin(recorder)?;
        }
        while self.state.t < until {
            // Orders for lines end a step too, but only what moves the circuit opens a window.
            let next = self.next_corner();
            let corner = self.fixed_corner;
            let wakes = self.observers.iter().filter_map(|o| o.logic.wakes(self.state.t));
            let gauges = self.gauges.wakes(self.state.t);
            let stop = wakes.filter(|&w| w > self.state.t).chain([next, until, gauges]);
            let stop = stop.fold(f64::INFINITY, f64::min);
            if stop - self.state.t < 1e-6 * self.ladder.finest_step() {
                // Instants that differ by rounding alone: no step fits between them.
                let before = std::mem::replace(&mut self.state.t, stop);
                self.after_step(before, stop == corner, recorder, fetch)?;
                // Whatever makes so many instants is not looked at by the steps below.
                if !recorder.go_on(self.state.t) {
                    return Ok(Next::Over(Ended::Stopped));
                }
                continue;
            }
            let near = self.observers.iter().map(|o| o.logic.longest_step()).fold(f64::INFINITY, f64::min);
            if self.stepper.pieces().is_some() {
                return Ok(Next::Walk(stop, corner, near));
            }
            self.ladder.at_most(self.coupling.as_ref().map_or(near, |c| near.min(c.longest_step)));
            let (end, h) = self.ladder.next_end(self.state.t, stop);
            return Ok(Next::Step(Planned { end, h, corner }));
        }
        // The last of a walk by pieces may have ended a rounding error before `until`.
        self.stepper.account(&mut self.state);
        Ok(Next::Over(Ended::Reached))
    }

    /// An accepted step from `before`, s, was committed. False where the recorder asks to stop.
    pub(super) fn took(
        &mut self,
        attempt: Attempt,
        step: Planned,
        before: f64,
        recorder: &mut dyn Recorder<f64>,
        fetch: Fetch<'_>,
    ) -> Result<bool, SolverError> {
        let ratio = attempt.error_ratio().max(self.balance.accepted(attempt.residual));
        self.ladder.accepted(step.end, ratio);
        self.counters.steps += 1;
        self.warms(step.h);
        let jumps = self.counters.jumps;
        self.after_step(before, step.end == step.corner, recorder, fetch)?;
        let look = self.counters.steps.is_multiple_of(256) || self.counters.jumps > jumps;
        Ok(!look || recorder.go_on(self.state.t))
    }

    pub(super) fn next_corner(&mut self) -> f64 {
        let t = self.state.t;
        if self.fixed_corner <= t {
            let waves = self.system.circuit.waves.iter().filter_map(|w| w.next_corner(t));
            self.fixed_corner = waves.fold(f64::INFINITY, f64::min);
        }
        self.board.next(t).map_or(self.fixed_corner, |b| b.min(self.fixed_corner))
    }
}
