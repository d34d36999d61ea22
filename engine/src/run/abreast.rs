//! Runs abreast: each in a lane of one stepper, at its own time, with steps of its own.
//!
//! What a lane shares with the others is arithmetic only: laws, elimination, the sums of stages. Everything else is the
//! run's own, the same code as for one alone: its schedule, what it orders, heat, accounts, records. So a run has the
//! same bits in any company and by itself. The matrix of a step, G + αC with each lane's α, is made and eliminated
//! whole in every round; lanes whose step is taken back try again beside others that go on.
//!
//! What happens rarely happens in the run's own stepper: the state after a jump is found there and put back into the
//! lane. A run that needs another elimination order, or none, leaves and goes on alone to its end.

mod seating;

pub use seating::Seating;

use super::time_loop::{Ended, Next, Planned, Run};
use crate::arithmetic::lane::{MOST_LANES, lanes_in};
use crate::circuit::lockstep::DeviceLanes;
use crate::control::board::Board;
use crate::error::SolverError;
use crate::readout::{Raw, Readouts, Seat, Sources};
use crate::recorder::Recorder;
use crate::step::stage::{StageError, is_bad};
use crate::step::state::State;
use crate::step::stepper::{Attempt, Span, Stepper};

/// A run in its lane.
#[derive(Debug)]
struct Sitting {
    run: Run<f64>,
    until: f64,
    step: Planned,
    /// The board's version whose conductances the lane has.
    version: Option<u64>,
    jumps: u64,
    couplings: u64,
    reordered: u64,
    /// What it reads itself at the ends of steps.
    read: Vec<Raw>,
}

impl Sitting {
    /// What its lane has of its own in a step.
    fn seat(&self) -> Seat<'_> {
        let Run { state, board, system, .. } = &self.run;
        Seat { t: state.t, board, waves: &system.circuit.waves, choices: board.choices() }
    }
}

/// Runs in the lanes of `K`.
#[derive(Debug)]
pub struct Abreast<K: DeviceLanes> {
    stepper: Stepper<K>,
    state: State<K>,
    places: Vec<Option<Sitting>>,
    spans: Vec<Span>,
    keys: Vec<(f64, u64)>,
    chosen: Vec<K>,
    /// Accounts that heat some run's inputs, and the mean power of each account over the attempted step, W.
    heating: Vec<u32>,
    power: Vec<K>,
    /// What all runs read at the ends of steps.
    reads: Readouts<K>,
    values: Vec<K>,
    rounds: u64,
    steps: u64,
}

/// A run that came to its end.
#[derive(Debug)]
pub struct Over {
    /// Its lane, free now.
    pub lane: usize,
    /// The run.
    pub run: Run<f64>,
    /// How it ended.
    pub ended: Result<Ended, SolverError>,
}

impl<K: DeviceLanes> Abreast<K> {
    /// How many runs there are.
    pub fn count(&self) -> usize {
        self.places.iter().flatten().count()
    }

    /// Whether a lane is free.
    pub fn has_room(&self) -> bool {
        self.count() < K::WIDTH
    }

    /// Steps tried together, how many of their lanes were in use, and the Newton iterations that all lanes made together.
    pub fn work(&self) -> (u64, u64, u64) {
        (self.rounds, self.steps, self.stepper.solver.iterated)
    }

    /// The stepper, for measurements of cost.
    pub fn stepper(&mut self) -> &mut Stepper<K> {
        &mut self.stepper
    }

    /// Goes on until some runs are over, and gives them back. There is a recorder for each lane.
    #[inline(never)]
    pub fn advance(&mut self, recorders: &mut [&mut dyn Recorder<f64>]) -> Vec<Over> {
        let mut over = Vec::new();
        while over.is_empty() && self.count() > 0 {
            self.round(recorders, &mut over);
        }
        over
    }

