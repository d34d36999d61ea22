//! `--spread`: what the spread of parts, or of what a plan varies, does to the numbers of a study.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::study::Asked;
use crate::batch::plan::{Plan, Values};
use crate::batch::variant::PlannedBatch;
use crate::diagnostic::Diagnostic;
use crate::exit::BAD_INPUT;
use crate::input::keys::InputError;
use crate::input::keys::include::Open;
use crate::input::parameter_path::{ParameterPath, PathContext};
use crate::input::scenario::resolved::Scenario;
use crate::judge::{
    Bounds, Computed, FACTOR, Far, Moved, Spread, Uncertainty, differences, propagate, variance,
};
use crate::output::answer::{Estimation, Outcome, Study, StudyTable};
use crate::output::table::{Cell, OF_ROW, Rows, UNIT};
use crate::output::written::Refused;
use crate::study::question::section;
use crate::study::{Checked, Context, Entry, Question};

/// An input that spreads.
struct Input {
    parameter: ParameterPath,
    value: f64,
    deviation: f64,
}

/// What is moved, and in what.
pub(super) struct Spreading<'a> {
    entry: &'static Entry,
    checked: Checked,
    inputs: Vec<Input>,
    /// Of all inputs with each other.
    correlation: Vec<Vec<f64>>,
    context: Context<'a>,
}

fn wrong(why: impl Into<String>) -> Refused {
    (why.into(), BAD_INPUT)
}

