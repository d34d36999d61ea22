//! Ratings of parts on their heat paths: data first, then text, JSON, CSV and picture.

mod path;
mod picture;
mod shared;
mod study;
mod tell;

use joulestep_models::merit::{Conditions, gate_on};
use joulestep_models::part::Part;
use joulestep_models::rating::conduction::Conduction;
use joulestep_models::rating::pulse::Shape;
use joulestep_models::rating::steady::{continuous, runaway, steady};
use joulestep_models::rating::surge::{Point, Surge};
use joulestep_models::rating::{Conducts, HeatPath, RatingTrouble};
use rayon::prelude::*;
use serde::{Serialize, Serializer};

use crate::judge::Verdict;

pub use path::{Heat, StackHeat, heat_of_part, heat_of_stack, solve_stack};
pub use picture::picture;
pub use shared::{Pair, Parallel, Share, Spread, parallel};
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
    /// How the part and the package stack contradict each other, in words; the ratings are then not proven.
    pub contradictions: Vec<String>,
    /// Names of its dies.
    pub dies: Vec<&'static str>,
    /// Thermal resistance from each die, heated alone, to the fixed temperature where its heat goes, K/W.
    #[serde(rename = "thermal_resistance")]
    pub resistance: Vec<f64>,
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
    /// The continuous current; `None` where the heatsink alone is too hot.
    pub continuous: Option<Continuous>,
    /// Current beyond which there is no steady state, A.
    #[serde(rename = "runaway_current")]
    pub runaway: Option<f64>,
    /// Whether the law is known that far.
    #[serde(rename = "runaway_within_known_law")]
    pub runaway_known: Option<bool>,
    /// Fault currents.
    #[serde(rename = "fault_ride_through")]
    pub faults: Vec<RideThrough>,
}

/// Why a part is not rated.
fn refusal(part: &Part, found: impl Into<String>) -> RatingTrouble {
    RatingTrouble::Part { part: part.name.clone(), what: found.into() }
}

/// A part's law as asked, tabulated once for all that is asked of it.
#[derive(Clone, Debug)]
pub struct Ready {
    law: Conduction,
    path: HeatPath,
    /// Junction temperature that no die may pass, °C.
    hottest: f64,
    /// Where the heat goes, in words.
    words: String,
}

/// The law of a part as asked, and its heat path.
///
/// # Errors
/// Limits of the part; a heatsink that is hotter; a model or a path that does not serve.
pub fn ready(part: &Part, heat: &Heat, asked: &Asked) -> Result<Ready, RatingTrouble> {
    let (law, hottest) = law(part, asked)?;
    let path = heat.path(law.names())?;
    Ok(Ready { law, path, hottest, words: heat.words.clone() })
}

/// The law of a part, and the highest junction temperature.
fn law(part: &Part, asked: &Asked) -> Result<(Conduction, f64), RatingTrouble> {
    let (gate, hottest) = bounds(part, asked)?;
    Ok((Conduction::new(part, gate, asked.heatsink.min(25.0), hottest + BEYOND)?, hottest))
}

/// The gate-source voltage of a part as asked, V, and the highest junction temperature, °C.
///
/// # Errors
/// Limits of the part; a heatsink that is hotter.
pub(crate) fn bounds(part: &Part, asked: &Asked) -> Result<(Option<f64>, f64), RatingTrouble> {
    let gate = gate_on(part, &Conditions { gate_on: asked.gate_on, ..Conditions::default() })
        .map_err(|e| refusal(part, e.to_string()))?;
    if let (Some(gate), Some(limit)) = (gate, part.gate_limit())
        && gate.abs() > limit
    {
        return Err(refusal(part, format!("the gate at {gate} V; its gate tolerates {limit} V either way")));
    }
    let own = part.hottest();
    let hottest = match (asked.hottest, own) {
        (Some(t), Some(most)) if t > most => {
            let what = format!("--hottest {t} °C is beyond its highest junction temperature of {most} °C");
            return Err(refusal(part, what));
        }
        (Some(t), _) | (None, Some(t)) => t,
        (None, None) => {
            return Err(refusal(
                part,
                "it states no highest junction temperature; expected that, or --hottest",
            ));
        }
    };
    if asked.heatsink >= hottest {
        let what = format!(
            "the heatsink at {} °C is not below the highest junction temperature of {hottest} °C",
            asked.heatsink
        );
        return Err(refusal(part, what));
    }
    if asked.heatsink < COLDEST {
        let what = format!("the heatsink is at {} °C; expected {COLDEST} °C or above", asked.heatsink);
        return Err(refusal(part, what));
    }
    Ok((gate, hottest))
}

/// Rates a part.
///
/// # Errors
/// A current before the pulse that has no steady state within the limit.
pub fn rate(part: Part, ready: &Ready, asked: &Asked) -> Result<Rating, RatingTrouble> {
    let Ready { law, path, hottest, words } = ready;
    let hottest = *hottest;
    let none = [0.0; 2];
    let before = steady(law, path, asked.before, &none)
        .filter(|s| s.celsius[..law.dies()].iter().all(|&t| t < hottest))
        .ok_or_else(|| {
            refusal(&part, format!("{} A before the pulse are more than it carries for ever", asked.before))
        })?;
    let start = before.carried.heat;
    let surge = || Surge::new(law, path, hottest, &start[..law.dies()]);
    let curve = asked.widths.par_iter().map(|&w| surge().largest(asked.shape, w)).collect();
    let fault = |&current: &f64| {
        let (longest, ends) = surge().ride_through(current, LONGEST);
        RideThrough { current, longest, ends_by: tell::ends(law.names(), ends) }
    };
    let runaway = runaway(law, path, &none);
    let runaway_known = runaway.map(|current| {
        // Just below it the junctions are far from where the law ends, or close to it.
        let near = steady(law, path, 0.999 * current, &none);
        near.is_some_and(|s| s.celsius[..law.dies()].iter().all(|&t| t < law.hottest_known() - 30.0))
    });
    let continuous = continuous(law, path, hottest, &none).map(|s| {
        let [heat, junctions] = [s.carried.heat, s.celsius].map(|all| all[..law.dies()].to_vec());
        Continuous { current: s.current, drop: s.carried.drop, heat, junctions, loop_gain: s.loop_gain }
    });
    Ok(Rating {
        heat: words.clone(),
        contradictions: Vec::new(),
        resistance: (0..law.dies()).map(|k| path.resistance(k, k)).collect(),
        fixed: path.cold()[..law.dies()].to_vec(),
        dies: law.names().to_vec(),
        gate: law.gate(),
        hottest,
        curve,
        continuous,
        runaway,
        runaway_known,
        faults: asked.faults.par_iter().map(fault).collect(),
        part,
    })
}

/// The verdict over ratings: fails where devices in parallel exceed their highest junction temperature, not proven where a
/// part contradicts its package stack; else a rating judges nothing.
pub fn verdict(all: &[Rating], parallel: Option<&Parallel>) -> Option<Verdict> {
    if parallel.is_some_and(|p| p.exceeded.is_some()) {
        return Some(Verdict::Fails);
    }
    all.iter().any(|r| !r.contradictions.is_empty()).then_some(Verdict::NotProven)
}

/// Widths evenly spread over the decades.
pub fn widths(from: f64, to: f64, points: usize) -> Vec<f64> {
    let ratio = (to / from).ln() / (points - 1) as f64;
    (0..points).map(|k| if k + 1 == points { to } else { from * (ratio * k as f64).exp() }).collect()
}
