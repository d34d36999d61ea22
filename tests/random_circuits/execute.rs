//! One circuit of chance from its start to its end, and what came of it.

use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::setup::Refusal;
use joulestep_engine::run::time_loop::Ended;

use super::generate::{END, setup};

/// The ledger closes to this share of what is turned over or stored, and of 1 pJ at least.
const CLOSED: f64 = 1e-4;

/// What came of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub enum Came {
    /// To its end, with this residual over what it is held against.
    Through(f64),
    /// Steps of the finest length had errors above their bound, or the ledger is open: the verdict is "not proven".
    NotProven(f64),
    /// A numerical failure with its words.
    Failed(String),
    /// The generator made what is no circuit.
    Refused(String),
}

impl Came {
    /// Whether the ledger is open.
    pub fn open(&self) -> bool {
        // Written so that a residual that is not a number counts.
        let closed = |share: f64| share <= CLOSED;
        matches!(self, Self::Through(share) | Self::NotProven(share) if !closed(*share))
    }
}

/// Questions whether to go on: one every 256 steps, and one after each jump and each step without a solution.
/// 20 000 steps at most.
const QUESTIONS: u64 = 78;

/// Stops after so many questions.
pub struct Patience(u64);

impl Patience {
    /// Before the first question.
    pub fn new() -> Self {
        Self(QUESTIONS)
    }
}

impl Recorder<f64> for Patience {
    fn go_on(&mut self, _: f64) -> bool {
        self.0 = self.0.saturating_sub(1);
        self.0 > 0
    }
}

/// Runs the circuit of a seed.
pub fn carry(seed: u64) -> Came {
    let mut run = match setup(seed).ready() {
        Ok(run) => run,
        Err(Refusal::Start(error)) => return Came::Failed(error.to_string()),
        Err(other) => return Came::Refused(other.to_string()),
    };
    let mut patience = Patience::new();
    // What rings faster than the finest step for ever is judged where its steps are used up.
    match run.advance(END, &mut patience) {
        Ok(Ended::Reached | Ended::Stopped) => {}
        Err(error) => return Came::Failed(error.to_string()),
    }
    let share = run.ledger().relative();
    let closed = share <= CLOSED;
    if run.counters().stalled == 0 && closed { Came::Through(share) } else { Came::NotProven(share) }
}
