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
#[derive(Clone, Debug, PartialEq)]
pub struct Peak {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Least value and its instant, s.
    pub least: (f64, f64),
    /// Largest value and its instant, s.
    pub most: (f64, f64),
}

/// A bound and what the run did with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Name of the limit.
    pub name: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Lower and upper bound; infinite where there is none.
    pub bounds: (f64, f64),
    /// The extremes.
    pub found: (f64, f64),
    /// Whether the user set it; else it is a rating of the part.
    pub by_user: bool,
}

impl Judgement {
    /// Whether the run kept within the bounds.
    pub fn kept(&self) -> bool {
        self.found.0 >= self.bounds.0 && self.found.1 <= self.bounds.1
    }
}

/// Energies of one component of the scenario, J.
#[derive(Clone, Debug, PartialEq)]
pub struct Energy {
    /// Its name.
    pub name: String,
    /// Delivered to the circuit.
    pub delivered: f64,
    /// Turned into heat.
    pub dissipated: f64,
    /// Change of what it stores.
    pub stored: f64,
}

/// Temperature of a die.
#[derive(Clone, Debug, PartialEq)]
pub struct Junction {
    /// `breaker.jfet`.
    pub name: String,
    /// Hottest, °C, and when, s.
    pub hottest: (f64, f64),
    /// At the end, °C.
    pub end: f64,
    /// The part's rating, °C; infinite where there is none.
    pub rated: f64,
    /// Heat that the die handed to the network, J.
    pub heat: f64,
    /// How far the coupling of heat may have led these temperatures astray.
    pub coupling: CouplingError,
}

impl Junction {
    /// The estimated error of the coupling, K; infinite where there is no bound.
    pub fn coupling_kelvin(&self) -> f64 {
        match self.coupling {
            CouplingError::Kelvin(k) => k,
            CouplingError::NotBounded(_) => f64::INFINITY,
        }
    }

    /// Why the coupling error has no bound, in words.
    pub fn unbounded(&self) -> Option<&'static str> {
        match self.coupling {
            CouplingError::Kelvin(_) => None,
            CouplingError::NotBounded(Cause::AnswersAtOnce) => {
                Some("its temperature follows the power at once: a path without heat capacity")
            }
            CouplingError::NotBounded(Cause::StepsTooLong) => {
                Some("the finest step warms it by more than `steps.heat-error`")
            }
        }
    }
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Account {
    /// One line that names the case.
    pub title: String,
    /// How it ended.
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
    pub peaks: Vec<Peak>,
    /// Limits of the user, then ratings of the parts.
    pub judged: Vec<Judgement>,
    /// Dies with a temperature.
    pub junctions: Vec<Junction>,
    /// Energies by component of the scenario.
    pub energies: Vec<Energy>,
    /// Σ delivered − Σ dissipated − Σ stored, J.
    pub residual: f64,
    /// The residual against the energy turned over.
    pub relative: f64,
    /// Work done.
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
                least: (e.least.lane(lane), e.least_at),
                most: (e.most.lane(lane), e.most_at),
            })
            .collect();
        let mut judged: Vec<Judgement> = facts
            .judged
            .iter()
            .map(|j| Judgement {
                name: j.name.clone(),
                unit: peaks[j.watch].unit,
                bounds: (j.lower, j.upper),
                found: (peaks[j.watch].least.0, peaks[j.watch].most.0),
                by_user: j.by_user,
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
            (true, done) => match (set.all(Judgement::kept), done) {
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
            let Some(coupling) = run.coupling_error(input, lane) else { continue };
            all.push(Junction {
                name,
                hottest: peak.most,
                end: run.celsius()[input].lane(lane),
                rated,
                heat: thermal.heat_in()[input].lane(lane),
                coupling,
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
