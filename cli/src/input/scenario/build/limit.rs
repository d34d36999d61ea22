//! Limits of the scenario: on signals by watches, on what happens by gauges.

use std::any::Any;
use std::collections::{BTreeMap, BTreeSet};

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::control::protection::Protection;
use joulestep_engine::recorder::EventKind;
use joulestep_engine::run::gauge::{Gauge, Measured};
use joulestep_engine::run::watch::Watch;

use super::judge::{Judged, Judging, Origin, watch};
use super::signal::Found;
use super::{Build, Placed};
use crate::diagnostic::{Diagnostic, nearest, worded};
use crate::input::keys::conform::one_of;
use crate::input::keys::fields::Named;
use crate::input::scenario::resolved::{LimitSpec, Stated};
use crate::judge::{Bounded, Bounds, Limit, SetBy};

/// A protection as limits know it.
#[derive(Clone, Debug)]
pub(super) struct KnownProtection {
    name: String,
    /// The current from which it knows when a fault is over.
    current: Option<Probe>,
}

/// The protections among all logic.
pub(super) fn protections(logic: &[Box<dyn Controller<f64>>]) -> Vec<KnownProtection> {
    let known = logic.iter().filter_map(|one| {
        let any: &dyn Any = one.as_ref();
        let protection: &Protection = any.downcast_ref()?;
        Some(KnownProtection { name: one.name().to_string(), current: protection.metered().cloned() })
    });
    known.collect()
}

/// Names that are taken, so that columns are distinguished.
#[derive(Default)]
struct Names {
    taken: BTreeSet<String>,
    numbers: BTreeMap<String, usize>,
}

impl Names {
    /// The name itself, or with a number where it is taken.
    fn own(&mut self, wanted: &str) -> String {
        let number = self.numbers.entry(wanted.to_string()).or_insert(0);
        loop {
            *number += 1;
            let own = if *number == 1 { wanted.to_string() } else { format!("{wanted}.{number}") };
            if self.taken.insert(own.clone()) {
                return own;
            }
        }
    }
}

