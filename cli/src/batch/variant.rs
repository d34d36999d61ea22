//! A study: everything read once, from which any variant can be run alone, on any thread, with the same bits.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use joulestep_engine::error::SolverError;
use joulestep_engine::run::setup::{self, Setup};
use joulestep_engine::run::time_loop::{Ended, Run};
use sha2::{Digest, Sha256};

use crate::batch::errors::verdict;
use crate::batch::measure::Measures;
use crate::batch::order::DEFAULT_LANES;
use crate::batch::parquet::{as_csv, is_parquet};
use crate::batch::plan::{Plan, beside};
use crate::batch::read::{Against, PlanFile, open_plan, understand};
use crate::batch::row::{self, Column, Row, Status};
use crate::batch::sections;
use crate::batch::subject::{Prepared, Subject, prepare};
use crate::diagnostic::{Refusal, Sources};
use crate::input::keys::InputError;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::include::Open;
use crate::input::parameter_path::{ParameterPath, PathContext};
use crate::input::scenario::build::{Judged, Ready, Reductions, build_with};
use crate::input::scenario::resolve::{self, Loaded, as_typed};
use crate::judge::{Bounds, Computed, End, Level, Limit, Uncertainty};
use crate::output::account::{Account, Facts, Outcome};
use crate::output::answer::Estimation;
use crate::study::run::{self, Built};

/// A plan with its scenario, ready to run any of its variants.
#[derive(Debug)]
pub struct PlannedBatch {
    /// The plan.
    pub plan: Plan,
    /// Values of all variants, one variant after the other.
    pub values: Vec<f64>,
    /// Columns of the numbers that a variant yields.
    pub outputs: Vec<Column>,
    /// Limits and ratings that the verdict judges, with the numbers of their columns; the user's first.
    pub limits: Vec<Bound>,
    /// Variants that are solved side by side at most: 1, 4 or 8.
    pub lanes: usize,
    /// SHA-256 of the program's version and of every file that was read, hexadecimal.
    pub digest: String,
    /// The plan file and all files of the scenario.
    pub inputs: Sources,
    pub(super) subject: Subject,
    /// The checked tables of the scenario whose run is varied, and what it names.
    scenario: Option<(Fields, Loaded)>,
    reductions: Reductions,
}

/// A limit of the user, or a rating of a part, among the columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// The limit, with its bounds in the scenario as it stands.
    pub limit: Limit,
    /// Columns of the least and the largest value among the outputs.
    pub columns: (usize, usize),
    /// Numbers of the inputs that vary the bounds.
    pub varied: (Option<usize>, Option<usize>),
}

impl Bound {
    /// The bounds in a variant with these inputs.
    pub fn of(&self, inputs: &[f64]) -> Bounds {
        let varied = |input: Option<usize>, stated: f64| input.map_or(stated, |k| inputs[k]);
        let stated = self.limit.bounds;
        Bounds { lower: varied(self.varied.0, stated.lower), upper: varied(self.varied.1, stated.upper) }
    }
}

/// A run of a variant, and what is taken of it.
#[derive(Debug)]
pub(super) struct Begun<'a> {
    pub run: Run<f64>,
    pub facts: Facts,
    pub measures: Measures<'a>,
}

/// What one run of a variant gives.
#[derive(Clone, Debug)]
pub(super) struct Once {
    pub row: Row,
    /// Whether the limit of the search was kept.
    pub kept: Option<bool>,
    /// The row's outputs with what is known beside them, and what protection did.
    pub computed: Computed,
}

impl Once {
    fn of_row(row: Row, kept: Option<bool>) -> Self {
        Self { row, kept, computed: Computed::default() }
    }
}

/// Makes a setup as coarse as a level; numbers that are taken of samples see fewer of them.
pub(super) fn coarsen(setup: &mut Setup<f64>, level: Level) {
    level.apply(setup);
    setup.sample_every *= level.of_steps();
}

/// Which file is wrong, and what is.
#[derive(Debug, thiserror::Error)]
#[error("{what} `{}`: {error}", path.display())]
pub struct Wrong {
    /// "the plan" or "the scenario".
    pub what: &'static str,
    /// The file.
    pub path: PathBuf,
    /// What is wrong.
    pub error: InputError,
}

