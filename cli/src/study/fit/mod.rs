//! Values of a scenario from what was measured.

mod begin;
mod problem;
mod tables;

use joulestep_models::extract::certainty::certainty_of;
use joulestep_models::extract::least_squares::minimise;
use std::cmp::Ordering;

use self::begin::{Begin, Parameter};
use self::problem::{Fitted, Fitting};
use super::{Context, Entry, Input, Question, StudyError, Trial};
use crate::input::keys::table::keys;
use crate::judge::Level;
use crate::output::answer::{Answer, Study, overlay};
use crate::progress::Rough;

/// The study.
pub static STUDY: Entry = Entry {
    name: "fit",
    section: &SECTION,
    help: "Fits values of a scenario (a loop inductance, a gate resistance, a stray capacitance, the instant of a trigger) \
           to the records under [[measured]]: nonlinear least squares on the residuals, each channel weighed by its noise, \
           which is stated or found from what the fit leaves. Every value begins at the one that the scenario has.\n\n\
           Tells each value with its standard error from the covariance of the fit, and beside it the numerical error from \
           fits with coarser steps; correlations; and what is left of each channel. Where residuals correlate from sample \
           to sample, the standard errors are enlarged for it.",
    examples: "joulestep fit examples/ferry-turn-off.toml --parameter component.loop.inductance \
               --parameter measured.trigger --plot fit.svg",
    inputs: &[Input::scenario(Asked::scenario)],
    trial: Trial {
        args: &["tests/catalogue_of_studies/measured.toml", "--parameter", "component.R1.resistance"],
        vary: ("component.C1.capacitance", ["1 uF", "1.2 uF"]),
    },
    refines: "steps",
    writes: &[],
    solve,
};

keys! {
    /// What is asked.
    pub(super) struct Asked in SECTION = "fit":
        "Fit values of a scenario to measured waveforms, with their uncertainty";
    need scenario: Files, "scenario file (TOML) with [[measured]]";
    need parameter: OneOrMore, "value that is fitted, by its path: component.loop.inductance";
}

/// Tries of a search, for each of (values + 1).
const PATIENCE: usize = 20;
/// Rounds in which the noise is found from what the round before left.
const ROUNDS: usize = 5;
/// Share by which the noise may change in the last of them.
const STEADY: f64 = 0.02;
/// Correlation from which on two values are hardly told apart.
const STRONG: f64 = 0.95;
/// Relative standard error from which on a value is not determined.
const LOST: f64 = 1.0;

/// Where coarser fits begin: the coordinates and the noise of that as stated.
struct Left(Vec<f64>, Vec<f64>);

fn solve(question: &Question, context: &Context<'_>) -> Result<Study, StudyError> {
    context.go_on()?;
    let begin = Begin::of(question)?;
    let progress = Rough::new(context.quiet);
    let mut fitting = Fitting::new(&begin, question, context, &progress)?;
    let mut u = fitting.start();
    let left = question.left::<Left>().filter(|_| context.level > Level::STATED);
    let mut converged = true;
    match (context.sketch, left) {
        (true, _) => {}
        (_, Some(left)) => {
            // The same weights, so that nothing but the steps differs.
            (u, fitting.noise) = (left.0.clone(), left.1.clone());
            u = minimise(&mut fitting, &u, PATIENCE).u;
        }
        (_, None) => {
            for round in 0..ROUNDS {
                let found = minimise(&mut fitting, &u, PATIENCE);
                (u, converged) = (found.u, found.converged);
                let moved = fitting.weigh(&u);
                if moved <= STEADY || round + 1 == ROUNDS || !fitting.goes_on() {
                    break;
                }
            }
        }
    }
    fitting.failed()?;
    let fitted = fitting.fitted(&u)?;
    let certain = certainty_of(&mut fitting, &u, &fitted.factors());
    fitting.failed()?;
    progress.done();
    let errors: Vec<f64> = certain.error.iter().enumerate().map(|(k, e)| e * fitting.slope(k, &u)).collect();
    if context.level == Level::STATED {
        question.leave(Left(u.clone(), fitting.noise.clone()));
    }
    let mut study = tables::study(&begin, &fitted, (&errors, &certain), &fitting.noise);
    study.title = title(question, &begin);
    study.answers = answers(&begin, &fitted, &errors);
    study.answers.push(Answer::count("runs", "runs that it took", fitting.runs() as f64, "1"));
    study.notes.extend(warnings(&begin, &fitted, &errors, &certain.partner));
    if !converged {
        study.notes.push("warning: the search did not converge within its bounded work; begin nearer".into());
    }
    study.definitions.extend(overlay::DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())));
    study.overlays = fitted.overlays;
    Ok(study)
}

fn title(question: &Question, begin: &Begin) -> String {
    let names: Vec<&str> = begin.parameters.iter().map(|p| p.path.path.as_str()).collect();
    let scenario = question.scenario().map(|s| s.title.clone()).unwrap_or_default();
    let of = if scenario.is_empty() { question.name() } else { scenario };
    match names.as_slice() {
        [rest @ .., last] if !rest.is_empty() => {
            format!("{of}: which values of {} and {last} reproduce what was measured?", rest.join(", "))
        }
        _ => format!("{of}: which value of {} reproduces what was measured?", names.join("")),
    }
}

fn answers(begin: &Begin, fitted: &Fitted, errors: &[f64]) -> Vec<Answer> {
    let of = |(k, p): (usize, &Parameter)| {
        let (path, unit) = (&p.path.path, p.path.unit.as_str());
        let value = fitted.values[k];
        let share = (errors[k] / value).abs();
        let remark = match share {
            x if !errors[k].is_finite() || x.is_nan() => "not determined".to_string(),
            x if x < 1.0 && !p.linear => format!("standard error {}", percent(x)),
            _ => String::new(),
        };
        let quantity = format!("{path}, fitted");
        let error = format!("{path}.standard_error");
        let words = format!("{path}, standard error");
        let difference = p.path.unit_of_difference();
        [
            Answer::new(path.clone(), quantity, value, unit).remark(remark),
            Answer::new(error, words, errors[k], difference),
        ]
    };
    begin.parameters.iter().enumerate().flat_map(of).collect()
}

fn percent(share: f64) -> String {
    joulestep_engine::units::people_digits(100.0 * share, "%", 2)
}

fn warnings(begin: &Begin, fitted: &Fitted, errors: &[f64], partner: &[Option<(usize, f64)>]) -> Vec<String> {
    let mut out = Vec::new();
    for (k, p) in begin.parameters.iter().enumerate() {
        let path = &p.path.path;
        // What is not a number counts as lost.
        let known = errors[k].partial_cmp(&(LOST * fitted.values[k].abs())) == Some(Ordering::Less);
        let lost = if p.linear { !errors[k].is_finite() } else { !known };
        if lost {
            out.push(format!("warning: the records do not determine {path}"));
        }
        if let Some((with, r)) = partner[k].filter(|(with, r)| r.abs() > STRONG && *with < k) {
            let other = &begin.parameters[with].path.path;
            out.push(format!("warning: {path} is strongly correlated with {other} (correlation {r:.3})"));
        }
    }
    for (o, rest) in fitted.overlays.iter().zip(&fitted.rests) {
        if rest.enlarges() {
            out.push(format!(
                "warning: the residuals of {} correlate from sample to sample ({:.2}): the circuit does not explain all of \
                 the record; the standard errors are enlarged {:.1} times for it, and what the circuit lacks may still \
                 shift the values by more",
                o.name(),
                rest.correlation,
                rest.enlarged()
            ));
        }
    }
    out
}
