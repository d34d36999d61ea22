//! All numbers of an account by name, and their errors back into it, in one order.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::recorder::{Event, EventKind, Recorder};

use super::event_lines::EventLines;
use super::{Account, Doubt, Energy, Judgement, Junction, Peak};
use crate::judge::{Bounds, Computed, Number, Proof, Uncertainty};

/// Kinds of events that tell what protection did.
const PROTECTION: [EventKind; 3] = [EventKind::Trip, EventKind::Retry, EventKind::LockOut];

/// Keeps what protection did, about which runs must agree, and nothing else: single edges of a controller may differ.
#[derive(Debug)]
pub struct Course<'a> {
    /// "trip overcurrent", in order.
    pub acts: Vec<String>,
    /// All events, shortened.
    pub events: EventLines,
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
        self.events.push(event);
    }
    fn go_on(&mut self, _: f64) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }
}

fn of_peak(p: &Peak) -> [Number; 2] {
    let extreme = |end: &str, value, missed| Number {
        name: format!("{}.{end}", p.name),
        value,
        missed,
        further: p.further,
    };
    [extreme("least", p.least, p.missed.0), extreme("largest", p.largest, p.missed.1)]
}

fn of_judgement(j: &Judgement) -> [Number; 2] {
    let before = if j.by_user { "limit" } else { "rating" };
    let number = |end: &str, value, missed| Number {
        name: format!("{before}.{}.{end}", j.name),
        value,
        missed,
        further: j.further,
    };
    [number("least", j.least, j.missed.0), number("largest", j.largest, j.missed.1)]
}

fn of_junction(j: &Junction) -> [Number; 3] {
    let number = |what: &str, value, further| Number {
        name: format!("{}.{what}", j.name),
        value,
        missed: 0.0,
        further,
    };
    [
        number("hottest", j.hottest, j.coupling_error),
        number("end", j.end, j.coupling_error),
        number("heat", j.heat, 0.0),
    ]
}

fn of_energy(e: &Energy) -> [Number; 3] {
    let number = |what: &str, value| Number::plain(format!("{}.{what}", e.name), value);
    [number("delivered", e.delivered), number("dissipated", e.dissipated), number("stored", e.stored)]
}

impl Account {
    /// Bounds of the judged numbers, by the names that [`Account::computed`] gives them.
    pub fn bounds(&self) -> BTreeMap<String, Bounds> {
        let mut all = BTreeMap::new();
        for j in self.judged.iter().filter(|j| j.waived.is_none()) {
            let names = of_judgement(j).map(|n| n.name);
            let bounded = names.into_iter().zip(j.sides().map(|s| s.2));
            all.extend(bounded.filter(|(_, bounds)| !bounds.is_none()));
        }
        all
    }

    /// Takes the errors that a proof found, in the order of [`Account::computed`], with a doubt where it proved
    /// nothing. `held`: what is of its last round ("numbers and file").
    pub fn proven(&mut self, proof: &Proof, held: &str) {
        let rounds = proof.rounds;
        if !proof.proven {
            let text = format!(
                "after {rounds} rounds of finer steps not every judged number stands still within its margin"
            );
            self.doubts.push(Doubt { name: "prove".into(), text, since: None, out_of_range: false });
        }
        self.notes.push(format!("{rounds} rounds of finer steps were made; {held} are those of the last"));
        self.adopt(proof.errors.clone());
    }

    /// All numbers. `course`: what protection did.
    pub fn computed(&self, course: Vec<String>) -> Computed {
        let mut numbers: Vec<Number> = self.judged.iter().flat_map(of_judgement).collect();
        numbers.extend(self.peaks.iter().flat_map(of_peak));
        numbers.extend(self.junctions.iter().flat_map(of_junction));
        numbers.extend(self.energies.iter().flat_map(of_energy));
        let named =
            |(protection, i2t): &(String, f64)| Number::plain(format!("{protection}.let-through"), *i2t);
        numbers.extend(self.let_through.iter().map(named));
        Computed {
            numbers,
            course,
            steps: self.counters.steps,
            iterations: self.counters.iterations,
            ..Computed::default()
        }
    }

    /// Takes the errors of [`Account::computed`], in its order, and rules anew.
    pub fn adopt(&mut self, errors: Vec<Uncertainty>) {
        let judged = self.judged.iter_mut().flat_map(|j| [&mut j.least_error, &mut j.largest_error]);
        let peaks = self.peaks.iter_mut().flat_map(|p| [&mut p.least_error, &mut p.largest_error]);
        let junctions = self
            .junctions
            .iter_mut()
            .flat_map(|j| [&mut j.hottest_error, &mut j.end_error, &mut j.heat_error]);
        let energies = self
            .energies
            .iter_mut()
            .flat_map(|e| [&mut e.delivered_error, &mut e.dissipated_error, &mut e.stored_error]);
        let all = judged.chain(peaks).chain(junctions).chain(energies).chain(&mut self.let_through_errors);
        for (slot, error) in all.zip(errors) {
            *slot = error;
        }
        self.rule();
    }

    /// What is known of the errors of all numbers, in their order.
    pub fn errors(&self) -> impl Iterator<Item = &Uncertainty> {
        let judged = self.judged.iter().flat_map(|j| [&j.least_error, &j.largest_error]);
        let peaks = self.peaks.iter().flat_map(|p| [&p.least_error, &p.largest_error]);
        let junctions = self.junctions.iter().flat_map(|j| [&j.hottest_error, &j.end_error, &j.heat_error]);
        let energies =
            self.energies.iter().flat_map(|e| [&e.delivered_error, &e.dissipated_error, &e.stored_error]);
        judged.chain(peaks).chain(junctions).chain(energies).chain(&self.let_through_errors)
    }
}
