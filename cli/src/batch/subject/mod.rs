//! What a plan varies: the run of a scenario, or any study of the catalogue. The tables of a study (its files, its own
//! parameters, limits) stand under one root, in which values are found and set as in a scenario.

mod prepare;

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use crate::batch::parameter_path::ParameterPath;
use crate::batch::row::{Column, Row, Status};
use crate::diagnostic::Diagnostic;
use crate::input::keys::fields::Fields;
use crate::input::keys::raw::RawTable;
use crate::input::keys::shape::{Section, quantity};
use crate::input::scenario::resolve::Loaded as ScenarioFiles;
use crate::judge::{Computed, Level, Number};
use crate::output::answer::{Answer, Study};
use crate::study::{Cache, Context, Entry, Question, StudyError};
use joulestep_models::model::Range;

pub(crate) use prepare::{Prepared, prepare};

/// What is varied.
#[derive(Debug)]
pub enum Subject {
    /// The run of a scenario.
    Run,
    /// A study of the catalogue.
    Study(Box<Varied>),
}

/// A study of which values are varied.
#[derive(Debug)]
pub struct Varied {
    /// The study.
    pub entry: &'static Entry,
    /// Its root section.
    section: &'static Section,
    /// Names of the answers with limits of their own, in order.
    judged: Vec<String>,
    /// Why no variant can pass as the study stands.
    doubts: Vec<String>,
    /// What a scenario names, where the study takes one.
    files: Option<Arc<ScenarioFiles>>,
    /// Shared by all variants.
    cache: Cache,
    /// As the plan has it before anything is varied.
    base: Option<Question>,
}

/// Why there are no numbers: how the variant ends, and what is wrong.
type Ill = (Status, String);

/// A limit of a number in a variant.
struct Limit {
    name: String,
    output: String,
    bounds: (f64, f64),
}

fn refused(what: impl ToString) -> Ill {
    (Status::Refused, what.to_string())
}

fn describe(diagnostics: &[Diagnostic]) -> Ill {
    refused(diagnostics.iter().map(Diagnostic::line).collect::<Vec<_>>().join("; "))
}

fn ill(error: &StudyError) -> Ill {
    let status = if matches!(error, StudyError::Numerical(_)) { Status::Failed } else { Status::Refused };
    (status, error.to_string())
}

/// The limits of a plan; `unit` gives the unit of an output.
fn limits(all_of: &[Fields], unit: &dyn Fn(&str) -> Option<String>) -> Result<Vec<Limit>, Box<Diagnostic>> {
    let mut all: Vec<Limit> = Vec::new();
    for f in all_of {
        let wrong = |key: &str, found: String, expected: &str| {
            Err(Box::new(Diagnostic::new(f.place_of(key), f.key(key), found, expected)))
        };
        let (Some(name), Some(output)) = (f.text("name"), f.text("output")) else { continue };
        let Some(unit) = unit(output) else {
            return wrong(
                "output",
                format!("there is no output `{output}`"),
                "the name of an output's column",
            );
        };
        if all.iter().any(|l| l.name == name) {
            return wrong("name", "a name used twice".into(), "a name used once");
        }
        let bound = |key: &str, none: f64| match f.measure(key) {
            None => Ok(none),
            Some(typed) => quantity(typed, &unit, Range::Any).map_err(|(found, expected, hint)| {
                Box::new(Diagnostic::new(f.place_of(key), f.key(key), found, expected).suggest(hint))
            }),
        };
        let bounds = (bound("min", f64::NEG_INFINITY)?, bound("max", f64::INFINITY)?);
        if bounds.0 > bounds.1 {
            return wrong("max", "`max` is below `min`".into(), "a value above `min`");
        }
        if bounds.0.is_infinite() && bounds.1.is_infinite() {
            return wrong("output", "neither `min` nor `max`".into(), "one of them, or both");
        }
        all.push(Limit { name: name.into(), output: output.into(), bounds });
    }
    Ok(all)
}

