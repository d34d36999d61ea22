//! The time loop: step, look, couple, record. It reads like the recipe.

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
use crate::control::board::Board;
use crate::control::{Controller, Seen};
use crate::equations::system::System;
use crate::error::SolverError;
use crate::readout::{Readout, Sources};
use crate::recorder::{EventKind, Recorder};
use crate::step::schedule::Ladder;
use crate::step::stage::StageError;
use crate::step::state::State;
use crate::step::stepper::Stepper;
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
    pub(super) readouts: Vec<Readout<L>>,
    pub(super) then: Vec<L>,
    pub(super) now: Vec<L>,
}

/// A run: a state carried through time.
#[derive(Debug)]
pub struct Run<L: Lane> {
    pub(super) state: State<L>,
    pub(super) stepper: Stepper<L>,
    pub(super) ladder: Ladder,
    pub(super) board: Board<L>,
    /// The options with which the state was found: the board's own but for what it has just changed.
    pub(super) choices: Vec<usize>,
    pub(super) observers: Vec<Observer<L>>,
    pub(super) thermal: Option<Thermal<L>>,
    pub(super) celsius: Vec<L>,
    pub(super) coupling: Option<Coupling<L>>,
    /// Accounts that heat each input.
    pub(super) heating: Vec<Vec<u32>>,
    pub(super) channels: Vec<(Channel, Readout<L>)>,
    /// Whether energies are read between the ends of stretches: by channels, or heat inputs.
    pub(super) tells_energy: bool,
    pub(super) sample_every: f64,
    pub(super) sampled_at: f64,
    /// The last instant told to a recorder, s.
    pub(super) recorded_until: f64,
    /// The instant at which probes are read, s: that of the state, or the next one just after a jump.
    pub(super) seen_at: f64,
    pub(super) values: Vec<L>,
    pub(super) watcher: Watcher<L>,
    pub(super) gauges: Gauges<L>,
    pub(super) switches: Switches<L>,
    pub(super) rows: Vec<Open<L>>,
    pub(super) stored_at_start: Vec<L>,
    pub(super) counters: Counters,
    pub(super) began: bool,
    /// Where the elimination order was last chosen anew, s.
    pub(super) reordered_at: Option<f64>,
    /// The next corner of a course that is not driven, s.
    pub(super) fixed_corner: f64,
}

