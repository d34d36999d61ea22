//! What is watched at every step, and what the verdict judges.

use joulestep_engine::circuit::graph::ComponentId;
use joulestep_engine::circuit::probe::{Channel, Probe};
use joulestep_engine::control::board::Board;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::gauge::Gauge;
use joulestep_engine::run::watch::{ALWAYS, Watch};

use super::avalanche::{Absorber, Avalanched, avalanches, surges};
use super::{Build, Note, Placed};
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::words::one_of;
use crate::judge::{Bounds, Limit, SetBy};

/// Current from which a varistor counts as clamping, A. Between the leakage that its nominal voltage is stated at
/// (1 mA) and the hundreds of amperes of its clamping voltage.
const CLAMPS: f64 = 1.0;
/// How far above its highest junction temperature a part's laws are still trusted, K: about the distance to which data
/// sheets plot their curves beyond the rating (common practice, no source).
pub(crate) const BEYOND: f64 = 25.0;

/// A limit with where its numbers come from.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The limit.
    pub limit: Limit,
    /// What it bounds.
    pub origin: Origin,
    /// The heat input whose temperature a gauge reads.
    pub input: Option<usize>,
}

/// Where the numbers of a limit come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The extremes of the watch of this number.
    Watch(usize),
    /// The gauge of this number.
    Gauge(usize),
}

/// The junction temperature of a die that has no heat path, so that nothing can judge it.
#[derive(Clone, Debug, PartialEq)]
pub struct Unheated {
    /// Name in the verdict: `Q1.jfet.temperature`.
    pub name: String,
    /// What the die is made of.
    pub components: Vec<ComponentId>,
    /// Highest junction temperature allowed, °C.
    pub rated: f64,
    /// Why the user waived it.
    pub waived: Option<String>,
}

/// A watch on the range for which a law is known.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownRange {
    /// What is watched: `Q1.jfet.temperature`.
    pub name: String,
    /// Number of its watch.
    pub watch: usize,
    /// Lower and upper end.
    pub range: (f64, f64),
}

/// All that a verdict rests on.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judging {
    /// Limits of the user and ratings of the parts.
    pub judged: Vec<Judged>,
    /// Dies without a heat path.
    pub unheated: Vec<Unheated>,
    /// Dies that may go into avalanche.
    pub avalanches: Vec<Avalanched>,
    /// What absorbs surges with a rated mean power.
    pub absorbers: Vec<Absorber>,
    /// Ranges for which laws are known.
    pub ranges: Vec<KnownRange>,
    /// What deserves a word before the run.
    pub notes: Vec<Note>,
}

