//! The account of a run: what happened, extremes, hottest junctions, energies, the verdict. Data first; [`text`] and
//! [`json`] show it.

pub mod happened;
pub mod json;
pub mod store;
pub mod text;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::run::coupling::{Cause, CouplingError};
use joulestep_engine::run::time_loop::Run;
use serde::Serialize;

use self::happened::Line;
use crate::result::Verdict;
use crate::scenario::build::{Judged, Placed};

/// How a run ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// At the scenario's end.
    Done,
    /// By the user.
    Interrupted,
    /// The equations could not be solved further.
    Failed(String),
}

/// Least and largest value of a watched quantity.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Peak {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Least value.
    pub least: f64,
    /// Its instant, s.
    pub least_at: f64,
    /// Largest value.
    pub largest: f64,
    /// Its instant, s.
    pub largest_at: f64,
}

/// A bound and what the run did with it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judgement {
    /// Name of the limit.
    pub name: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Whether the user set it; else it is a rating of the part.
    #[serde(rename = "set_by", serialize_with = "json::set_by")]
    pub by_user: bool,
    /// Lower bound; infinite where there is none.
    pub min: f64,
    /// Upper bound; infinite where there is none.
    pub max: f64,
    /// Least value.
    pub least: f64,
    /// Largest value.
    pub largest: f64,
    /// Whether the run kept within the bounds.
    pub kept: bool,
}

/// Energies of one component of the scenario, J.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Energy {
    /// Its name.
    #[serde(rename = "component")]
    pub name: String,
    /// Delivered to the circuit.
    pub delivered: f64,
    /// Turned into heat.
    pub dissipated: f64,
    /// Change of what it stores.
    pub stored: f64,
}

/// Temperature of a die.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Junction {
    /// `breaker.jfet`.
    pub name: String,
    /// Hottest, °C.
    pub hottest: f64,
    /// When, s.
    pub hottest_at: f64,
    /// At the end, °C.
    pub end: f64,
    /// The part's rating, °C; infinite where there is none.
    pub rated: f64,
    /// Heat that the die handed to the network, J.
    pub heat: f64,
    /// How far the coupling of heat may have led these temperatures astray, K; infinite where nothing bounds it.
    pub coupling_error: f64,
    /// Why nothing does, in words.
    #[serde(rename = "coupling_error_not_bounded")]
    pub not_bounded: Option<&'static str>,
}

/// An error of the coupling, K, or why there is no bound.
fn coupling(error: CouplingError) -> (f64, Option<&'static str>) {
    match error {
        CouplingError::Kelvin(k) => (k, None),
        CouplingError::NotBounded(cause) => (
            f64::INFINITY,
            Some(match cause {
                Cause::AnswersAtOnce => {
                    "its temperature follows the power at once: a path without heat capacity"
                }
                Cause::StepsTooLong => "the finest step warms it by more than `steps.heat-error`",
            }),
        ),
    }
}

/// All of it.
#[derive(Clone, Debug, Serialize)]
pub struct Account {
    /// One line that names the case.
    pub title: String,
    /// How it ended.
    #[serde(flatten, serialize_with = "json::ended")]
    pub outcome: Outcome,
    /// Simulated time reached, s.
    pub reached: f64,
    /// Simulated time asked for, s.
    pub end: f64,
    /// Name of the method.
    pub method: &'static str,
    /// What happened, hundreds of edges in a row as one line.
    pub events: Vec<Line>,
    /// Extremes of recorded signals.
    #[serde(rename = "extremes")]
    pub peaks: Vec<Peak>,
    /// Limits of the user, then ratings of the parts.
    #[serde(rename = "limits")]
    pub judged: Vec<Judgement>,
    /// Dies with a temperature.
    pub junctions: Vec<Junction>,
    /// Energies by component of the scenario.
    pub energies: Vec<Energy>,
    /// Σ delivered − Σ dissipated − Σ stored, J.
    #[serde(rename = "ledger_residual")]
    pub residual: f64,
    /// The residual against the energy turned over.
    #[serde(rename = "ledger_residual_relative")]
    pub relative: f64,
    /// Work done.
    #[serde(flatten, with = "json::Work")]
    pub counters: Counters,
}

/// What the account needs to know beside the run itself.
#[derive(Clone, Debug)]
pub struct Facts {
    /// One line that names the case.
    pub title: String,
    /// Simulated time asked for, s.
    pub end: f64,
    /// Name of the method.
    pub method: &'static str,
    /// Components as built.
    pub placed: Vec<Placed>,
    /// Limits.
    pub judged: Vec<Judged>,
    /// Number of watches that are recorded signals; they come first.
    pub signals: usize,
}