impl<L: Lane> Run<L> {
    #[expect(clippy::too_many_arguments, reason = "called once, by Setup::ready")]
    pub(super) fn assemble(
        state: State<L>,
        stepper: Stepper<L>,
        ladder: Ladder,
        board: Board<L>,
        controllers: Vec<Box<dyn Controller<L>>>,
        thermal: Option<Thermal<L>>,
        (bound, longest): (f64, f64),
        recording: Recording<L>,
        stored_at_start: Vec<L>,
        counters: Counters,
    ) -> Self {
        let system = Arc::clone(stepper.system());
        let observers = controllers.into_iter().map(|logic| {
            let readouts: Vec<_> = logic.probes().iter().map(|p| Readout::new(p, &system)).collect();
            let zeros = vec![L::splat(0.0); readouts.len()];
            Observer { logic, readouts, then: zeros.clone(), now: zeros }
        });
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
        let channels: Vec<_> = recording
            .channels
            .into_iter()
            .map(|c| {
                let readout = Readout::new(&c.probe, &system);
                (c, readout)
            })
            .collect();
        Self {
            observers: observers.collect(),
            heating: heating.collect(),
            tells_energy: !celsius.is_empty() || channels.iter().any(|(_, r)| r.is_integral()),
            coupling,
            values: vec![L::splat(0.0); channels.len()],
            sampled_at: f64::NEG_INFINITY,
            recorded_until: f64::NEG_INFINITY,
            seen_at: state.t.next_up(),
            sample_every: recording.sample_every,
            watcher: recording.watcher,
            gauges: recording.gauges,
            switches: recording.switches,
            rows: Vec::new(),
            choices: board.choices().to_vec(),
            began: false,
            reordered_at: None,
            fixed_corner: f64::NEG_INFINITY,
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
    pub fn state(&self) -> &State<L> {
        &self.state
    }
    /// The equations.
    pub fn system(&self) -> &System<L> {
        self.stepper.system()
    }
    /// Work so far.
    pub fn counters(&self) -> Counters {
        self.counters
    }
    /// Extremes of the watched quantities.
    pub fn watcher(&self) -> &Watcher<L> {
        &self.watcher
    }
    /// The thermal network.
    pub fn thermal(&self) -> Option<&Thermal<L>> {
        self.thermal.as_ref()
    }
    /// Temperatures of the heat inputs, °C.
    pub fn celsius(&self) -> &[L] {
        &self.celsius
    }
    /// The stepper, for measurements of cost.
    pub fn stepper(&mut self) -> &mut Stepper<L> {
        &mut self.stepper
    }
    /// Value of an integral asked for in the setup, by its number there.
    pub fn integral(&self, k: usize) -> L {
        self.state.energy[self.system().accounts() + k]
    }
    /// The energy ledger from the start until now.
    #[inline(never)]
    pub fn ledger(&self) -> Ledger<L> {
        let devices = self.system().devices_at(&self.state.kelvin);
        ledger::ledger(self.system(), &devices, &self.state, &self.stored_at_start)
    }
    /// Reads a probe at the present state.
    #[inline(never)]
    pub fn read(&self, probe: &crate::circuit::probe::Probe) -> L {
        Readout::new(probe, self.system()).read(self.system(), &self.sources())
    }

    pub(super) fn sources(&self) -> Sources<'_, L> {
        Sources {
            t: self.seen_at,
            x: &self.state.x,
            power: &self.state.power,
            stamps: self.stepper.stamps(),
            board: &self.board,
            choices: &self.choices,
            celsius: &self.celsius,
            energy: &self.state.energy,
            integrals: &self.state.energy[self.stepper.system().accounts()..],
        }
    }

    /// Goes on until the instant `until`, s.
    ///
    /// # Errors
    /// Numerical error, with time, node and device. What was recorded until then stays valid.
    #[inline(never)]
    pub fn advance(&mut self, until: f64, recorder: &mut dyn Recorder<L>) -> Result<Ended, SolverError> {
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
                self.after_step(before, stop == corner, recorder)?;
                // Whatever makes so many instants is not looked at by the steps below.
                if !recorder.go_on(self.state.t) {
                    return Ok(Ended::Stopped);
                }
                continue;
            }
            let near = self.observers.iter().map(|o| o.logic.longest_step()).fold(f64::INFINITY, f64::min);
            if self.stepper.pieces().is_some() {
                if self.walk((stop, corner, near), until, recorder)? == Ended::Stopped {
                    return Ok(Ended::Stopped);
                }
                continue;
            }
            self.ladder.at_most(self.coupling.as_ref().map_or(near, |c| near.min(c.longest_step)));
            let (end, h) = self.ladder.next_end(self.state.t, stop);
            let mut attempt = match self.stepper.attempt(&self.state, end, h, &self.board) {
                Ok(attempt) => attempt,
                Err(error) => {
                    self.recover(error)?;
                    if !recorder.go_on(self.state.t) {
                        return Ok(Ended::Stopped);
                    }
                    continue;
                }
            };
            self.counters.iterations += u64::from(attempt.iterations);
            let finest = self.ladder.at_the_finest();
            if finest && attempt.error > 1.0 {
                // No shorter step improves what rounding makes.
                attempt.error = self.stepper.beyond_rounding(&self.board);
            }
            let error_ratio = attempt.error_ratio();
            if self.ladder.refuses(error_ratio) || self.ladder.rushes(attempt.error) || self.too_warm(h) {
                self.counters.refused += 1;
                continue;
            }
            if finest {
                self.counters.at_the_finest(attempt.error);
            }
            let before = self.state.t;
            self.stepper.commit(&mut self.state);
            self.ladder.accepted(end, error_ratio);
            self.counters.steps += 1;
            self.took(h);
            let jumps = self.counters.jumps;
            self.after_step(before, end == corner, recorder)?;
            let look = self.counters.steps.is_multiple_of(256) || self.counters.jumps > jumps;
            if look && !recorder.go_on(self.state.t) {
                return Ok(Ended::Stopped);
            }
        }
        // The last of a walk by pieces may have ended a rounding error before `until`.
        self.stepper.account(&mut self.state);
        Ok(Ended::Reached)
    }

    /// Before the first step: what will be recorded, the first look, the first sample.
    fn begin(&mut self, recorder: &mut dyn Recorder<L>) -> Result<(), SolverError> {
        self.began = true;
        recorder.begin(&self.layout());
        for o in &mut self.observers {
            o.now.fill(L::splat(0.0));
        }
        self.read_observers();
        for o in &mut self.observers {
            o.then.copy_from_slice(&o.now);
        }
        self.after_step(self.state.t, false, recorder)?;
        if !self.celsius.is_empty() {
            recorder.thermal(self.state.t, &self.celsius);
        }
        let interval = self.open_row(String::new());
        self.rows.insert(0, interval);
        Ok(())
    }

    fn next_corner(&mut self) -> f64 {
        let t = self.state.t;
        if self.fixed_corner <= t {
            let waves = self.stepper.system().circuit.waves.iter().filter_map(|w| w.next_corner(t));
            self.fixed_corner = waves.fold(f64::INFINITY, f64::min);
        }
        self.board.next(t).map_or(self.fixed_corner, |b| b.min(self.fixed_corner))
    }

    /// Everything that happens at the end of a step.
    pub(super) fn after_step(
        &mut self,
        before: f64,
        corner: bool,
        recorder: &mut dyn Recorder<L>,
    ) -> Result<(), SolverError> {
        let t = self.state.t;
        if t > before {
            self.seen_at = t;
        }
        let jumps = corner && self.stepper.system().circuit.waves.iter().any(|w| w.jumps_at(t));
        self.board.apply_orders(t);
        self.look(before)?;
        let (ordered, switched) = self.board.take_changes();
        let mut events = self.board.take_events();
        if jumps || switched {
            // The sample before the jump, then the state after it.
            self.sample(recorder, true);
            // What goes at once had its extreme just before.
            self.watch(&mut events);
            self.choices.copy_from_slice(self.board.choices());
            self.jump(true)?;
        }
        if corner || ordered || jumps || switched {
            self.ladder.open(t);
            self.stepper.forget(&mut self.state);
            self.watcher.anew();
            self.counters.windows += 1;
        }
        self.couple(recorder);
        self.watch(&mut events);
        self.sample(recorder, !events.is_empty() || corner || ordered || jumps || switched);
        for event in &events {
            recorder.event(event);
            self.gauges.event(event);
            self.switches.event(event);
            if event.kind == EventKind::Edge {
                self.turn_row(&event.subject, recorder);
            }
        }
        self.gauges.fault(self.board.fault());
        self.report_switching(recorder);
        Ok(())
    }

    fn read_observers(&mut self) {
        let mut observers = std::mem::take(&mut self.observers);
        let from = self.sources();
        for o in &mut observers {
            for (value, readout) in o.now.iter_mut().zip(&o.readouts) {
                *value = readout.read(self.stepper.system(), &from);
            }
        }
        self.observers = observers;
    }

    fn look(&mut self, before: f64) -> Result<(), SolverError> {
        self.read_observers();
        let t = self.state.t;
        for o in &mut self.observers {
            let seen = Seen { before, t, then: &o.then, now: &o.now };
            o.logic.look(&seen, &mut self.board)?;
            // What was ordered for this very instant holds for those who look after.
            self.board.apply_orders(t);
            o.then.copy_from_slice(&o.now);
        }
        Ok(())
    }

    /// Makes the state consistent; `counts`: what goes at once is booked.
    pub(super) fn jump(&mut self, counts: bool) -> Result<(), SolverError> {
        self.counters.jumps += 1;
        let tiny = 1e-3 * self.ladder.finest_step();
        let t = self.state.t;
        self.seen_at = t.next_up();
        let located = |error: StageError, s: &Stepper<L>| error.located(s.system(), t, 0);
        let jumped = self.stepper.jump(&mut self.state, tiny, counts, &self.board);
        jumped.map_err(|error| located(error, &self.stepper))?;
        self.stepper.gauge_sees(&self.state.x);
        Ok(())
    }
}
