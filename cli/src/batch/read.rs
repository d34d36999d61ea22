//! From a plan file to the [`Plan`] as resolved: every path found, every value held against its dimension.

mod correlation;
mod input;
mod outputs;

use std::collections::BTreeSet;
use std::path::Path;

use joulestep_models::devices::catalogue;
use joulestep_models::model::Range;

use crate::batch::list;
use crate::batch::order::LANES;
use crate::batch::parameter_path::{ParameterPath, PathContext};
use crate::batch::plan::{Estimated, Plan, Sampling, beside};
use crate::batch::row::Column;
use crate::batch::sample::MOST_DIMENSIONS;
use crate::batch::sections::{self, Drawn, Listed, MOST_VARIANTS, Sampled, Vary, plan};
use crate::diagnostic::{Diagnostic, Refusal, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::{Fields, Named, Typed};
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{self, RawTable};
use crate::input::keys::shape::{WrongValue, quantity};
use crate::input::scenario::build::Ready;
use crate::study::CATALOGUE;

/// A plan file, checked against its key tables.
#[derive(Debug)]
pub struct PlanFile {
    /// The file.
    pub sources: Sources,
    /// Its tables as typed.
    pub root: RawTable,
    /// Its tables.
    pub fields: Fields,
}

/// Opens a plan file and checks its keys.
///
/// # Errors
/// [`InputError`]; all that is wrong with the keys at once.
pub fn open_plan(path: &Path, open: Open<'_>) -> Result<PlanFile, InputError> {
    let text = open(path).map_err(InputError::Unreadable)?;
    let mut sources = Sources::default();
    let file = sources.add(path.to_path_buf(), text);
    let (table, diagnostics) = raw::read(&sources, file);
    if !diagnostics.is_empty() {
        return Err(InputError::Refused(Refusal { sources, diagnostics }));
    }
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics };
    let fields = conform.table(&table, plan(), "");
    let mut diagnostics = conform.diagnostics;
    let subjects: Vec<_> = std::iter::once("scenario")
        .chain(CATALOGUE.iter().map(|e| e.section.name))
        .filter_map(|k| table.get(k))
        .collect();
    if subjects.len() != 1 {
        let span = subjects.last().map_or(&table.span, |n| &n.span);
        let found = if subjects.is_empty() { "nothing to vary" } else { "more than one subject" };
        let names = CATALOGUE.iter().map(|e| format!("[{}]", e.section.name)).collect::<Vec<_>>().join(", ");
        let expected = format!("one of `scenario`, {names}");
        diagnostics.push(Diagnostic::new(span, "", found, expected));
    }
    match diagnostics.is_empty() {
        true => Ok(PlanFile { sources, root: table, fields }),
        false => Err(InputError::Refused(Refusal::sorted(sources, diagnostics))),
    }
}

/// What the plan's words are held against.
pub struct Against<'a> {
    /// The tables that are varied.
    pub context: PathContext<'a>,
    /// The scenario as built, where the subject is one.
    pub ready: Option<&'a Ready>,
    /// The columns of the subject's own.
    pub own: &'a [Column],
    /// Names of the limits that a search can be about.
    pub limits: Vec<&'a str>,
}

/// Reads the plan against its subject.
///
/// # Errors
/// Everything that is wrong.
pub fn understand(plan: &PlanFile, against: &Against<'_>, open: Open<'_>) -> Result<Plan, Refusal> {
    let path = plan.sources.files[0].0.clone();
    let mut read = Read { against, diagnostics: Vec::new() };
    let resolved = read.plan(&plan.fields, &path, open);
    match resolved {
        Some(resolved) if read.diagnostics.is_empty() => Ok(resolved),
        _ => Err(Refusal::sorted(plan.sources.clone(), read.diagnostics)),
    }
}

struct Read<'a> {
    against: &'a Against<'a>,
    diagnostics: Vec<Diagnostic>,
}

