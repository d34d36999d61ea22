//! Tables of impedances.

use std::sync::Arc;

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::repetitive_peak;
use joulestep_models::impedance::{Impedance, Path, times};
use joulestep_models::package::Package;

use super::{error, of_ratio, pairs, paths};
use crate::output::answer::StudyTable;
use crate::output::table::{Rows, Table};

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
    let title = "Differential structure functions: dC/dR at each tenth of the resistance";
    out.push(StudyTable::new("differential", title, 1, differential(&ways)));
    out.push(StudyTable::new("accuracy", "What the errors rest on", 1, accuracy(&ways)));
    out.push(StudyTable::new("meshes", "Thermal resistances by mesh", 2, meshes(&ways)));
    let title = "All modes: Foster terms and the structure functions they make";
    out.push(StudyTable::new("modes", title, 2, modes(&ways)));
    out
}

fn impedances(ways: &[Way<'_>], times: &[f64]) -> Table {
    let rows = Rows::of(times.iter().copied()).number("time", "time", "s", |t| *t);
    let way = |rows: Rows<f64>, w: &Way<'_>| {
        rows.with_error((&w.name, &w.words, "K/W"), |&t| {
            (w.path.network().step_response(t, w.die, w.die), error(w.path, t, w.die, w.die))
        })
    };
    ways.iter().fold(rows, way).table()
}

fn ratios(a: &Impedance, b: &Impedance, times: &[f64]) -> Table {
    let columns =
        pairs(a, b).into_iter().flat_map(|pair| both(a, b).into_iter().map(move |(x, y)| (pair, x, y)));
    let rows = Rows::of(times.iter().copied()).number("time", "time", "s", |t| *t);
    let column = |rows: Rows<f64>, ((d, other), (to, x), (_, y)): ((usize, usize), To<'_>, To<'_>)| {
        let words = format!("{} over {} to {to}", a.dies[d], b.dies[other]);
        rows.with_error((&format!("{}.to_{to}", a.dies[d]), &words, "1"), |&t| {
            let ratio = x.network().step_response(t, d, d) / y.network().step_response(t, other, other);
            let shares = [x.share(t, d), y.share(t, other)];
            (ratio, of_ratio(ratio, shares, x.converges() && y.converges()))
        })
    };
    columns.fold(rows, column).table()
}

fn pulses(way: &Way<'_>, duties: &[f64], times: &[f64]) -> Table {
    let exact = way.path.terms(way.die);
    let rows = Rows::of(times.iter().copied()).number("pulse", "pulse", "s", |t| *t);
    let duty = |rows: Rows<f64>, d: &f64| {
        rows.number(&format!("duty_{d}"), &format!("D = {d}"), "K/W", |&t| repetitive_peak(&exact, t, *d))
    };
    let share = |t: &f64| way.path.share_of_pulses(*t, way.die);
    duties.iter().fold(rows, duty).number("relative_error", "\u{b1} of the peak", "1", share).table()
}

fn mutual(of: &Impedance, times: &[f64]) -> Table {
    let pairs = (0..of.dies.len()).flat_map(|i| (0..i).map(move |j| (j, i)));
    let columns = pairs.flat_map(|(i, j)| paths(of).map(move |to| (i, j, to)));
    let rows = Rows::of(times.iter().copied()).number("time", "time", "s", |t| *t);
    let column = |rows: Rows<f64>, (i, j, (to, path)): (usize, usize, To<'_>)| {
        let (a, b) = (&of.dies[i], &of.dies[j]);
        let (name, words) = (format!("{a}.from_{b}.to_{to}"), format!("{a} - {b} to {to}"));
        rows.with_error((&name, &words, "K/W"), |&t| {
            (path.network().step_response(t, i, j), error(path, t, i, j))
        })
    };
    columns.fold(rows, column).table()
}

/// A path, its Foster terms and Cauer cells.
pub(super) type Fitted<'a> = (String, &'a [FosterTerm], Vec<CauerCell>);