type Read = (Option<(Fields, Loaded)>, Subject, Plan, (Vec<Column>, Vec<Bound>));

fn of_plan(plan: &PlanFile, error: InputError) -> Wrong {
    let path = plan.sources.files.first().map(|f| f.0.clone()).unwrap_or_default();
    Wrong { what: "the plan", path, error }
}

/// A plan that varies the run of a scenario.
fn run_of(plan: &PlanFile, path: &Path, reductions: &Reductions, open: Open<'_>) -> Result<Read, Wrong> {
    let of_scenario = |error| Wrong { what: "the scenario", path: path.to_path_buf(), error };
    let typed = as_typed(path, open).map_err(of_scenario)?;
    let loaded = typed.load(open);
    let (fields, wrong) = resolve::check(&typed.root, &loaded);
    let scenario = resolve::meant(&fields, wrong, &loaded).map_err(of_scenario)?;
    let built = build_with(&scenario, reductions);
    let ready = built.map_err(|r| of_scenario(InputError::Refused(r)))?;
    let context = PathContext {
        what: "the scenario",
        root: &fields,
        section: &crate::input::scenario::sections::SCENARIO,
        scenario: Some(&scenario),
    };
    let outline = run::outline(&ready);
    let own = Column::all_of(&outline);
    let limits = limits_of(&ready, &own);
    let names = limits.iter().map(|l| l.limit.name.as_str()).collect();
    let against = Against { context, ready: Some(&ready), own: &own, limits: names };
    let resolved = understand(plan, &against, open).map_err(|r| of_plan(plan, InputError::Refused(r)))?;
    let columns = row::columns(&resolved, &own, limits);
    Ok((Some((fields, loaded)), Subject::Run, resolved, columns))
}

/// The limits of a run, the user's first; a side that is not bounded counts as the other one.
fn limits_of(ready: &Ready, own: &[Column]) -> Vec<Bound> {
    let bound = |j: &Judged| {
        let at = |end| own.iter().position(|c| c.name == j.limit.number(end));
        let [least, largest] = End::BOTH.map(at);
        let columns = (least.or(largest)?, largest.or(least)?);
        Some(Bound { limit: j.limit.clone(), columns, varied: (None, None) })
    };
    let mut judged: Vec<&Judged> = ready.judging.judged.iter().collect();
    judged.sort_by_key(|j| j.limit.set_by);
    judged.into_iter().filter_map(bound).collect()
}

/// A plan that varies a rating or a dead-time study.
fn study_of(plan: &PlanFile, open: Open<'_>) -> Result<Read, Wrong> {
    let wrong = |refusal| of_plan(plan, InputError::Refused(refusal));
    let Prepared { subject, columns, scenario: meant_scenario, limits } =
        prepare(plan, open).map_err(wrong)?;
    let (Some(section), Some(root)) = (subject.section(), subject.tables()) else {
        return Err(wrong(Refusal::default()));
    };
    let context = PathContext { what: "the study", root, section, scenario: meant_scenario.as_deref() };
    let names = limits.iter().map(|l| l.limit.name.as_str()).collect();
    let against = Against { context, ready: None, own: &columns, limits: names };
    let resolved = understand(plan, &against, open).map_err(wrong)?;
    let columns = row::columns(&resolved, &columns, limits);
    Ok((None, subject, resolved, columns))
}

impl PlannedBatch {
    /// Why no variant can pass as the subject stands, in words.
    pub fn doubts(&self) -> Vec<String> {
        self.subject.doubts()
    }

