//! A run put aside, to go on from the same point later or to try another course from it.

use super::coupling::Coupling;
use super::report::Open;
use super::time_loop::Run;
use super::watch::Watcher;
use crate::accounts::counters::Counters;
use crate::arithmetic::lane::Lane;
use crate::control::Controller;
use crate::control::board::Board;
use crate::step::balance::Balance;
use crate::step::schedule::Ladder;
use crate::step::state::State;
use crate::step::stepper::Memory;
use crate::thermal::run::Thermal;

/// Everything that a run's further course depends on: the circuit's state, the schedule's, what was ordered, what
/// the controllers know, temperatures, extremes, open rows of the account, counters.
#[derive(Debug)]
pub struct Saved<L: Lane> {
    state: State<L>,
    memory: Memory<L>,
    ladder: Ladder,
    balance: Balance,
    board: Board<L>,
    observers: Vec<Observer<L>>,
    thermal: Option<Thermal<L>>,
    celsius: Vec<L>,
    coupling: Option<Coupling<L>>,
    sampled_at: f64,
    recorded_until: f64,
    seen_at: f64,
    watcher: Watcher,
    rows: Vec<Open<L>>,
    stored_at_start: Vec<L>,
    counters: Counters,
    began: bool,
    fixed_corner: f64,
}

/// What a controller knows and has seen last.
#[derive(Debug)]
struct Observer<L: Lane> {
    logic: Box<dyn Controller<L>>,
    then: Vec<L>,
    now: Vec<L>,
}

impl<L: Lane> Observer<L> {
    fn copy(&self) -> Self {
        Self { logic: self.logic.boxed(), then: self.then.clone(), now: self.now.clone() }
    }
}

impl<L: Lane> Clone for Saved<L> {
    #[inline(never)]
    fn clone(&self) -> Self {
        Self {
            state: self.state.clone(),
            memory: self.memory.clone(),
            ladder: self.ladder.clone(),
            balance: self.balance,
            board: self.board.clone(),
            observers: self.observers.iter().map(Observer::copy).collect(),
            thermal: self.thermal.clone(),
            celsius: self.celsius.clone(),
            coupling: self.coupling.clone(),
            sampled_at: self.sampled_at,
            recorded_until: self.recorded_until,
            seen_at: self.seen_at,
            watcher: self.watcher.clone(),
            rows: self.rows.clone(),
            stored_at_start: self.stored_at_start.clone(),
            counters: self.counters,
            began: self.began,
            fixed_corner: self.fixed_corner,
        }
    }
}

impl<L: Lane> Saved<L> {
    /// Simulated time at which the run was put aside, s.
    pub fn t(&self) -> f64 {
        self.state.t
    }
}

impl Run<f64> {
    /// Puts the present point aside. Cheap: some copies of vectors of the circuit's size.
    #[inline(never)]
    pub fn save(&self) -> Saved<f64> {
        let copy = |o: &super::time_loop::Observer<f64>| Observer {
            logic: o.logic.boxed(),
            then: o.then.clone(),
            now: o.now.clone(),
        };
        Saved {
            state: self.state.clone(),
            memory: self.stepper.memory(),
            ladder: self.ladder.clone(),
            balance: self.balance,
            board: self.board.clone(),
            observers: self.observers.iter().map(copy).collect(),
            thermal: self.thermal.clone(),
            celsius: self.celsius.clone(),
            coupling: self.coupling.clone(),
            sampled_at: self.sampled_at,
            recorded_until: self.recorded_until,
            seen_at: self.seen_at,
            watcher: self.watcher.clone(),
            rows: self.rows.clone(),
            stored_at_start: self.stored_at_start.clone(),
            counters: self.counters,
            began: self.began,
            fixed_corner: self.fixed_corner,
        }
    }

    /// Goes back (or ahead) to a point that this run, or one made ready from an equal setup, has put aside: it goes
    /// on from there with the same bits. What a recorder received in between stays recorded.
    ///
    /// # Panics
    /// When the point belongs to a circuit of another size.
    #[inline(never)]
    pub fn restore(&mut self, saved: &Saved<f64>) {
        let fits = saved.state.x.len() == self.state.x.len()
            && saved.state.energy.len() == self.state.energy.len()
            && saved.observers.len() == self.observers.len();
        assert!(fits, "a point of another circuit");
        let saved = saved.clone();
        self.stepper.solver.set_temperatures(&saved.state.kelvin);
        self.stepper.restore(saved.memory);
        for (mine, theirs) in self.observers.iter_mut().zip(saved.observers) {
            (mine.logic, mine.then, mine.now) = (theirs.logic, theirs.then, theirs.now);
        }
        self.state = saved.state;
        self.ladder = saved.ladder;
        self.balance = saved.balance;
        self.board = saved.board;
        self.choices.copy_from_slice(self.board.choices());
        self.thermal = saved.thermal;
        self.celsius = saved.celsius;
        self.coupling = saved.coupling;
        self.sampled_at = saved.sampled_at;
        self.recorded_until = saved.recorded_until;
        self.seen_at = saved.seen_at;
        self.watcher = saved.watcher;
        self.rows = saved.rows;
        self.stored_at_start = saved.stored_at_start;
        self.counters = saved.counters;
        self.began = saved.began;
        self.fixed_corner = saved.fixed_corner;
    }
}
