//! Tables of impedances.

use std::sync::Arc;

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::repetitive_peak;
use joulestep_models::impedance::{Impedance, Path, times};
use joulestep_models::package::Package;

use super::{error, of_ratio, pairs, paths};
use crate::output::answer::StudyTable;
use crate::output::table::{Cell, Head, Table};

/// A package with its impedances.
pub(super) struct Computed {
    /// As it was asked for.
    pub name: String,
    pub package: Package,
    pub impedance: Arc<Impedance>,
}

/// A path of a die: its name in words and in tables.
struct Way<'a> {
    words: String,
    name: String,
    die: usize,
    path: &'a Path,
}

fn ways(all: &[Computed]) -> Vec<Way<'_>> {
    let mut out = Vec::new();
    for (k, of) in all.iter().enumerate() {
        for (die, named) in of.impedance.dies.iter().enumerate() {
            for (to, path) in paths(&of.impedance) {
                let before = if k == 0 { "" } else { "against." };
                let package = if all.len() > 1 { format!("{}, ", of.name) } else { String::new() };
                let (words, name) = (format!("{package}{named} to {to}"), format!("{before}{named}.to_{to}"));
                out.push(Way { words, name, die, path });
            }
        }
    }
    out
}

/// A path with the word for where it leads.
type To<'a> = (&'static str, &'a Path);

/// Paths that two packages have both, with the word for where they lead.
pub(super) fn both<'a>(a: &'a Impedance, b: &'a Impedance) -> Vec<(To<'a>, To<'a>)> {
    let other = |to: &str| paths(b).find(|p| p.0 == to);
    paths(a).filter_map(|p| Some((p, other(p.0)?))).collect()
}

/// All tables; the impedances against time are the main one.
pub(super) fn tables(all: &[Computed], duties: &[f64], per_decade: usize) -> Vec<StudyTable> {
    let times = times(&Span::default(), per_decade);
    let ways = ways(all);
    let mut out = vec![StudyTable::new("impedance", "Z_th against time", 1, impedances(&ways, &times))];
    if let [a, b] = all {
        let title = format!("Z_th of {} over that of {}", a.name, b.name);
        out.push(StudyTable::new("ratio", &title, 1, ratios(&a.impedance, &b.impedance, &times)));
    }
    for way in &ways {
        let title = format!("Peak per watt of repeated pulses by duty ratio, {}", way.words);
        out.push(StudyTable::new(&format!("pulses.{}", way.name), &title, 1, pulses(way, duties, &times)));
    }
    for (k, of) in all.iter().enumerate().filter(|(_, of)| of.impedance.dies.len() > 1) {
        let name = if k == 0 { "mutual" } else { "against.mutual" };
        let title = format!("Z_th between dies of {}", of.name);
        out.push(StudyTable::new(name, &title, 1, mutual(&of.impedance, &times)));
    }
    let fits: Vec<Fitted<'_>> =
        ways.iter().map(|w| (w.words.clone(), &w.path.fits[w.die].terms[..], w.path.cells(w.die))).collect();
    out.push(StudyTable::new("coefficients", "Foster terms and Cauer cells", 2, coefficients(&fits)));
    let title = "Structure functions: heat capacitance reached at each tenth of the resistance";
    out.push(StudyTable::new("structure", title, 1, structure(&ways)));
    out.push(StudyTable::new("accuracy", "What the errors rest on", 1, accuracy(&ways)));
    out.push(StudyTable::new("meshes", "Thermal resistances by mesh", 2, meshes(&ways)));
    let title = "All modes: Foster terms and the structure function they make";
    out.push(StudyTable::new("modes", title, 2, modes(&ways)));
    out
}

fn with_error(head: Head) -> [Head; 2] {
    let error = Head::number(&format!("{}_error", head.name), "\u{b1}", &head.unit);
    [head, error]
}

