//! Ratings as text, JSON and CSV.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use joulestep_engine::units::people;
use joulestep_models::rating::surge::Point;
use serde::Serialize;

use super::words::{
    each_die, ends, error, heat_path, is_bare, kind, three, value, verdict_line, warnings, with,
};
use super::{Asked, LONGEST, Pair, Parallel, Rating, Share, verdict};
use crate::diagnostic::{filled, printable};
use crate::judge::{Uncertainty, Verdict};
use crate::sheet::{Cell, Head, Sheet, aligned};

pub(super) const DEFINITIONS: [(&str, &str); 6] = [
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
    (
        "Saturation",
        "the part does not carry more at its temperatures, however short the pulse; its drop, and the heat with it, are \
         then no definite numbers and are left out",
    ),
    (
        "±",
        "how far a number may be from what the part's law and the heat path say: steps of the pulse and the tabulated \
         law by coarser computations of the same, mesh and reduction of a package by what they do to it; a star: they do \
         not converge",
    ),
];

fn definition() -> String {
    DEFINITIONS.map(|(term, words)| format!("{term}: {words}.")).join(" ")
}

pub(super) fn sheet(all: &[Rating]) -> Sheet {
    let heads = vec![
        Head::text("part"),
        Head::number("width", "width", "s"),
        Head::number("current", "I_max", "A"),
        Head::number("current_error", "±", "A"),
        Head::number("square_integral", "I²t", "A²s"),
        Head::number("square_integral_error", "±", "A²s"),
        Head::number("drop", "drop", "V"),
        Head::number("drop_error", "±", "V"),
        Head::number("energy", "heat", "J"),
        Head::number("energy_error", "±", "J"),
        Head::text("error_kind"),
        Head::text("ends_by"),
        Head::number("current_ratio", "I/I_first", "1"),
        Head::number("square_integral_ratio", "I²t/I²t_first", "1"),
    ];
    let row = |r: &Rating, p: &Point, e: &[Uncertainty; 4], first: &Point| -> Vec<Cell> {
        vec![
            r.part.name.as_str().into(),
            p.width.into(),
            p.current.into(),
            e[0].plus_minus().into(),
            p.i2t.into(),
            e[1].plus_minus().into(),
            p.peaks.drop.into(),
            e[2].plus_minus().into(),
            p.peaks.energy.into(),
            e[3].plus_minus().into(),
            kind(e).into(),
            ends(&r.dies, p.ends).as_str().into(),
            (p.current / first.current).into(),
            (p.i2t / first.i2t).into(),
        ]
    };
    let row = &row;
    let of = |r: &'_ Rating| -> Vec<Vec<Cell>> {
        let points = r.curve.iter().zip(&r.curve_errors).zip(&all[0].curve);
        points.map(|((p, e), f)| row(r, p, e, f)).collect()
    };
    let rows = all.iter().flat_map(of);
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
    verdict: Verdict,
    error_estimate: bool,
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
        error_estimate: !is_bare(ratings),
    }
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
    judged(&mut out, all);
    for warning in warnings(all, parallel) {
        out.push('\n');
        filled(&printable(&warning), 100, &mut out);
    }
    let _ = writeln!(out, "\n{}\n", verdict_line(all, parallel));
    filled(&definition(), 100, &mut out);
    out
}

fn curve(out: &mut String, all: &[Rating]) {
    out.push_str("\nLargest current against pulse width\n");
    let mut head = vec!["width".to_string()];
    for r in all {
        let name = printable(&r.part.name);
        head.extend([name, "±".into(), "I²t".into(), "±".into(), "ends by".into()]);
    }
    if all.len() > 1 {
        head.extend(all[1..].iter().map(|r| format!("I²t over {}", printable(&r.part.name))));
    }
    let mut lines = vec![head];
    for (k, p) in all[0].curve.iter().enumerate() {
        let mut line = vec![three(p.width, "s")];
        for r in all {
            let (p, e) = (&r.curve[k], &r.curve_errors[k]);
            line.extend([three(p.current, "A"), error(&e[0], "A")]);
            line.extend([three(p.i2t, "A²s"), error(&e[1], "A²s"), ends(&r.dies, p.ends)]);
        }
        line.extend(all[1..].iter().map(|r| three(p.i2t / r.curve[k].i2t, "1")));
        lines.push(line);
    }
    let right: Vec<bool> = (0..lines[0].len()).map(|k| k == 0 || k > 5 * all.len() || k % 5 != 0).collect();
    out.push_str(&aligned(&lines, &right));
}

