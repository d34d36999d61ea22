//! Long missions: profiles of load and ambient over seconds to hours, with cycles of the switches resolved where they
//! must be.
//!
//! Device laws are held at the mean temperatures of a cycle. After a step of the load, cycles are resolved one by one
//! until what is left of the electrical settling can move no temperature by a share of the tolerance. Then the thermal
//! state leaps: the power of a cycle is extrapolated, linear in the temperatures and (while parameters move) in time;
//! the modal network follows it exactly; at the end a cycle is solved by shooting, and the power that was missed,
//! growing over the leap in a straight line, estimates the error in temperature. A leap with too large an error is
//! taken back; one that holds is corrected by what was missed. (The pair of an extrapolated and a corrected exponential
//! integrator: Cox & Matthews 2002, J. Comput. Phys. 176, 430.) The mean over a cycle obeys the network's own equations
//! under the cycle's mean power, so nothing is lost by leaving the ripple out; the ripple of a cycle is then exact on
//! its own.

mod again;
pub mod count;
mod follow;
pub mod leap;
pub mod profile;
pub mod ripple;
mod site;
mod stages;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::cycle::steady::{CycleError, Effort};
use joulestep_engine::error::{CircuitError, SolverError};
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::run::watch::Seen;
use joulestep_engine::thermal::run::Thermal;
use joulestep_engine::units::people;
use nalgebra::DMatrix;
use serde::Serialize;

use crate::arrangement::builder::CircuitLayout;
use profile::Profile;
use ripple::{Apart, Harmonic, Within};

pub use again::again;
pub use follow::follow;
pub use site::{Electrical, OneCycle, Power, Site};

/// How a mission is computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Tolerance of the temperatures, K. A leap may add a fifth of it.
    pub tolerance: f64,
    /// Most cycles resolved after a step of the load; beyond, the rest of the settling is jumped over by shooting.
    pub resolve: u32,
    /// Resolve every cycle, never leap: what leaps are compared with.
    pub every_cycle: bool,
    /// How hard to look for periodic states.
    pub effort: Effort,
    /// Switching frequency, Hz, where the control repeats less often than the switches switch.
    pub switching: Option<f64>,
}

impl Default for Options {
    /// 0.1 K, at most 2000 resolved cycles after a step, leaps.
    fn default() -> Self {
        Self { tolerance: 0.1, resolve: 2000, every_cycle: false, effort: Effort::default(), switching: None }
    }
}

/// Makes the arrangement with these values of the parameters that change.
pub type Make<'a> = dyn FnMut(&[f64]) -> Result<(CircuitLayout, Setup<f64>), CircuitError> + 'a;

/// An instant of the course.
#[derive(Clone, Debug, PartialEq)]
pub struct Instant {
    /// When, s.
    pub time: f64,
    /// Mean temperature of each heat input over a cycle, °C.
    pub celsius: Vec<f64>,
    /// Its range within a cycle.
    pub within: Vec<Within>,
    /// Mean power since the instant before, W.
    pub power: Vec<f64>,
    /// Estimated error of the temperatures, K.
    pub estimate: f64,
}

/// An event on the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MissionEvent {
    /// A stretch begins: its number in the round.
    Stretch(usize),
    /// This many cycles of a settling were resolved.
    Resolved(u32),
    /// The rest of a settling was jumped over by shooting, with this estimated error in temperature, K.
    Jumped(f64),
    /// A leap over this many cycles, with its estimated error, K.
    Leapt(f64, f64),
    /// A leap was taken back: cycles, estimated error, K.
    TakenBack(f64, f64),
}

/// Hears of a mission while it is computed.
pub trait Listener {
    /// A further instant.
    fn instant(&mut self, instant: &Instant) {
        let _ = instant;
    }
    /// An event, at a time (s).
    fn event(&mut self, t: f64, what: MissionEvent) {
        let _ = (t, what);
    }
    /// Whether to go on.
    fn go_on(&mut self, t: f64) -> bool {
        let _ = t;
        true
    }
}

impl Listener for () {}

/// Work done and its estimated error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Work {
    /// Cycles of the mission.
    pub cycles: f64,
    /// Cycles solved, those of searches among them.
    #[serde(rename = "cycles_solved")]
    pub solved: u64,
    /// Of these, cycles that were stepped through on the way.
    #[serde(rename = "cycles_resolved")]
    pub resolved: u64,
    /// Cycles of a settling that was resolved before between the same loads and taken from there.
    #[serde(rename = "cycles_reused")]
    pub reused: u64,
    /// Leaps.
    pub leaps: u32,
    /// Leaps taken back.
    #[serde(rename = "leaps_taken_back")]
    pub taken_back: u32,
    /// Settlings of which a rest was jumped over.
    #[serde(rename = "settlings_jumped")]
    pub jumps: u32,
    /// Largest estimated error of a temperature at any instant, K.
    #[serde(rename = "estimated_error")]
    pub estimate: f64,
    /// The estimate at the end, K.
    #[serde(rename = "estimated_error_at_end")]
    pub estimate_at_end: f64,
    /// What holding the laws of devices over a cycle may have made of any temperature, K; the largest of all cycles
    /// solved, each as if it lasted.
    #[serde(rename = "coupling_error")]
    pub coupling: f64,
}

