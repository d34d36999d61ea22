//! An account as the answer of a study: numbers with their bounds, tables, doubts and notes. Errors and rulings are not
//! here: [`assess`](crate::output::answer::assess) finds them.

use joulestep_engine::units::people;

use super::{Account, Judgement, Junction, Peak};
use crate::judge::Bounds;
use crate::output::answer::{Answer, Study};

impl Account {
    /// Limits of the user and ratings of the parts at the extremes that they bound, junctions, extremes of recorded
    /// signals, and what faults let through.
    pub fn answers(&self) -> Vec<Answer> {
        let known = !self.doubts.iter().any(|d| d.out_of_range);
        let judged = self.judged.iter().flat_map(|j| of_judgement(j, known));
        let junctions = self.junctions.iter().flat_map(of_junction);
        let extremes = self.peaks.iter().flat_map(of_peak);
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
        judged.chain(let_through).chain(junctions).chain(extremes).collect()
    }

    /// Puts doubts, notes and what the estimate of errors needs into an answer.
    pub fn tell(&self, study: &mut Study) {
        study.outcome = self.outcome.clone();
        study.doubts.extend(self.doubts.iter().map(|d| d.text.clone()));
        study.notes.extend(self.notes.iter().cloned().chain(self.stall()));
        // Waivers of what is no number here: dies without a heat path, notes.
        let shown = |rating: &str| self.judged.iter().any(|j| j.waived.is_some() && j.name == rating);
        let waivers = self.waivers.iter().filter(|w| !shown(&w.rating));
        study.notes.extend(waivers.map(|w| format!("waived: `{}`: {}", w.rating, w.reason)));
        let computation = &mut study.computation;
        (computation.steps, computation.iterations) = (self.counters.steps, self.counters.iterations);
        computation.stalled = self.counters.stalled > 0;
    }
}

fn of_judgement(j: &Judgement, known: bool) -> impl Iterator<Item = Answer> {
    let (before, by) = if j.by_user { ("limit", "limit") } else { ("rating", "rating") };
    let seen = |x: f64| if j.is_unseen() { f64::NAN } else { x };
    let sides = [
        ("largest", seen(j.largest), j.missed.1, Bounds::at_most(j.max)),
        ("least", seen(j.least), j.missed.0, Bounds::at_least(j.min)),
    ];
    sides.into_iter().filter(|s| !s.3.is_none()).map(move |(end, value, missed, bounds)| Answer {
        missed,
        further: j.further,
        known,
        waived: j.waived.clone(),
        ..Answer::new(format!("{before}.{}.{end}", j.name), format!("{}, {end}", j.name), value, j.unit)
            .limited(bounds, by)
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
        answer("heat", "heat into the network", j.heat, "J"),
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
