//! The account of a run: what happened, extremes, hottest junctions, energies, the verdict. Data first; [`text`] and
//! [`json`] show it.

pub mod happened;
pub mod json;
pub mod numbers;
pub mod store;
pub mod text;
mod verdict;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::run::time_loop::Run;

use self::happened::Line;
use crate::judge::{Bounds, Uncertainty};
use crate::scenario::build::{Judging, Placed};

pub use self::verdict::Doubt;

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
    /// What both are estimated to miss between the ends of steps.
    pub missed: (f64, f64),
    /// What is known of their errors.
    pub errors: [Uncertainty; 2],
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
    /// What both are estimated to miss between the ends of steps.
    pub missed: (f64, f64),
    /// What is known of the errors of the extremes.
    pub errors: [Uncertainty; 2],
    /// Whether the user set it; else it is a rating of the part.
    pub by_user: bool,
    /// Why the user waived it.
    pub waived: Option<String>,
}

impl Judgement {
    /// What each extreme must keep.
    pub fn sides(&self) -> [(f64, &Uncertainty, Bounds); 2] {
        [
            (self.found.0, &self.errors[0], Bounds::at_least(self.bounds.0)),
            (self.found.1, &self.errors[1], Bounds::at_most(self.bounds.1)),
        ]
    }

    /// Whether the extremes as found keep within the bounds, whatever their errors.
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
    /// What is known of the three errors.
    pub errors: [Uncertainty; 3],
}

impl Energy {
    fn none(name: &str) -> Self {
        let (delivered, dissipated, stored, errors) = Default::default();
        Self { name: name.to_string(), delivered, dissipated, stored, errors }
    }
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
    /// An error of its temperatures that is known otherwise than by coarser runs, K.
    pub further: f64,
    /// What is known of the errors of the hottest and last temperature and of the heat.
    pub errors: [Uncertainty; 3],
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
    /// Why the verdict cannot be "passes", whatever the numbers say.
    pub doubts: Vec<Doubt>,
    /// What else is of note.
    pub notes: Vec<String>,
    /// Steps and Newton iterations of the coarser runs that told the errors.
    pub estimate: Option<(u64, u64)>,
    /// Ratings and notes that were waived, each with its reason.
    pub waivers: Vec<(String, String)>,
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
    /// What the verdict judges and rests on.
    pub judging: Judging,
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
        let all = watcher.watches().iter().zip(&watcher.extremes).enumerate();
        let peaks: Vec<Peak> = all
            .map(|(k, (w, e))| Peak {
                name: w.name.clone(),
                long_name: w.long_name.clone(),
                unit: w.unit,
                least: (e.least.lane(lane), e.least_at),
                most: (e.most.lane(lane), e.most_at),
                missed: (watcher.missed(k).0.lane(lane), watcher.missed(k).1.lane(lane)),
                errors: Default::default(),
            })
            .collect();
        let mut judged: Vec<Judgement> = facts
            .judging
            .judged
            .iter()
            .map(|j| Judgement {
                name: j.name.clone(),
                unit: peaks[j.watch].unit,
                bounds: (j.lower, j.upper),
                found: (peaks[j.watch].least.0, peaks[j.watch].most.0),
                missed: peaks[j.watch].missed,
                errors: Default::default(),
                by_user: j.by_user,
                waived: j.waived.clone(),
            })
            .collect();
        judged.sort_by_key(|j| !j.by_user);
        let ledger = ledger.lane(lane);
        let doubts = verdict::doubts(run, &ledger.entries, facts, &peaks);
        let mut account = Self {
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
            doubts,
            notes: verdict::notes(facts),
            estimate: None,
            waivers: verdict::waivers(facts),
        };
        account.note_idle_waivers();
        account
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
            all.push(Junction {
                name,
                hottest: peak.most,
                end: run.celsius()[input].lane(lane),
                rated,
                heat: thermal.heat_in()[input].lane(lane),
                further: 0.0,
                errors: Default::default(),
            });
        }
    }
    all
}

/// The ledger's lines gathered by component of the scenario; what drives add comes last.
fn energies(facts: &Facts, entries: &[joulestep_engine::accounts::ledger::Entry<f64>]) -> Vec<Energy> {
    let mut all: Vec<Energy> = facts.placed.iter().map(|p| Energy::none(&p.name)).collect();
    for entry in entries {
        // `breaker.jfet` belongs to `breaker`: names have no point of their own.
        let owner = entry.name.split('.').next().unwrap_or(&entry.name);
        let k = all.iter().position(|e| e.name == owner).unwrap_or_else(|| {
            all.push(Energy::none(owner));
            all.len() - 1
        });
        all[k].delivered += entry.delivered;
        all[k].dissipated += entry.dissipated;
        all[k].stored += entry.stored;
    }
    all
}