    /// Reads a plan with its subject and holds one against the other.
    ///
    /// # Errors
    /// [`Wrong`].
    pub fn read(path: &Path, open: Open<'_>) -> Result<Self, Wrong> {
        let files: RefCell<BTreeMap<PathBuf, String>> = RefCell::default();
        let remember = |path: &Path| {
            // Whether it may be read is asked of any file; a table is no text.
            let text = match open(path) {
                Err(e) if e.kind() == io::ErrorKind::InvalidData && is_parquet(path) => as_csv(path)?,
                read => read?,
            };
            files.borrow_mut().insert(path.to_path_buf(), text.clone());
            Ok(text)
        };
        let unread = |error| Wrong { what: "the plan", path: path.to_path_buf(), error };
        let plan_file = open_plan(path, &remember).map_err(unread)?;
        let reductions = Reductions::default();
        // `scenario` in the plan, or in the table of the study `run`.
        let of_study = plan_file.fields.under(run::STUDY.section.name).first();
        let of_study =
            of_study.and_then(|f| f.get::<Vec<Named>>(run::STUDY.inputs[0].key)?.into_iter().next());
        let scenario = plan_file.fields.get(sections::Plan::scenario).or(of_study);
        let (scenario, subject, plan, (outputs, limits)) = match scenario {
            Some(Named { name, .. }) => run_of(&plan_file, &beside(path, &name), &reductions, &remember)?,
            None => study_of(&plan_file, &remember)?,
        };
        let files = files.into_inner();
        // From the plan's folder on: the same batch wherever that folder is mounted.
        let folder = path.parent().unwrap_or(Path::new(""));
        let shown = |path: &Path| path.strip_prefix(folder).unwrap_or(path).display().to_string();
        let files = files.iter().map(|(path, text)| (PathBuf::from(shown(path)), text.clone()));
        let inputs = Sources { files: files.collect() };
        let mut hash = Sha256::new();
        hash.update(concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"), "\n"));
        for (name, text) in &inputs.files {
            // With lengths, so that no text passes for another file.
            hash.update(format!("{} {}\n", name.as_os_str().len(), text.len()));
            hash.update(name.as_os_str().as_encoded_bytes());
            hash.update(text);
        }
        let digest = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        let values = plan.values();
        let lanes = match subject {
            Subject::Run => plan.lanes.unwrap_or(DEFAULT_LANES),
            _ => 1,
        };
        Ok(Self { plan, values, outputs, limits, lanes, digest, inputs, subject, scenario, reductions })
    }

    /// Whether variants are solved side by side.
    pub fn in_lanes(&self) -> bool {
        // Where a limit is just met is decided run by run.
        self.lanes > 1 && self.plan.search.is_none() && matches!(self.subject, Subject::Run)
    }

    /// Whether a study is varied, no run.
    pub(super) fn is_study(&self) -> bool {
        !matches!(self.subject, Subject::Run)
    }

    /// Number of variants.
    pub fn count(&self) -> usize {
        self.values.len() / self.plan.inputs.len().max(1)
    }

    /// Values of a variant, in the order of the inputs.
    pub fn inputs(&self, variant: usize) -> &[f64] {
        let k = self.plan.inputs.len();
        &self.values[variant * k..(variant + 1) * k]
    }

    /// Runs a variant; whatever goes wrong with it stands in its row. Its verdict is that of the numbers as they stand,
    /// without estimates of errors. `None` where `stop` was set before its end.
    pub fn run(&self, variant: usize, stop: &AtomicBool) -> Option<Row> {
        self.run_at(variant, Level::STATED, stop).map(|once| once.row)
    }

    /// The same, as coarse as a level.
    pub(super) fn run_at(&self, variant: usize, level: Level, stop: &AtomicBool) -> Option<Once> {
        let settings = self.settings(variant);
        let due = self.plan.estimate.includes(variant);
        let how = (level, if due { Estimation::Coarser } else { Estimation::None });
        let run = || match &self.plan.search {
            None => self.once(&settings, how, stop),
            Some(search) => self.search(search, settings.clone(), how, stop),
        };
        let outcome = catch_unwind(AssertUnwindSafe(run)).unwrap_or_else(|_| {
            Some(self.without(Status::Broken, "the program failed in this variant; please report it".into()))
        });
        let mut once = outcome?;
        self.complete(&mut once, variant);
        Some(once)
    }

    /// Writes into a row whose it is, and the verdict on its numbers as they stand.
    pub(super) fn complete(&self, once: &mut Once, variant: usize) {
        once.row.variant = variant;
        once.row.verdict = verdict(self, &once.row, &vec![Uncertainty::Bare; self.outputs.len()]);
    }

    /// What a variant sets.
    pub(super) fn settings(&self, variant: usize) -> Vec<(&ParameterPath, f64)> {
        self.plan.inputs.iter().map(|i| &i.parameter).zip(self.inputs(variant).iter().copied()).collect()
    }

    pub(super) fn without(&self, status: Status, error: String) -> Once {
        Once::of_row(Row::new(status, error, vec![f64::NAN; self.outputs.len()]), None)
    }

    /// Reads and builds the scenario with these settings.
    pub(super) fn built(&self, settings: &[(&ParameterPath, f64)]) -> Result<Built, String> {
        let (fields, loaded) = self.scenario.as_ref().ok_or("no scenario is run")?;
        let mut fields = fields.clone();
        for (parameter, value) in settings {
            parameter.set(&mut fields, *value)?;
        }
        let describe = |refusal: Refusal| {
            let lines: Vec<String> = refusal.diagnostics.iter().map(|d| d.line()).collect();
            lines.join("; ")
        };
        let scenario = resolve::meant(&fields, Vec::new(), loaded).map_err(|error| match error {
            InputError::Unreadable(error) => error.to_string(),
            InputError::Refused(refusal) => describe(refusal),
        })?;
        let ready = build_with(&scenario, &self.reductions).map_err(describe)?;
        Ok(Built::new(ready, scenario.title, scenario.steps.end))
    }

    /// What a row's variant runs. Where the plan searches, at the value found.
    ///
    /// # Errors
    /// In words.
    pub(crate) fn prepared(&self, row: &Row) -> Result<Built, String> {
        let own = self.plan.inputs.iter().map(|i| &i.parameter).zip(self.inputs(row.variant).iter().copied());
        let found = self.plan.search.iter().map(|s| &s.parameter).zip(row.outputs.first().copied());
        let settings: Vec<(&ParameterPath, f64)> = own.chain(found).collect();
        self.built(&settings)
    }

    pub(super) fn once(
        &self,
        settings: &[(&ParameterPath, f64)],
        how: (Level, Estimation),
        stop: &AtomicBool,
    ) -> Option<Once> {
        if self.is_study() {
            return match self.subject.once(settings, &self.outputs, how, stop)? {
                Ok((study, limits)) => Some(self.row(&study, &limits, &[])),
                Err((status, why)) => Some(self.without(status, why)),
            };
        }
        match self.begun(settings, how.0, stop) {
            Ok(mut begun) => {
                let ended = begun.run.advance(begun.facts.end, &mut begun.measures);
                self.ended(begun, ended)
            }
            Err(once) => Some(*once),
        }
    }

    /// A run made ready; or why there is none.
    pub(super) fn begun<'a>(
        &'a self,
        settings: &[(&ParameterPath, f64)],
        level: Level,
        stop: &'a AtomicBool,
    ) -> Result<Begun<'a>, Box<Once>> {
        let Built { mut setup, mut facts, measured } =
            self.built(settings).map_err(|why| Box::new(self.without(Status::Refused, why)))?;
        coarsen(&mut setup, level);
        let failed = |why: setup::Refusal| Box::new(self.without(Status::Failed, why.to_string()));
        let run = setup.ready().map_err(failed)?;
        facts.method = run.method();
        Ok(Begun { run, facts, measures: Measures::new(&self.plan.measures, measured, stop) })
    }

    /// What a run that is over gives; `None` where it was stopped.
    pub(super) fn ended(&self, begun: Begun<'_>, ended: Result<Ended, SolverError>) -> Option<Once> {
        let Begun { mut run, facts, mut measures } = begun;
        let outcome = match ended {
            Ok(Ended::Reached) => Outcome::Done,
            Ok(Ended::Stopped) => return None,
            Err(error) => Outcome::Failed(error.to_string()),
        };
        run.finish(&mut measures);
        let account = Account::new(&run, &facts, measures.cleared(), outcome);
        Some(self.of_run(&account, &measures))
    }

    /// What a run that is over gives.
    pub(super) fn of_run(&self, account: &Account, measures: &Measures<'_>) -> Once {
        let mut study = run::of_account(account);
        study.tables.extend(run::residuals(&measures.overlays()));
        study.computation.course.extend(measures.course().iter().cloned());
        self.row(&study, &[], &measures.values())
    }
}
