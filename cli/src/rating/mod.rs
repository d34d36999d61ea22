//! Ratings of parts on their heat paths: data first, then text, JSON, CSV and picture.

pub mod errors;
mod path;
mod picture;
mod rate;
mod shared;
mod study;
mod tell;
mod words;

use joulestep_engine::units::people;
use joulestep_models::part::Part;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::surge::Point;
use serde::{Serialize, Serializer};

use crate::judge::{Bounds, Ruling, Uncertainty, Verdict, overall, rule};

pub use errors::{bare, estimated, proven};
pub use path::{Heat, MeshError, PackageHeat, heat_of_package, heat_of_part, solve_package};
pub use picture::picture;
pub(crate) use rate::bounds;
pub use rate::{Ready, answer, ready};
pub(crate) use shared::parallel;
pub use shared::{Pair, Parallel, Share, Spread};
pub use study::study;
pub use tell::{csv, json, text};

/// Above the highest junction temperature, laws are still taken for the question where steady states end, K.
pub(crate) const BEYOND: f64 = 150.0;
/// Coldest heatsink, °C.
pub(crate) const COLDEST: f64 = -100.0;
/// Longest pulse looked at for a fault current, s.
pub const LONGEST: f64 = 1e4;

/// What is asked of every part.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Temperature of the heatsink, °C.
    pub heatsink: f64,
    /// Junction temperature that no die may pass, °C; `None`: the part's own.
    pub hottest: Option<f64>,
    /// Gate-source voltage, V; `None`: the part's own.
    pub gate_on: Option<f64>,
    /// Current before the pulse, A.
    pub before: f64,
    /// Shape of the pulses.
    pub shape: Shape,
    /// Widths, s.
    pub widths: Vec<f64>,
    /// Fault currents, A.
    pub faults: Vec<f64>,
    /// Continuous current that must be carried, A.
    pub required_current: Option<f64>,
    /// Time for which every fault current must be withstood, s.
    pub required_time: Option<f64>,
}

/// The longest square pulse of a fault current.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RideThrough {
    /// The current, A.
    pub current: f64,
    /// The longest pulse, s; 0: none, ∞ (null in JSON): it may flow for ever.
    pub longest: f64,
    /// What ends it, in words.
    pub ends_by: String,
    /// What is known of the error of the longest pulse.
    pub longest_error: Uncertainty,
}

/// The continuous current.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Continuous {
    /// The current, A.
    pub current: f64,
    /// Voltage drop, V.
    pub drop: f64,
    /// Heat of each die, W.
    pub heat: Vec<f64>,
    /// Junction temperatures, °C.
    pub junctions: Vec<f64>,
    /// By how much a small rise of the junctions comes back through the heat that it causes.
    pub loop_gain: f64,
    /// What is known of the errors.
    pub current_error: Uncertainty,
    /// See `current_error`.
    pub drop_error: Uncertainty,
    /// See `current_error`.
    pub heat_errors: Vec<Uncertainty>,
    /// See `current_error`.
    pub junction_errors: Vec<Uncertainty>,
    /// See `current_error`.
    pub loop_gain_error: Uncertainty,
}

/// A number that is judged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// What it is, in words.
    pub what: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Its value.
    pub value: f64,
    /// What is known of its error.
    pub error: Uncertainty,
    /// The least or the most that is allowed.
    pub limit: f64,
    /// Whether the limit is the least.
    pub at_least: bool,
    /// What is said of it.
    pub ruling: Ruling,
}

fn name<S: Serializer>(part: &Part, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&part.name)
}