impl Account {
    /// The account of a run that is over.
    pub fn new(run: &Run<f64>, facts: &Facts, events: Vec<Line>, outcome: Outcome) -> Self {
        Self::of_lane(run, &run.ledger(), 0, facts, events, outcome)
    }

    /// The account of one lane of a run that is over, with the run's ledger. Instants of extremes are those of the
    /// first lane.
    pub fn of_lane<L: Lane>(
        run: &Run<L>,
        ledger: &Ledger<L>,
        lane: usize,
        facts: &Facts,
        events: Vec<Line>,
        outcome: Outcome,
    ) -> Self {
        let watcher = run.watcher();
        let all = watcher.watches().iter().zip(&watcher.extremes);
        let peaks: Vec<Peak> = all
            .map(|(w, e)| Peak {
                name: w.name.clone(),
                long_name: w.long_name.clone(),
                unit: w.unit,
                least: e.least.lane(lane),
                least_at: e.least_at,
                largest: e.most.lane(lane),
                largest_at: e.most_at,
            })
            .collect();
        let mut judged: Vec<Judgement> = facts
            .judged
            .iter()
            .map(|j| {
                let &Peak { unit, least, largest, .. } = &peaks[j.watch];
                let (name, by_user, min, max) = (j.name.clone(), j.by_user, j.lower, j.upper);
                let kept = least >= min && largest <= max;
                Judgement { name, unit, by_user, min, max, least, largest, kept }
            })
            .collect();
        judged.sort_by_key(|j| !j.by_user);
        let ledger = ledger.lane(lane);
        Self {
            title: facts.title.clone(),
            outcome,
            reached: run.state().t,
            end: facts.end,
            method: facts.method,
            events,
            junctions: junctions(run, lane, facts, &peaks),
            energies: energies(facts, &ledger.entries),
            peaks: peaks.into_iter().take(facts.signals).collect(),
            judged,
            residual: ledger.residual,
            relative: ledger.relative(),
            counters: run.counters(),
        }
    }

    /// The verdict over the limits that the user set.
    pub fn verdict(&self) -> Verdict {
        let mut set = self.judged.iter().filter(|j| j.by_user).peekable();
        match (set.peek().is_some(), self.outcome == Outcome::Done) {
            (false, _) => Verdict::NotJudged,
            // What was not run to its end has not shown that it keeps its limits, but may have shown the contrary.
            (true, done) => match (set.all(|j| j.kept), done) {
                (false, _) => Verdict::Fails,
                (true, true) => Verdict::Passes,
                (true, false) => Verdict::NotJudged,
            },
        }
    }
}

fn junctions<L: Lane>(run: &Run<L>, lane: usize, facts: &Facts, peaks: &[Peak]) -> Vec<Junction> {
    let mut all = Vec::new();
    let Some(thermal) = run.thermal() else { return all };
    for placed in &facts.placed {
        for (k, (die, _)) in placed.built.dies.iter().enumerate() {
            let Some(input) = placed.heat[k] else { continue };
            let name = format!("{}.{die}", placed.name);
            let Some(peak) = peaks.iter().find(|p| p.name == format!("{name}.temperature")) else { continue };
            let rated = placed.built.hottest.iter().find(|h| h.0 == *die).map_or(f64::INFINITY, |h| h.1);
            let input = input.0 as usize;
            let Some(error) = run.coupling_error(input, lane) else { continue };
            let (coupling_error, not_bounded) = coupling(error);
            all.push(Junction {
                name,
                hottest: peak.largest,
                hottest_at: peak.largest_at,
                end: run.celsius()[input].lane(lane),
                rated,
                heat: thermal.heat_in()[input].lane(lane),
                coupling_error,
                not_bounded,
            });
        }
    }
    all
}

/// The ledger's lines gathered by component of the scenario; what drives add comes last.
fn energies(facts: &Facts, entries: &[joulestep_engine::accounts::ledger::Entry<f64>]) -> Vec<Energy> {
    let mut all: Vec<Energy> = facts
        .placed
        .iter()
        .map(|p| Energy { name: p.name.clone(), delivered: 0.0, dissipated: 0.0, stored: 0.0 })
        .collect();
    for entry in entries {
        // `breaker.jfet` belongs to `breaker`: names have no point of their own.
        let owner = entry.name.split('.').next().unwrap_or(&entry.name);
        let k = all.iter().position(|e| e.name == owner).unwrap_or_else(|| {
            all.push(Energy { name: owner.to_string(), delivered: 0.0, dissipated: 0.0, stored: 0.0 });
            all.len() - 1
        });
        all[k].delivered += entry.delivered;
        all[k].dissipated += entry.dissipated;
        all[k].stored += entry.stored;
    }
    all
}
