//! Curves over time, in panels by their quantity.

use super::{Axis, Chart, Curve, Line, Mark, Marker, Panel};

/// Columns across a figure; each shows the least and largest value in it.
pub(crate) const COLUMNS: usize = 700;
/// Most curves of a panel.
const CURVES: usize = 6;
/// Most points over a curve that are drawn as signs.
const CURVE_OF_SIGNS: usize = 300;
/// How far a drawn line may be off, as a share of its height.
const OFF: f64 = 5e-4;

/// Least and largest value per column, as a line that runs through both.
pub(crate) fn spanned(begin: &[f64], least: &[f64], largest: &[f64]) -> Vec<(f64, f64)> {
    let each = begin.len().div_ceil(COLUMNS).max(1);
    let mut out = Vec::with_capacity(2 * COLUMNS);
    for (k, times) in begin.chunks(each).enumerate() {
        let range = k * each..k * each + times.len();
        let low = least[range.clone()].iter().copied().fold(f64::NAN, f64::min);
        let high = largest[range.clone()].iter().copied().fold(f64::NAN, f64::max);
        let end = begin.get(range.end).or(times.last()).copied().unwrap_or(times[0]);
        let middle = 0.5 * (times[0] + end);
        // In turn, so that the line crosses from column to column where it is nearest.
        let falls = out.last().is_some_and(|p: &(f64, f64)| (p.1 - high).abs() < (p.1 - low).abs());
        let (a, b) = if falls { (high, low) } else { (low, high) };
        out.extend([(times[0], a), (middle, b)]);
    }
    out
}

/// A line that holds its values, from the least and largest value of each stretch: a corner at each change, and a bar
/// across a stretch with both values.
pub(crate) fn stepped(begin: &[f64], least: &[f64], largest: &[f64]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (k, &t) in begin.iter().enumerate() {
        let (low, high) = (least[k], largest[k]);
        let Some(&(_, before)) = out.last() else {
            out.extend([(t, low), (t, high)]);
            continue;
        };
        // The first sample of the stretch is unknown: where it holds both values, that of before is taken.
        let first = if (high - before).abs() < (low - before).abs() { high } else { low };
        if first != before {
            out.extend([(t, before), (t, first)]);
        }
        if low != high {
            let middle = 0.5 * (t + begin.get(k + 1).copied().unwrap_or(t));
            out.extend([(middle, first), (middle, low + high - first)]);
        }
    }
    out.extend(begin.last().zip(out.last().copied()).map(|(&t, (_, y))| (t, y)));
    out
}

/// The line between two instants; where it crosses them it is taken as straight.
pub(crate) fn cut(points: &[(f64, f64)], from: f64, to: f64) -> Vec<(f64, f64)> {
    let at = |a: (f64, f64), b: (f64, f64), t: f64| (t, a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0));
    let mut out = Vec::with_capacity(points.len());
    for (k, &here) in points.iter().enumerate() {
        let before = k.checked_sub(1).map(|j| points[j]);
        for border in [from, to] {
            if let Some(before) = before.filter(|b| b.0 < border && border < here.0) {
                out.push(at(before, here, border));
            }
        }
        if (from..=to).contains(&here.0) {
            out.push(here);
        }
    }
    out
}