/// The ratings of a part.
#[derive(Clone, Debug, Serialize)]
pub struct Rating {
    /// The part.
    #[serde(serialize_with = "name")]
    pub part: Part,
    /// Where its heat goes, in words.
    #[serde(rename = "heat_path")]
    pub heat: String,
    /// How the part and the package contradict each other, in words; the ratings are then not proven.
    pub contradictions: Vec<String>,
    /// Names of its dies.
    pub dies: Vec<&'static str>,
    /// Thermal resistance from each die, heated alone, to the fixed temperature where its heat goes, K/W.
    #[serde(rename = "thermal_resistance")]
    pub resistance: Vec<f64>,
    /// What is known of their errors.
    #[serde(rename = "thermal_resistance_errors")]
    pub resistance_errors: Vec<Uncertainty>,
    /// That temperature as each die meets it, °C.
    #[serde(rename = "fixed_temperature")]
    pub fixed: Vec<f64>,
    /// Gate-source voltage, V.
    #[serde(rename = "gate_on")]
    pub gate: Option<f64>,
    /// Junction temperature that no die may pass, °C.
    pub hottest: f64,
    /// Largest current against width.
    #[serde(skip)]
    pub curve: Vec<Point>,
    /// What is known of the errors of its currents, let-through I²t, drops and energies.
    #[serde(skip)]
    pub curve_errors: Vec<[Uncertainty; 4]>,
    /// The continuous current; `None` where the heatsink alone is too hot.
    pub continuous: Option<Continuous>,
    /// Current beyond which there is no steady state, A.
    #[serde(rename = "runaway_current")]
    pub runaway: Option<f64>,
    /// What is known of its error.
    #[serde(rename = "runaway_current_error")]
    pub runaway_error: Uncertainty,
    /// Whether the law is known that far.
    #[serde(rename = "runaway_within_known_law")]
    pub runaway_known: Option<bool>,
    /// Fault currents.
    #[serde(rename = "fault_ride_through")]
    pub faults: Vec<RideThrough>,
    /// What is judged.
    pub judged: Vec<Judged>,
    /// Why the verdict cannot be "passes", beside the contradictions.
    pub doubts: Vec<String>,
    /// Rounds of a proof, where one was made.
    pub rounds: Option<i32>,
}

/// What one part gives: its ratings, and how several in parallel share.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The ratings.
    pub rating: Rating,
    /// Several in parallel, where that is asked.
    pub parallel: Option<Parallel>,
}

impl Answer {
    /// Rules on all that is judged, as errors and contradictions now stand.
    pub fn rule(&mut self, asked: &Asked) {
        self.rating.rule(asked);
        if let Some(parallel) = &mut self.parallel {
            parallel.rule(self.rating.contradictions.is_empty());
        }
    }
}

impl Rating {
    fn rule(&mut self, asked: &Asked) {
        // A number that rests on dies that contradict one another may show a failure, and proves nothing good.
        let known = self.contradictions.is_empty();
        let judged = |what: String, unit, value, error: &Uncertainty, limit| Judged {
            what,
            unit,
            value,
            error: error.clone(),
            limit,
            at_least: true,
            ruling: rule(value, error, Bounds::at_least(limit), known),
        };
        let current = asked.required_current.map(|least| {
            let none = (0.0, Uncertainty::Bare);
            let c = self.continuous.as_ref();
            let (value, error) = c.map_or(none, |c| (c.current, c.current_error.clone()));
            judged("continuous current".into(), "A", value, &error, least)
        });
        let fault = |f: &RideThrough| {
            let what = format!("{} withstood for", people(f.current, "A"));
            asked.required_time.map(|least| judged(what, "s", f.longest, &f.longest_error, least))
        };
        self.judged = current.into_iter().chain(self.faults.iter().filter_map(fault)).collect();
    }
}

/// The verdict over ratings by the one rule. What is judged: devices in parallel against their highest junction
/// temperature, and what the part is required to carry. A part that contradicts its package leaves it not proven.
pub fn verdict(all: &[Rating], parallel: Option<&Parallel>) -> Verdict {
    let judged = all.iter().flat_map(|r| r.judged.iter().map(|j| j.ruling));
    let doubted = all.iter().any(|r| !r.contradictions.is_empty() || !r.doubts.is_empty());
    overall(judged.chain(parallel.map(|p| p.ruling)), doubted)
}

/// Widths evenly spread over the decades.
pub fn widths(from: f64, to: f64, points: usize) -> Vec<f64> {
    let ratio = (to / from).ln() / (points - 1) as f64;
    (0..points).map(|k| if k + 1 == points { to } else { from * (ratio * k as f64).exp() }).collect()
}