impl Subject {
    /// Its key tables; `None` for a scenario's run.
    pub fn section(&self) -> Option<&'static Section> {
        match self {
            Self::Run => None,
            Self::Study(varied) => Some(varied.section),
        }
    }

    /// Whether computations at coarser levels tell nothing: the study knows its errors by itself.
    pub fn knows_its_errors(&self) -> bool {
        matches!(self, Self::Study(varied) if varied.entry.refines.is_empty())
    }

    /// Why no variant can pass as the subject stands, in words.
    pub(crate) fn doubts(&self) -> Vec<String> {
        match self {
            Self::Run => Vec::new(),
            Self::Study(varied) => varied.doubts.clone(),
        }
    }

    /// The row of a variant, and whether the limit of a search was kept. `columns` names the outputs, with their units;
    /// where there is a search, the first is the value found by it. Beside them what the estimate of errors needs.
    /// `None` where `stop` was set before its end.
    pub(crate) fn once(
        &self,
        root: &RawTable,
        settings: &[(&ParameterPath, f64)],
        columns: &[Column],
        searched: Option<&str>,
        level: Level,
        stop: &AtomicBool,
    ) -> Option<(Row, Option<bool>, Computed)> {
        let without = |(status, error): Ill| {
            let outputs = vec![f64::NAN; columns.len()];
            Some((Row::new(status, error, outputs), None, Computed::default()))
        };
        let Self::Study(varied) = self else { return without(refused("a scenario's run")) };
        let (question, study) = match varied.solve(root, settings, level, stop) {
            Ok(solved) => solved,
            Err(None) => return None,
            Err(Some(why)) => return without(why),
        };
        let unit = |output: &str| columns.iter().find(|c| c.name == output).map(|c| c.unit.clone());
        let limits = match limits(question.limits(), &unit) {
            Ok(limits) => limits,
            Err(d) => return without(describe(&[*d])),
        };
        let before = usize::from(searched.is_some());
        let fits = study.answers.len() + before == columns.len()
            && study.answers.iter().zip(&columns[before..]).all(|(a, c)| a.name == c.name);
        if !fits {
            return without(refused("this variant has a different set of outputs"));
        }
        let values = study.answers.iter().map(|a| a.value);
        let outputs: Vec<f64> = std::iter::repeat_n(f64::NAN, before).chain(values).collect();
        let kept = |limit: &Limit| {
            let at = columns.iter().position(|c| c.name == limit.output);
            let x = at.map_or(f64::NAN, |k| outputs[k]);
            x >= limit.bounds.0 && x <= limit.bounds.1
        };
        let of_search = searched.and_then(|name| limits.iter().find(|l| l.name == name)).map(kept);
        let mut row = Row::new(Status::Done, String::new(), outputs);
        let own = varied.judged.iter().filter_map(|name| study.answers.iter().find(|a| a.name == *name));
        let own = own.flat_map(|a| [a.bounds.lower, a.bounds.upper]);
        row.bounds = limits.iter().flat_map(|l| [l.bounds.0, l.bounds.1]).chain(own).collect();
        row.doubts = study.doubts.join("; ");
        row.out_of_range = study.answers.iter().any(|a| !a.known && !a.bounds.is_none());
        row.stalled = study.computation.stalled;
        Some((row, of_search, computed(&study, columns, before)))
    }
}

/// The numbers of the answers, with the errors that the study knows by itself; a number of the search before them.
fn computed(study: &Study, columns: &[Column], before: usize) -> Computed {
    let found = columns[..before].iter().map(|c| Number::plain(&c.name, f64::NAN));
    let number = |a: &Answer| Number {
        name: a.name.clone(),
        value: a.value,
        missed: a.missed,
        further: a.further + a.error.plus_minus().unwrap_or(0.0),
    };
    let numbers = found.chain(study.answers.iter().map(number)).collect();
    let crate::output::answer::Computation { course, steps, iterations, ratio, .. } =
        study.computation.clone();
    Computed { numbers, course, steps, iterations, ratio }
}

impl Varied {
    /// The question of a variant and its answer; `None` where `stop` was set before its end.
    fn solve(
        &self,
        root: &RawTable,
        settings: &[(&ParameterPath, f64)],
        level: Level,
        stop: &AtomicBool,
    ) -> Result<(Question, Study), Option<Ill>> {
        self.solve_or_sketch(root, settings, (level, false), stop)
    }

    fn solve_or_sketch(
        &self,
        root: &RawTable,
        settings: &[(&ParameterPath, f64)],
        (level, sketch): (Level, bool),
        stop: &AtomicBool,
    ) -> Result<(Question, Study), Option<Ill>> {
        let mut root = root.clone();
        for (parameter, value) in settings {
            parameter.set(&mut root, *value).map_err(|why| Some(refused(why)))?;
        }
        let question = match &self.files {
            Some(files) => Question::read_scenario(self.entry, &root, files),
            None => Question::read(self.entry, &root),
        };
        let question = question.map_err(|all| Some(describe(&all)))?;
        let (cache, base) = (&self.cache, self.base.as_ref());
        let context = Context {
            level,
            stop,
            quiet: true,
            brief: true,
            sketch,
            base,
            errors: true,
            cache,
            record: None,
        };
        match (self.entry.solve)(&question, &context) {
            Ok(study) => Ok((question, study)),
            Err(StudyError::Interrupted) => Err(None),
            Err(why) => Err(Some(ill(&why))),
        }
    }
}