/// The line without points that it passes within a tolerance (the swinging door of process recorders).
pub(crate) fn thinned(points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let finite = || points.iter().map(|p| p.1).filter(|y| y.is_finite());
    let (low, high) = (finite().fold(f64::INFINITY, f64::min), finite().fold(f64::NEG_INFINITY, f64::max));
    let off = OFF * (high - low);
    // Written so that a range that is none leaves the line alone.
    let usable = off >= 0.0;
    if points.len() < 3 || !usable {
        return points;
    }
    let mut out = vec![points[0]];
    let (mut anchor, mut door) = (points[0], (f64::NEG_INFINITY, f64::INFINITY));
    for w in points.windows(2) {
        let (before, here) = (w[0], w[1]);
        let slopes = |from: (f64, f64)| {
            let dt = here.0 - from.0;
            ((here.1 - off - from.1) / dt, (here.1 + off - from.1) / dt)
        };
        let (lower, upper) = slopes(anchor);
        let narrowed = (door.0.max(lower), door.1.min(upper));
        let mean = (here.1 - anchor.1) / (here.0 - anchor.0);
        let passes = narrowed.0 <= mean && mean <= narrowed.1;
        if passes {
            door = narrowed;
            continue;
        }
        if before != anchor {
            out.push(before);
        }
        anchor = before;
        door = slopes(anchor);
    }
    out.extend(points.last());
    out
}

/// Which panel a channel belongs to: order, title of the axis, unit.
fn role(name: &str, unit: &str) -> (u8, &'static str) {
    let ends = |end: &str| name.ends_with(end);
    match unit {
        "V" if ends(".gate") || ends(".jfet-gate") => (2, "gate-source voltage"),
        "V" if ends(".middle") => (3, "middle node"),
        "V" => (0, "voltage"),
        "A" => (1, "current"),
        "" | "1" if name.starts_with("line(") => (6, "state"),
        "W" => (4, "power"),
        "J" => (5, "energy"),
        "degC" => (7, "temperature"),
        _ => (8, "value"),
    }
}

fn height(order: u8, close: bool) -> f64 {
    match order {
        0 | 1 => 200.0,
        6 => 50.0,
        _ if close => 140.0,
        _ => 115.0,
    }
}

/// Whether the line runs up and down many times.
fn busy(points: &[(f64, f64)]) -> bool {
    let run: f64 = points.windows(2).map(|w| (w[1].1 - w[0].1).abs()).filter(|d| d.is_finite()).sum();
    let (low, high) =
        points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |b, p| (b.0.min(p.1), b.1.max(p.1)));
    run > 20.0 * (high - low)
}

/// A group of curves that share an axis.
struct Lane {
    order: u8,
    title: &'static str,
    unit: String,
    curves: Vec<Curve>,
}

/// Curves with a common axis of time.
#[derive(Default)]
pub(crate) struct Traces {
    lanes: Vec<Lane>,
}

impl Traces {
    /// A curve more.
    pub fn add(&mut self, name: &str, unit: &str, points: Vec<(f64, f64)>) {
        let (order, title) = role(name, unit);
        let busy = busy(&points);
        let curve = Curve::new(name, points).marked(Marker::None);
        // Dashes of a line that fills an area would only confuse.
        let curve = if busy { curve.lined(Line::Solid) } else { curve };
        let fits = |l: &&mut Lane| l.order == order && l.unit == unit && l.curves.len() < CURVES;
        match self.lanes.iter_mut().rev().find(fits) {
            Some(lane) => lane.curves.push(curve),
            None => self.lanes.push(Lane { order, title, unit: unit.into(), curves: vec![curve] }),
        }
    }

    /// Points over the curve of another name, in its panel where there is one.
    pub fn over(&mut self, name: &str, other: &str, unit: &str, points: Vec<(f64, f64)>) {
        let few = points.len() <= CURVE_OF_SIGNS;
        let curve = Curve::new(name, points).lined(if few { Line::None } else { Line::Solid });
        let curve = curve.marked(if few { Marker::Ring } else { Marker::None });
        let has = |l: &&mut Lane| l.curves.iter().any(|c| c.name == other);
        match self.lanes.iter_mut().find(has) {
            // Below what was simulated.
            Some(lane) => lane.curves.push(curve),
            None => {
                let (order, title) = role(other, unit);
                self.lanes.push(Lane { order, title, unit: unit.into(), curves: vec![curve] });
            }
        }
    }

