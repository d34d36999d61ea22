//! Ratings as text, JSON and CSV.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::units::{people, people_digits};
use joulestep_models::rating::surge::{Ends, Point};
use serde::Serialize;

use super::{Asked, LONGEST, Pair, Parallel, Rating, Share, verdict};
use crate::diagnostic::{filled, printable};
use crate::judge::Verdict;
use crate::sheet::{Cell, Head, Sheet, aligned};

pub(super) const DEFINITIONS: [(&str, &str); 5] = [
    (
        "Largest current",
        "peak of a single pulse that brings the hottest junction to its highest temperature, from the steady state \
         before it, with the part's drop at the junction temperatures of each moment",
    ),
    ("I²t", "let-through of the whole pulse"),
    ("Continuous current", "steady state at the highest junction temperature"),
    (
        "Loop gain",
        "by how much a small rise of the junctions comes back through the heat that it causes; 1 is runaway",
    ),
    ("Saturation", "the part does not carry more at its temperatures, however short the pulse"),
];

fn definition() -> String {
    DEFINITIONS.map(|(term, words)| format!("{term}: {words}.")).join(" ")
}

pub(super) fn three(x: f64, unit: &str) -> String {
    people_digits(x, unit, 3)
}

pub(super) fn ends(dies: &[&str], ends: Ends) -> String {
    match ends {
        Ends::Junction(k) => dies.get(k).map_or("junction".into(), |d| format!("{d} junction")),
        Ends::Saturation => "saturation".into(),
        Ends::Nothing => "nothing".into(),
    }
}

pub(super) fn sheet(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("width", "width", "s"),
        Head::number("current", "I_max", "A"),
        Head::number("square_integral", "I²t", "A²s"),
        Head::number("drop", "drop", "V"),
        Head::number("energy", "heat", "J"),
        Head::text("ends_by"),
        Head::number("current_ratio", "I/I_first", "1"),
        Head::number("square_integral_ratio", "I²t/I²t_first", "1"),
    ];
    let row = |r: &Rating, p: &Point, first: &Point| -> Vec<Cell> {
        vec![
            r.part.name.as_str().into(),
            p.width.into(),
            p.current.into(),
            p.i2t.into(),
            p.peaks.drop.into(),
            p.peaks.energy.into(),
            ends(&r.dies, p.ends).as_str().into(),
            (p.current / first.current).into(),
            (p.i2t / first.i2t).into(),
        ]
    };
    let rows = all.iter().flat_map(|r| r.curve.iter().zip(&all[0].curve).map(move |(p, f)| row(r, p, f)));
    Sheet { heads, rows: rows.collect() }
}

/// The curves as CSV.
pub fn csv(all: &[Rating]) -> String {
    sheet(all).csv()
}

#[derive(Serialize)]
struct Told<'a> {
    definitions: String,
    shape: &'static str,
    heatsink: f64,
    before: f64,
    units: BTreeMap<String, String>,
    curve: Sheet,
    ratings: &'a [Rating],
    parallel: Option<&'a Parallel>,
    verdict: Option<Verdict>,
}

/// Everything as JSON: SI units, temperatures in °C, null for what is not finite.
pub fn json<'a>(
    ratings: &'a [Rating],
    asked: &'a Asked,
    parallel: Option<&'a Parallel>,
) -> impl Serialize + use<'a> {
    let curve = sheet(ratings);
    let &Asked { heatsink, before, shape, .. } = asked;
    let (definitions, shape, units) = (definition(), shape.key(), curve.units());
    Told {
        definitions,
        shape,
        heatsink,
        before,
        units,
        curve,
        ratings,
        parallel,
        verdict: verdict(ratings, parallel),
    }
}

/// Where the heat goes, with the resistance of the whole way.
pub(super) fn heat_path(r: &Rating) -> String {
    let each = r.dies.iter().zip(&r.resistance).zip(&r.fixed);
    let each = each.map(|((die, resistance), fixed)| {
        format!("{die} {} to {}", three(*resistance, "K/W"), people(*fixed, "degC"))
    });
    format!("{}; whole way from a die that is heated alone: {}", r.heat, each.collect::<Vec<_>>().join(", "))
}

/// What makes the ratings fail, or leaves them unproven.
pub(super) fn warnings(all: &[Rating], parallel: Option<&Parallel>) -> Vec<String> {
    let exceeded = parallel.and_then(|p| p.exceeded.as_ref());
    let fails = exceeded.map(|why| format!("FAILS: of the devices in parallel {why}."));
    let unproven = all.iter().filter(|r| !r.contradictions.is_empty()).map(|r| {
        format!(
            "NOT PROVEN: {} and its package stack mean different dies: {}.",
            r.part.name,
            r.contradictions.join("; ")
        )
    });
    fails.into_iter().chain(unproven).collect()
}

/// Everything for people.
pub fn text(all: &[Rating], asked: &Asked, parallel: Option<&Parallel>) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "Ratings, heatsink at {}, pulse: {}",
        people(asked.heatsink, "degC"),
        asked.shape.words()
    );
    for r in all {
        let gate = r.gate.map_or(String::new(), |g| format!(", gate at {}", people(g, "V")));
        filled(
            &printable(&format!(
                "{}: junctions up to {}{gate}; {}",
                r.part.name,
                people(r.hottest, "degC"),
                heat_path(r)
            )),
            100,
            &mut out,
        );
    }
    if asked.before > 0.0 {
        let _ = writeln!(out, "before the pulse: {} in steady state", people(asked.before, "A"));
    }
    curve(&mut out, all);
    continuous(&mut out, all);
    faults(&mut out, all);
    if let Some(parallel) = parallel {
        shared(&mut out, parallel);
    }
    for warning in warnings(all, parallel) {
        out.push('\n');
        filled(&printable(&warning), 100, &mut out);
    }
    out.push('\n');
    filled(&definition(), 100, &mut out);
    out
}