/// Foster terms and Cauer cells side by side.
pub(super) fn coefficients(all: &[Fitted<'_>]) -> Table {
    let numbers = all.iter().flat_map(|f| (0..f.1.len().max(f.2.len())).map(move |k| (f, k)));
    Rows::of(numbers)
        .text("path", |(f, _)| f.0.clone())
        .number("term", "no.", "1", |(_, k)| (k + 1) as f64)
        .number("foster_resistance", "Foster R", "K/W", |(f, k)| f.1.get(*k).map(|t| t.resistance))
        .number("foster_time_constant", "τ", "s", |(f, k)| f.1.get(*k).map(|t| t.time_constant))
        .number("cauer_capacitance", "Cauer C", "J/K", |(f, k)| f.2.get(*k).map(|c| c.capacitance))
        .number("cauer_resistance", "Cauer R", "K/W", |(f, k)| f.2.get(*k).map(|c| c.resistance))
        .table()
}

fn structure(ways: &[Way<'_>]) -> Table {
    let reached = |steps: &[(f64, f64)], share: f64| {
        let whole = steps.last()?;
        Some(steps.iter().find(|s| s.0 >= share * whole.0).map_or(whole.1, |s| s.1))
    };
    let tenths = (1..=9).map(|tenth| f64::from(tenth) / 10.0);
    let rows = Rows::of(tenths).number("share", "share of R_th", "1", |s| *s);
    let way = |rows: Rows<f64>, w: &Way<'_>| {
        let steps = w.path.structure(w.die);
        rows.number(&w.name, &w.words, "J/K", |share| reached(&steps, *share))
    };
    ways.iter().fold(rows, way).table()
}

fn differential(ways: &[Way<'_>]) -> Table {
    let tenths = (1..=9).map(|tenth| f64::from(tenth) / 10.0);
    let rows = Rows::of(tenths).number("share", "share of R_th", "1", |s| *s);
    let way = |rows: Rows<f64>, w: &Way<'_>| {
        let (points, whole) = (w.path.differential(w.die), w.path.network().steady_resistance(w.die, w.die));
        rows.number(&w.name, &w.words, "W^2 s/K^2", |share| {
            let apart = |p: &(f64, f64)| (p.0 - share * whole).abs();
            points.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).map(|p| p.1)
        })
    };
    ways.iter().fold(rows, way).table()
}

fn accuracy(ways: &[Way<'_>]) -> Table {
    Rows::of(ways.iter().map(|w| (w, &w.path.fits[w.die])))
        .text("path", |(w, _)| w.words.clone())
        .number("largest_error", "± at any time", "1", |(w, _)| w.path.errors[w.die])
        .number("observed_order", "order of the meshes", "1", |(w, _)| w.path.study.order)
        .number("modes", "modes", "1", |(w, _)| w.path.network().time_constants().len() as f64)
        .number("reduction_error", "± of the reduction", "1", |(w, _)| w.path.study.finest.error)
        .number("terms", "Foster terms", "1", |(_, fit)| fit.terms.len() as f64)
        .number("fit_error", "± of the terms", "1", |(_, fit)| fit.largest)
        .table()
}

fn meshes(ways: &[Way<'_>]) -> Table {
    Rows::of(ways.iter().flat_map(|w| w.path.study.levels.iter().map(move |level| (w, level))))
        .text("path", |(w, _)| w.words.clone())
        .number("cells", "cells", "1", |(_, level)| level.cells as f64)
        .number("steady_resistance", "R_th", "K/W", |(w, level)| level.resistances.get(w.die).copied())
        .table()
}

fn modes(ways: &[Way<'_>]) -> Table {
    let of = |w: &'_ Way<'_>| {
        let (terms, function, words) = (w.path.terms(w.die), w.path.structure(w.die), w.words.clone());
        let slope = w.path.differential(w.die);
        let count = terms.len().max(function.len());
        let each = (0..count).map(move |k| {
            (words.clone(), k, terms.get(k).copied(), function.get(k).copied(), slope.get(k).copied())
        });
        each.collect::<Vec<_>>()
    };
    Rows::of(ways.iter().flat_map(of))
        .text("path", |m| m.0.clone())
        .number("mode", "no.", "1", |m| (m.1 + 1) as f64)
        .number("resistance", "Foster R", "K/W", |m| m.2.map(|t| t.resistance))
        .number("time_constant", "τ", "s", |m| m.2.map(|t| t.time_constant))
        .number("cumulative_resistance", "ΣR", "K/W", |m| m.3.map(|s| s.0))
        .number("cumulative_capacitance", "ΣC", "J/K", |m| m.3.map(|s| s.1))
        .number("differential_at", "R of dC/dR", "K/W", |m| m.4.map(|s| s.0))
        .number("differential_capacitance", "dC/dR", "W^2 s/K^2", |m| m.4.map(|s| s.1))
        .table()
}
