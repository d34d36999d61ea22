//! Residuals of all curves against the free parameters.

use crate::extract::coordinates::Coordinate;
use crate::extract::evaluate::{Nearby, ordinates};
use crate::extract::least_squares::Problem;
use crate::extract::plan::{Candidate, Stage};
use crate::model::{Entry, Value, Values};
use crate::part::{Curve, Quantity};

/// What an operating point that is not found costs more than one that is: every way to it is tried first.
const SEEKS: u64 = 50;
/// What the residuals are where the model refuses the values.
const REFUSED: f64 = 1e3;

/// By what a point's deviation is divided: the ordinate itself; where a curve begins at nothing, at least a twentieth
/// of its largest ordinate, as one reads a linear axis.
pub fn scales(curve: &Curve) -> Vec<f64> {
    let linear = matches!(curve.quantity, Quantity::Transfer | Quantity::Output | Quantity::GateCharge);
    let most = curve.points.iter().map(|p| p.1.abs()).fold(0.0, f64::max);
    let floor = if linear { 0.05 * most } else { 1e-3 * most };
    curve.points.iter().map(|p| p.1.abs().max(floor).max(f64::MIN_POSITIVE)).collect()
}

struct Line<'p> {
    curve: &'p Curve,
    stage: Stage,
    scales: Vec<f64>,
    nearby: Nearby,
    /// Coordinates on which the curve depends, and the residuals there.
    last: Option<(Vec<f64>, Vec<f64>)>,
}

/// The problem that the optimiser sees.
pub struct Fit<'p> {
    entry: &'static Entry,
    /// Values of all parameters; the free ones at the last coordinates.
    pub values: Values,
    /// The free parameters.
    pub free: Vec<(Candidate, Coordinate)>,
    lines: Vec<Line<'p>>,
    /// Points at which the model was asked, and at how many it may be before the search ends.
    pub work: (u64, u64),
    /// Asked at every evaluation; once it says so the model is asked nothing more.
    stop: &'p (dyn Fn() -> bool + Sync),
}

impl<'p> Fit<'p> {
    /// The curves of some stages, by the parameters that are free.
    pub fn new(
        entry: &'static Entry,
        values: Values,
        free: &[Candidate],
        curves: &[&'p Curve],
        stages: &[Stage],
        stop: &'p (dyn Fn() -> bool + Sync),
    ) -> Self {
        let start = |c: &Candidate| values.maybe(c.param.key).unwrap_or(0.0);
        let free = free.iter().map(|c| (*c, Coordinate::new(c.param.range, start(c)))).collect();
        let line = |curve: &&'p Curve| {
            let stage = Stage::of(curve.quantity).filter(|s| stages.contains(s))?;
            Some(Line { curve, stage, scales: scales(curve), nearby: Nearby::default(), last: None })
        };
        let lines = curves.iter().filter_map(line).collect();
        Self { entry, lines, values, free, work: (0, u64::MAX), stop }
    }

    /// Work of so many Jacobians, in points.
    pub fn jacobians(&self, many: u64) -> u64 {
        many * (2 * self.free.len() as u64 + 1) * self.len() as u64
    }

    /// Number of residuals.
    pub fn len(&self) -> usize {
        self.lines.iter().map(|l| l.curve.points.len()).sum()
    }

    /// The stage of every residual.
    pub fn stages(&self) -> Vec<Stage> {
        self.lines.iter().flat_map(|l| l.curve.points.iter().map(|_| l.stage)).collect()
    }

    /// The coordinates of the present values.
    pub fn coordinates(&self) -> Vec<f64> {
        self.free.iter().map(|(c, of)| of.of(self.values.maybe(c.param.key).unwrap_or(0.0))).collect()
    }

    /// Moves the free parameters.
    pub fn set(&mut self, u: &[f64]) {
        for ((candidate, of), u) in self.free.iter().zip(u) {
            self.values.0.insert(candidate.param.key, Value::Number(of.back(*u)));
        }
    }
}

/// Whether a curve of one stage depends on a parameter of another: charges do not move an operating point, and the
/// closed form of the stored charge knows nothing but its times.
fn depends(line: &Line<'_>, parameter: Stage) -> bool {
    match (line.stage, parameter) {
        (Stage::Recovery, parameter) => line.curve.capacitive || parameter == Stage::Recovery,
        (curve, Stage::Charge) => curve == Stage::Charge,
        _ => true,
    }
}

impl Problem for Fit<'_> {
    fn exhausted(&self) -> bool {
        self.work.0 >= self.work.1 || (self.stop)()
    }

    fn residuals(&mut self, u: &[f64]) -> Vec<f64> {
        self.set(u);
        if (self.stop)() {
            return vec![REFUSED; self.len()];
        }
        let mut out = Vec::with_capacity(self.len());
        for line in &mut self.lines {
            let mine = self.free.iter().zip(u).filter(|((c, _), _)| depends(line, c.stage));
            let at: Vec<f64> = mine.map(|(_, u)| *u).collect();
            if line.last.as_ref().is_none_or(|l| l.0 != at) {
                self.work.0 += line.scales.len() as u64;
                let weight = line.curve.weight.sqrt();
                let points = line.curve.points.iter().zip(&line.scales);
                let residuals = match ordinates(self.entry, &self.values, line.curve, &mut line.nearby) {
                    Some(y) => points.zip(y).map(|((p, s), y)| weight * (y - p.1) / s).collect(),
                    None => {
                        self.work.0 += SEEKS * line.scales.len() as u64;
                        vec![REFUSED; line.scales.len()]
                    }
                };
                line.last = Some((at, residuals));
            }
            out.extend(line.last.iter().flat_map(|l| &l.1));
        }
        out
    }
}
