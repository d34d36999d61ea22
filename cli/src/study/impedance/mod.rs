//! Transient thermal impedance of a package, or of measured points.

mod interfaces;
mod picture;
mod points;
mod tables;

use std::sync::atomic::Ordering;

use joulestep_engine::units::people;
use joulestep_models::impedance::{Impedance, ImpedanceError, Path, STEADY, solve as solved};
use joulestep_models::model::Range;
use joulestep_models::package::Package;

use self::tables::Computed;
use super::{Context, Count, Entry, Input, Question, StudyError, Trial, What};
use crate::cache;
use crate::input::keys::table::keys;
use crate::judge::Uncertainty;
use crate::output::answer::{Answer, Study, StudyFigure};
use crate::progress::Counted;

/// The study.
pub static STUDY: Entry = Entry {
    name: "impedance",
    section: &SECTION,
    help: "Solves the layers of a package in three dimensions on three meshes, reduces them to a compact network and \
           gives Z_th(t) of every die, junction to case and junction to the boundaries, coupling between dies, \
           repeated pulses by duty, Foster and Cauer coefficients and the structure functions; with the error of the mesh \
           and of the reduction. With --points it fits a Foster network to measured points instead; with --other-interface \
           too, it finds the resistance from junction to case by where the curves part, and by where their structure functions \
           do (JESD51-14).\n\nPoints: a line per \
           point, seconds and K/W, divided by comma, semicolon or blanks; `#` begins a comment. `joulestep schema package` \
           describes the files of packages.",
    examples: "joulestep impedance board-700v-7m\n\
               joulestep impedance board-700v-7m --against board-700v-7m-soldered --plot both.svg\n\
               joulestep impedance my-package.toml --json > my-package.json\n\
               joulestep impedance --points measured.csv --terms 5\n\
               joulestep impedance --points dry.csv --other-interface greased.csv",
    inputs: &[
        Input {
            key: Asked::package,
            root: "package",
            what: What::Package,
            count: Count::One,
            positional: true,
        },
        Input {
            key: Asked::against,
            root: "against",
            what: What::Package,
            count: Count::One,
            positional: false,
        },
        Input { key: Asked::points, root: "points", what: What::File, count: Count::One, positional: false },
        Input {
            key: Asked::other_interface,
            root: "other-interface",
            what: What::File,
            count: Count::One,
            positional: false,
        },
    ],
    trial: Trial { args: &["board-sj-620v-49m", "--cells", "8000"], vary: ("cells", ["8000", "6000"]) },
    refines: "",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "impedance":
        "Transient thermal impedance of a package, or of measured points";
    may package: Files, "a shipped package by name, or its file ending in .toml";
    may against: Files, "another package to compare it with";
    may points: Files, "file of measured points to fit a Foster network to, instead";
    may other_interface: Files,
        "file of points measured on the same part with another interface between case and heatsink";
    may terms: Whole(1, 60), "terms of the Foster network, at most; for a package without it 8";
    may cells: Whole(1_000, 2_000_000),
        "cells of the finest mesh, at most: more are slower and more accurate", or 120_000.0;
    may per_decade: Whole(1, 50), "times per decade in the tables", or 2.0;
    may pulse_duty: Quantities("1", Range::Between(0.0, 1.0)),
        "duty ratios of the repeated pulses; without it 0.01, 0.02, 0.05, 0.1, 0.2 and 0.5";
}

/// Duty ratios of repeated pulses, unless asked otherwise.
const DUTIES: [f64; 6] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5];
/// Terms of the Foster fit of a package, unless asked otherwise.
const TERMS: usize = 8;
/// What must be said beside every Foster network.
const NOT_LAYERS: &str = "Foster terms are not layers: they reproduce the impedance at the junction and have no temperatures inside; do not cut them at a case or add a heatsink to them. Cauer cells are a ladder from the junction outwards.";

