//! What a plan varies beside the run of a scenario: a rating, or a dead-time study. Their tables (the part files, the
//! package, what the plan asks) stand under one root, in which values are found and set as in a scenario.

mod dead_time;
mod prepare;
mod rating;

use std::sync::atomic::AtomicBool;

use joulestep_models::devices::catalogue;

use crate::batch::row::{Row, Status};
use crate::batch::sections::subject::{OF_DEAD_TIME, OF_RATING};
use crate::batch::slot::Slot;
use crate::diagnostic::Diagnostic;
use crate::judge::{Computed, Level, Number};
use crate::scenario::conform::Conform;
use crate::scenario::fields::Fields;
use crate::scenario::raw::Table;
use crate::scenario::shape::{Section, quantity};
use joulestep_models::model::Range;

pub use dead_time::DeadTime;
pub(crate) use prepare::{Prepared, prepare};
pub use rating::Rating;

/// What is varied.
#[derive(Debug)]
pub enum Subject {
    /// The run of a scenario.
    Run,
    /// A rating.
    Rating(Box<Rating>),
    /// A dead-time study.
    DeadTime(Box<DeadTime>),
}

/// The numbers of a variant, and its limits.
type Found = (Figures, Vec<Limit>);
/// The numbers of a variant.
#[derive(Default)]
struct Figures {
    /// Their values.
    values: Vec<f64>,
    /// ± of each that coarser levels do not show; empty where there is none.
    further: Vec<f64>,
    /// The largest ratio of two differences that is believed; `None`: that of the bounds of steps.
    ratio: Option<f64>,
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

fn told(diagnostics: &[Diagnostic]) -> Ill {
    refused(diagnostics.iter().map(Diagnostic::line).collect::<Vec<_>>().join("; "))
}

fn section(rating: bool) -> &'static Section {
    if rating { &OF_RATING } else { &OF_DEAD_TIME }
}

/// The tables checked against their keys.
fn checked(root: &Table, section: &Section) -> Result<Fields, Ill> {
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
    let fields = conform.table(root, section, "");
    if conform.diagnostics.is_empty() { Ok(fields) } else { Err(told(&conform.diagnostics)) }
}

/// The limits; `unit` tells the unit of an output.
fn limits(fields: &Fields, unit: &dyn Fn(&str) -> Option<String>) -> Result<Vec<Limit>, Box<Diagnostic>> {
    let mut all: Vec<Limit> = Vec::new();
    for f in fields.tables("limit") {
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
            Self::Rating(_) => Some(section(true)),
            Self::DeadTime(_) => Some(section(false)),
        }
    }

    /// Why no variant can pass as the subject stands, in words.
    pub(crate) fn doubts(&self, root: &Table) -> Vec<String> {
        match (self, self.section()) {
            (Self::Rating(rating), Some(section)) => {
                checked(root, section).map_or(Vec::new(), |fields| rating.contradictions(&fields))
            }
            _ => Vec::new(),
        }
    }

    /// The row of a variant, and whether the limit of a search was kept. `columns` names the outputs, with their
    /// units; those before the last `own` are found elsewhere. Beside them what the estimate of errors needs. `None` where
    /// `stop` was set before its end.
    pub(crate) fn once(
        &self,
        root: &Table,
        settings: &[(&Slot, f64)],
        columns: &[crate::batch::row::Column],
        searched: Option<&str>,
        level: Level,
        stop: &AtomicBool,
    ) -> Option<(Row, Option<bool>, Computed)> {
        let before = usize::from(searched.is_some());
        let ill = |(status, error): Ill| {
            let outputs = vec![f64::NAN; columns.len()];
            (Row::new(status, error, outputs), None, Computed::default())
        };
        // Numbers that rest on dies which contradict one another may fail, and prove nothing.
        let mut doubts = String::new();
        let mut found = || -> Result<Option<Found>, Ill> {
            let mut root = root.clone();
            for (slot, value) in settings {
                slot.set(&mut root, *value).map_err(refused)?;
            }
            let Some(section) = self.section() else { return Err(refused("a scenario's run")) };
            let fields = checked(&root, section)?;
            let unit = |output: &str| columns.iter().find(|c| c.name == output).map(|c| c.unit.clone());
            let limits = limits(&fields, &unit).map_err(|d| told(&[*d]))?;
            let numbers = match self {
                Self::Rating(rating) => {
                    doubts = rating.contradictions(&fields).join("; ");
                    Some(rating.numbers(&fields, level)?)
                }
                Self::DeadTime(study) => study.numbers(&fields, level, stop)?,
                Self::Run => None,
            };
            Ok(numbers.map(|n| (n, limits)))
        };
        let (numbers, limits) = match found() {
            Ok(Some(found)) => found,
            Ok(None) => return None,
            Err(why) => return Some(ill(why)),
        };
        let Figures { values, further, ratio } = numbers;
        let outputs: Vec<f64> = std::iter::repeat_n(f64::NAN, before).chain(values).collect();
        if outputs.len() != columns.len() {
            return Some(ill(refused("this variant has other results than the study as it stands")));
        }
        let kept = |limit: &Limit| {
            let at = columns.iter().position(|c| c.name == limit.output);
            let x = at.map_or(f64::NAN, |k| outputs[k]);
            x >= limit.bounds.0 && x <= limit.bounds.1
        };
        let of_search = searched.and_then(|name| limits.iter().find(|l| l.name == name)).map(kept);
        let mut row = Row::new(Status::Done, String::new(), outputs.clone());
        row.bounds = limits.iter().flat_map(|l| [l.bounds.0, l.bounds.1]).collect();
        row.doubts = doubts;
        let number = |(k, (column, x)): (usize, (&crate::batch::row::Column, &f64))| {
            let further = k.checked_sub(before).and_then(|k| further.get(k)).copied().unwrap_or(0.0);
            Number { further, ..Number::plain(&column.name, *x) }
        };
        let numbers = columns.iter().zip(&outputs).enumerate().map(number).collect();
        Some((row, of_search, Computed { numbers, ratio, ..Computed::default() }))
    }
}
