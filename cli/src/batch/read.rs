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
use crate::batch::plan::{Estimated, Plan, Sampling, beside};
use crate::batch::row::Column;
use crate::batch::sample::MOST_DIMENSIONS;
use crate::batch::sections::{MOST_VARIANTS, plan};
use crate::diagnostic::{Diagnostic, Refusal, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::Fields;
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{self, RawTable};
use crate::input::keys::shape::quantity;
use crate::input::parameter_path::{ParameterPath, PathContext, PathError};
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
        let sampling_table = f.table("sampling")?;
        let sampling = sampling(sampling_table)?;
        let listed = match (sampling, sampling_table.text("file")) {
            (Sampling::List, Some(file)) => {
                let file = beside(path, file);
                let span = sampling_table.span_of("file").clone();
                match open(&file) {
                    Ok(text) => match list::read(&text) {
                        Ok(list) => Some((file, list)),
                        Err(error) => {
                            self.report(
                                &span,
                                "sampling.file",
                                format!("{}: {error}", file.display()),
                                "a CSV or Parquet file",
                            );
                            None
                        }
                    },
                    Err(error) => {
                        let found = format!("cannot read `{}`: {}", file.display(), reason(&error));
                        self.report(
                            &span,
                            "sampling.file",
                            found,
                            "the path of a CSV or Parquet file, relative to this file",
                        );
                        None
                    }
                }
            }
            _ => None,
        };
        let mut inputs = Vec::new();
        for table in f.tables("vary") {
            inputs.extend(self.input(
                table,
                sampling,
                listed.as_ref().map(|(path, list)| (path.as_path(), list)),
            ));
        }
        if f.tables("vary").is_empty() {
            self.report(f.span_of("vary"), "vary", "nothing is varied", "at least one [[vary]]");
        }
        if matches!(sampling, Sampling::SobolSequence { .. } | Sampling::Sensitivity { .. })
            && 2 * inputs.len() > MOST_DIMENSIONS
        {
            self.report(
                f.span_of("vary"),
                "vary",
                format!("{} values", inputs.len()),
                "at most 500 with a Sobol sequence",
            );
        }
        let correlation = self.correlation(f, &inputs, sampling);
        self.fits(f);
        let measures: Vec<_> = f.tables("output").iter().filter_map(|t| self.measure(t)).collect();
        let keep: Vec<_> = f.tables("keep").iter().filter_map(|t| self.keep(t)).collect();
        let search = f.table("search").and_then(|t| self.search(t));
        self.unique(f);
        let plan = Plan {
            title: f.text("title").unwrap_or("").to_string(),
            scenario: f.text("scenario").map(|named| beside(path, named)),
            sampling,
            lanes: self.lanes(f),
            estimate: f.text("estimate").map_or_else(Estimated::default, Estimated::of_word),
            inputs,
            correlation,
            measures,
            search,
            keep,
        };
        self.kept_outputs(f, &plan);
        if plan.count().is_none_or(|n| n as u64 > MOST_VARIANTS as u64 || n == 0)
            && self.diagnostics.is_empty()
        {
            let found = plan.count().map_or_else(|| "no end of variants".into(), |n| format!("{n} variants"));
            self.report(f.span_of("sampling"), "sampling", found, format!("1 to {MOST_VARIANTS} variants"));
        }
        Some(plan)
    }

    fn lanes(&mut self, f: &Fields) -> Option<usize> {
        let lanes = usize::try_from(f.whole("lanes")?).ok()?;
        if !LANES.contains(&lanes) {
            self.diagnostics.push(f.wrong("lanes", format!("{lanes} lanes"), "1, 4 or 8"));
        }
        Some(lanes)
    }

    fn parameter(&mut self, f: &Fields) -> Option<ParameterPath> {
        let path = f.text("value")?;
        match ParameterPath::find(path, &self.against.context) {
            Ok(parameter) => Some(parameter),
            Err((found, expected, hint)) => {
                self.wrong_path(f.span_of("value"), f.key("value"), (found, expected, hint));
                None
            }
        }
    }

    fn wrong_path(&mut self, span: &Span, key: String, (found, expected, hint): PathError) {
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

    fn measured(&mut self, f: &Fields, key: &str, unit: &str) -> Option<f64> {
        self.value(f.span_of(key), f.key(key), f.measure(key)?, unit)
    }

    /// Columns and paths are used once.
    fn unique(&mut self, f: &Fields) {
        let tables = f.tables("vary").iter().chain(f.table("search")).chain(f.tables("output"));
        let (mut names, mut paths) = (BTreeSet::new(), BTreeSet::new());
        for table in tables {
            let path = table.text("value");
            let name = table.text("name").or(path);
            if path.is_some_and(|p| !paths.insert(p.to_string())) {
                self.diagnostics.push(table.wrong("value", "varied twice", "a value varied once"));
            } else if name.is_some_and(|n| !names.insert(n.to_string())) {
                self.diagnostics.push(table.wrong("name", "a name used twice", "a name used once"));
            }
        }
    }
}

fn sampling(f: &Fields) -> Option<Sampling> {
    let whole = |key: &str| f.whole(key).and_then(|n| usize::try_from(n).ok());
    let seed = f.whole("seed").map_or(1, |s| s as u64);
    Some(match f.kind.as_str() {
        "grid" => Sampling::Grid,
        "list" => Sampling::List,
        "monte-carlo" => Sampling::MonteCarlo { variants: whole("variants")?, seed },
        "latin-hypercube" => Sampling::LatinHypercube { variants: whole("variants")?, seed },
        "sobol-sequence" => Sampling::SobolSequence { variants: whole("variants")?, seed },
        _ => Sampling::Sensitivity { base: whole("base")?, seed },
    })
}
