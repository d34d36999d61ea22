//! All numbers of an account by name, in one order.

use super::{Account, Energy, Judgement, Junction, Peak};
use crate::judge::{Bounded, Computed, End, Number};

fn extreme(name: String, value: f64, missed: f64) -> Number {
    Number { name, value, missed, further: 0.0 }
}

fn of_peak(p: &Peak) -> [Number; 2] {
    [
        extreme(format!("{}.least", p.name), p.least, p.missed.0),
        extreme(format!("{}.largest", p.name), p.largest, p.missed.1),
    ]
}

fn of_judgement(j: &Judgement) -> [Number; 2] {
    let number = |end, value, missed| Number { name: j.limit.number(end), value, missed, further: j.further };
    [number(End::Least, j.least, j.missed.0), number(End::Largest, j.largest, j.missed.1)]
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
    /// All numbers. `course`: what protection did.
    pub fn computed(&self, course: Vec<String>) -> Computed {
        let mut numbers: Vec<Number> = self.judged.iter().flat_map(of_judgement).collect();
        numbers.extend(self.peaks.iter().flat_map(of_peak));
        numbers.extend(self.junctions.iter().flat_map(of_junction));
        numbers.extend(self.energies.iter().flat_map(of_energy));
        let named =
            |(protection, i2t): &(String, f64)| Number::plain(format!("{protection}.let-through"), *i2t);
        numbers.extend(self.let_through.iter().map(named));
        let mut course = course;
        self.add_to_course(&mut course);
        Computed {
            numbers,
            course,
            steps: self.counters.steps,
            iterations: self.counters.iterations,
            ..Computed::default()
        }
    }

    /// What judged limits on events speak of, about which runs must agree: how often it happened, and whether it was over.
    pub fn add_to_course(&self, course: &mut Vec<String>) {
        let of_events = self.judged.iter().filter(|j| j.limit.of != Bounded::Signal);
        course.extend(of_events.map(|j| format!("{} {} {}", j.limit.name, j.count, j.occurrence.word())));
    }
}
