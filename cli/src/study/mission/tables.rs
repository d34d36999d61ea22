//! Tables of a mission.

use joulestep_models::arrangement::mission::{Followed, Instant};

use super::life::{Life, gathered};
use crate::output::table::{Rows, Table};

/// A line per heat input.
pub(super) fn dies(followed: &Followed) -> Table {
    let course = &followed.course;
    let span = course.last().map_or(0.0, |i| i.time);
    let per = |x: f64| (span > 0.0).then_some(x / span);
    let mean = |k: usize| -> f64 {
        course.windows(2).map(|w| (w[1].time - w[0].time) * 0.5 * (w[0].celsius[k] + w[1].celsius[k])).sum()
    };
    let high = |i: &Instant, k: usize| i.celsius[k] + i.within[k].largest;
    let hottest = |k: usize| course.iter().max_by(|a, b| high(a, k).total_cmp(&high(b, k)));
    let least =
        |k: usize| course.iter().map(|i| i.celsius[k] + i.within[k].least).fold(f64::INFINITY, f64::min);
    Rows::of(0..followed.inputs.len())
        .text("die", |&k| followed.inputs[k].clone())
        .number("energy", "energy", "J", |&k| followed.energy[k])
        .number("mean_power", "P", "W", |&k| per(followed.energy[k]))
        .number("start", "start", "degC", |&k| course.first().map(|i| i.celsius[k]))
        .number("mean", "mean", "degC", |&k| per(mean(k)))
        .number("least", "least", "degC", |&k| least(k))
        .number("largest", "largest", "degC", |&k| hottest(k).map(|i| high(i, k)))
        .number("largest_at", "at", "s", |&k| hottest(k).map(|i| i.time))
        .number("end", "end", "degC", |&k| course.last().map(|i| i.celsius[k]))
        .table()
}

/// Ripple of the hottest cycle.
pub(super) fn ripple(followed: &Followed) -> Table {
    let lines = followed.period.1 > 1;
    Rows::of(followed.hottest.iter().flat_map(|hot| followed.inputs.iter().zip(&hot.ripple)))
        .text("die", |(name, _)| name.as_str())
        .number("switching_ripple", "switching ripple", "K", |(_, r)| r.switching)
        .number("line_ripple", "line ripple", "K", |(_, r)| lines.then_some(r.line))
        .table()
}

/// Harmonics of the hottest cycle: a line per frequency and heat input.
pub(super) fn harmonics(followed: &Followed) -> Table {
    let all = || followed.hottest.iter().flat_map(|hot| &hot.harmonics);
    Rows::of((0..followed.inputs.len()).flat_map(|k| all().map(move |h| (k, h))))
        .text("die", |&(k, _)| followed.inputs[k].clone())
        .number("harmonic", "harmonic", "1", |(_, h)| f64::from(h.number))
        .number("frequency", "f", "Hz", |(_, h)| h.frequency)
        .number("power", "power", "W", |&(k, h)| h.power[k])
        .number("temperature", "temperature", "K", |&(k, h)| h.temperature[k])
        .table()
}

/// Counted temperature cycles, gathered.
pub(super) fn cycles(followed: &Followed, lives: &[Life]) -> Table {
    let of_die = |(name, life): (&'_ String, &'_ Life)| {
        let both = [("mission", &life.cycles.mission), ("ripple", &life.cycles.ripple)];
        let name = name.clone();
        both.map(|(of, counted)| (name.clone(), of, gathered(counted)))
    };
    let all = followed.inputs.iter().zip(lives).flat_map(of_die);
    Rows::of(all.flat_map(|(name, of, counted)| counted.into_iter().map(move |c| (name.clone(), of, c))))
        .text("die", |(name, ..)| name.clone())
        .text("of", |(_, of, _)| *of)
        .number("range", "range", "K", |(.., c)| c.range)
        .number("mean", "mean", "degC", |(.., c)| c.mean)
        .number("count", "count", "1", |(.., c)| c.count)
        .table()
}

/// The course.
pub(super) fn course(followed: &Followed) -> Table {
    let mut rows = Rows::of(&followed.course).number("time", "t", "s", |i| i.time);
    for (k, name) in followed.inputs.iter().enumerate() {
        let named = |what: &str| format!("{name}_{what}");
        rows = rows
            .number(&named("mean"), "mean", "degC", |i| i.celsius[k])
            .number(&named("least"), "least", "degC", |i| i.celsius[k] + i.within[k].least)
            .number(&named("largest"), "largest", "degC", |i| i.celsius[k] + i.within[k].largest)
            .number(&named("power"), "power", "W", |i| i.power[k]);
    }
    rows.number("estimated_error", "error", "K", |i| i.estimate).table()
}

/// How it was followed.
pub(super) fn work(f: &Followed) -> Table {
    Rows::of([&f.work])
        .number("duration", "duration", "s", |_| f.course.last().map_or(0.0, |i| i.time))
        .number("period", "period", "s", |_| f.period.0)
        .number("switching_periods", "switching periods in it", "1", |_| f64::from(f.period.1))
        .number("cycles", "cycles", "1", |w| w.cycles)
        .number("solved", "solved", "1", |w| w.solved as f64)
        .number("resolved", "stepped through", "1", |w| w.resolved as f64)
        .number("reused", "taken again", "1", |w| w.reused as f64)
        .number("leaps", "leaps", "1", |w| f64::from(w.leaps))
        .number("taken_back", "taken back", "1", |w| f64::from(w.taken_back))
        .number("jumps", "settlings jumped over", "1", |w| f64::from(w.jumps))
        .number("estimated_error", "error of leaps", "K", |w| w.estimate)
        .number("estimated_error_at_end", "at the end", "K", |w| w.estimate_at_end)
        .number("coupling_error", "coupling", "K", |w| w.coupling)
        .table()
}
