//! Tables of a mission.

use joulestep_models::arrangement::mission::{Followed, Instant};

use super::life::{Life, gathered};
use crate::output::table::{Cell, Head, Table};

/// A line per heat input.
pub(super) fn dies(followed: &Followed) -> Table {
    let heads = vec![
        Head::text("die"),
        Head::number("heat", "heat", "J"),
        Head::number("mean_power", "P", "W"),
        Head::number("start", "start", "degC"),
        Head::number("mean", "mean", "degC"),
        Head::number("least", "least", "degC"),
        Head::number("largest", "largest", "degC"),
        Head::number("largest_at", "at", "s"),
        Head::number("end", "end", "degC"),
    ];
    let course = &followed.course;
    let span = course.last().map_or(0.0, |i| i.time);
    let row = |(k, name): (usize, &String)| {
        let weighted =
            course.windows(2).map(|w| (w[1].time - w[0].time) * 0.5 * (w[0].celsius[k] + w[1].celsius[k]));
        let high = |i: &Instant| i.celsius[k] + i.within[k].largest;
        let hottest = course.iter().max_by(|a, b| high(a).total_cmp(&high(b)));
        let least = course.iter().map(|i| i.celsius[k] + i.within[k].least).fold(f64::INFINITY, f64::min);
        let per = |x: f64| (span > 0.0).then_some(x / span);
        vec![
            Cell::from(name.as_str()),
            followed.heat[k].into(),
            per(followed.heat[k]).into(),
            course.first().map(|i| i.celsius[k]).into(),
            per(weighted.sum()).into(),
            least.into(),
            hottest.map(high).into(),
            hottest.map(|i| i.time).into(),
            course.last().map(|i| i.celsius[k]).into(),
        ]
    };
    Table { heads, rows: followed.inputs.iter().enumerate().map(row).collect() }
}

/// Ripple of the hottest cycle.
pub(super) fn ripple(followed: &Followed) -> Table {
    let heads = vec![
        Head::text("die"),
        Head::number("switching_ripple", "switching ripple", "K"),
        Head::number("line_ripple", "line ripple", "K"),
    ];
    let lines = followed.period.1 > 1;
    let rows = followed
        .hottest
        .iter()
        .flat_map(|hot| followed.inputs.iter().zip(&hot.ripple))
        .map(|(name, r)| vec![name.as_str().into(), r.switching.into(), lines.then_some(r.line).into()]);
    Table { heads, rows: rows.collect() }
}

/// Harmonics of the hottest cycle: a line per frequency and heat input.
pub(super) fn harmonics(followed: &Followed) -> Table {
    let heads = vec![
        Head::text("die"),
        Head::number("harmonic", "harmonic", "1"),
        Head::number("frequency", "f", "Hz"),
        Head::number("power", "power", "W"),
        Head::number("temperature", "temperature", "K"),
    ];
    let mut rows = Vec::new();
    for (k, name) in followed.inputs.iter().enumerate() {
        for h in followed.hottest.iter().flat_map(|hot| &hot.harmonics) {
            let row: Vec<Cell> = vec![
                name.as_str().into(),
                f64::from(h.number).into(),
                h.frequency.into(),
                h.power[k].into(),
                h.temperature[k].into(),
            ];
            rows.push(row);
        }
    }
    Table { heads, rows }
}

/// Counted temperature cycles, gathered.
pub(super) fn cycles(followed: &Followed, lives: &[Life]) -> Table {
    let heads = vec![
        Head::text("die"),
        Head::text("of"),
        Head::number("range", "range", "K"),
        Head::number("mean", "mean", "degC"),
        Head::number("count", "count", "1"),
    ];
    let mut rows = Vec::new();
    for (name, life) in followed.inputs.iter().zip(lives) {
        for (of, counted) in [("mission", &life.cycles.mission), ("ripple", &life.cycles.ripple)] {
            for c in gathered(counted) {
                let row: Vec<Cell> =
                    vec![name.as_str().into(), of.into(), c.range.into(), c.mean.into(), c.count.into()];
                rows.push(row);
            }
        }
    }
    Table { heads, rows }
}

/// The course.
pub(super) fn course(followed: &Followed) -> Table {
    let mut heads = vec![Head::number("time", "t", "s")];
    for name in &followed.inputs {
        for (what, unit) in [("mean", "degC"), ("least", "degC"), ("largest", "degC"), ("power", "W")] {
            heads.push(Head::number(&format!("{name}_{what}"), what, unit));
        }
    }
    heads.push(Head::number("estimated_error", "error", "K"));
    let row = |i: &Instant| {
        let mut row: Vec<Cell> = vec![i.time.into()];
        for k in 0..followed.inputs.len() {
            let t = i.celsius[k];
            row.extend([t, t + i.within[k].least, t + i.within[k].largest, i.power[k]].map(Cell::from));
        }
        row.push(i.estimate.into());
        row
    };
    Table { heads, rows: followed.course.iter().map(row).collect() }
}

/// How it was followed.
pub(super) fn work(f: &Followed) -> Table {
    let w = &f.work;
    let span = f.course.last().map_or(0.0, |i| i.time);
    let all: [(&str, &str, &str, f64); 13] = [
        ("duration", "duration", "s", span),
        ("period", "period", "s", f.period.0),
        ("switching_periods", "switching periods in it", "1", f64::from(f.period.1)),
        ("cycles", "cycles", "1", w.cycles),
        ("solved", "solved", "1", w.solved as f64),
        ("resolved", "stepped through", "1", w.resolved as f64),
        ("reused", "taken again", "1", w.reused as f64),
        ("leaps", "leaps", "1", f64::from(w.leaps)),
        ("taken_back", "taken back", "1", f64::from(w.taken_back)),
        ("jumps", "settlings jumped over", "1", f64::from(w.jumps)),
        ("estimated_error", "error of leaps", "K", w.estimate),
        ("estimated_error_at_end", "at the end", "K", w.estimate_at_end),
        ("coupling_error", "coupling", "K", w.coupling),
    ];
    let heads = all.iter().map(|a| Head::number(a.0, a.1, a.2)).collect();
    Table { heads, rows: vec![all.iter().map(|a| a.3.into()).collect()] }
}
