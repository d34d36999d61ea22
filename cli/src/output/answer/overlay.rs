//! Measured beside simulated: what both are at the instants of a record, and how far apart.

use super::{StudyFigure, StudyTable};
use crate::output::plot::traces::{Traces, spanned};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};
use crate::output::table::{Head, OF_ROW, Rows, UNIT};

/// Most points of a measured curve that are drawn as such; of more, least and largest value per column.
const DRAWN: usize = 1600;
/// Most samples of a channel in the table of residuals.
const LISTED: usize = 10_000;

/// A measured channel and the signal of the run at its instants.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Overlay {
    /// Name of the record.
    pub record: String,
    /// Name of the signal.
    pub signal: String,
    /// Unit symbol of both.
    pub unit: String,
    /// Instants that the run reached, rising, s.
    pub times: Vec<f64>,
    /// What was measured there.
    pub measured: Vec<f64>,
    /// What was simulated there.
    pub simulated: Vec<f64>,
}

impl Overlay {
    /// Record and signal.
    pub fn name(&self) -> String {
        format!("{}.{}", self.record, self.signal)
    }

    /// Measured less simulated, at each instant.
    pub fn residuals(&self) -> impl Iterator<Item = f64> {
        self.measured.iter().zip(&self.simulated).map(|(m, s)| m - s)
    }

    /// Root of the mean square of the residuals; NaN where there are none.
    pub fn rms(&self) -> f64 {
        (self.residuals().map(|r| r * r).sum::<f64>() / self.times.len() as f64).sqrt()
    }

    /// Half of the distance from the least to the largest measured value.
    fn amplitude(&self) -> f64 {
        let (low, high) =
            self.measured.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |b, &x| (b.0.min(x), b.1.max(x)));
        0.5 * (high - low)
    }

    /// Instant and size of the largest residual; NaN where there are none.
    pub fn largest(&self) -> (f64, f64) {
        let each = self.times.iter().copied().zip(self.residuals());
        let first = (f64::NAN, f64::NAN);
        each.fold(first, |most, (t, r)| if most.1 >= r.abs() { most } else { (t, r.abs()) })
    }

    /// Measured points between two instants, as a curve shows them.
    pub fn shown(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let first = self.times.partition_point(|t| *t < from);
        let end = self.times.partition_point(|t| *t <= to).max(first);
        drawn(&self.times[first..end], &self.measured[first..end])
    }
}

fn drawn(times: &[f64], values: &[f64]) -> Vec<(f64, f64)> {
    match times.len() {
        0..=DRAWN => times.iter().copied().zip(values.iter().copied()).collect(),
        _ => spanned(times, values, values),
    }
}

/// How far apart measured and simulated are.
pub fn table(all: &[Overlay]) -> StudyTable {
    let data = Rows::of(all)
        .text("signal", |o| o.name())
        .text(UNIT, |o| o.unit.clone())
        .number("samples", "samples", "1", |o| o.times.len() as f64)
        .number("rms", "rms residual", OF_ROW, |o| o.rms())
        .number("largest_residual", "largest residual", OF_ROW, |o| o.largest().1)
        .column(Head::instant("largest_at", "at"), |o| o.largest().0)
        .number("rms_relative", "rms over amplitude", "1", |o| o.rms() / o.amplitude())
        .table();
    let columns = ["rms", "largest_residual"];
    StudyTable::new("measured", "Measured less simulated", 1, data).estimated(&columns).quantities(&columns)
}

/// Every residual, for programs.
pub fn residuals(all: &[Overlay]) -> StudyTable {
    let each = |o: &Overlay| o.times.len().div_ceil(LISTED).max(1);
    let rows = all.iter().flat_map(|o| (0..o.times.len()).step_by(each(o)).map(move |k| (o, k)));
    let data = Rows::of(rows)
        .text("signal", |(o, _)| o.name())
        .text(UNIT, |(o, _)| o.unit.clone())
        .number("time", "t", "s", |(o, k)| o.times[*k])
        .number("measured", "measured", OF_ROW, |(o, k)| o.measured[*k])
        .number("simulated", "simulated", OF_ROW, |(o, k)| o.simulated[*k])
        .number("residual", "residual", OF_ROW, |(o, k)| o.measured[*k] - o.simulated[*k])
        .table();
    let most = all.iter().map(each).max().unwrap_or(1);
    let thinned = if most > 1 { format!(", every {most}th sample of long records") } else { String::new() };
    StudyTable::new("residuals", &format!("Measured and simulated at each instant{thinned}"), 3, data)
        .machine_only()
}

impl Traces {
    /// The measured points of these between two instants, over what was simulated.
    pub(crate) fn measured(&mut self, all: &[Overlay], (from, to): (f64, f64), zero: f64) {
        for o in all {
            let points = o.shown(from, to);
            if !points.is_empty() {
                let points = points.into_iter().map(|(t, x)| (t - zero, x)).collect();
                self.over(&format!("{} measured", o.signal), &o.signal, &o.unit, points);
            }
        }
    }
}

/// Measured and simulated above one another, and the residuals below; `simulated`: finer lines than those at the
/// instants of the record, by number of the overlay.
pub fn figure(title: &str, all: &[Overlay]) -> StudyFigure {
    let mut panels = Vec::new();
    for o in all.iter().filter(|o| o.times.len() > 1) {
        let rest: Vec<f64> = o.residuals().collect();
        let axis = |title: &str| Axis::linear(title, &o.unit);
        let line = |name: &str, values: &[f64]| {
            Curve::new(name, drawn(&o.times, values)).lined(Line::Solid).marked(Marker::None)
        };
        panels.push(Panel::Chart(Chart {
            title: o.name(),
            x: Axis::linear("", "s"),
            y: axis("value"),
            curves: vec![
                points("measured", drawn(&o.times, &o.measured)).coloured(1),
                line("simulated", &o.simulated).coloured(0),
            ],
            height: 230.0,
            ..Chart::default()
        }));
        panels.push(Panel::Chart(Chart {
            x: Axis::linear("time", "s"),
            y: axis("residual"),
            curves: vec![points("", drawn(&o.times, &rest)).coloured(1)],
            height: 110.0,
            ..Chart::default()
        }));
    }
    StudyFigure::new(
        "Measured and simulated at the instants of the record, and what is left between them.",
        Figure::new(title, panels),
    )
}

/// Signs where they are few, else a line.
fn points(name: &str, points: Vec<(f64, f64)>) -> Curve {
    match points.len() {
        0..=200 => Curve::scatter(name, points).marked(Marker::Ring),
        _ => Curve::new(name, points).lined(Line::Solid).marked(Marker::None),
    }
}

/// What the words mean.
pub const DEFINITIONS: [(&str, &str); 3] = [
    (
        "residual",
        "measured less simulated at the same instant; the simulated signal is joined by straight lines",
    ),
    ("rms residual", "root of the mean square of a channel's residuals"),
    ("amplitude", "half of the distance from the least to the largest measured value"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn residuals_are_summed_up() {
        let o = Overlay {
            times: vec![0.0, 1.0, 2.0, 3.0],
            measured: vec![1.0, 2.0, -3.0, 4.0],
            simulated: vec![1.0, 1.0, -1.0, 4.0],
            ..Overlay::default()
        };
        assert_eq!((o.rms(), o.largest(), o.amplitude()), (1.25f64.sqrt(), (2.0, 2.0), 3.5));
        assert!(Overlay::default().rms().is_nan() && Overlay::default().largest().1.is_nan());
        assert_eq!(o.shown(0.5, 2.0), [(1.0, 2.0), (2.0, -3.0)]);
    }
}