impl Build<'_> {
    /// The limits of the user.
    pub(super) fn limits(&mut self, board: &mut Board<f64>, watches: &mut Vec<Watch>, judging: &mut Judging) {
        let scenario = self.scenario;
        let mut names = Names::default();
        for spec in &scenario.limits {
            let judged = match spec.of {
                Bounded::Signal => self.on_signal(spec, board, &mut names, watches),
                _ => self.on_events(spec, board),
            };
            judging.judged.extend(judged);
        }
    }

    fn on_signal(
        &mut self,
        spec: &LimitSpec,
        board: &mut Board<f64>,
        names: &mut Names,
        watches: &mut Vec<Watch>,
    ) -> Option<Judged> {
        let signal = spec.signal.as_ref()?;
        let found = self.signal(signal, board)?;
        let unit = found.probe.unit();
        let bounds = self.bounds(spec, unit);
        if bounds.lower > bounds.upper {
            let what = format!("`min` is above `max` for `{}`", signal.text);
            self.report(&signal.span, "limit.min", what, "a lower bound below the upper one");
        }
        let limit = limit(spec, &found.name, unit, bounds);
        // A name of its own, since the signal may be watched already.
        let own = names.own(&format!("limit.{}", limit.name));
        let mut watch = watch(own, found.long_name, found.probe, limit.name.clone());
        (watch.event, watch.lower, watch.upper) = (Some(EventKind::Limit), bounds.lower, bounds.upper);
        let origin = Origin::Watch(watches.len());
        watches.push(watch);
        Some(Judged { limit, origin, input: None })
    }

    fn bounds(&mut self, spec: &LimitSpec, unit: &str) -> Bounds {
        let mut bound = |stated: &Option<Stated>| match stated.as_ref()? {
            Stated::Number(x) => Some(*x),
            Stated::OfSignal(typed) => self.measure(typed, unit),
        };
        Bounds {
            lower: bound(&spec.min).unwrap_or(f64::NEG_INFINITY),
            upper: bound(&spec.max).unwrap_or(f64::INFINITY),
        }
    }

    fn on_events(&mut self, spec: &LimitSpec, board: &mut Board<f64>) -> Option<Judged> {
        let unit = spec.of.unit().unwrap_or("1");
        let bounds = self.bounds(spec, unit);
        let (mut subject, mut probe, mut level, mut of) = (String::new(), None, 0.0, String::new());
        let measured = match spec.of {
            Bounded::Signal | Bounded::AvalancheEnergy | Bounded::AvalancheCurrent | Bounded::SurgeEnergy => {
                return None;
            }
            Bounded::Trips | Bounded::Retries | Bounded::LockOuts => {
                (subject, _) = self.protection_of(spec.subject.as_ref()?, false)?;
                Measured::Count(match spec.of {
                    Bounded::Trips => EventKind::Trip,
                    Bounded::Retries => EventKind::Retry,
                    _ => EventKind::LockOut,
                })
            }
            Bounded::ClearingTime => {
                (subject, probe) = self.protection_of(spec.subject.as_ref()?, true)?;
                self.needs_fault(spec);
                Measured::Clearing
            }
            Bounded::LetThrough => {
                (subject, probe) = self.protection_of(spec.subject.as_ref()?, true)?;
                if let Some(signal) = &spec.signal {
                    let found = self.signal(signal, board)?;
                    if found.probe.unit() != "A" {
                        let what = format!("`{}` is no current", signal.text);
                        self.report(&signal.span, &signal.key, what, "a current such as `L1.current`");
                        return None;
                    }
                    (of, probe) = (found.name, Some(found.probe));
                }
                self.needs_fault(spec);
                Measured::LetThrough
            }
            Bounded::Energy => {
                let component = spec.subject.as_ref()?;
                let placed = self.component_of(component)?;
                let terms = placed.built.components.iter().map(|&c| (1.0, Probe::Energy(c)));
                probe = Some(Probe::Sum(terms.collect()));
                of.clone_from(&component.name);
                Measured::Rise
            }
            Bounded::TimeAbove => {
                let Found { name, probe: found, .. } = self.signal(spec.signal.as_ref()?, board)?;
                level = self.measure(spec.level.as_ref()?, found.unit())?;
                (of, probe) = (name, Some(found));
                Measured::Above
            }
        };
        let input = match &probe {
            Some(Probe::Temperature(input)) => Some(input.0 as usize),
            _ => None,
        };
        let of = if of.is_empty() { &subject } else { &of };
        let limit = limit(spec, &format!("{of}.{}", spec.of.word()), unit, bounds);
        let origin = Origin::Gauge(self.gauges.len());
        let (from, to) = spec.interval;
        self.gauges.push(Gauge { measured, subject, probe, level, burst: None, from, to });
        Some(Judged { limit, origin, input })
    }

    /// A protection, and the current that it measures; `clears`: it must measure one.
    fn protection_of(&mut self, named: &Named, clears: bool) -> Option<(String, Option<Probe>)> {
        let Some(known) = self.protections.iter().find(|p| p.name == named.name).cloned() else {
            let all = if worded(&self.diagnostics) { &self.protections[..] } else { &[] };
            let names: Vec<&str> = all.iter().map(|p| p.name.as_str()).collect();
            let found = format!("there is no protection `{}`", named.name);
            let expected = if names.is_empty() { "a [[protection]]".into() } else { one_of(&names) };
            let near = nearest(&named.name, names);
            let report = Diagnostic::new(&named.span, "limit.protection", found, expected);
            self.diagnostics.push(report.suggest(near));
            return None;
        };
        if clears && known.current.is_none() {
            let found = format!("`{}` watches no current: nothing says when a fault is over", named.name);
            self.report(&named.span, "limit.protection", found, "a protection that trips above a current");
            return None;
        }
        Some((known.name, known.current))
    }

    fn component_of(&mut self, named: &Named) -> Option<Placed> {
        let found = self.find_placed(&named.name).cloned();
        if found.is_none() {
            let all = if worded(&self.diagnostics) { &self.placed[..] } else { &[] };
            let names: Vec<&str> = all.iter().map(|p| p.name.as_str()).collect();
            let near = nearest(&named.name, names.iter().copied());
            let what = format!("there is no component `{}`", named.name);
            let report = Diagnostic::new(&named.span, "limit.component", what, one_of(&names));
            self.diagnostics.push(report.suggest(near));
        }
        found
    }

    /// Something must say when a fault starts. What an arrangement does by itself is not looked at.
    fn needs_fault(&mut self, spec: &LimitSpec) {
        let scenario = self.scenario;
        let marked = scenario.events.iter().any(|e| e.fault == Some(true)) || scenario.arrangement.is_some();
        if !marked {
            let found = format!("no event marks the start of a fault for the {}", spec.of.word());
            self.report(&spec.span, "limit.kind", found, "an [[event]] with `fault = true`");
        }
    }
}

fn limit(spec: &LimitSpec, default: &str, unit: &str, bounds: Bounds) -> Limit {
    let name = if spec.name.is_empty() { default } else { &spec.name };
    Limit { name: name.into(), set_by: SetBy::User, of: spec.of, unit: unit.into(), bounds, waived: None }
}
