//! Parameters of the production models from points of a data sheet, by nonlinear least squares.
//!
//! The points are compared with what the model itself says: at the engine's operating point of the part between ideal
//! sources, and from the small-signal equations there. So a cascode is fitted as the two dies in series that it is, and
//! a model added to the catalogue can be fitted as soon as `plan.rs` names its parameters.
//!
//! The fit goes by stages (channel, diode, blocking, charge, recovery), then once more with all parameters together.
//! What the points do not determine stays where it began, and is reported.

pub mod bench;
mod certainty;
mod coordinates;
pub mod evaluate;
mod fit;
pub mod foster;
mod least_squares;
mod plan;
pub mod recovered;
mod report;
mod start;

pub use plan::Stage;
pub use report::{CurveFit, Doubt, Extraction, Fitted, Why, Worst};

use std::collections::BTreeMap;

use certainty::certainty;
use fit::Fit;
use least_squares::{Problem, jacobian, minimise};
use plan::{Candidate, candidates, is_needed};

use crate::model::{Param, Shape, Values};
use crate::part::{Curve, Impedance, Part, Quantity, Spread};

/// What a careful reader of a printed curve may be wrong by, as a part of the value: what the points determine is
/// judged by residuals of at least this size.
pub const READING: f64 = 0.01;
/// A parameter whose relative standard error is larger than this is in doubt.
pub const DOUBTFUL: f64 = 0.25;

/// Jacobians that one search may cost. Where points determine the parameters ten or twenty suffice; where they do not,
/// a search may creep along a valley without end, and is judged where it has come to.
const SEARCH: u64 = 40;
/// Searches of all parameters together that an extraction may cost.
const SEARCHES: u64 = 6;

/// Why nothing can be extracted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExtractError {
    /// No model is fitted to such curves.
    #[error("nothing to fit: {0}")]
    Nothing(String),
    /// A parameter that the model needs is neither given nor determined by a curve.
    #[error("`{key}` is neither given under [params] nor determined by a curve ({settled_by})")]
    Missing {
        /// The parameter.
        key: &'static str,
        /// What would determine it.
        settled_by: String,
    },
    /// Fewer points than parameters.
    #[error("{points} points for {} parameters: {}", .keys.len(), .keys.join(", "))]
    TooFew {
        /// Number of the first of the curves, from 0.
        curve: usize,
        /// Points of the stage.
        points: usize,
        /// Its parameters that cannot do without.
        keys: Vec<&'static str>,
    },
    /// The model refuses the values at which the fit begins.
    #[error("the model cannot be evaluated at the start of the fit ({0})")]
    Refused(String),
    /// It was asked to stop.
    #[error("stopped")]
    Stopped,
}

/// Fits what a part's curves tell of the parameters that it does not give. `start`: values at which the fit begins,
/// where the estimates from single points are not wanted.
///
/// # Errors
/// [`ExtractError`]. The curves must have passed [`inspect`](crate::part::inspect).
pub fn extract(part: &Part, start: &Values) -> Result<Extraction, ExtractError> {
    extract_watched(part, start, &|_, _| (), &|| false)
}