fn lines(diagnostics: &[Diagnostic]) -> String {
    diagnostics.iter().map(Diagnostic::line).collect::<Vec<_>>().join("; ")
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

/// A plan that varies this scenario.
fn plan_of(path: &Path, scenario: &Path, open: Open<'_>) -> Result<PlannedBatch, Refused> {
    let batch = PlannedBatch::read(path, open).map_err(|w| {
        let what = match w.error {
            InputError::Unreadable(error) => error.to_string(),
            InputError::Refused(refusal) => lines(&refusal.diagnostics),
        };
        wrong(format!("--spread: {}: {what}", w.path.display()))
    })?;
    let whole = |path: &Path| path.canonicalize().ok();
    let named = batch.plan.scenario.as_ref();
    if named.is_some_and(|named| whole(named).is_some() && whole(named) == whole(scenario)) {
        return Ok(batch);
    }
    let named = named.map_or("no scenario".into(), |p| p.display().to_string());
    let (path, scenario) = (path.display(), scenario.display());
    Err(wrong(format!("--spread: {path} varies {named}; expected a plan of {scenario}")))
}

impl<'a> Spreading<'a> {
    /// What the command line asks for.
    ///
    /// # Errors
    /// A plan of another scenario, or one that draws nothing; parts without a spread.
    pub fn of(
        asked: &Asked,
        plan: Option<&PathBuf>,
        context: Context<'a>,
        open: Open<'_>,
    ) -> Result<Self, Refused> {
        let Asked { question, checked } = asked;
        let scenario = question.shared_scenario();
        let Some(scenario) = scenario.as_deref() else {
            return Err(wrong("--spread: no scenario; expected one"));
        };
        let named = question.inputs.files.first().map_or(PathBuf::new(), |f| f.0.clone());
        let (found, pairs) = match plan {
            Some(path) => of_plan(&plan_of(path, &named, open)?.plan, path)?,
            None => of_parts(scenario),
        };
        if found.is_empty() {
            let why = "--spread: no part of a component states a spread; expected [[spread]] in a part file, or a plan: \
                       --spread PLAN";
            return Err(wrong(why));
        }
        let section = section(question.entry);
        let context_of_paths =
            PathContext { what: "the scenario", root: &checked.fields, section, scenario: Some(scenario) };
        let mut inputs = Vec::new();
        for (path, deviation) in found {
            let parameter =
                ParameterPath::find(&path, &context_of_paths).map_err(|(found, expected, _)| {
                    wrong(format!("--spread: {path}: {found}; expected {expected}"))
                })?;
            let value = parameter.stated(&context_of_paths).ok_or_else(|| {
                wrong(format!("--spread: {path} has no value in the scenario; expected one to spread around"))
            })?;
            if parameter.whole {
                return Err(wrong(format!("--spread: {path} is an integer; expected a quantity")));
            }
            inputs.push(Input { parameter, value, deviation });
        }
        let n = inputs.len();
        let mut correlation = vec![vec![0.0; n]; n];
        (0..n).for_each(|k| correlation[k][k] = 1.0);
        for (a, b, r) in pairs {
            (correlation[a][b], correlation[b][a]) = (r, r);
        }
        let context =
            Context { quiet: true, brief: true, estimation: Estimation::None, record: None, ..context };
        Ok(Self { entry: question.entry, checked: checked.clone(), inputs, correlation, context })
    }

    /// The numbers with each input moved by so many standard deviations.
    fn at(&self, by: &[f64]) -> Result<Computed, String> {
        let mut checked = self.checked.clone();
        for (input, z) in self.inputs.iter().zip(by).filter(|(_, z)| **z != 0.0) {
            input.parameter.set(&mut checked.fields, input.value + z * input.deviation)?;
        }
        let question = Question::of(self.entry, &checked).map_err(|d| lines(&d))?;
        let study = (self.entry.solve)(&question, &self.context).map_err(|why| why.to_string())?;
        match study.outcome {
            Outcome::Done => Ok(study.computed()),
            Outcome::Interrupted => Err("it was stopped".into()),
            Outcome::Failed(why) => Err(why),
        }
    }

    /// Computes the differences, looks far out, and gives the study what they say.
    pub fn add_to(&self, study: &mut Study) {
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
                name: input.parameter.path.clone(),
                ends: ends.each_ref().map(|by| self.at(by)),
            })
            .collect();
        let centre = study.computed();
        let known = study.known();
        let errors: Vec<Uncertainty> = known.iter().map(|k| k.1.clone()).collect();
        let sound = moved.iter().flat_map(|m| &m.ends).all(|end| {
            end.as_ref().is_ok_and(|c| c.course == centre.course && c.numbers.len() == centre.numbers.len())
        });
        let far: Vec<Far> = match sound {
            true => {
                self.far(study, &moved).into_par_iter().map(|by| Far { computed: self.at(&by), by }).collect()
            }
            false => Vec::new(),
        };
        let spreads = propagate(&centre, &errors, &moved, &far, &self.correlation);
        let most_by = |k: usize| {
            let d = if sound { differences(&moved, k) } else { Vec::new() };
            let most = (0..d.len()).max_by(|a, b| d[*a].abs().total_cmp(&d[*b].abs()))?;
            (d[most] != 0.0).then(|| moved[most].name.clone())
        };
        let exact = |k: usize| study.answers.get(k).is_some_and(|a| a.exact);
        let words = |spread: &Spread| match spread {
            Spread::Linear { .. } => ("linear", String::new()),
            Spread::Unresolved { .. } => ("unresolved", String::new()),
            Spread::NotLinear { why } => ("not linear", why.clone()),
        };
        let times = |spread: &Spread, factor: f64| {
            let error = spread.plus_minus().map(|x| Uncertainty::within(factor * x / FACTOR));
            error.map_or(Cell::None, Cell::Error)
        };
        let numbers = Rows::of((0..spreads.len()).filter(|k| !exact(*k)))
            .text("number", |&k| centre.numbers[k].name.clone())
            .text(UNIT, |&k| known[k].0.clone())
            .number("value", "value", OF_ROW, |&k| centre.numbers[k].value)
            .number("deviation", "standard deviation", OF_ROW, |&k| times(&spreads[k], 1.0))
            .number("plus_minus", "\u{b1} input", OF_ROW, |&k| times(&spreads[k], FACTOR))
            .text("kind", |&k| words(&spreads[k]).0)
            .text("by", |&k| most_by(k).unwrap_or_default())
            .text("why", |&k| words(&spreads[k]).1)
            .table();
        let numbers = StudyTable::new("spread", "What it does to the numbers", 1, numbers);
        study.tables.extend([self.table(), numbers]);
        for (answer, spread) in study.answers.iter_mut().zip(spreads) {
            answer.spread = Some(spread).filter(|_| !answer.exact);
        }
        study.input = format!("with {FACTOR} standard deviations of {n} inputs");
        study.definitions.push((
            "\u{b1} input".into(),
            format!(
                "{FACTOR} standard deviations of the number, from {} computations with each input moved by its own to either \
                 side (law of propagation, JCGM 100:2008, 5.1.2 and 5.2.2); by: the input that does most; unresolved: less \
                 than the numerical error of what was compared, and mostly that error",
                2 * n + far.len()
            ),
        ));
        study.judge();
    }

    /// The inputs.
    fn table(&self) -> StudyTable {
        let data = Rows::of(&self.inputs)
            .text("input", |i| i.parameter.path.clone())
            .text(UNIT, |i| i.parameter.unit.clone())
            .number("value", "value", OF_ROW, |i| i.value)
            .number("deviation", "standard deviation", OF_ROW, |i| Uncertainty::within(i.deviation))
            .table();
        StudyTable::new("spread_inputs", "Spread of the input", 1, data)
    }

    /// Where inputs are moved together for each judged number: to where the law puts it [`FACTOR`] deviations nearer
    /// to its bound, by the shortest way (the most probable such point of normal inputs).
    fn far(&self, study: &Study, moved: &[Moved]) -> Vec<Vec<f64>> {
        let mut all: Vec<Vec<f64>> = Vec::new();
        for (k, a) in study.answers.iter().enumerate().filter(|(_, a)| a.waived().is_none()) {
            let own = a.bounds();
            let sides = [(-1.0, Bounds::at_least(own.lower)), (1.0, Bounds::at_most(own.upper))];
            for (sign, bounds) in sides {
                let d = differences(moved, k);
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