impl Build<'_> {
    /// Extremes of: what is recorded, the limits of the parts, the temperatures of their dies, the user's limits; last
    /// the ranges for which laws are known.
    pub(super) fn watches(
        &mut self,
        channels: &[Channel],
        board: &mut Board<f64>,
    ) -> (Vec<Watch>, Judging, usize) {
        let mut watches: Vec<Watch> = Vec::new();
        let mut judging = Judging::default();
        for Channel { name, long_name, probe } in channels {
            if !matches!(probe, Probe::Line(_)) {
                let subject = name.split('.').next().unwrap_or("").to_string();
                watches.push(watch(name.clone(), long_name.clone(), probe.clone(), subject));
            }
        }
        let signals = watches.len();
        // A fault after the end is none.
        let end = self.scenario.steps.end;
        let faults =
            self.scenario.events.iter().filter(|e| e.fault == Some(true) && e.at < end).map(|e| e.at);
        parts(&self.placed, faults.reduce(f64::min), &mut watches, &mut judging);
        avalanches(&self.placed, &mut watches, &mut judging, &mut self.gauges);
        surges(&self.placed, &mut judging, &mut self.gauges);
        self.limits(board, &mut watches, &mut judging);
        ranges(&self.placed, &mut watches, &mut judging);
        (watches, judging, signals)
    }

    /// Puts the user's waivers where they belong.
    pub(super) fn waive(&mut self, judging: &mut Judging) {
        let scenario = self.scenario;
        for waiver in &scenario.waivers {
            let (name, reason) = (waiver.rating.name.as_str(), Some(waiver.reason.name.clone()));
            let rating =
                judging.judged.iter_mut().map(|j| &mut j.limit).find(|l| !l.by_user() && l.name == name);
            let unheated = judging.unheated.iter_mut().find(|u| u.name == name);
            let note = judging.notes.iter_mut().find(|n| n.doubt && n.name == name);
            let avalanche = judging.avalanches.iter_mut().find(|a| a.name == name);
            let absorber = judging.absorbers.iter_mut().find(|a| a.name == name);
            let slots = [
                rating.map(|l| &mut l.waived),
                unheated.map(|u| &mut u.waived),
                avalanche.map(|a| &mut a.waived),
                absorber.map(|a| &mut a.waived),
                note.map(|n| &mut n.waived),
            ];
            if let Some(slot) = slots.into_iter().flatten().next() {
                *slot = reason;
                continue;
            }
            if judging.judged.iter().any(|j| j.limit.by_user() && j.limit.name == name) {
                let found = format!("`{name}` is a limit that this scenario sets itself");
                self.report(
                    &waiver.rating.span,
                    "waiver.rating",
                    found,
                    "a rating of a part; a limit is left out",
                );
                continue;
            }
            let ratings =
                judging.judged.iter().map(|j| &j.limit).filter(|l| !l.by_user()).map(|l| l.name.as_str());
            let notes = judging.notes.iter().filter(|n| n.doubt).map(|n| n.name.as_str());
            let avalanches = judging.avalanches.iter().map(|a| a.name.as_str());
            let avalanches = avalanches.chain(judging.absorbers.iter().map(|a| a.name.as_str()));
            let known: Vec<&str> = ratings
                .chain(judging.unheated.iter().map(|u| u.name.as_str()))
                .chain(avalanches)
                .chain(notes)
                .collect();
            let found = format!("there is no rating `{name}`");
            let report = Diagnostic::new(&waiver.rating.span, "waiver.rating", found, one_of(&known));
            self.diagnostics.push(report.suggest(nearest(name, known.iter().copied())));
        }
    }
}

/// What parts outside a scenario must keep and the ranges of their laws, each with its watch or gauge.
pub fn of_parts(all: &[Placed]) -> (Vec<Watch>, Judging, Vec<Gauge>) {
    let (mut watches, mut judging, mut gauges) = (Vec::new(), Judging::default(), Vec::new());
    parts(all, None, &mut watches, &mut judging);
    avalanches(all, &mut watches, &mut judging, &mut gauges);
    ranges(all, &mut watches, &mut judging);
    (watches, judging, gauges)
}

