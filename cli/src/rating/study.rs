//! Ratings as a result file keeps them.

use joulestep_engine::units::people;
use joulestep_models::rating::pulse::Shape;

use super::picture::picture;
use super::tell::{DEFINITIONS, sheet};
use super::words::{each_die, heat_path, three, value, verdict_line, warnings, with};
use super::{Asked, Judged, LONGEST, Pair, Parallel, Rating, verdict};
use crate::diagnostic::Sources;
use crate::result::{Study, StudyFigure, StudyTable};
use crate::sheet::{Cell, Head, Sheet};

/// Ratings with everything behind them.
pub fn study(
    all: &[Rating],
    asked: &Asked,
    parallel: Option<&Parallel>,
    command: &str,
    inputs: Sources,
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
    if all.iter().any(|r| !r.judged.is_empty()) {
        tables.insert(0, StudyTable::new("required", "What is required", 1, required(all)));
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
        verdict: Some(verdict(all, parallel)),
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
    out.push(format!("{}.", verdict_line(all, parallel)));
    for r in all {
        let steady = match &r.continuous {
            Some(s) => {
                let current = with(s.current, "A", &s.current_error);
                format!("{current} continuously (loop gain {})", three(s.loop_gain, "1"))
            }
            None => "nothing continuously: the heatsink alone is too hot".into(),
        };
        let near = |width: f64| {
            let distance = |w: f64| (w / width).ln().abs();
            let points = r.curve.iter().zip(&r.curve_errors);
            let nearest = points.min_by(|a, b| distance(a.0.width).total_cmp(&distance(b.0.width)));
            nearest.filter(|p| distance(p.0.width) < 0.7)
        };
        let pulses: Vec<String> = [1e-4, 1e-2, 1.0]
            .into_iter()
            .filter_map(near)
            .map(|(p, e)| format!("{} for {}", with(p.current, "A", &e[0]), three(p.width, "s")))
            .collect();
        let pulses = if pulses.is_empty() { String::new() } else { format!("; {}", pulses.join(", ")) };
        out.push(format!("{} carries {steady}{pulses}.", r.part.name));
        for f in &r.faults {
            let longest = match f.longest {
                0.0 => "not at all".into(),
                x if x.is_infinite() => format!("for over {}", people(LONGEST, "s")),
                x => format!("for {}; what ends it: {}", with(x, "s", &f.longest_error), f.ends_by),
            };
            out.push(format!("{} bears {} {longest}.", r.part.name, people(f.current, "A")));
        }
    }
    if let Some(Parallel { asked: p, steady: Some(Pair { odd, others: other, .. }), .. }) = parallel {
        out.push(format!(
            "Of {} devices that carry {}, the odd one carries {} in the steady state, each other {}.",
            p.number,
            people(p.total, "A"),
            with(odd.current, "A", &odd.current_error),
            with(other.current, "A", &other.current_error)
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
        Head::number("current_error", "±", "A"),
        Head::number("drop", "drop", "V"),
        Head::number("drop_error", "±", "V"),
        Head::number("heat", "heat", "W"),
        Head::text("dies"),
        Head::number("loop_gain", "loop gain", "1"),
        Head::number("loop_gain_error", "±", "1"),
        Head::number("runaway_current", "no steady state beyond", "A"),
        Head::number("runaway_current_error", "±", "A"),
    ];
    let row = |r: &Rating| -> Vec<Cell> {
        let s = r.continuous.as_ref();
        let dies = s.map_or(String::new(), |s| each_die(r, s));
        vec![
            r.part.name.as_str().into(),
            s.map(|s| s.current).into(),
            s.and_then(|s| s.current_error.plus_minus()).into(),
            s.map(|s| s.drop).into(),
            s.and_then(|s| s.drop_error.plus_minus()).into(),
            s.map(|s| s.heat.iter().sum::<f64>()).into(),
            dies.as_str().into(),
            s.map(|s| s.loop_gain).into(),
            s.and_then(|s| s.loop_gain_error.plus_minus()).into(),
            r.runaway.into(),
            r.runaway_error.plus_minus().into(),
        ]
    };
    Sheet { heads, rows: all.iter().map(row).collect() }
}

fn faults(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("current", "I", "A"),
        Head::number("longest", "longest", "s"),
        Head::number("longest_error", "±", "s"),
        Head::text("ends_by"),
    ];
    let row = |r: &Rating, f: &super::RideThrough| -> Vec<Cell> {
        // What may flow for ever has no longest pulse.
        let by = if f.longest.is_infinite() { "nothing" } else { f.ends_by.as_str() };
        let error = f.longest_error.plus_minus().into();
        vec![r.part.name.as_str().into(), f.current.into(), f.longest.into(), error, by.into()]
    };
    Sheet { heads, rows: all.iter().flat_map(|r| r.faults.iter().map(move |f| row(r, f))).collect() }
}

fn shared(p: &Parallel) -> Sheet {
    let mut heads = vec![Head::number("time", "after", "s")];
    for (key, name, hottest) in [("odd", "odd one", "its hottest"), ("other", "each other", "their hottest")]
    {
        heads.extend([
            Head::number(&format!("{key}_current"), name, "A"),
            Head::number(&format!("{key}_current_error"), "±", "A"),
            Head::number(&format!("{key}_hottest"), hottest, "degC"),
            Head::number(&format!("{key}_hottest_error"), "±", "K"),
        ]);
    }
    let row = |Pair { time, odd, others }: &Pair| -> Vec<Cell> {
        let [a, b] = [odd, others].map(|share| -> [Cell; 4] {
            let errors = [&share.current_error, share.hottest_error()].map(|e| e.plus_minus().into());
            let [of_current, of_hottest] = errors;
            [share.current.into(), of_current, share.hottest().into(), of_hottest]
        });
        [(*time).into()].into_iter().chain(a).chain(b).collect()
    };
    // The steady state has no time.
    Sheet { heads, rows: p.course.iter().chain(&p.steady).map(row).collect() }
}

fn required(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::text("what"),
        Head::text("found"),
        Head::text("required"),
        Head::text("verdict"),
    ];
    let row = |r: &Rating, j: &Judged| -> Vec<Cell> {
        let [found, least] = [value(j), people(j.limit, j.unit)];
        let words = [r.part.name.as_str(), j.what.as_str(), &found, &least, j.ruling.word()];
        words.into_iter().map(Cell::from).collect()
    };
    Sheet { heads, rows: all.iter().flat_map(|r| r.judged.iter().map(move |j| row(r, j))).collect() }
}
