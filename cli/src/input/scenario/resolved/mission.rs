//! A mission as resolved.

use joulestep_engine::cycle::lifetime::Scatter;
use joulestep_engine::cycle::rainflow::UserLaw;

/// A mission.
#[derive(Clone, Debug)]
pub struct MissionSpec {
    /// Length of a round, s.
    pub length: f64,
    /// Rounds.
    pub rounds: u32,
    /// Whether temperatures begin steady under the first load, else without heat.
    pub steady: bool,
    /// What changes.
    pub segments: Vec<SegmentSpec>,
    /// The user's law of cycles to failure.
    pub damage: Option<UserLaw>,
    /// What makes a lifetime of damage.
    pub lifetime: Option<LifetimeSpec>,
}

/// How often a mission takes place, how lifetimes scatter, and what is required.
#[derive(Clone, Copy, Debug)]
pub struct LifetimeSpec {
    /// Missions a second.
    pub rate: f64,
    /// How lifetimes scatter about the law; `None`: they do not.
    pub scatter: Option<Scatter>,
    /// Share that may have failed at the end of the lifetime.
    pub allowed: f64,
    /// The lifetime that is required, s.
    pub required: Option<f64>,
}

/// What a segment is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SegmentOf {
    /// A parameter of the arrangement.
    Parameter(&'static str),
    /// A boundary of the thermal network.
    Boundary(String),
}

impl SegmentOf {
    /// Its name.
    pub fn name(&self) -> &str {
        match self {
            Self::Parameter(key) => key,
            Self::Boundary(name) => name,
        }
    }
}

/// A segment.
#[derive(Clone, Debug)]
pub struct SegmentSpec {
    /// What it is of.
    pub of: SegmentOf,
    /// Unit symbol.
    pub unit: &'static str,
    /// Time (s) and value, straight lines between; a step is two points of one time.
    pub points: Vec<(f64, f64)>,
}
