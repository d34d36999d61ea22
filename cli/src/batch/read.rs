//! From a plan file to the [`Plan`] as meant: every path found, every value held against its dimension.

use std::collections::BTreeSet;
use std::path::Path;

use joulestep_models::devices::catalogue;
use joulestep_models::model::Range;

use crate::batch::distribution::{Distribution, cholesky};
use crate::batch::list;
use crate::batch::plan::{Input, MeasureSpec, Measured, Plan, Sampling, Search, Values, beside};
use crate::batch::sample::MOST_DIMENSIONS;
use crate::batch::sections::{MOST_VARIANTS, PLAN};
use crate::batch::slot::{Astray, Slot};
use crate::diagnostic::{Diagnostic, Place, Refusal, Sources, nearest};
use crate::scenario::build::Ready;
use crate::scenario::conform::{Conform, one_of};
use crate::scenario::fields::{Fields, TypedAt};
use crate::scenario::include::{Open, reason};
use crate::scenario::meant::Scenario;
use crate::scenario::raw::{self, Table};
use crate::scenario::resolve::Trouble;
use crate::scenario::shape::quantity;

/// A plan file, checked against its key tables.
#[derive(Debug)]
pub struct PlanFile {
    /// The file.
    pub sources: Sources,
    /// Its tables.
    pub fields: Fields,
}

/// Opens a plan file and checks its keys.
///
/// # Errors
/// [`Trouble`]; all that is wrong with the keys at once.
pub fn open_plan(path: &Path, open: Open<'_>) -> Result<PlanFile, Trouble> {
    let text = open(path).map_err(Trouble::Unreadable)?;
    let mut sources = Sources::default();
    let file = sources.add(path.to_path_buf(), text);
    let (table, diagnostics) = raw::read(&sources, file);
    if !diagnostics.is_empty() {
        return Err(Trouble::Refused(Refusal { sources, diagnostics }));
    }
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics };
    let fields = conform.table(&table, &PLAN, "");
    let diagnostics = conform.diagnostics;
    match diagnostics.is_empty() {
        true => Ok(PlanFile { sources, fields }),
        false => Err(Trouble::Refused(sorted(sources, diagnostics))),
    }
}

fn sorted(sources: Sources, mut diagnostics: Vec<Diagnostic>) -> Refusal {
    diagnostics.sort_by_key(|d| d.place.as_ref().map(|p| (p.file, p.span.start)));
    Refusal { sources, diagnostics }
}

/// What the plan's words are held against.
pub struct Against<'a> {
    /// Tables of the scenario.
    pub root: &'a Table,
    /// What they mean.
    pub scenario: &'a Scenario,
    /// The scenario as built.
    pub ready: &'a Ready,
}

/// Reads the plan against its scenario.
///
/// # Errors
/// Everything that is wrong.
pub fn understand(plan: &PlanFile, against: &Against<'_>, open: Open<'_>) -> Result<Plan, Refusal> {
    let path = plan.sources.files[0].0.clone();
    let mut read = Read { against, diagnostics: Vec::new() };
    let meant = read.plan(&plan.fields, &path, open);
    match meant {
        Some(meant) if read.diagnostics.is_empty() => Ok(meant),
        _ => Err(sorted(plan.sources.clone(), read.diagnostics)),
    }
}

struct Read<'a> {
    against: &'a Against<'a>,
    diagnostics: Vec<Diagnostic>,
}

