//! What a fit says of itself.

use serde::Serialize;

use crate::extract::evaluate::{Nearby, ordinates};
use crate::extract::fit::scales;
use crate::extract::foster::impedance;
use crate::extract::plan::Candidate;
use crate::model::{Shape, Values};
use crate::part::{Curve, Part, Quantity, Variable};

/// A fitted parameter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fitted {
    /// Key.
    pub key: &'static str,
    /// Unit symbol.
    pub unit: &'static str,
    /// Value, SI units.
    pub value: f64,
    /// Standard error (one standard deviation) by the residuals that were left, in the same unit.
    #[serde(rename = "standard_error")]
    pub error: f64,
}

/// Why a parameter is in doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// The points do not determine it; it was held.
    NotDetermined,
    /// Its stage has fewer points than parameters; it was held.
    TooFewPoints,
    /// It was fitted, but points that are wrong by [`READING`](super::READING) leave this relative standard error.
    Weak(f64),
}

/// A parameter in doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Key.
    pub key: &'static str,
    /// Why.
    pub why: Why,
    /// The parameter that it cannot be distinguished from, and their correlation.
    pub with: Option<(&'static str, f64)>,
    /// The curve that would settle it, in words.
    pub settled_by: &'static str,
}

/// The point that a model misses most.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Worst {
    /// Its number, from 0.
    pub point: usize,
    /// The model's deviation from it, relative to its ordinate.
    pub deviation: f64,
}

/// A curve beside its fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurveFit {
    /// Number of the curve in the part, from 0.
    #[serde(skip)]
    pub curve: usize,
    /// The model's ordinates at the curve's points, SI units; empty where no model was fitted to it (kept as data).
    pub model: Vec<f64>,
    /// Root mean square of the deviations, each relative to its ordinate (see `scales`).
    pub rms: f64,
    /// The worst point.
    pub worst: Worst,
    /// The model along the abscissa, for a plot: SI units.
    pub line: Vec<(f64, f64)>,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Extraction {
    /// The part with its fitted parameters.
    pub part: Part,
    /// Fitted parameters.
    pub fitted: Vec<Fitted>,
    /// Curve by curve.
    pub curves: Vec<CurveFit>,
    /// Parameters in doubt.
    pub doubts: Vec<Doubt>,
    /// Whether the optimiser ended by its own measure.
    pub converged: bool,
}

pub(super) fn fitted(candidate: &Candidate, values: &Values, error: f64) -> Fitted {
    let param = candidate.param;
    let unit = match param.shape {
        Shape::Number(unit) | Shape::List(unit) | Shape::Table(_, unit) => unit,
    };
    Fitted { key: param.key, unit, value: values.maybe(param.key).unwrap_or(f64::NAN), error }
}

/// Points of a line for a plot.
const LINE: usize = 60;

/// Every curve of a part beside what the part's model says.
pub(super) fn curves(part: &Part) -> Vec<CurveFit> {
    part.curves
        .iter()
        .enumerate()
        .map(|(number, curve)| {
            let model = says(part, curve).unwrap_or_default();
            let deviations: Vec<f64> = model
                .iter()
                .zip(&curve.points)
                .zip(scales(curve))
                .map(|((y, p), scale)| (y - p.1) / scale)
                .collect();
            let worst = deviations.iter().copied().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            let (point, deviation) = worst.unwrap_or((0, 0.0));
            let sum: f64 = deviations.iter().map(|d| d * d).sum();
            let mut dense = curve.clone();
            dense.points = if model.is_empty() { Vec::new() } else { along(curve) };
            let line = says(part, &dense).unwrap_or_default();
            CurveFit {
                curve: number,
                rms: (sum / deviations.len().max(1) as f64).sqrt(),
                worst: Worst { point, deviation },
                line: dense.points.iter().map(|p| p.0).zip(line).collect(),
                model,
            }
        })
        .collect()
}

fn says(part: &Part, curve: &Curve) -> Option<Vec<f64>> {
    if curve.quantity == Quantity::TransientImpedance {
        let die = curve.die.as_deref().unwrap_or(part.kind);
        let terms = &part.thermal.impedance.iter().find(|i| i.die == die)?.terms;
        return Some(curve.points.iter().map(|p| impedance(terms, p.0)).collect());
    }
    ordinates(part.entry(), &part.values, curve, &mut Nearby::default())
}

/// Abscissae for a plot, in equal steps, or in equal ratios where the axis is usually logarithmic.
fn along(curve: &Curve) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (curve.points.first(), curve.points.last()) else { return Vec::new() };
    let capacitance = matches!(
        curve.quantity,
        Quantity::InputCapacitance
            | Quantity::OutputCapacitance
            | Quantity::TransferCapacitance
            | Quantity::Capacitance
    );
    let ratios = first.0 > 0.0
        && (capacitance
            || matches!(curve.against, Variable::Time | Variable::Current | Variable::CurrentRate));
    let at = |k: usize| {
        let s = k as f64 / (LINE - 1) as f64;
        if ratios { first.0 * (last.0 / first.0).powf(s) } else { first.0 + (last.0 - first.0) * s }
    };
    let many = if curve.points.len() < 2 { 1 } else { LINE };
    (0..many).map(|k| (at(k).clamp(first.0, last.0.max(first.0)), 0.0)).collect()
}
