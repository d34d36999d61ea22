//! `run --spread`: what the spread of parts, or of what a plan varies, does to the numbers.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use rayon::prelude::*;

use super::execute::Job;
use crate::batch::parameter_path::{ParameterPath, PathContext};
use crate::batch::plan::{Plan, Values};
use crate::batch::variant::PlannedBatch;
use crate::command::args::RunArgs;
use crate::exit::BAD_INPUT;
use crate::input::access::Access;
use crate::input::keys::InputError;
use crate::input::keys::raw::RawTable;
use crate::input::scenario::build::Reductions;
use crate::input::scenario::resolve::{Loaded, as_typed, resolve};
use crate::input::scenario::resolved::Scenario;
use crate::input::scenario::sections::SCENARIO;
use crate::judge::{Computed, End, FACTOR, Far, Level, Moved, Uncertainty, differences, propagate, variance};
use crate::output::account::Account;
use crate::output::account::spread::{NumberSpread, Spreads, Varied};
use crate::output::written::Refused;

/// An input with where it stands.
struct Input {
    report: Varied,
    parameter: ParameterPath,
}

/// What is moved, and in what.
pub(super) struct Spreading<'a> {
    root: RawTable,
    loaded: Loaded,
    inputs: Vec<Input>,
    /// Of all inputs with each other.
    correlation: Vec<Vec<f64>>,
    reductions: &'a Reductions,
}

fn wrong(why: impl Into<String>) -> Refused {
    (why.into(), BAD_INPUT)
}

fn describe(error: InputError) -> String {
    match error {
        InputError::Unreadable(error) => error.to_string(),
        InputError::Refused(refusal) => {
            refusal.diagnostics.iter().map(|d| d.line()).collect::<Vec<_>>().join("; ")
        }
    }
}

/// The parameters of the scenario's parts: where each stands, its standard deviation, and pairs that correlate.
type OfParts = (Vec<(String, f64)>, Vec<(usize, usize, f64)>);

fn of_parts(scenario: &Scenario) -> OfParts {
    let (mut all, mut pairs) = (Vec::new(), Vec::new());
    for component in &scenario.components {
        let first = all.len();
        let own = &component.spread.deviations;
        all.extend(own.iter().map(|(key, s)| (format!("component.{}.{key}", component.name.name), *s)));
        let at = |key: &str| own.iter().position(|d| d.0 == key).map(|k| first + k);
        pairs.extend(component.spread.correlations.iter().filter_map(|(a, b, r)| Some((at(a)?, at(b)?, *r))));
    }
    (all, pairs)
}

/// What a plan draws: standard deviations of its distributions.
fn of_plan(plan: &Plan, path: &Path) -> Result<OfParts, Refused> {
    let mut all = Vec::new();
    for input in &plan.inputs {
        let Values::Drawn(distribution) = &input.values else {
            return Err(wrong(format!(
                "--spread: {} varies `{}` by stated values; expected a plan of distributions",
                path.display(),
                input.name
            )));
        };
        all.push((input.parameter.path.clone(), distribution.deviation()));
    }
    // The plan keeps the factor L of its correlation matrix L·Lᵀ.
    let mut pairs = Vec::new();
    if let Some(l) = &plan.correlation {
        for i in 0..l.len() {
            for j in 0..i {
                let r: f64 = l[i].iter().zip(&l[j]).map(|(a, b)| a * b).sum();
                pairs.extend((r != 0.0).then_some((i, j, r)));
            }
        }
    }
    Ok((all, pairs))
}

impl<'a> Spreading<'a> {
    /// What the command line asks for.
    ///
    /// # Errors
    /// A plan of another scenario, or one that draws nothing; parts without a spread.
    pub fn from_options(
        args: &RunArgs,
        scenario: &Scenario,
        reductions: &'a Reductions,
        access: &Access,
    ) -> Result<Option<Self>, Refused> {
        let Some(options) = &args.spread else { return Ok(None) };
        let open = access.open();
        let typed = as_typed(&args.scenario, &open).map_err(|t| wrong(describe(t)))?;
        let (found, pairs) = match options {
            Some(path) => {
                let study = PlannedBatch::read(path, &open)
                    .map_err(|w| wrong(format!("--spread: {}: {}", w.path.display(), describe(w.error))))?;
                let same = study.plan.scenario.as_ref().is_some_and(|named| {
                    let whole = |path: &Path| path.canonicalize().ok();
                    whole(named).is_some() && whole(named) == whole(&args.scenario)
                });
                if !same {
                    let named = study
                        .plan
                        .scenario
                        .as_ref()
                        .map_or("no scenario".into(), |p| p.display().to_string());
                    return Err(wrong(format!(
                        "--spread: {} varies {named}; expected a plan of {}",
                        path.display(),
                        args.scenario.display()
                    )));
                }
                of_plan(&study.plan, path)?
            }
            None => of_parts(scenario),
        };
        if found.is_empty() {
            let why = "--spread: no part of a component states a spread; expected [[spread]] in a part file, or a plan: \
                       --spread PLAN";
            return Err(wrong(why));
        }
        let context = PathContext {
            what: "the scenario",
            root: &typed.root,
            section: &SCENARIO,
            scenario: Some(scenario),
        };
        let mut inputs = Vec::new();
        for (path, deviation) in found {
            let parameter = ParameterPath::find(&path, &context).map_err(|(found, expected, _)| {
                wrong(format!("--spread: {path}: {found}; expected {expected}"))
            })?;
            let value = parameter.stated(&context).ok_or_else(|| {
                wrong(format!("--spread: {path} has no value in the scenario; expected one to spread around"))
            })?;
            if parameter.whole {
                return Err(wrong(format!("--spread: {path} is an integer; expected a quantity")));
            }
            let report = Varied { name: path, unit: parameter.unit.clone(), value, deviation };
            inputs.push(Input { report, parameter });
        }
        let n = inputs.len();
        let mut correlation = vec![vec![0.0; n]; n];
        (0..n).for_each(|k| correlation[k][k] = 1.0);
        for (a, b, r) in pairs {
            (correlation[a][b], correlation[b][a]) = (r, r);
        }
        let loaded = typed.load(&open);
        Ok(Some(Self { root: typed.root, loaded, inputs, correlation, reductions }))
    }