/// The same; `watch` is told after each search how many are done, and how many there may be at most; `stop` is asked
/// at every evaluation.
///
/// # Errors
/// As [`extract`]; [`ExtractError::Stopped`].
pub fn extract_watched(
    part: &Part,
    start: &Values,
    watch: &dyn Fn(u64, u64),
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Extraction, ExtractError> {
    let curves: Vec<&Curve> = part.curves.iter().collect();
    let mut doubts = Vec::new();
    let all = candidates(part);
    let keys: Vec<&'static str> = all.iter().map(|c| c.param.key).collect();
    let mut values = start::values(part, &keys, start);
    complete(part, &values)?;
    let mut free = Vec::new();
    for stage in Stage::ALL {
        let mine = all.iter().filter(|c| c.stage == stage).copied().collect();
        free.extend(affordable(part, stage, mine, &values, &mut doubts)?);
    }
    let thermal = part.curves.iter().any(|c| c.quantity == Quantity::TransientImpedance);
    if free.is_empty() && !thermal {
        let why = match all.is_empty() {
            true => format!("no curve speaks of a parameter of kind `{}` that is not given", part.kind),
            false => "too few points".to_string(),
        };
        return Err(ExtractError::Nothing(why));
    }
    let mut converged = true;
    // The searches of all together are bounded by their work: as much as of six.
    let most = Stage::ALL.len() as u64 + SEARCHES;
    for (done, stage) in (1..).zip(Stage::ALL) {
        let mine: Vec<Candidate> = free.iter().filter(|c| c.stage == stage).copied().collect();
        if !mine.is_empty() {
            let mut fit = Fit::new(part.entry(), values, &mine, &curves, &[stage], stop);
            check(&mut fit, stage)?;
            // What the start hides (a breakdown behind too much leakage) would wander off; it joins once the others
            // are near their places.
            let felt = felt(&mut fit);
            if felt.len() < mine.len() && !felt.is_empty() {
                let mut some = Fit::new(part.entry(), fit.values, &felt, &curves, &[stage], stop);
                minimised(&mut some, 60);
                fit = Fit::new(part.entry(), some.values, &mine, &curves, &[stage], stop);
            }
            minimised(&mut fit, 60);
            values = fit.values;
        }
        watch(done, most);
        if stop() {
            return Err(ExtractError::Stopped);
        }
    }
    // All together; what is not determined is held at its start, one after the other, the least certain first.
    let begin = start::values(part, &keys, start);
    let mut errors = Vec::new();
    let mut left = None;
    while !free.is_empty() {
        let mut fit = Fit::new(part.entry(), values, &free, &curves, &Stage::ALL, stop);
        let search = fit.jacobians(SEARCH);
        let all = *left.get_or_insert(SEARCHES * search);
        fit.work.1 = search.min(all);
        converged = minimised(&mut fit, 100);
        let rest = all.saturating_sub(fit.work.0);
        left = Some(rest);
        watch(most - rest.div_ceil(search.max(1)).min(SEARCHES), most);
        if stop() {
            return Err(ExtractError::Stopped);
        }
        let judged = judge(&mut fit);
        values = fit.values;
        let lost = judged.iter().enumerate().filter(|(_, j)| j.sure.is_nan() || j.sure >= 1.0);
        let worst = lost.max_by(|a, b| a.1.sure.total_cmp(&b.1.sure).then(a.0.cmp(&b.0)));
        let Some((k, judgement)) = worst else {
            errors = judged;
            break;
        };
        let held = free.remove(k);
        doubts.push(Doubt {
            key: held.param.key,
            why: Why::NotDetermined,
            with: judgement.with,
            settled_by: held.settled_by,
        });
        match begin.0.get(held.param.key) {
            Some(value) => drop(values.0.insert(held.param.key, value.clone())),
            None => drop(values.0.remove(held.param.key)),
        }
        // A parameter that the model needs keeps an estimate; without one there is no model.
        complete(part, &values)?;
    }
    for (candidate, judgement) in free.iter().zip(&errors) {
        if judgement.doubtful > DOUBTFUL {
            let with = judgement.with;
            let (key, settled_by) = (candidate.param.key, candidate.settled_by);
            doubts.push(Doubt { key, why: Why::Weak(judgement.doubtful), with, settled_by });
        }
    }
    let mut out = part.clone();
    out.values = values;
    out.given.extend(free.iter().map(|c| c.param.key));
    // What was held at an estimate is part of the answer too.
    let estimated = doubts.iter().filter(|d| part.values.0.get(d.key) != out.values.0.get(d.key));
    out.given.extend(estimated.map(|d| d.key).collect::<Vec<_>>());
    out.spread = spread(&free.iter().map(|c| c.param).collect::<Vec<_>>(), &errors);
    heat(&mut out);
    let fitted = free.iter().zip(&errors).map(|(c, j)| report::fitted(c, &out.values, j.error)).collect();
    let curves = report::curves(&out);
    Ok(Extraction { part: out, fitted, curves, doubts, converged })
}

/// Correlations that a part keeps: smaller ones hardly change what follows from all together.
const CORRELATED: f64 = 0.1;

/// How well the points know the parameters, from the covariance of the fit.
fn spread(params: &[&Param], errors: &[Judgement]) -> Spread {
    let known = |k: usize| {
        let single = matches!(params[k].shape, Shape::Number(_));
        single && errors[k].error.is_finite() && errors[k].error > 0.0
    };
    let mut all = Spread::default();
    for k in (0..params.len()).filter(|k| known(*k)) {
        all.deviations.push((params[k].key, errors[k].error));
        for j in (0..k).filter(|j| known(*j)) {
            let r = errors[k].correlation.get(j).copied().unwrap_or(0.0);
            if r.abs() >= CORRELATED {
                all.correlations.push((params[j].key, params[k].key, r.clamp(-1.0, 1.0)));
            }
        }
    }
    all
}

/// That the model has all that it needs.
fn complete(part: &Part, values: &Values) -> Result<(), ExtractError> {
    let needed = part.entry().params.iter().filter(|p| p.default.is_none() && !p.optional);
    match needed.into_iter().find(|p| !values.0.contains_key(p.key)) {
        None => Ok(()),
        Some(p) => {
            Err(ExtractError::Missing { key: p.key, settled_by: plan::settled_by(part.entry(), p.key) })
        }
    }
}

/// As many candidates of a stage as it has points, the least important dropped.
fn affordable(
    part: &Part,
    stage: Stage,
    mut mine: Vec<Candidate>,
    values: &Values,
    doubts: &mut Vec<Doubt>,
) -> Result<Vec<Candidate>, ExtractError> {
    let of_stage = |c: &&Curve| Stage::of(c.quantity) == Some(stage);
    let points: usize = part.curves.iter().filter(of_stage).map(|c| c.points.len()).sum();
    // A logarithm has no coordinate for a parameter that begins at zero, and none begins at nothing.
    mine.retain(|c| {
        values.maybe(c.param.key).is_some_and(|x| x != 0.0 || c.param.range == crate::model::Range::Any)
    });
    while mine.len() > points {
        let Some(k) = mine.iter().rposition(|c| !is_needed(c, &part.values)) else {
            let curve = part.curves.iter().position(|c| of_stage(&c)).unwrap_or(0);
            let keys = mine.iter().map(|c| c.param.key).collect();
            return Err(ExtractError::TooFew { curve, points, keys });
        };
        let held = mine.remove(k);
        let (key, settled_by) = (held.param.key, held.settled_by);
        doubts.push(Doubt { key, why: Why::TooFewPoints, with: None, settled_by });
    }
    Ok(mine)
}

fn check(fit: &mut Fit<'_>, stage: Stage) -> Result<(), ExtractError> {
    let u = fit.coordinates();
    let residuals = fit.residuals(&u);
    if residuals.iter().all(|r| r.is_finite() && r.abs() < 1e60) {
        return Ok(());
    }
    Err(ExtractError::Refused(format!("{stage:?}").to_lowercase()))
}

/// The free parameters that the residuals depend on at the present values.
fn felt(fit: &mut Fit<'_>) -> Vec<Candidate> {
    let u = fit.coordinates();
    let jacobian = jacobian(fit, &u);
    fit.set(&u);
    let lengths: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    let longest = lengths.iter().copied().fold(0.0, f64::max);
    let felt = fit.free.iter().zip(&lengths).filter(|(_, l)| **l > 1e-4 * longest);
    felt.map(|((candidate, _), _)| *candidate).collect()
}

/// Fits within the work that a search may cost, and leaves the values at the minimum.
fn minimised(fit: &mut Fit<'_>, patience: usize) -> bool {
    let u = fit.coordinates();
    fit.work.1 = fit.work.1.min(fit.jacobians(SEARCH));
    let found = minimise(fit, &u, patience);
    fit.set(&found.u);
    found.converged
}

/// How certain a fitted parameter is.
#[derive(Clone, Debug)]
struct Judgement {
    /// Standard error, in the parameter's unit.
    error: f64,
    /// Standard error over what distinguishes the parameter from nothing, by the residuals that were left.
    sure: f64,
    /// Standard error over the parameter's size for residuals of at least [`READING`].
    doubtful: f64,
    /// The parameter it is most strongly correlated with, and the correlation.
    with: Option<(&'static str, f64)>,
    /// Correlation coefficients with all free parameters.
    correlation: Vec<f64>,
}

/// Standard deviation of the residuals of each stage, by the parameters of that stage: curves of one kind may be met
/// worse than those of another.
fn scatter(fit: &Fit<'_>, residuals: &[f64]) -> BTreeMap<Stage, f64> {
    let stages = fit.stages();
    let of = |stage: &Stage| {
        let mine: Vec<f64> = residuals.iter().zip(&stages).filter(|r| r.1 == stage).map(|r| *r.0).collect();
        let free = fit.free.iter().filter(|f| f.0.stage == *stage).count();
        let spare = mine.len().saturating_sub(free).max(1);
        (*stage, (mine.iter().map(|r| r * r).sum::<f64>() / spare as f64).sqrt())
    };
    Stage::ALL.iter().map(of).collect()
}

/// Judges every free parameter.
fn judge(fit: &mut Fit<'_>) -> Vec<Judgement> {
    let u = fit.coordinates();
    let residuals = fit.residuals(&u);
    let scatter = scatter(fit, &residuals);
    let certain = certainty(&jacobian(fit, &u));
    fit.set(&u);
    let judged = fit.free.iter().enumerate().map(|(k, (candidate, of))| {
        let rest = scatter.get(&candidate.stage).copied().unwrap_or(f64::NAN);
        let error = certain.error[k] * of.slope(u[k]).abs();
        // Differences know a residual to about 1e-9, whatever it is.
        let size = of.back(u[k]).abs().max(f64::MIN_POSITIVE);
        let with = certain.partner[k].filter(|p| p.1.abs() > 0.95);
        Judgement {
            error: error * rest,
            sure: error * rest.max(1e-9) / (size * candidate.span()),
            doubtful: error * rest.max(READING) / size,
            with: with.map(|(j, r)| (fit.free[j].0.param.key, r)),
            correlation: certain.correlation[k].clone(),
        }
    });
    judged.collect()
}

/// Transient impedances, and the resistance that they end at.
fn heat(part: &mut Part) {
    for curve in part.curves.iter().filter(|c| c.quantity == Quantity::TransientImpedance) {
        let terms = foster::fit(&curve.points);
        let die = curve.die.clone().unwrap_or_else(|| part.kind.to_string());
        part.thermal.impedance.retain(|i| i.die != die);
        if !terms.is_empty() {
            part.thermal.impedance.push(Impedance { die, on: None, terms });
        }
    }
    if part.thermal.junction_case.is_none() {
        let ends = part.thermal.impedance.iter().map(|i| i.terms.iter().map(|t| t.0).sum::<f64>());
        part.thermal.junction_case =
            ends.fold(None, |most: Option<f64>, r| Some(most.map_or(r, |m| m.max(r))));
    }
}