impl Read<'_> {
    fn report(
        &mut self,
        span: &Span,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(span, key, found, expected));
    }

    fn plan(&mut self, f: &Fields, path: &Path, open: Open<'_>) -> Option<Plan> {
        let tables = sections::Plan::read(f)?;
        let sampled = sections::Sampling::read(&tables.sampling)?.kind;
        let sampling = sampling(&sampled)?;
        let listed = match &sampled {
            Sampled::List(Listed { file: Named { name, span } }) => {
                let file = beside(path, name);
                match open(&file) {
                    Ok(text) => match list::read(&text) {
                        Ok(list) => Some((file, list)),
                        Err(error) => {
                            let found = format!("{}: {error}", file.display());
                            self.report(span, "sampling.file", found, "a CSV or Parquet file");
                            None
                        }
                    },
                    Err(error) => {
                        let found = format!("cannot read `{}`: {}", file.display(), reason(&error));
                        let expected = "the path of a CSV or Parquet file, relative to this file";
                        self.report(span, "sampling.file", found, expected);
                        None
                    }
                }
            }
            _ => None,
        };
        let mut inputs = Vec::new();
        for table in &tables.vary {
            inputs.extend(self.input(
                table,
                sampling,
                listed.as_ref().map(|(path, list)| (path.as_path(), list)),
            ));
        }
        if tables.vary.is_empty() {
            self.report(
                f.span_of(sections::Plan::vary),
                "vary",
                "nothing is varied",
                "at least one [[vary]]",
            );
        }
        if matches!(sampling, Sampling::SobolSequence { .. } | Sampling::Sensitivity { .. })
            && 2 * inputs.len() > MOST_DIMENSIONS
        {
            self.report(
                f.span_of(sections::Plan::vary),
                "vary",
                format!("{} values", inputs.len()),
                "at most 500 with a Sobol sequence",
            );
        }
        let correlation = self.correlation(&tables.correlation, &inputs, sampling);
        self.fits(f);
        let measures: Vec<_> = tables.output.iter().filter_map(|t| self.measure(t)).collect();
        let keep: Vec<_> = tables.keep.iter().filter_map(|t| self.keep(t)).collect();
        let search = tables.search.as_ref().and_then(|t| self.search(t));
        self.unique(tables.vary.iter().chain(&tables.search).chain(&tables.output));
        let plan = Plan {
            title: tables.title.map_or(String::new(), |title| title.name),
            scenario: tables.scenario.map(|named| beside(path, &named.name)),
            sampling,
            lanes: tables.lanes.and_then(|lanes| self.lanes(f, lanes)),
            estimate: tables.estimate.map_or_else(Estimated::default, |word| Estimated::of_word(&word)),
            inputs,
            correlation,
            measures,
            search,
            keep,
        };
        self.kept_outputs(&tables.keep, &plan);
        if plan.count().is_none_or(|n| n as u64 > MOST_VARIANTS as u64 || n == 0)
            && self.diagnostics.is_empty()
        {
            let found = plan.count().map_or_else(|| "no end of variants".into(), |n| format!("{n} variants"));
            self.report(
                f.span_of(sections::Plan::sampling),
                "sampling",
                found,
                format!("1 to {MOST_VARIANTS} variants"),
            );
        }
        Some(plan)
    }

    fn lanes(&mut self, f: &Fields, lanes: i64) -> Option<usize> {
        let lanes = usize::try_from(lanes).ok()?;
        if !LANES.contains(&lanes) {
            self.diagnostics.push(f.wrong(sections::Plan::lanes, format!("{lanes} lanes"), "1, 4 or 8"));
        }
        Some(lanes)
    }

    fn parameter(&mut self, f: &Fields, value: &Named) -> Option<ParameterPath> {
        match ParameterPath::find(&value.name, &self.against.context) {
            Ok(parameter) => Some(parameter),
            Err(error) => {
                self.wrong_path(&value.span, f.key(Vary::value), error);
                None
            }
        }
    }

    fn wrong_path(&mut self, span: &Span, key: String, (found, expected, hint): WrongValue) {
        self.diagnostics.push(Diagnostic::new(span, key, found, expected).suggest(hint));
    }

    /// A value in a unit.
    fn value(&mut self, span: &Span, key: String, typed: Result<&str, f64>, unit: &str) -> Option<f64> {
        match quantity(typed, unit, Range::Any) {
            Ok(value) => Some(value),
            Err(error) => {
                self.wrong_path(span, key, error);
                None
            }
        }
    }

    fn measured(&mut self, typed: &Typed, unit: &str) -> Option<f64> {
        typed.quantity(unit, Range::Any).map_err(|wrong| self.diagnostics.push(*wrong)).ok()
    }

    /// Columns and paths are used once.
    fn unique<'f>(&mut self, tables: impl Iterator<Item = &'f Fields>) {
        let (mut names, mut paths) = (BTreeSet::new(), BTreeSet::new());
        for table in tables {
            let path: Option<String> = table.get(Vary::value);
            let name = table.get(Vary::name).or_else(|| path.clone());
            if path.is_some_and(|p| !paths.insert(p)) {
                self.diagnostics.push(table.wrong(Vary::value, "varied twice", "a value varied once"));
            } else if name.is_some_and(|n| !names.insert(n)) {
                self.diagnostics.push(table.wrong(Vary::name, "a name used twice", "a name used once"));
            }
        }
    }
}

fn sampling(sampled: &Sampled) -> Option<Sampling> {
    let drawn = |d: &Drawn| Some((usize::try_from(d.variants).ok()?, d.seed as u64));
    Some(match sampled {
        Sampled::Grid => Sampling::Grid,
        Sampled::List(_) => Sampling::List,
        Sampled::MonteCarlo(d) => drawn(d).map(|(variants, seed)| Sampling::MonteCarlo { variants, seed })?,
        Sampled::LatinHypercube(d) => {
            drawn(d).map(|(variants, seed)| Sampling::LatinHypercube { variants, seed })?
        }
        Sampled::SobolSequence(d) => {
            drawn(d).map(|(variants, seed)| Sampling::SobolSequence { variants, seed })?
        }
        Sampled::Sensitivity(m) => {
            Sampling::Sensitivity { base: usize::try_from(m.base).ok()?, seed: m.seed as u64 }
        }
    })
}