const DEFINITIONS: [(&str, &str); 8] = [
    (
        "Z_th(t)",
        "rise of the mean temperature over the heated volume of a die per watt of a power step into it",
    ),
    (
        "hottest point",
        "steady rise of the hottest cell anywhere; a junction's temperature is the mean over the heated volume (the virtual \
         junction, which electrical methods measure)",
    ),
    (
        "differential structure function",
        "dC/dR, heat capacitance per thermal resistance from the junction outwards: high where heat spreads in good conductors, \
         low in interfaces (JESD51-14)",
    ),
    ("case", "underside of the case, held at one temperature"),
    ("boundary", "the fixed temperatures to which the whole package leads the heat"),
    ("over the case's mean", "rise above the mean of the case's underside with the whole package in place"),
    ("±", "of the mesh, by three meshes, and of the reduction to a compact network, at any time"),
    ("Foster and Cauer", NOT_LAYERS),
];

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let given = |key| !question.files(key).is_empty();
    if given(Asked::other_interface) && !given(Asked::points) {
        let expected = "`points` of the same part beside it";
        return Err(question.wrong(Asked::other_interface, "one curve only", expected));
    }
    match (given(Asked::package), given(Asked::points), given(Asked::against)) {
        (false, true, false) if given(Asked::other_interface) => interfaces::study(question),
        (false, true, false) => points::study(question),
        (false, true, true) => {
            Err(question.wrong(Asked::against, "points", "a package, to compare with another"))
        }
        (true, true, _) => Err(question.wrong(Asked::points, "a package too", "a package, or points to fit")),
        (false, false, _) => Err(question.wrong(Asked::package, "missing", "a package, or `points` to fit")),
        (true, false, _) => packages(question, context),
    }
}

fn compute(question: &Question, context: &Context<'_>) -> Result<Vec<Computed>, StudyError> {
    let asked = question.asked(Asked::read)?;
    let cells = context.cells(asked.cells as usize);
    let terms = asked.terms.map_or(TERMS, |n| n as usize);
    let packages = [Asked::package, Asked::against].into_iter().flat_map(|key| question.packages(key));
    // Two paths each: to the ambient, and to the case.
    let progress = Counted::new(context.quiet, 2 * packages.clone().count() as u64, "heat paths");
    let one = |(name, package): &(String, Package)| {
        context.go_on()?;
        let stop = || {
            progress.one();
            context.stop.load(Ordering::Relaxed)
        };
        let key = format!("{cells} {terms} {package:?}");
        let made = context.cache.get(key.clone(), || {
            let what = format!("{}: its impedance", package.title);
            cache::kept(&what, &format!("impedance {key}"), || solved(package, cells, terms, &stop))
        });
        let impedance = made.map_err(|why| match why {
            ImpedanceError::Stopped => StudyError::Interrupted,
            why if why.is_input() => StudyError::Refused(format!("{name}: {why}")),
            why => StudyError::Numerical(format!("{name}: {why}")),
        })?;
        progress.one();
        Ok(Computed { name: name.clone(), package: package.clone(), impedance })
    };
    let all = packages.map(one).collect();
    progress.done();
    all
}

/// What is known of the error of a rise, K/W.
fn error(path: &Path, t: f64, at: usize, from: usize) -> Uncertainty {
    match path.error(t, at, from) {
        e if !e.is_finite() => Uncertainty::not_estimated("only one mesh fits into the cells"),
        e if path.converges() => Uncertainty::within(e),
        plus_minus => Uncertainty::NotConverging { plus_minus },
    }
}

/// A number with errors of two kinds, given as shares of it, such as a ratio.
fn of_ratio(ratio: f64, shares: [f64; 2], converge: bool) -> Uncertainty {
    match ratio * (shares[0] + shares[1]) {
        e if !e.is_finite() => Uncertainty::not_estimated("only one mesh fits into the cells"),
        e if converge => Uncertainty::within(e),
        plus_minus => Uncertainty::NotConverging { plus_minus },
    }
}

/// The paths of a package, each with the word for where it leads.
fn paths(of: &Impedance) -> impl Iterator<Item = (&'static str, &Path)> {
    of.case.iter().map(|path| ("case", path)).chain(std::iter::once(("boundary", &of.ambient)))
}

