//! All numbers of an account by name, and their errors back into it, in one order.

use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::recorder::{Event, EventKind, Recorder};

use super::{Account, Energy, Judgement, Junction, Peak};
use crate::judge::{Computed, Number, Uncertainty};

/// Kinds of events that tell what protection did.
const PROTECTION: [EventKind; 3] = [EventKind::Trip, EventKind::Retry, EventKind::LockOut];

/// Keeps what protection did, about which runs must agree, and nothing else: single edges of a controller may differ.
#[derive(Debug)]
pub struct Course<'a> {
    /// "trip overcurrent", in order.
    pub acts: Vec<String>,
    /// Set when the run is to end.
    pub stop: &'a AtomicBool,
}

impl Course<'_> {
    /// What an event adds.
    pub fn of(event: &Event) -> Option<String> {
        PROTECTION.contains(&event.kind).then(|| format!("{} {}", event.kind.word(), event.subject))
    }
}

impl<L: Lane> Recorder<L> for Course<'_> {
    fn event(&mut self, event: &Event) {
        self.acts.extend(Self::of(event));
    }
    fn go_on(&mut self, _: f64) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }
}

fn extreme(name: String, value: f64, missed: f64) -> Number {
    Number { name, value, missed, further: 0.0 }
}

fn of_peak(p: &Peak) -> [Number; 2] {
    [
        extreme(format!("{}.least", p.name), p.least.0, p.missed.0),
        extreme(format!("{}.largest", p.name), p.most.0, p.missed.1),
    ]
}

fn of_judgement(j: &Judgement) -> [Number; 2] {
    let before = if j.by_user { "limit" } else { "rating" };
    [
        extreme(format!("{before}.{}.least", j.name), j.found.0, j.missed.0),
        extreme(format!("{before}.{}.largest", j.name), j.found.1, j.missed.1),
    ]
}

fn of_junction(j: &Junction) -> [Number; 3] {
    let number = |what: &str, value, further| Number {
        name: format!("{}.{what}", j.name),
        value,
        missed: 0.0,
        further,
    };
    [number("hottest", j.hottest.0, j.further), number("end", j.end, j.further), number("heat", j.heat, 0.0)]
}

fn of_energy(e: &Energy) -> [Number; 3] {
    let number = |what: &str, value| Number::plain(format!("{}.{what}", e.name), value);
    [number("delivered", e.delivered), number("dissipated", e.dissipated), number("stored", e.stored)]
}

impl Account {
    /// All numbers. `course`: what protection did.
    pub fn computed(&self, course: Vec<String>) -> Computed {
        let mut numbers: Vec<Number> = self.judged.iter().flat_map(of_judgement).collect();
        numbers.extend(self.peaks.iter().flat_map(of_peak));
        numbers.extend(self.junctions.iter().flat_map(of_junction));
        numbers.extend(self.energies.iter().flat_map(of_energy));
        Computed { numbers, course, steps: self.counters.steps, iterations: self.counters.iterations }
    }

    /// Takes the errors of [`Account::computed`], in its order.
    pub fn adopt(&mut self, errors: Vec<Uncertainty>) {
        let judged = self.judged.iter_mut().flat_map(|j| &mut j.errors);
        let peaks = self.peaks.iter_mut().flat_map(|p| &mut p.errors);
        let junctions = self.junctions.iter_mut().flat_map(|j| &mut j.errors);
        let energies = self.energies.iter_mut().flat_map(|e| &mut e.errors);
        for (slot, error) in judged.chain(peaks).chain(junctions).chain(energies).zip(errors) {
            *slot = error;
        }
    }

    /// Whether no number has an estimate of its error.
    pub fn is_bare(&self) -> bool {
        let bare = |errors: &[Uncertainty]| errors.iter().all(|e| *e == Uncertainty::Bare);
        self.judged.iter().all(|j| bare(&j.errors))
            && self.peaks.iter().all(|p| bare(&p.errors))
            && self.energies.iter().all(|e| bare(&e.errors))
    }
}
