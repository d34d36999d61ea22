//! The account of a run: what happened, extremes, hottest junctions, energies, the verdict. Data first; [`text`] and
//! [`json`] show it.

mod answers;
pub mod event_lines;
mod found;
mod heat;
pub mod json;
pub mod numbers;
pub mod spread;
pub mod store;
pub mod study;
pub mod text;
mod verdict;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Entry;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::run::watch::Watch;
use serde::Serialize;

use self::event_lines::Line;
use self::heat::{further, junctions};
use self::spread::Spreads;
use crate::input::scenario::build::{Judging, Placed};
use crate::judge::{Bounds, Ruling, Uncertainty};

pub use crate::output::answer::Outcome;

pub use self::found::Found;
pub use self::verdict::Doubt;

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
    /// What is known of the error of the least.
    pub least_error: Uncertainty,
    /// Of the largest.
    pub largest_error: Uncertainty,
    /// What both are estimated to miss between the ends of steps.
    #[serde(skip)]
    pub missed: (f64, f64),
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
    /// Whether the extremes as found keep within the bounds, whatever their errors.
    pub kept: bool,
    /// What is known of the error of the least.
    pub least_error: Uncertainty,
    /// Of the largest.
    pub largest_error: Uncertainty,
    /// What both are estimated to miss between the ends of steps.
    #[serde(skip)]
    pub missed: (f64, f64),
    /// An error that is known otherwise than by coarser runs.
    #[serde(skip)]
    pub further: f64,
    /// Why the user waived it.
    pub waived: Option<String>,
    /// The ruling on it, with its errors.
    pub ruling: Ruling,
}

impl Judgement {
    /// What each extreme must keep.
    pub fn sides(&self) -> [(f64, &Uncertainty, Bounds); 2] {
        [
            (self.least, &self.least_error, Bounds::at_least(self.min)),
            (self.largest, &self.largest_error, Bounds::at_most(self.max)),
        ]
    }

    /// Whether nothing was seen: a run that fails at its first instant has seen nothing.
    pub fn is_unseen(&self) -> bool {
        self.least > self.largest
    }
}

/// Energies of one component of the scenario, J.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
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
    /// What is known of the error of what it delivered.
    pub delivered_error: Uncertainty,
    /// Of what it dissipated.
    pub dissipated_error: Uncertainty,
    /// Of what it stored.
    pub stored_error: Uncertainty,
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
    /// What is known of the error of the hottest temperature.
    pub hottest_error: Uncertainty,
    /// Of the last temperature.
    pub end_error: Uncertainty,
    /// Of the heat.
    pub heat_error: Uncertainty,
    /// Error of these temperatures from the coupling of heat, K; infinite where nothing bounds it.
    pub coupling_error: f64,
    /// Why nothing does, in words.
    #[serde(rename = "coupling_error_not_bounded")]
    pub not_bounded: Option<&'static str>,
}

/// What coarser runs cost.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// Steps of both.
    pub steps: u64,
    /// Newton iterations of both.
    pub iterations: u64,
}

/// Something waived.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Waiver {
    /// The rating or note.
    pub rating: String,
    /// Why it does not count.
    pub reason: String,
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
    /// Events, hundreds of edges in a row as one line.
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
    /// Protections that measure it, and the largest let-through I²t of a fault that each cleared, A²s; NaN where none
    /// was.
    pub let_through: Vec<(String, f64)>,
    /// What is known of their errors.
    pub let_through_errors: Vec<Uncertainty>,
    /// Σ delivered − Σ dissipated − Σ stored, J.
    #[serde(rename = "ledger_residual")]
    pub residual: f64,
    /// The residual against the energy turned over.
    #[serde(rename = "ledger_residual_relative")]
    pub relative: f64,
    /// Work done.
    #[serde(flatten, with = "json::Work")]
    pub counters: Counters,
    /// Why the verdict cannot be "passes", whatever the numbers say.
    pub doubts: Vec<Doubt>,
    /// What else is of note.
    pub notes: Vec<String>,
    /// Ratings and notes that were waived.
    pub waivers: Vec<Waiver>,
    /// What the coarser runs cost that estimated the errors.
    #[serde(rename = "error_estimate")]
    pub estimate: Option<Cost>,
    /// What the spread of the input does; `None`: numbers are those of the nominal part.
    pub spread: Option<Spreads>,
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
    /// Protections that measure what faults let through.
    pub metered: Vec<String>,
}