fn impedances(ways: &[Way<'_>], times: &[f64]) -> Table {
    let mut heads = vec![Head::number("time", "time", "s")];
    heads.extend(ways.iter().flat_map(|w| with_error(Head::number(&w.name, &w.words, "K/W"))));
    let row = |&t: &f64| {
        let cells = ways.iter().flat_map(|w| {
            let z = w.path.network().step_response(t, w.die, w.die);
            [z.into(), Cell::Error(error(w.path, t, w.die, w.die))]
        });
        std::iter::once(Cell::from(t)).chain(cells).collect()
    };
    Table { heads, rows: times.iter().map(row).collect() }
}

fn ratios(a: &Impedance, b: &Impedance, times: &[f64]) -> Table {
    let columns: Vec<_> = pairs(a, b)
        .into_iter()
        .flat_map(|pair| both(a, b).into_iter().map(move |((to, x), (_, y))| (pair, to, x, y)))
        .collect();
    let mut heads = vec![Head::number("time", "time", "s")];
    heads.extend(columns.iter().flat_map(|((d, other), to, ..)| {
        let words = format!("{} over {} to {to}", a.dies[*d], b.dies[*other]);
        with_error(Head::number(&format!("{}.to_{to}", a.dies[*d]), &words, "1"))
    }));
    let row = |&t: &f64| {
        let cells = columns.iter().flat_map(|&((d, other), _, x, y)| {
            let ratio = x.network().step_response(t, d, d) / y.network().step_response(t, other, other);
            let shares = [x.share(t, d), y.share(t, other)];
            [ratio.into(), Cell::Error(of_ratio(ratio, shares, x.converges() && y.converges()))]
        });
        std::iter::once(Cell::from(t)).chain(cells).collect()
    };
    Table { heads, rows: times.iter().map(row).collect() }
}

fn pulses(way: &Way<'_>, duties: &[f64], times: &[f64]) -> Table {
    let exact = way.path.terms(way.die);
    let mut heads = vec![Head::number("pulse", "pulse", "s")];
    heads.extend(duties.iter().map(|d| Head::number(&format!("duty_{d}"), &format!("D = {d}"), "K/W")));
    heads.push(Head::number("relative_error", "\u{b1} of the peak", "1"));
    let row = |&t: &f64| {
        let peaks = duties.iter().map(|d| repetitive_peak(&exact, t, *d).into());
        let last = Cell::from(way.path.share_of_pulses(t, way.die));
        std::iter::once(Cell::from(t)).chain(peaks).chain([last]).collect()
    };
    Table { heads, rows: times.iter().map(row).collect() }
}

fn mutual(of: &Impedance, times: &[f64]) -> Table {
    let count = of.dies.len();
    let pairs = (0..count).flat_map(|i| (0..i).map(move |j| (j, i)));
    let columns: Vec<_> =
        pairs.flat_map(|(i, j)| paths(of).map(move |(to, path)| (i, j, to, path))).collect();
    let mut heads = vec![Head::number("time", "time", "s")];
    heads.extend(columns.iter().flat_map(|&(i, j, to, _)| {
        let (a, b) = (&of.dies[i], &of.dies[j]);
        with_error(Head::number(&format!("{a}.from_{b}.to_{to}"), &format!("{a} - {b} to {to}"), "K/W"))
    }));
    let row = |&t: &f64| {
        let cells = columns.iter().flat_map(|&(i, j, _, path)| {
            [path.network().step_response(t, i, j).into(), Cell::Error(error(path, t, i, j))]
        });
        std::iter::once(Cell::from(t)).chain(cells).collect()
    };
    Table { heads, rows: times.iter().map(row).collect() }
}

/// A path, its Foster terms and Cauer cells.
pub(super) type Fitted<'a> = (String, &'a [FosterTerm], Vec<CauerCell>);

