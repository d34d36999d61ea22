//! What a plan varies: the run of a scenario, or any study of the catalogue. The tables of a study (its files, its own
//! parameters, limits) stand under one root, in which values are found and set as in a scenario.

mod prepare;

use std::sync::atomic::AtomicBool;

use crate::batch::row::{Column, Status};
use crate::diagnostic::Diagnostic;
use crate::input::keys::fields::{Fields, Typed};
use crate::input::keys::shape::{Key, Section};
use crate::input::parameter_path::ParameterPath;
use crate::judge::{Bounds, Level, Limit};
use crate::output::answer::{Estimation, Study};
use crate::study::{Cache, Checked, Context, Entry, Question, StudyError, inputs};
use joulestep_models::model::Range;

pub(crate) use prepare::{Prepared, prepare};

/// A variant's answer, and the bounds of the limits that the plan sets.
type Answered = (Study, Vec<Bounds>);

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
    /// Why no variant can pass as the study stands.
    doubts: Vec<String>,
    /// What is asked before anything is varied.
    checked: Checked,
    /// Shared by all variants.
    cache: Cache,
    /// As the plan has it before anything is varied.
    base: Option<Question>,
}

/// Why there are no numbers: how the variant ends, and what is wrong.
pub(crate) type Ill = (Status, String);

/// A limit of a number in a variant.
struct OfOutput {
    limit: Limit,
    /// Name of the number.
    output: String,
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
fn limits(
    all_of: &[Fields],
    unit: &dyn Fn(&str) -> Option<String>,
) -> Result<Vec<OfOutput>, Box<Diagnostic>> {
    let mut all: Vec<OfOutput> = Vec::new();
    for f in all_of {
        let wrong = |key: Key, found: String, expected: &str| Err(Box::new(f.wrong(key, found, expected)));
        let Some(stated) = inputs::Limit::read(f) else { continue };
        let (name, output) = (stated.name.name, stated.output.name);
        let Some(unit) = unit(&output) else {
            let found = format!("there is no output `{output}`");
            return wrong(inputs::Limit::output, found, "the name of an output's column");
        };
        if all.iter().any(|l| l.limit.name == name) {
            return wrong(inputs::Limit::name, "a name used twice".into(), "a name used once");
        }
        let bound = |typed: Option<Typed>, none: f64| match typed {
            None => Ok(none),
            Some(typed) => typed.quantity(&unit, Range::Any),
        };
        let lower = bound(stated.min, f64::NEG_INFINITY)?;
        let bounds = Bounds { lower, upper: bound(stated.max, f64::INFINITY)? };
        if bounds.lower > bounds.upper {
            return wrong(inputs::Limit::max, "`max` is below `min`".into(), "a value above `min`");
        }
        if bounds.is_none() {
            return wrong(inputs::Limit::output, "neither `min` nor `max`".into(), "one of them, or both");
        }
        let limit = Limit { name, unit, bounds, ..Limit::default() };
        all.push(OfOutput { limit, output });
    }
    Ok(all)
}

impl Subject {
    /// Its tables before anything is varied; `None` for a scenario's run.
    pub fn tables(&self) -> Option<&Fields> {
        match self {
            Self::Run => None,
            Self::Study(varied) => Some(&varied.checked.fields),
        }
    }

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

    /// A variant's answer, and the bounds of the limits that the plan sets; else how it ends, and why. `None` where
    /// `stop` was set before its end. Errors that levels do not show cost time: they are found where it is estimated.
    pub(crate) fn once(
        &self,
        settings: &[(&ParameterPath, f64)],
        columns: &[Column],
        (level, estimation): (Level, Estimation),
        stop: &AtomicBool,
    ) -> Option<Result<Answered, Ill>> {
        let Self::Study(varied) = self else { return Some(Err(refused("a scenario's run"))) };
        let (question, study) = match varied.solve(settings, (level, Some(estimation)), stop) {
            Ok(solved) => solved,
            Err(None) => return None,
            Err(Some(why)) => return Some(Err(why)),
        };
        let unit = |output: &str| columns.iter().find(|c| c.name == output).map(|c| c.unit.clone());
        let limits = limits(question.limits(), &unit).map_err(|d| describe(&[*d]));
        Some(limits.map(|all| (study, all.iter().map(|l| l.limit.bounds).collect())))
    }
}

impl Varied {
    /// The question of a variant and its answer, a sketch where no estimation is stated; `None` where `stop` was set
    /// before its end.
    fn solve(
        &self,
        settings: &[(&ParameterPath, f64)],
        (level, estimation): (Level, Option<Estimation>),
        stop: &AtomicBool,
    ) -> Result<(Question, Study), Option<Ill>> {
        let mut checked = self.checked.clone();
        for (parameter, value) in settings {
            parameter.set(&mut checked.fields, *value).map_err(|why| Some(refused(why)))?;
        }
        let question = Question::of(self.entry, &checked).map_err(|all| Some(describe(&all)))?;
        let context = Context {
            level,
            stop,
            quiet: true,
            brief: true,
            sketch: estimation.is_none(),
            base: self.base.as_ref(),
            estimation: estimation.unwrap_or(Estimation::None),
            cache: &self.cache,
            record: None,
        };
        match (self.entry.solve)(&question, &context) {
            Ok(study) => Ok((question, study)),
            Err(StudyError::Interrupted) => Err(None),
            Err(why) => Err(Some(ill(&why))),
        }
    }
}