impl Account {
    /// The account of a run that is over.
    pub fn new(run: &Run<f64>, facts: &Facts, events: Vec<Line>, outcome: Outcome) -> Self {
        let ledger = run.ledger();
        let of_input = |w: &Watch| match &w.probe {
            Probe::Temperature(input) => further(run, input.0 as usize),
            _ => 0.0,
        };
        let found = Found {
            seen: run.watcher().seen(0),
            watches: run.watcher().watches().iter().map(|w| (w, of_input(w))).collect(),
            relative: ledger.relative(),
            residual: ledger.residual,
            entries: &ledger.entries,
            repeats: None,
            counters: run.counters(),
            reached: run.state().t,
        };
        let mut account = Self::of_found(&found, facts, events, outcome);
        account.junctions = junctions(run, facts, &found.peaks());
        account
    }

    /// The account of what was found, without junctions.
    pub fn of_found(found: &Found<'_>, facts: &Facts, events: Vec<Line>, outcome: Outcome) -> Self {
        let peaks = found.peaks();
        let mut judged: Vec<Judgement> = facts
            .judging
            .judged
            .iter()
            .map(|j| {
                let &Peak { unit, least, largest, missed, .. } = &peaks[j.watch];
                let (name, by_user, min, max) = (j.name.clone(), j.by_user, j.lower, j.upper);
                Judgement {
                    name,
                    unit,
                    by_user,
                    min,
                    max,
                    least,
                    largest,
                    kept: least >= min && largest <= max,
                    least_error: Uncertainty::Bare,
                    largest_error: Uncertainty::Bare,
                    missed,
                    further: found.watches[j.watch].1,
                    waived: j.waived.clone(),
                    ruling: Ruling::NotJudged,
                }
            })
            .collect();
        judged.sort_by_key(|j| !j.by_user);
        let doubts = verdict::doubts(found, facts, &peaks);
        let let_through =
            facts.metered.iter().map(|protection| (protection.clone(), largest_cleared(&events, protection)));
        let mut account = Self {
            title: facts.title.clone(),
            outcome,
            reached: found.reached,
            end: facts.end,
            method: facts.method,
            let_through: let_through.collect(),
            let_through_errors: vec![Uncertainty::Bare; facts.metered.len()],
            events,
            junctions: Vec::new(),
            energies: energies(facts, found.entries),
            peaks: peaks.into_iter().take(facts.signals).collect(),
            judged,
            residual: found.residual,
            relative: found.relative,
            counters: found.counters,
            doubts,
            notes: verdict::notes(facts),
            waivers: verdict::waivers(facts),
            estimate: None,
            spread: None,
        };
        account.note_idle_waivers();
        account.rule();
        account
    }
}

fn largest_cleared(events: &[Line], protection: &str) -> f64 {
    let of_protection = events.iter().filter_map(|line| match line {
        Line::One(e) if e.kind == EventKind::Cleared && e.subject == protection => Some(e.value),
        _ => None,
    });
    of_protection.fold(f64::NAN, f64::max)
}

/// The ledger's lines gathered by component of the scenario; what drives add comes last.
fn energies(facts: &Facts, entries: &[Entry<f64>]) -> Vec<Energy> {
    let none = |name: &str| Energy { name: name.to_string(), ..Energy::default() };
    let mut all: Vec<Energy> = facts.placed.iter().map(|p| none(&p.name)).collect();
    for entry in entries {
        // `breaker.jfet` belongs to `breaker`: names have no point of their own.
        let owner = entry.name.split('.').next().unwrap_or(&entry.name);
        let k = all.iter().position(|e| e.name == owner).unwrap_or_else(|| {
            all.push(none(owner));
            all.len() - 1
        });
        all[k].delivered += entry.delivered;
        all[k].dissipated += entry.dissipated;
        all[k].stored += entry.stored;
    }
    all
}