impl Read<'_> {
    fn tell(
        &mut self,
        place: &Place,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(place, key, found, expected));
    }

    fn plan(&mut self, f: &Fields, path: &Path, open: Open<'_>) -> Option<Plan> {
        let sampling_table = f.table("sampling")?;
        let sampling = sampling(sampling_table)?;
        let listed = match (sampling, sampling_table.text("file")) {
            (Sampling::List, Some(file)) => {
                let file = beside(path, file);
                let place = sampling_table.place_of("file").clone();
                match open(&file) {
                    Ok(text) => match list::read(&text) {
                        Ok(list) => Some((file, list)),
                        Err(trouble) => {
                            self.tell(
                                &place,
                                "sampling.file",
                                format!("{}: {trouble}", file.display()),
                                "a CSV file",
                            );
                            None
                        }
                    },
                    Err(error) => {
                        let found = format!("cannot read `{}`: {}", file.display(), reason(&error));
                        self.tell(
                            &place,
                            "sampling.file",
                            found,
                            "the path of a CSV file, relative to this file",
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
            self.tell(f.place_of("vary"), "vary", "nothing is varied", "at least one [[vary]]");
        }
        if matches!(sampling, Sampling::SobolSequence { .. } | Sampling::Sensitivity { .. })
            && 2 * inputs.len() > MOST_DIMENSIONS
        {
            self.tell(
                f.place_of("vary"),
                "vary",
                format!("{} values", inputs.len()),
                "at most 500 with a Sobol sequence",
            );
        }
        let correlation = self.correlation(f, &inputs, sampling);
        let measures: Vec<_> = f.tables("output").iter().filter_map(|t| self.measure(t)).collect();
        let search = f.table("search").and_then(|t| self.search(t));
        self.unique(f);
        let plan = Plan {
            title: f.text("title").unwrap_or("").to_string(),
            scenario: beside(path, f.text("scenario")?),
            sampling,
            inputs,
            correlation,
            measures,
            search,
        };
        if plan.count().is_none_or(|n| n as u64 > MOST_VARIANTS as u64 || n == 0)
            && self.diagnostics.is_empty()
        {
            let found = plan.count().map_or_else(|| "no end of variants".into(), |n| format!("{n} variants"));
            self.tell(f.place_of("sampling"), "sampling", found, format!("1 to {MOST_VARIANTS} variants"));
        }
        Some(plan)
    }

    fn slot(&mut self, f: &Fields) -> Option<Slot> {
        let path = f.text("value")?;
        match Slot::find(path, self.against.root, self.against.scenario) {
            Ok(slot) => Some(slot),
            Err((found, expected, hint)) => {
                self.astray(f.place_of("value"), f.key("value"), (found, expected, hint));
                None
            }
        }
    }

    fn astray(&mut self, place: &Place, key: String, (found, expected, hint): Astray) {
        self.diagnostics.push(Diagnostic::new(place, key, found, expected).suggest(hint));
    }

    /// A value in a unit.
    fn value(&mut self, place: &Place, key: String, typed: Result<&str, f64>, unit: &str) -> Option<f64> {
        match quantity(typed, unit, Range::Any) {
            Ok(value) => Some(value),
            Err(trouble) => {
                self.astray(place, key, trouble);
                None
            }
        }
    }

    fn measured(&mut self, f: &Fields, key: &str, unit: &str) -> Option<f64> {
        self.value(f.place_of(key), f.key(key), f.measure(key)?, unit)
    }

    fn input(
        &mut self,
        f: &Fields,
        sampling: Sampling,
        listed: Option<(&Path, &list::List)>,
    ) -> Option<Input> {
        let slot = self.slot(f)?;
        let name = f.text("name").unwrap_or(&slot.path).to_string();
        let fits: &[&str] = match sampling {
            Sampling::Grid => &["values", "range"],
            Sampling::List => &["column"],
            _ => &["uniform", "normal", "truncated-normal", "lognormal", "triangular"],
        };
        if !fits.contains(&f.kind.as_str()) {
            let found = format!("`{}` does not go with this sampling", f.kind);
            self.tell(f.place_of("kind"), f.key("kind"), found, one_of(fits));
            return None;
        }
        let values = match f.kind.as_str() {
            "values" => {
                let typed: &[TypedAt] = f.measures("values");
                if typed.is_empty() {
                    self.tell(f.place_of("values"), f.key("values"), "an empty list", "at least one value");
                }
                let values: Vec<_> = typed
                    .iter()
                    .map(|(place, t)| {
                        self.value(place, f.key("values"), t.as_deref().map_err(|x| *x), &slot.unit)
                    })
                    .collect();
                Values::Stated(values.into_iter().collect::<Option<Vec<_>>>()?)
            }
            "range" => Values::Stated(self.range(f, &slot)?),
            "column" => Values::Stated(self.column(f, &slot, listed?)?),
            _ => Values::Drawn(self.distribution(f, &slot)?),
        };
        if slot.whole && !matches!(&values, Values::Stated(v) if v.iter().all(|x| x.fract() == 0.0)) {
            self.tell(f.place_of("value"), f.key("value"), "values that are no integers", "integers");
        }
        Some(Input { name, slot, values })
    }

    fn range(&mut self, f: &Fields, slot: &Slot) -> Option<Vec<f64>> {
        let from = self.measured(f, "from", &slot.unit);
        let (from, to) = from.zip(self.measured(f, "to", &slot.unit))?;
        let points = usize::try_from(f.whole("points")?).ok()?;
        let share = |k: usize| k as f64 / (points - 1) as f64;
        if f.text("spacing") != Some("logarithmic") {
            // Both ends exactly.
            return Some((0..points).map(|k| from * (1.0 - share(k)) + to * share(k)).collect());
        }
        if from <= 0.0 || to <= 0.0 {
            self.tell(
                f.place_of("from"),
                f.key("from"),
                "a logarithmic range from or to zero or below",
                "values above zero",
            );
            return None;
        }
        let inner = |k: usize| from * (to / from).powf(share(k));
        Some(
            (0..points)
                .map(|k| {
                    if k == 0 {
                        from
                    } else if k + 1 == points {
                        to
                    } else {
                        inner(k)
                    }
                })
                .collect(),
        )
    }

    fn column(&mut self, f: &Fields, slot: &Slot, (path, list): (&Path, &list::List)) -> Option<Vec<f64>> {
        let wanted = f.text("column")?;
        let Some(k) = list.header.iter().position(|h| h == wanted) else {
            let names: Vec<&str> = list.header.iter().map(String::as_str).collect();
            let found = format!("{} has no column `{wanted}`", path.display());
            let d = Diagnostic::new(f.place_of("column"), f.key("column"), found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names)));
            return None;
        };
        let mut values = Vec::new();
        for (line, row) in &list.rows {
            match list::value(&row[k], &slot.unit) {
                Ok(value) => values.push(value),
                Err((found, expected)) => {
                    let found = format!("{}, line {line}, column `{wanted}`: {found}", path.display());
                    self.tell(f.place_of("column"), f.key("column"), found, expected);
                    return None;
                }
            }
        }
        Some(values)
    }

    fn distribution(&mut self, f: &Fields, slot: &Slot) -> Option<Distribution> {
        let mut get = |key: &str| match key {
            "deviation" => self.measured(f, key, slot.unit_of_difference()),
            _ => self.measured(f, key, &slot.unit),
        };
        let distribution = match f.kind.as_str() {
            "uniform" => Distribution::Uniform { lower: get("lower")?, upper: get("upper")? },
            "normal" => Distribution::Normal { mean: get("mean")?, deviation: get("deviation")? },
            "truncated-normal" => Distribution::TruncatedNormal {
                mean: get("mean")?,
                deviation: get("deviation")?,
                lower: get("lower")?,
                upper: get("upper")?,
            },
            "lognormal" => {
                Distribution::LogNormal { median: get("median")?, log_deviation: f.number("log-deviation")? }
            }
            _ => Distribution::Triangular { lower: get("lower")?, mode: get("mode")?, upper: get("upper")? },
        };
        if let Some((key, found, expected)) = distribution.wrong() {
            self.tell(f.place_of(key), f.key(key), found, expected);
            return None;
        }
        Some(distribution)
    }

    fn correlation(&mut self, f: &Fields, inputs: &[Input], sampling: Sampling) -> Option<Vec<Vec<f64>>> {
        let tables = f.tables("correlation");
        let first = tables.first()?;
        if matches!(sampling, Sampling::Grid | Sampling::List | Sampling::Sensitivity { .. }) {
            let expected =
                "monte-carlo, latin-hypercube or sobol-sequence (Sobol indices are for independent values)";
            self.tell(&first.place, "correlation", "correlations with this sampling", expected);
            return None;
        }
        let n = inputs.len();
        let mut matrix = vec![vec![0.0; n]; n];
        (0..n).for_each(|k| matrix[k][k] = 1.0);
        for table in tables {
            let pair = table.texts("between");
            let mut numbers = Vec::new();
            for named in pair {
                match inputs.iter().position(|i| i.name == named.name) {
                    Some(k) => numbers.push(k),
                    None => {
                        let names: Vec<&str> = inputs.iter().map(|i| i.name.as_str()).collect();
                        let found = format!("no varied value is named `{}`", named.name);
                        let d = Diagnostic::new(&named.place, table.key("between"), found, one_of(&names));
                        self.diagnostics.push(d.suggest(nearest(&named.name, names)));
                    }
                }
            }
            match numbers[..] {
                [a, b] if a != b => {
                    let r = table.number("coefficient")?;
                    (matrix[a][b], matrix[b][a]) = (r, r);
                }
                _ if pair.len() == numbers.len() => {
                    self.tell(
                        table.place_of("between"),
                        table.key("between"),
                        "no pair",
                        "the names of two varied values",
                    );
                }
                _ => {}
            }
        }
        let factor = cholesky(&matrix);
        if factor.is_none() {
            let found = "these coefficients contradict each other: their matrix is not positive definite";
            self.tell(&first.place, "correlation", found, "coefficients that can hold together");
        }
        factor
    }

    fn measure(&mut self, f: &Fields) -> Option<MeasureSpec> {
        let channels = &self.against.ready.setup.channels;
        let wanted = f.text("signal")?;
        let Some(channel) = channels.iter().position(|c| c.name == wanted) else {
            let names: Vec<&str> = channels.iter().map(|c| c.name.as_str()).collect();
            let found = format!("the scenario does not record `{wanted}`");
            let d = Diagnostic::new(f.place_of("signal"), f.key("signal"), found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(wanted, names.iter().copied())));
            return None;
        };
        let of_signal = channels[channel].probe.unit();
        let (what, unit) = match f.kind.as_str() {
            "end" => (Measured::End, of_signal),
            "mean" => (Measured::Mean, of_signal),
            "rms" => (Measured::Rms, of_signal),
            _ => {
                let target = self.measured(f, "target", of_signal)?;
                let difference = if of_signal == "degC" { "K" } else { of_signal };
                let band = self.measured(f, "band", difference)?;
                if band <= 0.0 {
                    self.tell(f.place_of("band"), f.key("band"), "a band of no width", "a value above zero");
                }
                (Measured::SettlingTime { target, band }, "s")
            }
        };
        Some(MeasureSpec { name: f.text("name")?.to_string(), channel, what, unit: unit.to_string() })
    }

    fn search(&mut self, f: &Fields) -> Option<Search> {
        let slot = self.slot(f)?;
        let lower = self.measured(f, "lower", &slot.unit);
        let ends = lower.zip(self.measured(f, "upper", &slot.unit))?;
        if ends.0 >= ends.1 {
            self.tell(
                f.place_of("upper"),
                "search.upper",
                "`upper` is not above `lower`",
                "a value above `lower`",
            );
        }
        let limit = f.text("limit")?;
        let names: Vec<&str> = self.against.ready.judged.iter().map(|j| j.name.as_str()).collect();
        if !names.contains(&limit) {
            let found = format!("the scenario has no limit `{limit}`");
            let d = Diagnostic::new(f.place_of("limit"), "search.limit", found, one_of(&names));
            self.diagnostics.push(d.suggest(nearest(limit, names)));
        }
        let name = f.text("name").unwrap_or(&slot.path).to_string();
        let tolerance = f.number("tolerance").unwrap_or(1e-3);
        Some(Search { name, slot, ends, limit: limit.to_string(), tolerance })
    }

    /// Columns and paths are used once.
    fn unique(&mut self, f: &Fields) {
        let tables = f.tables("vary").iter().chain(f.table("search")).chain(f.tables("output"));
        let (mut names, mut paths) = (BTreeSet::new(), BTreeSet::new());
        for table in tables {
            let path = table.text("value");
            let name = table.text("name").or(path);
            if path.is_some_and(|p| !paths.insert(p.to_string())) {
                self.tell(table.place_of("value"), table.key("value"), "varied twice", "a value varied once");
            } else if name.is_some_and(|n| !names.insert(n.to_string())) {
                self.tell(table.place_of("name"), table.key("name"), "a name used twice", "a name used once");
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