/// The hottest cycle that was solved, and its ripple.
#[derive(Clone, Debug, PartialEq)]
pub struct Hottest {
    /// When, s.
    pub time: f64,
    /// Mean temperature of each heat input, °C.
    pub celsius: Vec<f64>,
    /// Ripple, apart by frequency.
    pub ripple: Vec<Apart>,
    /// Harmonics.
    pub harmonics: Vec<Harmonic>,
}

/// A cycle in its periodic state, solved on the way.
#[derive(Clone, Debug)]
pub struct Solved {
    /// When, s.
    pub time: f64,
    /// Values of the parameters that the profile moves.
    pub parameters: Vec<f64>,
    /// Temperatures that the laws were held at, °C.
    pub celsius: Vec<f64>,
    /// What it gave.
    pub cycle: OneCycle,
    /// Its end.
    electrical: Electrical,
    jacobian: Option<DMatrix<f64>>,
}

/// A mission, followed.
#[derive(Clone, Debug)]
pub struct Followed {
    /// Period of the control, s, and switching periods in it.
    pub period: (f64, u32),
    /// Names of the heat inputs.
    pub inputs: Vec<String>,
    /// The course.
    pub course: Vec<Instant>,
    /// The network at the end.
    pub network: Thermal<f64>,
    /// Heat of each input over the mission, J.
    pub energy: Vec<f64>,
    /// What sources gave, the load took and was lost over the mission, J.
    pub balance: [f64; 3],
    /// What straight lines between the cycles at both ends of leaps may have made of these, J.
    pub balance_error: [f64; 3],
    /// Ripple of the hottest cycle; none before a cycle was solved.
    pub hottest: Option<Hottest>,
    /// Largest mean power that each component of the circuit dissipated in any cycle, W.
    pub dissipated: Vec<f64>,
    /// What the setups' watches saw in the cycles of the mission that were solved; instants are those of the mission.
    pub seen: Vec<Seen>,
    /// What the setups' gauges read in them.
    pub readings: Vec<Reading>,
    /// Steps, iterations and stalls of these cycles; searches for them are not counted.
    pub counters: Counters,
    /// How cycles are stepped, in a word.
    pub method: &'static str,
    /// Some of the cycles that were solved, spread over the mission, and the hottest one.
    pub solved: Vec<Solved>,
    /// Work and error.
    pub work: Work,
    /// Whether it came to its end (else the listener stopped it).
    pub complete: bool,
}

/// Why a mission could not be followed.
#[derive(Debug, thiserror::Error)]
pub enum MissionError {
    /// The control does not repeat.
    #[error("the control of this arrangement does not repeat, so cycles cannot be leapt over")]
    NotPeriodic,
    /// Nothing is heated.
    #[error("no die of the arrangement has a heat input: there is no temperature to follow")]
    NoHeat,
    /// A profile that cannot be.
    #[error("{0}")]
    Profile(String),
    /// Values that the arrangement refuses.
    #[error("at {}: {what}", people(*time, "s"))]
    Circuit {
        /// When, s.
        time: f64,
        /// What is wrong.
        what: CircuitError,
    },
    /// No start.
    #[error("at {}: {what}", people(*time, "s"))]
    Start {
        /// When, s.
        time: f64,
        /// Why.
        what: Refusal,
    },
    /// No periodic state.
    #[error("at {}: {what}", people(*time, "s"))]
    Cycle {
        /// When, s.
        time: f64,
        /// Why.
        what: CycleError,
    },
    /// The equations could not be solved.
    #[error("at {} of the mission: {what}", people(*time, "s"))]
    Numerical {
        /// When, s.
        time: f64,
        /// Why.
        what: SolverError,
    },
    /// Temperatures run away.
    #[error("at {}: a temperature of {celsius:.0} degC; thermal runaway?", people(*time, "s"))]
    Runaway {
        /// When, s.
        time: f64,
        /// The hottest, °C.
        celsius: f64,
    },
}

/// Most stretches of all rounds: the course is kept.
const MOST_STRETCHES: f64 = 2e4;

/// Checks a profile against the network.
fn checked(profile: &Profile, boundaries: usize) -> Result<(), MissionError> {
    let bad = |what: String| Err(MissionError::Profile(what));
    if !(profile.length.is_finite() && profile.length > 0.0) || profile.rounds == 0 {
        return bad(format!("a mission of {} rounds of {}", profile.rounds, people(profile.length, "s")));
    }
    let stretches = (profile.corners().len() - 1) as f64 * f64::from(profile.rounds);
    if stretches > MOST_STRETCHES {
        return bad(format!(
            "{stretches} stretches between points of segments; expected at most {MOST_STRETCHES}"
        ));
    }
    for segment in &profile.segments {
        if segment.points.is_empty() || segment.points.windows(2).any(|w| w[1].0 < w[0].0) {
            return bad("a segment without points, or whose times fall".into());
        }
        if let profile::Of::Boundary(k) = segment.of
            && k >= boundaries
        {
            return bad(format!("there is no boundary number {k}"));
        }
    }
    Ok(())
}
