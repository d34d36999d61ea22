//! The account of a run that is over: what happened, extremes, hottest junctions, energies, and what casts doubt on
//! them. Plain data; a study makes its answers of it.

mod answers;
pub mod event_lines;
mod events;
mod found;
mod heat;
pub mod switching;
mod verdict;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Entry;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::run::watch::{Seen, Watch};

use self::event_lines::Line;
use self::heat::{dies, further, junctions};
use self::switching::SwitchingEnergies;
use crate::input::scenario::build::{Judging, Placed};
use crate::judge::{Bounds, End, Limit, Occurrence};

pub use crate::output::answer::Outcome;

pub use self::events::Shown;
pub use self::found::Found;
pub use self::verdict::Doubt;

/// Least and largest value of a watched quantity.
#[derive(Clone, Debug, PartialEq)]
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
    /// What both are estimated to miss between the ends of steps.
    pub missed: (f64, f64),
    /// An error of both that is known otherwise than by coarser runs.
    pub further: f64,
}

/// A limit and what the run did with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The limit.
    pub limit: Limit,
    /// Whether what it speaks of happened.
    pub occurrence: Occurrence,
    /// How often it did and was over; 1 for what is always there.
    pub count: u32,
    /// Least value.
    pub least: f64,
    /// Largest value.
    pub largest: f64,
    /// Whether the extremes as found keep within the bounds, whatever their errors.
    pub kept: bool,
    /// What both are estimated to miss between the ends of steps.
    pub missed: (f64, f64),
    /// An error that is known otherwise than by coarser runs.
    pub further: f64,
}

impl Judgement {
    /// What each extreme must keep.
    pub fn sides(&self) -> [(f64, Bounds); 2] {
        [(self.least, self.limit.bound(End::Least)), (self.largest, self.limit.bound(End::Largest))]
    }

    /// What a reader must know of what it speaks of; empty where that happened.
    pub fn remark(&self) -> &'static str {
        self.occurrence.remark(self.limit.of)
    }

    /// Whether nothing was seen: a run that fails at its first instant has seen nothing.
    pub fn is_unseen(&self) -> bool {
        self.least > self.largest
    }
}

/// Energies of one component of the scenario, J.
#[derive(Clone, Debug, Default, PartialEq)]
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
    /// Hottest, °C.
    pub hottest: f64,
    /// When, s.
    pub hottest_at: f64,
    /// At the end, °C.
    pub end: f64,
    /// The part's rating, °C; infinite where there is none.
    pub rated: f64,
    /// Heat that the die handed to the network, J.
    pub energy: f64,
    /// Error of these temperatures from the coupling of heat, K; infinite where nothing bounds it.
    pub coupling_error: f64,
    /// Why nothing does, in words.
    pub not_bounded: Option<&'static str>,
}

/// Something waived.
#[derive(Clone, Debug, PartialEq)]
pub struct Waiver {
    /// The rating or note.
    pub rating: String,
    /// Why it does not count.
    pub reason: String,
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
    /// Events, hundreds of edges in a row as one line.
    pub events: Vec<Line>,
    /// Extremes of recorded signals.
    pub peaks: Vec<Peak>,
    /// Limits of the user, then ratings of the parts.
    pub judged: Vec<Judgement>,
    /// Dies with a temperature.
    pub junctions: Vec<Junction>,
    /// Energies by component of the scenario.
    pub energies: Vec<Energy>,
    /// Protections that measure it, and the largest let-through I²t of a fault that each cleared, A²s; NaN where none
    /// was.
    pub let_through: Vec<(String, f64)>,
    /// Switching energies of devices with a drive.
    pub switching: SwitchingEnergies,
    /// Σ delivered − Σ dissipated − Σ stored, J.
    pub residual: f64,
    /// The residual against the energy turned over or stored.
    pub relative: f64,
    /// Work done.
    pub counters: Counters,
    /// Why the verdict cannot be "passes", whatever the numbers say.
    pub doubts: Vec<Doubt>,
    /// What else is of note.
    pub notes: Vec<String>,
    /// Ratings and notes that were waived.
    pub waivers: Vec<Waiver>,
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
        let readings = run.readings();
        let found = Found {
            readings: facts.judging.judged.iter().filter_map(|j| events::of(j, &readings, run)).collect(),
            seen: run.watcher().seen(),
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

    /// The account of a run that has not begun: its numbers without values.
    pub fn outline(watches: &[Watch], facts: &Facts, heated: bool) -> Self {
        let found = Found {
            seen: vec![Seen::NOTHING; watches.len()],
            watches: watches.iter().map(|w| (w, 0.0)).collect(),
            readings: facts.judging.judged.iter().filter_map(events::nothing).collect(),
            relative: f64::NAN,
            residual: f64::NAN,
            entries: &[],
            repeats: None,
            counters: Counters::default(),
            reached: 0.0,
        };
        let mut account = Self::of_found(&found, facts, Vec::new(), Outcome::Done);
        let of = dies(facts, &found.peaks()).into_iter().filter(|_| heated);
        account.junctions = of.map(|(_, junction)| junction).collect();
        account
    }

    /// The account of what was found, without junctions.
    pub fn of_found(found: &Found<'_>, facts: &Facts, events: Vec<Line>, outcome: Outcome) -> Self {
        let peaks = found.peaks();
        let mut judged: Vec<Judgement> = facts
            .judging
            .judged
            .iter()
            .filter_map(|j| events::judgement(j, found, &peaks, outcome == Outcome::Done))
            .collect();
        judged.sort_by_key(|j| j.limit.set_by);
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
            events,
            switching: SwitchingEnergies::default(),
            junctions: Vec::new(),
            energies: energies(facts, found.entries),
            peaks: peaks.into_iter().take(facts.signals).collect(),
            judged,
            residual: found.residual,
            relative: found.relative,
            counters: found.counters,
            doubts,
            notes: verdict::notes(facts, found),
            waivers: verdict::waivers(facts),
        };
        account.note_idle_waivers();
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