    /// The numbers with each input moved by so many standard deviations.
    fn at(&self, by: &[f64], job: &Job<'_>, halt: &AtomicBool) -> Result<Computed, String> {
        let mut root = self.root.clone();
        for (input, z) in self.inputs.iter().zip(by).filter(|(_, z)| **z != 0.0) {
            input.parameter.set(&mut root, input.report.value + z * input.report.deviation)?;
        }
        let scenario = resolve(&root, &self.loaded).map_err(describe)?;
        let moved =
            Job { scenario: &scenario, reductions: self.reductions, out: job.out, quiet: true, spread: None };
        moved.coarse(Level::STATED, halt)
    }

    /// Runs the differences, looks far out, and gives the account what they say.
    pub fn add_to(&self, account: &mut Account, centre: &Computed, job: &Job<'_>, halt: &AtomicBool) {
        let n = self.inputs.len();
        let one = |k: usize, z: f64| {
            let mut by = vec![0.0; n];
            by[k] = z;
            by
        };
        let ends: Vec<[Vec<f64>; 2]> = (0..n).map(|k| [one(k, -1.0), one(k, 1.0)]).collect();
        let moved: Vec<Moved> = ends
            .par_iter()
            .zip(&self.inputs)
            .map(|(ends, input)| Moved {
                name: input.report.name.clone(),
                ends: ends.each_ref().map(|by| self.at(by, job, halt)),
            })
            .collect();
        let errors: Vec<Uncertainty> = account.errors().cloned().collect();
        let sound = moved.iter().flat_map(|m| &m.ends).all(|end| {
            end.as_ref().is_ok_and(|c| c.course == centre.course && c.numbers.len() == centre.numbers.len())
        });
        let far: Vec<Far> = match sound {
            true => self
                .far(account, &moved)
                .into_par_iter()
                .map(|by| Far { computed: self.at(&by, job, halt), by })
                .collect(),
            false => Vec::new(),
        };
        let spreads = propagate(centre, &errors, &moved, &far, &self.correlation);
        let most_by = |k: usize| {
            let d = if sound { differences(&moved, k) } else { Vec::new() };
            let most = (0..d.len()).max_by(|a, b| d[*a].abs().total_cmp(&d[*b].abs()))?;
            (d[most] != 0.0).then(|| moved[most].name.clone())
        };
        let numbers = spreads.into_iter().enumerate().map(|(k, spread)| NumberSpread {
            name: centre.numbers[k].name.clone(),
            spread,
            most_by: most_by(k),
        });
        account.take_spread(Spreads {
            factor: FACTOR,
            runs: 2 * n + far.len(),
            inputs: self.inputs.iter().map(|i| i.report.clone()).collect(),
            numbers: numbers.collect(),
        });
    }

    /// Where inputs are moved together for each judged extreme: to where the law puts it [`FACTOR`] deviations nearer
    /// to its bound, by the shortest way (the most probable such point of normal inputs).
    fn far(&self, account: &Account, moved: &[Moved]) -> Vec<Vec<f64>> {
        let mut all: Vec<Vec<f64>> = Vec::new();
        for (k, j) in account.judged.iter().enumerate().filter(|(_, j)| j.limit.waived.is_none()) {
            for (side, sign, bounds) in
                [(0, -1.0, j.limit.bound(End::Least)), (1, 1.0, j.limit.bound(End::Largest))]
            {
                let d = differences(moved, 2 * k + side);
                let deviation = variance(&d, &self.correlation).sqrt();
                if bounds.is_none() || !(deviation > 0.0 && deviation.is_finite()) {
                    continue;
                }
                let row = |row: &Vec<f64>| row.iter().zip(&d).map(|(r, d)| r * d).sum::<f64>();
                let by: Vec<f64> =
                    self.correlation.iter().map(|r| sign * FACTOR * row(r) / deviation).collect();
                // Extremes that are moved alike (a limit and a rating of one thing) need one look.
                let alike =
                    |other: &Vec<f64>| other.iter().zip(&by).all(|(a, b)| (a - b).abs() < 0.05 * FACTOR);
                if !all.iter().any(alike) {
                    all.push(by);
                }
            }
        }
        all
    }
}