/// Steady resistances: die by die to the case and to the boundary, and of one die for the heat of another.
fn answers(of: &Computed, before: &str, words: &str) -> Vec<Answer> {
    let mut all = Vec::new();
    for (d, die) in of.impedance.dies.iter().enumerate() {
        for (to, path) in paths(&of.impedance) {
            let steady = path.network().steady_resistance(d, d);
            let most = 100.0 * path.errors[d];
            let answer = Answer::new(
                format!("{before}{die}.to_{to}"),
                format!("{words}{die}, junction to {to}"),
                steady,
                "K/W",
            );
            let remark = format!("error at most {most:.1} % at any time");
            all.push(answer.error(error(path, STEADY, d, d)).remark(remark));
            let hottest = path.hottest_point(d);
            let plus_minus = of_ratio(hottest, [path.share(STEADY, d), 0.0], path.converges());
            let name = format!("{before}{die}.hottest_point.to_{to}");
            let answer = Answer::new(name, format!("{words}{die}, hottest point to {to}"), hottest, "K/W");
            let remark = format!("{:.1} % above the junction", 100.0 * (hottest / steady - 1.0));
            all.push(answer.error(plus_minus).remark(remark));
        }
        if let Some(rise) = of.impedance.over_case[d] {
            let name = format!("{before}{die}.over_case");
            let answer = Answer::new(name, format!("{words}{die}, over the case's mean"), rise, "K/W");
            let remark = "with the whole package in place";
            all.push(answer.error(error(&of.impedance.ambient, STEADY, d, d)).remark(remark));
        }
    }
    let path = &of.impedance.ambient;
    for (d, die) in of.impedance.dies.iter().enumerate() {
        for (j, other) in of.impedance.dies.iter().enumerate().filter(|(j, _)| *j != d) {
            let steady = path.network().steady_resistance(d, j);
            let name = format!("{before}{die}.from_{other}");
            let answer = Answer::new(name, format!("{words}{die} for the heat of {other}"), steady, "K/W");
            all.push(answer.error(error(path, STEADY, d, j)));
        }
    }
    all
}

/// Dies that belong together: of one name, else in the same place.
fn pairs(a: &Impedance, b: &Impedance) -> Vec<(usize, usize)> {
    let other = |(d, die): (usize, &String)| {
        let other = b.dies.iter().position(|x| x == die).unwrap_or(d);
        (other < b.dies.len()).then_some((d, other))
    };
    a.dies.iter().enumerate().filter_map(other).collect()
}

fn ratios(a: &Computed, b: &Computed) -> Vec<Answer> {
    let mut all = Vec::new();
    for (d, other) in pairs(&a.impedance, &b.impedance) {
        for ((to, x), (_, y)) in tables::both(&a.impedance, &b.impedance) {
            let ratio = x.network().steady_resistance(d, d) / y.network().steady_resistance(other, other);
            let die = &a.impedance.dies[d];
            let (name, against) = (format!("ratio.{die}.to_{to}"), &b.impedance.dies[other]);
            let quantity = format!("{die} over {against} of {}, to {to}", b.name);
            let error =
                of_ratio(ratio, [x.share(STEADY, d), y.share(STEADY, other)], x.converges() && y.converges());
            all.push(Answer::new(name, quantity, ratio, "1").error(error));
        }
    }
    all
}

fn packages(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    let all = compute(question, context)?;
    let asked = question.asked(Asked::read)?;
    let duties = asked.pulse_duty;
    let duties = if duties.is_empty() { DUTIES.to_vec() } else { duties };
    let names: Vec<&str> = all.iter().map(|c| c.name.as_str()).collect();
    let mut found = Vec::new();
    for (k, of) in all.iter().enumerate() {
        let words = if all.len() > 1 { format!("{}: ", of.name) } else { String::new() };
        found.extend(answers(of, if k == 0 { "" } else { "against." }, &words));
    }
    if let [a, b] = all.as_slice() {
        found.extend(ratios(a, b));
    }
    let conditions = all.iter().map(|c| {
        format!(
            "{}: {}; properties at {}; heat goes to {}.",
            c.name,
            c.package.title,
            people(c.package.temperature, "degC"),
            c.impedance.boundaries.join(", ")
        )
    });
    let caption = "Thermal impedance against time, of repeated pulses by duty, and the structure functions.";
    Ok(Study {
        title: format!("What is the transient thermal impedance of {}?", names.join(" and ")),
        answers: found,
        conditions: conditions.collect(),
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: tables::tables(&all, &duties, asked.per_decade as usize),
        figures: vec![StudyFigure::new(caption, picture::picture(&all, &duties))],
        ..Study::default()
    })
}