/// Foster terms and Cauer cells side by side.
pub(super) fn coefficients(all: &[Fitted<'_>]) -> Table {
    let heads = vec![
        Head::text("path"),
        Head::number("term", "no.", "1"),
        Head::number("foster_resistance", "Foster R", "K/W"),
        Head::number("foster_time_constant", "τ", "s"),
        Head::number("cauer_capacitance", "Cauer C", "J/K"),
        Head::number("cauer_resistance", "Cauer R", "K/W"),
    ];
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for (path, terms, cells) in all {
        for k in 0..terms.len().max(cells.len()) {
            rows.push(vec![
                path.as_str().into(),
                ((k + 1) as f64).into(),
                terms.get(k).map(|t| t.resistance).into(),
                terms.get(k).map(|t| t.time_constant).into(),
                cells.get(k).map(|c| c.capacitance).into(),
                cells.get(k).map(|c| c.resistance).into(),
            ]);
        }
    }
    Table { heads, rows }
}

fn structure(ways: &[Way<'_>]) -> Table {
    let mut heads = vec![Head::number("share", "share of R_th", "1")];
    heads.extend(ways.iter().map(|w| Head::number(&w.name, &w.words, "J/K")));
    let functions: Vec<Vec<(f64, f64)>> = ways.iter().map(|w| w.path.structure(w.die)).collect();
    let row = |tenth: i32| {
        let share = f64::from(tenth) / 10.0;
        let reached = |steps: &Vec<(f64, f64)>| {
            let whole = steps.last()?;
            Some(steps.iter().find(|s| s.0 >= share * whole.0).map_or(whole.1, |s| s.1))
        };
        std::iter::once(Cell::from(share)).chain(functions.iter().map(|f| reached(f).into())).collect()
    };
    Table { heads, rows: (1..=9).map(row).collect() }
}

fn accuracy(ways: &[Way<'_>]) -> Table {
    let heads = vec![
        Head::text("path"),
        Head::number("largest_error", "± at any time", "1"),
        Head::number("observed_order", "order of the meshes", "1"),
        Head::number("modes", "modes", "1"),
        Head::number("reduction_error", "± of the reduction", "1"),
        Head::number("terms", "Foster terms", "1"),
        Head::number("fit_error", "± of the terms", "1"),
    ];
    let row = |w: &Way<'_>| {
        let fit = &w.path.fits[w.die];
        vec![
            w.words.as_str().into(),
            w.path.errors[w.die].into(),
            w.path.study.order.into(),
            (w.path.network().time_constants().len() as f64).into(),
            w.path.study.finest.error.into(),
            (fit.terms.len() as f64).into(),
            fit.largest.into(),
        ]
    };
    Table { heads, rows: ways.iter().map(row).collect() }
}

fn meshes(ways: &[Way<'_>]) -> Table {
    let heads = vec![
        Head::text("path"),
        Head::number("cells", "cells", "1"),
        Head::number("steady_resistance", "R_th", "K/W"),
    ];
    let of = |w: &Way<'_>| -> Vec<Vec<Cell>> {
        let level = |l: &joulestep_engine::thermal::field::study::Level| {
            let resistance = l.resistances.get(w.die).copied();
            vec![w.words.as_str().into(), (l.cells as f64).into(), resistance.into()]
        };
        w.path.study.levels.iter().map(level).collect()
    };
    Table { heads, rows: ways.iter().flat_map(of).collect() }
}

fn modes(ways: &[Way<'_>]) -> Table {
    let heads = vec![
        Head::text("path"),
        Head::number("mode", "no.", "1"),
        Head::number("resistance", "Foster R", "K/W"),
        Head::number("time_constant", "τ", "s"),
        Head::number("cumulative_resistance", "ΣR", "K/W"),
        Head::number("cumulative_capacitance", "ΣC", "J/K"),
    ];
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for w in ways {
        let (terms, function) = (w.path.terms(w.die), w.path.structure(w.die));
        for k in 0..terms.len().max(function.len()) {
            let (term, step) = (terms.get(k), function.get(k));
            rows.push(vec![
                w.words.as_str().into(),
                ((k + 1) as f64).into(),
                term.map(|t| t.resistance).into(),
                term.map(|t| t.time_constant).into(),
                step.map(|s| s.0).into(),
                step.map(|s| s.1).into(),
            ]);
        }
    }
    Table { heads, rows }
}
