//! All numbers of an account by name, in one order.

use super::{Account, Energy, Judgement, Junction, Peak};
use crate::judge::{Computed, Number};

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
}