    /// A step tried in every lane.
    fn round(&mut self, recorders: &mut [&mut dyn Recorder<f64>], over: &mut Vec<Over>) {
        let going = self.prepare(recorders, over);
        let Some(some) = lanes_in(going).next() else { return };
        self.rounds += 1;
        self.steps += u64::from(going.count_ones());
        let Self { stepper, state, places, spans, power, .. } = self;
        for lane in lanes_in(going) {
            let Some(Sitting { run, step, .. }) = &mut places[lane] else { continue };
            let recipe = run.stepper.recipes.fitting(stepper.method, &run.state.history, step.h);
            stepper.weights.take(lane, recipe);
        }
        let Some(any) = places[some].as_ref().map(Sitting::seat) else { return };
        let mut seats = [any; MOST_LANES];
        let taken = places.iter().map(Option::as_ref);
        seats.iter_mut().zip(taken).for_each(|(seat, one)| *seat = one.map_or(any, Sitting::seat));
        stepper.attempt_lanes(state, spans, &mut seats[..K::WIDTH], going);
        let asking = |asks: fn(&Run<f64>, Attempt) -> bool| {
            let asks = |lane: &usize| match (stepper.outcomes[*lane], &places[*lane]) {
                (Ok(attempt), Some(sitting)) => asks(&sitting.run, attempt),
                _ => false,
            };
            lanes_in(going).filter(asks).fold(0, |lanes, lane| lanes | 1 << lane)
        };
        let (blurred, unsure) = (asking(Run::may_be_rounding), asking(Run::may_be_unbalanced));
        let beyond = if blurred != 0 { stepper.beyond_rounding() } else { Default::default() };
        let balance = if unsure != 0 { stepper.unbalanced(state) } else { Default::default() };
        for lane in lanes_in(blurred | unsure) {
            if let (Ok(attempt), Some(place)) = (&mut stepper.outcomes[lane], &mut places[lane]) {
                place.run.consider(attempt, lane, (blurred, beyond), (unsure, balance));
            }
        }
        self.heating.iter().for_each(|&k| power[k as usize] = stepper.mean_power(k as usize));
        let (mut taken, mut leaving) = (0, 0);
        for lane in lanes_in(going) {
            let Some(Sitting { run, step, .. }) = &mut places[lane] else { continue };
            match stepper.outcomes[lane] {
                Ok(attempt) => {
                    let mean = |_: &Stepper<f64>, account: usize| power[account].lane(lane);
                    taken |= u32::from(run.accepts(attempt, *step, &mean)) << lane;
                }
                Err(_) => leaving |= u32::from(run.is_stuck()) << lane,
            }
        }
        stepper.commit_lanes(state, taken, going & !taken);
        self.tell(taken);
        for lane in lanes_in(leaving) {
            self.leave(lane, self.stepper.outcomes[lane].err(), recorders, over);
        }
        let mut warm = false;
        for lane in lanes_in(going & !leaving) {
            // Taken back: nothing to conclude.
            let outcome =
                self.stepper.outcomes[lane].map(|attempt| Some(attempt).filter(|_| taken >> lane & 1 == 1));
            warm |= self.conclude(lane, outcome, recorders, over);
        }
        if warm {
            self.stepper.solver.set_temperatures(&self.state.kelvin);
        }
    }

    /// What is read at the ends of steps goes to the runs that made one.
    fn tell(&mut self, taken: u32) {
        let Self { stepper, state, places, reads, values, .. } = self;
        let from = Sources {
            seats: &[],
            x: &state.x,
            power: &state.power,
            stamps: stepper.stamps(),
            celsius: &[],
            energy: &state.energy,
            integrals: &[],
        };
        reads.weigh(&from, values);
        for lane in lanes_in(taken) {
            if let Some(Sitting { run, .. }) = &mut places[lane] {
                run.values.iter_mut().zip(values.iter()).for_each(|(own, all)| *own = all.lane(lane));
            }
        }
    }

    /// Makes the matrices; returns the lanes that go on. A run whose order loses digits leaves.
    fn prepare(&mut self, recorders: &mut [&mut dyn Recorder<f64>], over: &mut Vec<Over>) -> u32 {
        let mut going = 0;
        for (lane, place) in self.places.iter_mut().enumerate() {
            let Some(Sitting { run, step, version, .. }) = place else { continue };
            let now = run.board.version();
            self.keys[lane] = (self.stepper.method.alpha(step.h), now);
            self.spans[lane] = Span { begin: run.state.t, end: step.end, h: step.h };
            if *version != Some(now) {
                *version = Some(now);
                let conductances = run.system.chosen(run.board.choices());
                self.chosen.iter_mut().zip(conductances).for_each(|(all, own)| all.set_lane(lane, own));
            }
            going |= 1 << lane;
        }
        let growth = self.stepper.solver.prepare_lanes(&self.keys, &self.chosen);
        let bad = |lane: &usize| is_bad(growth.lane(*lane));
        for lane in lanes_in(going).filter(bad) {
            going &= !(1 << lane);
            self.leave(lane, None, recorders, over);
        }
        going
    }