fn continuous(out: &mut String, all: &[Rating]) {
    out.push_str("\nContinuous\n");
    let heads = ["part", "current", "±", "drop", "±", "heat", "loop gain", "no steady state beyond"];
    let mut lines = vec![heads.map(String::from).to_vec()];
    let mut junctions = Vec::new();
    for r in all {
        let beyond = r.runaway.map_or("-".into(), |i| {
            let known = r.runaway_known == Some(true);
            let told = with(i, "A", &r.runaway_error);
            format!("{told}{}", if known { "" } else { " (law not known so hot)" })
        });
        let line = match &r.continuous {
            Some(s) => {
                junctions.push(format!("{}: {}", printable(&r.part.name), each_die(r, s)));
                vec![
                    printable(&r.part.name),
                    three(s.current, "A"),
                    error(&s.current_error, "A"),
                    three(s.drop, "V"),
                    error(&s.drop_error, "V"),
                    three(s.heat.iter().sum(), "W"),
                    with(s.loop_gain, "1", &s.loop_gain_error),
                    beyond,
                ]
            }
            None => vec![printable(&r.part.name), "none".into()],
        };
        lines.push(line);
    }
    out.push_str(&aligned(&lines, &[false, true, true, true, true, true, true, true]));
    for line in junctions {
        filled(&line, 100, out);
    }
}

fn judged(out: &mut String, all: &[Rating]) {
    let rows = all.iter().flat_map(|r| r.judged.iter().map(move |j| (r, j)));
    let rows: Vec<Vec<String>> = rows
        .map(|(r, j)| {
            let [name, ruling] = [printable(&r.part.name), j.ruling.word().into()];
            vec![name, j.what.clone(), value(j), people(j.limit, j.unit), ruling]
        })
        .collect();
    if !rows.is_empty() {
        out.push_str("\nRequired\n");
        let heads = vec![["part", "what", "found", "at least", ""].map(String::from).to_vec()];
        out.push_str(&aligned(&[heads, rows].concat(), &[false, false, true, true, false]));
    }
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
                x => with(x, "s", &f.longest_error),
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
    let heads = ["", "odd one", "±", "hottest", "±", "each other", "±", "hottest", "±", "share", ""];
    let mut lines = vec![heads.map(String::from).to_vec()];
    let mut line = |when: String, odd: &Share, other: &Share| {
        let even = p.asked.total / p.asked.number as f64;
        lines.push(vec![
            when,
            three(odd.current, "A"),
            error(&odd.current_error, "A"),
            format!("{:.1} °C", odd.hottest()),
            error(odd.hottest_error(), "degC"),
            three(other.current, "A"),
            error(&other.current_error, "A"),
            format!("{:.1} °C", other.hottest()),
            error(other.hottest_error(), "degC"),
            format!("{:+.1} %", 100.0 * (odd.current / even - 1.0)),
            if odd.hottest().max(other.hottest()) > p.hottest { "TOO HOT".into() } else { String::new() },
        ]);
    };
    // Every fourth instant, and the last: what ends a course stands there.
    let last = p.course.len().saturating_sub(1);
    let told = p.course.iter().enumerate().filter(|(k, _)| k % 4 == 0 || *k == last);
    for (_, Pair { time, odd, others }) in told {
        line(format!("after {}", three(time.unwrap_or(f64::NAN), "s")), odd, others);
    }
    match &p.steady {
        Some(Pair { odd, others, .. }) => line("for ever".into(), odd, others),
        None => lines.push(vec!["for ever".into(), "no steady state".into()]),
    }
    let mut right = [true; 11];
    (right[0], right[10]) = (false, false);
    out.push_str(&aligned(&lines, &right));
    let share = "share: what the odd one carries above or below an equal share";
    filled(share, 100, out);
    if p.asked.shared > 0.0 && !p.course.is_empty() {
        let note = format!(
            "The heatsink that they share ({}) counts for the steady state only.",
            people(p.asked.shared, "K/W")
        );
        filled(&note, 100, out);
    }
}
