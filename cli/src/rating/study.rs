//! Ratings as a result file keeps them.

use joulestep_engine::units::people;
use joulestep_models::rating::pulse::Shape;

use super::picture::picture;
use super::tell::{DEFINITIONS, heat_path, sheet, three, warnings};
use super::{Asked, LONGEST, Pair, Parallel, Rating, verdict};
use crate::result::{Study, StudyFigure, StudyTable};
use crate::sheet::{Cell, Head, Sheet};

/// Ratings with everything behind them.
pub fn study(
    all: &[Rating],
    asked: &Asked,
    parallel: Option<&Parallel>,
    command: &str,
    inputs: String,
) -> Study {
    let names: Vec<&str> = all.iter().map(|r| r.part.name.as_str()).collect();
    let title = format!(
        "How much current does {} carry, for how long, with the heatsink at {}?",
        names.join(" or "),
        people(asked.heatsink, "degC")
    );
    let mut tables = vec![
        StudyTable::new("continuous", "Continuous current", 1, continuous(all)),
        StudyTable::new("surge", "Largest current of a single pulse against its width", 2, sheet(all)),
    ];
    if all.iter().any(|r| !r.faults.is_empty()) {
        let title = "Fault ride-through: the longest square pulse of a current";
        tables.insert(1, StudyTable::new("fault", title, 2, faults(all)));
    }
    if let Some(p) = parallel {
        let title = "Devices in parallel, one of which differs, after a cold start";
        tables.push(StudyTable::new("parallel", title, 1, shared(p)));
    }
    let caption = "Largest current of a single pulse, and its let-through I²t, against the pulse width; dotted: the continuous \
                   current.";
    Study {
        kind: "rating".into(),
        title,
        command: command.into(),
        inputs,
        verdict: verdict(all, parallel),
        answers: answers(all, asked, parallel),
        conditions: conditions(all, asked),
        definitions: DEFINITIONS.iter().map(|d| (d.0.into(), d.1.into())).collect(),
        tables,
        figures: vec![StudyFigure::new(caption, picture(all, asked))],
    }
}

fn answers(all: &[Rating], asked: &Asked, parallel: Option<&Parallel>) -> Vec<String> {
    let mut out = Vec::new();
    out.extend(warnings(all, parallel));
    for r in all {
        let steady = match &r.continuous {
            Some(s) => {
                format!("{} continuously (loop gain {})", three(s.current, "A"), three(s.loop_gain, "1"))
            }
            None => "nothing continuously: the heatsink alone is too hot".into(),
        };
        let near = |width: f64| {
            let distance = |w: f64| (w / width).ln().abs();
            let nearest = r.curve.iter().min_by(|a, b| distance(a.width).total_cmp(&distance(b.width)));
            nearest.filter(|p| distance(p.width) < 0.7)
        };
        let pulses: Vec<String> = [1e-4, 1e-2, 1.0]
            .into_iter()
            .filter_map(near)
            .map(|p| format!("{} for {}", three(p.current, "A"), three(p.width, "s")))
            .collect();
        let pulses = if pulses.is_empty() { String::new() } else { format!("; {}", pulses.join(", ")) };
        out.push(format!("{} carries {steady}{pulses}.", r.part.name));
        for f in &r.faults {
            let longest = match f.longest {
                0.0 => "not at all".into(),
                x if x.is_infinite() => format!("for over {}", people(LONGEST, "s")),
                x => format!("for {}; what ends it: {}", three(x, "s"), f.ends_by),
            };
            out.push(format!("{} bears {} {longest}.", r.part.name, people(f.current, "A")));
        }
    }
    if let Some(Parallel { asked: p, steady: Some(Pair { odd, others: other, .. }), .. }) = parallel {
        out.push(format!(
            "Of {} devices that carry {}, the odd one carries {} in the steady state, each other {}.",
            p.number,
            people(p.total, "A"),
            three(odd.current, "A"),
            three(other.current, "A")
        ));
    }
    if asked.shape != Shape::Square {
        out.push(format!("Pulses are {}.", asked.shape.words()));
    }
    out
}

fn conditions(all: &[Rating], asked: &Asked) -> Vec<String> {
    let mut out = vec![format!("Pulse: {}.", asked.shape.words())];
    if asked.before > 0.0 {
        out.push(format!("Before the pulse {} flow in steady state.", people(asked.before, "A")));
    }
    out.extend(all.iter().map(|r| {
        let gate = r.gate.map_or(String::new(), |g| format!(", gate at {}", people(g, "V")));
        format!("{}: junctions up to {}{gate}; {}.", r.part.name, people(r.hottest, "degC"), heat_path(r))
    }));
    out.push("The drop follows the part's own model at the junction temperatures of each moment.".into());
    out.push(
        "A rating holds for one pulse from the steady state before it, not for how often it may come.".into(),
    );
    out
}

fn continuous(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("current", "I", "A"),
        Head::number("drop", "drop", "V"),
        Head::number("heat", "heat", "W"),
        Head::text("junctions"),
        Head::number("loop_gain", "loop gain", "1"),
        Head::number("runaway_current", "no steady state beyond", "A"),
    ];
    let row = |r: &Rating| -> Vec<Cell> {
        let s = r.continuous.as_ref();
        let junctions = s.map_or(String::new(), |s| {
            let each = s.junctions.iter().zip(&r.dies).map(|(t, d)| format!("{d} {t:.0} °C"));
            each.collect::<Vec<_>>().join(", ")
        });
        vec![
            r.part.name.as_str().into(),
            s.map(|s| s.current).into(),
            s.map(|s| s.drop).into(),
            s.map(|s| s.heat.iter().sum::<f64>()).into(),
            junctions.as_str().into(),
            s.map(|s| s.loop_gain).into(),
            r.runaway.into(),
        ]
    };
    Sheet { heads, rows: all.iter().map(row).collect() }
}

fn faults(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("current", "I", "A"),
        Head::number("longest", "longest", "s"),
        Head::text("ends_by"),
    ];
    let row = |r: &Rating, f: &super::RideThrough| -> Vec<Cell> {
        // What may flow for ever has no longest pulse.
        let by = if f.longest.is_infinite() { "nothing" } else { f.ends_by.as_str() };
        vec![r.part.name.as_str().into(), f.current.into(), f.longest.into(), by.into()]
    };
    Sheet { heads, rows: all.iter().flat_map(|r| r.faults.iter().map(move |f| row(r, f))).collect() }
}

fn shared(p: &Parallel) -> Sheet {
    let heads = vec![
        Head::number("time", "after", "s"),
        Head::number("odd_current", "odd one", "A"),
        Head::number("odd_hottest", "its hottest", "degC"),
        Head::number("other_current", "each other", "A"),
        Head::number("other_hottest", "their hottest", "degC"),
    ];
    let row = |Pair { time, odd, others }: &Pair| -> Vec<Cell> {
        let [a, b] = [odd, others].map(|share| [share.current.into(), share.hottest().into()]);
        [(*time).into()].into_iter().chain(a).chain(b).collect()
    };
    Sheet { heads, rows: p.course.iter().map(row).collect() }
}