/// Limits and temperatures of the parts; `fault` is when the first one begins, s.
fn parts(all: &[Placed], fault: Option<f64>, watches: &mut Vec<Watch>, judging: &mut Judging) {
    for placed in all {
        for (name, probe, lower, upper) in &placed.built.limits {
            let name = format!("{}.{name}", placed.name);
            let mut watch = watch(name.clone(), name.clone(), probe.clone(), placed.name.clone());
            (watch.event, watch.lower, watch.upper) = (Some(EventKind::Limit), *lower, *upper);
            judging.judged.push(rating(name, watch.unit, watches.len(), *lower, *upper));
            watches.push(watch);
        }
        let current = placed.built.quantities.iter().find(|q| q.0 == "current");
        if let (Some((_, _, probe)), true) = (current, placed.lead_current().is_finite()) {
            let name = format!("{}.lead-current", placed.name);
            let words = format!("{}: current of the leads", placed.name);
            let mut watch = watch(name.clone(), words, probe.clone(), placed.name.clone());
            let most = placed.lead_current();
            (watch.event, watch.lower, watch.upper) = (Some(EventKind::Limit), -most, most);
            judging.judged.push(rating(name, watch.unit, watches.len(), -most, most));
            watches.push(watch);
        }
        if let Some(probe) = &placed.built.clamps {
            let name = format!("{}.clamping", placed.name);
            let mut watch = watch(name, "conduction".into(), probe.clone(), placed.name.clone());
            (watch.event, watch.upper) = (Some(EventKind::Clamp), CLAMPS);
            watches.push(watch);
        }
        for (k, (die, components)) in placed.built.dies.iter().enumerate() {
            let rated = placed.built.hottest.iter().find(|h| h.0 == *die).map(|h| h.1);
            let name = format!("{}.{die}.temperature", placed.name);
            let Some(input) = placed.heat[k] else {
                // Only semiconductors have a highest junction temperature.
                judging.unheated.extend(rated.map(|rated| Unheated {
                    name,
                    components: components.clone(),
                    rated,
                    waived: None,
                }));
                continue;
            };
            let upper = rated.unwrap_or(f64::INFINITY);
            let words = format!("{}: junction temperature of the {die} die", placed.name);
            let mut all = watch(name.clone(), words.clone(), Probe::Temperature(input), placed.name.clone());
            let mut judged = |name: String, watch: &Watch, number: usize| {
                judging.judged.push(rating(name, watch.unit, number, f64::NEG_INFINITY, watch.upper));
            };
            let Some(fault) = fault.filter(|_| placed.ratings.single_event().is_finite()) else {
                (all.event, all.upper) = (Some(EventKind::Limit), upper);
                judged(name, &all, watches.len());
                watches.push(all);
                continue;
            };
            let once = format!("{}.{die}.single-event-temperature", placed.name);
            let before = Watch {
                name: format!("{name}.before-fault"),
                event: Some(EventKind::Limit),
                upper,
                during: (f64::NEG_INFINITY, fault),
                ..all.clone()
            };
            let after = Watch {
                name: once.clone(),
                long_name: format!("{words} from the fault on"),
                upper: placed.ratings.single_event(),
                during: (fault, f64::INFINITY),
                ..before.clone()
            };
            watches.push(all);
            judged(name, &before, watches.len());
            watches.push(before);
            judged(once, &after, watches.len());
            watches.push(after);
        }
    }
}

/// Ranges for which the laws of the parts are known.
fn ranges(all: &[Placed], watches: &mut Vec<Watch>, judging: &mut Judging) {
    let mut within_law = |owner: &str, name: String, probe: &Probe, lower: f64, upper: f64| {
        if lower == f64::NEG_INFINITY && upper == f64::INFINITY {
            return;
        }
        let mut watch = watch(format!("range.{name}"), name.clone(), probe.clone(), owner.to_string());
        (watch.event, watch.lower, watch.upper) = (Some(EventKind::OutOfRange), lower, upper);
        judging.ranges.push(KnownRange { name, watch: watches.len(), range: (lower, upper) });
        watches.push(watch);
    };
    for placed in all {
        let name = |of: &str| format!("{}.{of}", placed.name);
        for (of, probe, lower, upper) in &placed.built.known {
            within_law(&placed.name, name(of), probe, *lower, *upper);
        }
        let current = placed.built.quantities.iter().find(|q| q.0 == "current");
        if let (Some((of, _, probe)), true) = (current, placed.known_current.is_finite()) {
            within_law(&placed.name, name(of), probe, -placed.known_current, placed.known_current);
        }
        for (k, (die, _)) in placed.built.dies.iter().enumerate() {
            let rated = placed.built.hottest.iter().find(|h| h.0 == *die).map_or(f64::INFINITY, |h| h.1);
            if let Some(input) = placed.heat[k] {
                let probe = Probe::Temperature(input);
                let name = name(&format!("{die}.temperature"));
                within_law(&placed.name, name, &probe, f64::NEG_INFINITY, rated + BEYOND);
            }
        }
    }
}

/// A rating of a part on a watch.
pub fn rating(name: String, unit: &str, watch: usize, lower: f64, upper: f64) -> Judged {
    let bounds = Bounds { lower, upper };
    let limit = Limit { name, set_by: SetBy::Part, unit: unit.into(), bounds, ..Limit::default() };
    Judged { limit, origin: Origin::Watch(watch), input: None }
}

pub(super) fn watch(name: String, long_name: String, probe: Probe, subject: String) -> Watch {
    let unit = probe.unit();
    let (lower, upper) = (f64::NEG_INFINITY, f64::INFINITY);
    Watch { name, long_name, unit, probe, subject, event: None, lower, upper, during: ALWAYS }
}