fn curve(out: &mut String, all: &[Rating]) {
    out.push_str("\nLargest current against pulse width\n");
    let mut head = vec!["width".to_string()];
    for r in all {
        head.extend([printable(&r.part.name), "I²t".into(), "ends by".into()]);
    }
    if all.len() > 1 {
        head.extend(all[1..].iter().map(|r| format!("I²t over {}", printable(&r.part.name))));
    }
    let mut lines = vec![head];
    for (k, p) in all[0].curve.iter().enumerate() {
        let mut line = vec![three(p.width, "s")];
        for r in all {
            let p = &r.curve[k];
            line.extend([three(p.current, "A"), three(p.i2t, "A²s"), ends(&r.dies, p.ends)]);
        }
        line.extend(all[1..].iter().map(|r| three(p.i2t / r.curve[k].i2t, "1")));
        lines.push(line);
    }
    let right: Vec<bool> = (0..lines[0].len()).map(|k| k == 0 || k > 3 * all.len() || k % 3 != 0).collect();
    out.push_str(&aligned(&lines, &right));
}

fn continuous(out: &mut String, all: &[Rating]) {
    out.push_str("\nContinuous\n");
    let heads = ["part", "current", "drop", "heat", "junctions", "loop gain", "no steady state beyond"];
    let mut lines = vec![heads.map(String::from).to_vec()];
    for r in all {
        let beyond = r.runaway.map_or("-".into(), |i| {
            let known = r.runaway_known == Some(true);
            format!("{}{}", three(i, "A"), if known { "" } else { " (model not trusted so hot)" })
        });
        let line = match &r.continuous {
            Some(s) => {
                let junctions = s.junctions.iter().zip(&r.dies);
                let junctions = junctions.map(|(t, d)| format!("{d} {:.0} °C", t)).collect::<Vec<_>>();
                vec![
                    printable(&r.part.name),
                    three(s.current, "A"),
                    three(s.drop, "V"),
                    three(s.heat.iter().sum(), "W"),
                    junctions.join(", "),
                    three(s.loop_gain, "1"),
                    beyond,
                ]
            }
            None => vec![printable(&r.part.name), "none".into()],
        };
        lines.push(line);
    }
    out.push_str(&aligned(&lines, &[false, true, true, true, false, true, true]));
}

fn faults(out: &mut String, all: &[Rating]) {
    if all.iter().all(|r| r.faults.is_empty()) {
        return;
    }
    out.push_str("\nFault ride-through: longest square pulse of a current\n");
    let mut head = vec!["current".to_string()];
    all.iter().for_each(|r| head.extend([printable(&r.part.name), "ends by".into()]));
    let mut lines = vec![head];
    for (k, f) in all[0].faults.iter().enumerate() {
        let mut line = vec![people(f.current, "A")];
        for r in all {
            let f = &r.faults[k];
            let longest = match f.longest {
                0.0 => "none".into(),
                x if x.is_infinite() => format!("over {}", people(LONGEST, "s")),
                x => three(x, "s"),
            };
            line.extend([longest, f.ends_by.clone()]);
        }
        lines.push(line);
    }
    let right: Vec<bool> = (0..lines[0].len()).map(|k| k == 0 || k % 2 == 1).collect();
    out.push_str(&aligned(&lines, &right));
}

fn shared(out: &mut String, p: &Parallel) {
    let _ = writeln!(
        out,
        "\n{} in parallel carry {}; one has {:.0} % less on-resistance and {} less threshold",
        p.asked.number,
        people(p.asked.total, "A"),
        100.0 * p.asked.resistance,
        people(p.asked.threshold, "V")
    );
    let heads = ["", "odd one", "hottest", "each other", "hottest", "more than its part", ""];
    let mut lines = vec![heads.map(String::from).to_vec()];
    let mut line = |when: String, odd: &Share, other: &Share| {
        let even = p.asked.total / p.asked.number as f64;
        lines.push(vec![
            when,
            three(odd.current, "A"),
            format!("{:.1} °C", odd.hottest()),
            three(other.current, "A"),
            format!("{:.1} °C", other.hottest()),
            format!("{:+.1} %", 100.0 * (odd.current / even - 1.0)),
            if odd.hottest().max(other.hottest()) > p.hottest { "TOO HOT".into() } else { String::new() },
        ]);
    };
    for Pair { time, odd, others } in p.course.iter().step_by(4) {
        line(format!("after {}", three(time.unwrap_or(f64::NAN), "s")), odd, others);
    }
    match &p.steady {
        Some(Pair { odd, others, .. }) => line("for ever".into(), odd, others),
        None => lines.push(vec!["for ever".into(), "no steady state".into()]),
    }
    out.push_str(&aligned(&lines, &[false, true, true, true, true, true, false]));
    if p.asked.shared > 0.0 && !p.course.is_empty() {
        let note = format!(
            "The heatsink that they share ({}) counts for the steady state only.",
            people(p.asked.shared, "K/W")
        );
        filled(&note, 100, out);
    }
}