    /// The panels, one below the other, with marks at instants; `close`: the stretch is too short for temperatures to
    /// move.
    pub fn panels(
        mut self,
        title: &str,
        (from, to): (f64, f64),
        marks: &[(f64, String)],
        close: bool,
    ) -> Vec<Panel> {
        self.lanes.sort_by_key(|l| l.order);
        let count = self.lanes.len();
        let panel = |(k, lane): (usize, Lane)| {
            // The lowest panel names the axis that all share.
            let title = if k + 1 == count { title } else { "" };
            let mark = |(at, label): &(f64, String)| Mark {
                at: *at,
                label: if k == 0 { label.clone() } else { String::new() },
            };
            let mut y = Axis::linear(lane.title, if lane.unit.is_empty() { "1" } else { &lane.unit });
            if lane.order == 6 {
                y = y.within(-0.15, 1.15);
            }
            Panel::Chart(Chart {
                x: Axis::linear(title, "s").within(from, to),
                y,
                curves: lane.curves,
                marks: marks.iter().map(mark).collect(),
                height: height(lane.order, close),
                ..Chart::default()
            })
        };
        self.lanes.into_iter().enumerate().map(panel).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_stays_within_its_tolerance() {
        let points: Vec<(f64, f64)> =
            (0..5000).map(|k| 1e-3 * f64::from(k)).map(|t| (t, (-t).exp() * (9.0 * t).sin())).collect();
        let few = thinned(points.clone());
        assert!(few.len() < points.len() / 8, "{}", few.len());
        let range = 1.8;
        for p in &points {
            let k = few.partition_point(|q| q.0 <= p.0).clamp(1, few.len() - 1);
            let (a, b) = (few[k - 1], few[k]);
            let on = a.1 + (b.1 - a.1) * (p.0 - a.0) / (b.0 - a.0);
            assert!((on - p.1).abs() <= 2.5 * OFF * range, "{p:?} {on}");
        }
    }

    #[test]
    fn lines_are_cut_where_the_window_ends() {
        let line = [(0.0, 0.0), (1.0, 10.0), (2.0, 0.0)];
        assert_eq!(cut(&line, 0.5, 1.5), [(0.5, 5.0), (1.0, 10.0), (1.5, 5.0)]);
        assert_eq!(cut(&line, 0.2, 0.4), [(0.2, 2.0), (0.4, 4.0)]);
        assert_eq!(cut(&line, 0.0, 2.0), line);
    }

    #[test]
    fn lines_that_hold_are_steps() {
        let (t, y) = ([0.0, 1.0, 2.0, 3.0, 4.0], [0.0, 0.0, 1.0, 1.0, 0.0]);
        let line = stepped(&t, &y, &y);
        assert_eq!(
            line,
            [(0.0, 0.0), (0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (4.0, 1.0), (4.0, 0.0), (4.0, 0.0)]
        );
        // Between two samples the value is that of the first; so it is where the window cuts.
        assert_eq!(cut(&line, 1.5, 3.5), [(1.5, 0.0), (2.0, 0.0), (2.0, 1.0), (3.5, 1.0)]);
        // From blocks: a change within one is a bar in its middle; every stretch is level or upright.
        let line = stepped(&t, &[0.0, 0.0, 1.0, 0.0, 0.0], &[0.0, 1.0, 1.0, 1.0, 0.0]);
        assert!(line.windows(2).all(|w| w[0].0 == w[1].0 || w[0].1 == w[1].1), "{line:?}");
        assert!(line.contains(&(1.5, 1.0)) && line.contains(&(3.5, 0.0)), "{line:?}");
    }

    #[test]
    fn columns_keep_extremes() {
        let t: Vec<f64> = (0..100_000).map(f64::from).collect();
        let y: Vec<f64> = t.iter().map(|&t| if t == 54_321.0 { 7.0 } else { 0.0 }).collect();
        let line = spanned(&t, &y, &y);
        assert!(line.len() <= 2 * COLUMNS + 2);
        assert!(line.iter().any(|p| p.1 == 7.0));
    }
}