    /// A run goes on alone to its end; where its step has no solution, by what is left then.
    fn leave(
        &mut self,
        lane: usize,
        failed: Option<StageError>,
        recorders: &mut [&mut dyn Recorder<f64>],
        over: &mut Vec<Over>,
    ) {
        let Some(Sitting { mut run, until, .. }) = self.places[lane].take() else { return };
        self.stepper.store(lane, &self.state, &mut run.state, &mut run.stepper, &run.board);
        run.told = false;
        let recorder = &mut *recorders[lane];
        let helped = match failed {
            Some(error) => run.recover(error).map(|()| recorder.go_on(run.state.t)),
            None => Ok(true),
        };
        let ended = match helped {
            Ok(true) => run.advance(until, recorder),
            Ok(false) => Ok(Ended::Stopped),
            Err(error) => Err(error),
        };
        over.push(Over { lane, run, ended });
    }

    /// What a run does with its step, and what it does next. Whether its laws have other temperatures now.
    fn conclude(
        &mut self,
        lane: usize,
        outcome: Result<Option<Attempt>, StageError>,
        recorders: &mut [&mut dyn Recorder<f64>],
        over: &mut Vec<Over>,
    ) -> bool {
        let Self { stepper, state, places, .. } = self;
        let Some(sitting) = &mut places[lane] else { return false };
        let (run, read, recorder) = (&mut sitting.run, &sitting.read, &mut *recorders[lane]);
        let mut fetched = false;
        let mut fetch = |own: &mut State<f64>, to: &mut Stepper<f64>, board: &Board<f64>| {
            // From then on the run's own is the newer one.
            if !std::mem::replace(&mut fetched, true) {
                stepper.store(lane, state, own, to, board);
            }
        };
        let step = sitting.step;
        let mut on = || -> Result<Next, SolverError> {
            if let Err(error) = outcome {
                // A shorter step is left.
                run.recover(error)?;
                if !recorder.go_on(run.state.t) {
                    return Ok(Next::Over(Ended::Stopped));
                }
            }
            if let Ok(Some(attempt)) = outcome {
                let before = run.state.t;
                stepper.show(lane, state, &mut run.state, &mut run.stepper, read);
                run.stepper.passed(&mut run.state, step.end, step.h);
                if !run.took(attempt, step, before, recorder, &mut fetch)? {
                    return Ok(Next::Over(Ended::Stopped));
                }
            }
            run.next(sitting.until, recorder, &mut fetch)
        };
        let ended = match on() {
            Ok(Next::Step(next)) => {
                sitting.step = next;
                if run.stepper.solver.reordered != sitting.reordered {
                    // A jump asked for it; the run has its whole state.
                    let Some(Sitting { mut run, until, .. }) = places[lane].take() else { return false };
                    run.told = false;
                    let ended = run.advance(until, recorder);
                    over.push(Over { lane, run, ended });
                    return false;
                }
                if run.counters.jumps != sitting.jumps {
                    sitting.jumps = run.counters.jumps;
                    stepper.load(lane, state, &run.state, &run.stepper);
                }
                let warm = run.counters.couplings != sitting.couplings;
                if warm {
                    sitting.couplings = run.counters.couplings;
                    state
                        .kelvin
                        .iter_mut()
                        .zip(&run.state.kelvin)
                        .for_each(|(all, own)| all.set_lane(lane, *own));
                }
                return warm;
            }
            Ok(Next::Walk(..)) => Ok(Ended::Reached),
            Ok(Next::Over(ended)) => Ok(ended),
            Err(error) => Err(error),
        };
        fetch(&mut run.state, &mut run.stepper, &run.board);
        if let Some(Sitting { mut run, .. }) = places[lane].take() {
            run.told = false;
            over.push(Over { lane, run, ended });
        }
        false
    }
}
