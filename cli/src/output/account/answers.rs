//! An account as the answer of a study: numbers with their bounds, tables, doubts and notes. Errors and rulings are not
//! here: [`assess`](crate::output::answer::assess) finds them.

use joulestep_engine::units::people;

use super::{Account, Judgement, Junction, Peak};
use crate::judge::{Bounded, End, Limited};
use crate::output::answer::{Answer, Study};

impl Account {
    /// What judged limits on events speak of, about which runs must agree: how often it happened, and whether it was
    /// over.
    fn course(&self) -> impl Iterator<Item = String> {
        // How often a die avalanches in a coarse run is an error of it, which its numbers show.
        let of_events = self.judged.iter().filter(|j| j.limit.of != Bounded::Signal && j.limit.by_user());
        of_events.map(|j| format!("{} {} {}", j.limit.name, j.count, j.occurrence.word()))
    }

    /// Limits of the user and ratings of the parts at the extremes that they bound, junctions, extremes of recorded
    /// signals, and what faults let through.
    pub fn answers(&self) -> Vec<Answer> {
        let junctions = self.junctions.iter().flat_map(of_junction);
        let extremes = self.peaks.iter().flat_map(of_peak);
        self.judged().into_iter().chain(junctions).chain(extremes).collect()
    }

    /// Limits and ratings at the extremes that they bound, and what faults let through.
    pub fn judged(&self) -> Vec<Answer> {
        let known = !self.doubts.iter().any(|d| d.out_of_range);
        let judged = self.judged.iter().flat_map(|j| of_judgement(j, known));
        let let_through = self.let_through.iter().map(|(protection, i2t)| {
            Answer::new(
                format!("{protection}.let-through"),
                format!("{protection}: let-through I\u{b2}t"),
                *i2t,
                "A^2 s",
            )
            .remark(if i2t.is_nan() {
                "no fault cleared"
            } else {
                "largest of a fault that was cleared"
            })
        });
        judged.chain(let_through).collect()
    }

    /// Puts doubts, notes and what the estimate of errors needs into an answer.
    pub fn tell(&self, study: &mut Study) {
        study.outcome = self.outcome.clone();
        study.doubts.extend(self.doubts.iter().map(|d| d.text.clone()));
        study.notes.extend(self.notes.iter().cloned().chain(self.stall()));
        // Waivers of what is no number here: dies without a heat path, notes.
        let shown =
            |rating: &str| self.judged.iter().any(|j| j.limit.waived.is_some() && j.limit.name == rating);
        let waivers = self.waivers.iter().filter(|w| !shown(&w.rating));
        study.notes.extend(waivers.map(|w| format!("waived: `{}`: {}", w.rating, w.reason)));
        let computation = &mut study.computation;
        computation.course.extend(self.course());
        (computation.steps, computation.iterations) = (self.counters.steps, self.counters.iterations);
        computation.stalled = self.counters.stalled > 0;
    }
}

fn of_judgement(j: &Judgement, known: bool) -> impl Iterator<Item = Answer> {
    let seen = |x: f64| if j.is_unseen() { f64::NAN } else { x };
    let sides = [(End::Largest, seen(j.largest), j.missed.1), (End::Least, seen(j.least), j.missed.0)];
    let limit = &j.limit;
    let bounded = sides.into_iter().filter(|s| !limit.bound(s.0).is_none());
    bounded.map(move |(end, value, missed)| Answer {
        missed,
        further: j.further,
        known,
        limited: Some(Limited::of(limit, end, j.occurrence)),
        ..Answer::new(limit.number(end), format!("{}, {}", limit.name, end.word()), value, &limit.unit)
            .remark(j.remark())
    })
}

fn of_junction(j: &Junction) -> [Answer; 3] {
    let answer = |what: &str, words: &str, value: f64, unit: &str| {
        Answer::new(format!("{}.{what}", j.name), format!("{}: {words}", j.name), value, unit)
    };
    let bound = j.not_bounded.map_or(String::new(), |why| format!("; coupling error not bounded: {why}"));
    [
        answer("hottest", "hottest", j.hottest, "degC")
            .further(j.coupling_error)
            .remark(format!("{}{bound}", instant(j.hottest_at))),
        answer("end", "at the end", j.end, "degC").further(j.coupling_error),
        answer("energy", "energy into the network", j.energy, "J"),
    ]
}

fn of_peak(p: &Peak) -> [Answer; 2] {
    let extreme = |end: &str, value: f64, at: f64, missed: f64| Answer {
        missed,
        further: p.further,
        ..Answer::new(format!("{}.{end}", p.name), format!("{}, {end}", p.name), value, p.unit)
            .remark(instant(at))
    };
    [
        extreme("largest", p.largest, p.largest_at, p.missed.1),
        extreme("least", p.least, p.least_at, p.missed.0),
    ]
}

/// When, in words.
fn instant(t: f64) -> String {
    if t.is_finite() { format!("at {}", people(t, "s")) } else { String::new() }
}
