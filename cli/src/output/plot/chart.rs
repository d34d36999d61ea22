//! Line charts and scatter.

use plotters::prelude::DrawingBackend;

use super::canvas::{AXIS, Area, Canvas, FAINT, GREY, GRID, Hang, Letters, Place, SHADE, WHITE, colour};
use super::frame::LABEL;
use super::scale::{Scale, Tick};
use super::{Chart, Line, PlotError, WIDTH};

/// Points above which a curve is thinned to what the pixels can show.
const MANY: usize = 2000;
const MARK: Letters = Letters::new(11.0, GREY);

/// Least and largest of the values that an axis can show.
fn bounds(values: impl Iterator<Item = f64>, log: bool) -> Option<(f64, f64)> {
    let good = values.filter(|v| v.is_finite() && (!log || *v > 0.0));
    good.fold(None, |b: Option<(f64, f64)>, v| Some(b.map_or((v, v), |(lo, hi)| (lo.min(v), hi.max(v)))))
}

fn scales(chart: &Chart) -> Result<(Scale, Scale), PlotError> {
    let points = || chart.curves.iter().flat_map(|c| c.points.iter());
    let nothing = |what: &str| {
        let panel = if chart.title.is_empty() { chart.y.title.clone() } else { chart.title.clone() };
        PlotError::Nothing { panel, what: what.into() }
    };
    let shown = |p: &&(f64, f64)| p.0.is_finite() && p.1.is_finite();
    let data = bounds(points().filter(shown).map(|p| p.0), chart.x.log);
    // Along, data fill the whole width.
    let filling = chart.x.range.or(data.filter(|d| d.1 > d.0 && !chart.x.log));
    let x = super::Axis { range: filling, ..chart.x.clone() };
    let x =
        Scale::new(&x, data, None).ok_or_else(|| nothing("no point has a place on the horizontal axis"))?;
    // Only what lies in the horizontal bounds decides the vertical ones.
    let inside = |p: &&(f64, f64)| (-1e-9..=1.0 + 1e-9).contains(&x.place(p.0));
    let data = bounds(points().filter(inside).map(|p| p.1), chart.y.log);
    let y = Scale::new(&chart.y, data, None)
        .ok_or_else(|| nothing("no point has a place on the vertical axis"))?;
    Ok((x, y))
}

/// Ticks of a vertical axis of that height; a state's two on a low one.
fn upright(y: &Scale, height: f64) -> Vec<Tick> {
    y.ticks(((height / 45.0) as usize).max(if height < 60.0 { 2 } else { 3 }))
}

/// Width of the widest label of a vertical axis of that height, CSS px.
pub(super) fn widest(y: &Scale, height: f64) -> f64 {
    upright(y, height).iter().flat_map(|tick| &tick.label).map(|label| LABEL.width(label)).fold(0.0, f64::max)
}

/// Grid, ticks, titles of the vertical axis: bars have the same.
pub(super) fn vertical<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    y: &Scale,
    area: Area,
) -> Result<(), PlotError> {
    for tick in upright(y, area.height()) {
        let at = area.bottom - y.place(tick.at) * area.height();
        let tone = if tick.label.is_some() { GRID } else { FAINT };
        canvas.line((area.left, at), (area.right, at), tone, 1.0)?;
        if let Some(label) = tick.label {
            canvas.text(&label, (area.left - 7.0, at), LABEL, Hang::Left)?;
        }
    }
    canvas.text(&y.title(), (16.0, (area.top + area.bottom) / 2.0), LABEL, Hang::Turned)
}

/// Draws the panel into its plot area, with ticks and titles around it.
pub(super) fn draw<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    chart: &Chart,
    area: Area,
) -> Result<(), PlotError> {
    let (x, y) = scales(chart)?;
    let across = |v: f64| area.left + x.place(v) * area.width();
    for span in &chart.spans {
        let (from, to) = (across(span.from).max(area.left), across(span.to).min(area.right));
        if from < to {
            canvas.fill(Area { left: from, right: to, ..area }, SHADE)?;
        }
    }
    for tick in x.ticks((area.width() / 85.0) as usize) {
        let at = across(tick.at);
        let tone = if tick.label.is_some() { GRID } else { FAINT };
        canvas.line((at, area.top), (at, area.bottom), tone, 1.0)?;
        if let Some(label) = tick.label {
            canvas.line((at, area.bottom), (at, area.bottom + 4.0), AXIS, 1.0)?;
            // The last one stays within the picture.
            let at = at.min(WIDTH - 2.0 - LABEL.width(&label) / 2.0);
            canvas.text(&label, (at, area.bottom + 8.0), LABEL, Hang::Below)?;
        }
    }
    vertical(canvas, &y, area)?;
    if !chart.x.title.is_empty() {
        canvas.text(&x.title(), ((area.left + area.right) / 2.0, area.bottom + 27.0), LABEL, Hang::Below)?;
    }
    for (k, curve) in chart.curves.iter().enumerate() {
        let (number, line, marker) = curve.look(k);
        let places: Vec<Place> =
            curve.points.iter().map(|p| (across(p.0), area.bottom - y.place(p.1) * area.height())).collect();
        if line != Line::None {
            for piece in pieces(&places, area) {
                canvas.styled(&thinned(piece), line, colour(number), 1.8)?;
            }
        }
        for &place in places.iter().filter(|&&p| area.clip(p, p).is_some()) {
            canvas.marker(place, marker, colour(number))?;
        }
    }
    canvas.frame(area, AXIS, 1.0)?;
    draw_labels(canvas, chart, &x, area)
}

/// Height of a row of labels above the plot area, CSS px.
const ROW: f64 = 14.0;

/// A label of a mark or a span.
struct Label<'a> {
    /// Where its line is, or its stretch begins.
    at: f64,
    /// Left edge of the text.
    left: f64,
    /// Rows up from the plot area.
    row: usize,
    text: &'a str,
}

/// Labels of marks and spans over a plot area from `left` to `right`, each in the lowest row where it has room.
fn labels<'a>(chart: &'a Chart, x: &Scale, left: f64, right: f64) -> Vec<Label<'a>> {
    let across = |v: f64| left + x.place(v) * (right - left);
    let marks = chart.marks.iter().map(|m| (across(m.at), across(m.at), &m.label));
    let spans = chart.spans.iter().map(|s| (across(s.from), across(s.to), &s.label));
    let shown = spans.chain(marks).filter(|l| !l.2.is_empty() && l.0 <= right && l.1 >= left);
    let mut shown: Vec<_> = shown.collect();
    shown.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ends: Vec<f64> = Vec::new();
    let mut out = Vec::new();
    for (from, _, text) in shown {
        let at = from.max(left);
        let width = MARK.width(text);
        let begin = (at + 3.0).min(right - width).max(left);
        let row = ends.iter().position(|&end| end < begin).unwrap_or(ends.len());
        ends.resize(ends.len().max(row + 1), 0.0);
        ends[row] = begin + width + 6.0;
        out.push(Label { at, left: begin, row, text });
    }
    out
}

/// Height of the labels above the plot area, CSS px.
pub(super) fn above(chart: &Chart, left: f64, right: f64) -> f64 {
    let rows = scales(chart)
        .ok()
        .and_then(|(x, _)| labels(chart, &x, left, right).iter().map(|label| label.row + 1).max());
    ROW * rows.unwrap_or(0) as f64
}

/// Width of the widest label of the vertical axis, CSS px.
pub(super) fn ordinates(chart: &Chart, height: f64) -> f64 {
    scales(chart).map_or(0.0, |(_, y)| widest(&y, height))
}

/// Lines of marks, and all labels above the plot area, where they hide nothing.
fn draw_labels<B: DrawingBackend>(
    canvas: &mut Canvas<'_, B>,
    chart: &Chart,
    x: &Scale,
    area: Area,
) -> Result<(), PlotError> {
    let labels = labels(chart, x, area.left, area.right);
    let top = |label: &Label<'_>| area.top - ROW * (label.row + 1) as f64;
    let inside = |at: &f64| (area.left..=area.right).contains(at);
    for at in chart.marks.iter().map(|m| area.left + x.place(m.at) * area.width()).filter(inside) {
        canvas.styled(&[(at, area.top), (at, area.bottom)], Line::Dotted, GREY, 1.0)?;
    }
    for label in &labels {
        canvas.line((label.at, top(label) + 2.0), (label.at, area.top), GREY, 1.0)?;
    }
    for label in &labels {
        // Ground behind the label, so that lines to higher ones do not run through it.
        let (y, width) = (top(label), MARK.width(label.text));
        let ground = Area { left: label.left - 1.0, right: label.left + width, top: y, bottom: y + 13.0 };
        canvas.fill(ground, WHITE)?;
        canvas.text(label.text, (label.left, y), MARK, Hang::BelowRight)?;
    }
    Ok(())
}

/// The stretches of a line inside the area.
fn pieces(places: &[Place], area: Area) -> Vec<Vec<Place>> {
    let mut out: Vec<Vec<Place>> = Vec::new();
    let mut open = false;
    for w in places.windows(2) {
        let Some((a, b)) = area.clip(w[0], w[1]) else {
            open = false;
            continue;
        };
        match out.last_mut() {
            Some(piece) if open && a == w[0] => piece.push(b),
            _ => out.push(vec![a, b]),
        }
        open = b == w[1];
    }
    out
}

/// A long line as first, lowest, highest and last point of every half pixel across.
fn thinned(places: Vec<Place>) -> Vec<Place> {
    if places.len() <= MANY {
        return places;
    }
    let column = |p: &Place| (2.0 * p.0).floor();
    let mut out = Vec::new();
    for group in places.chunk_by(|a, b| column(a) == column(b)) {
        let by = |a: &usize, b: &usize| group[*a].1.total_cmp(&group[*b].1);
        let lowest = (0..group.len()).min_by(by).unwrap_or(0);
        let highest = (0..group.len()).max_by(by).unwrap_or(0);
        let mut kept = vec![0, lowest, highest, group.len() - 1];
        kept.sort_unstable();
        kept.dedup();
        out.extend(kept.into_iter().map(|k| group[k]));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::plot::{Curve, Mark};

    const AREA: Area = Area { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };

    #[test]
    fn a_line_is_cut_at_the_frame_and_at_gaps() {
        let nan = f64::NAN;
        let line = [(-5.0, 5.0), (5.0, 5.0), (5.0, 20.0), (8.0, 20.0), (8.0, 5.0), (nan, nan), (9.0, 1.0)];
        let cut = pieces(&line, AREA);
        assert_eq!(cut, [vec![(0.0, 5.0), (5.0, 5.0), (5.0, 10.0)], vec![(8.0, 10.0), (8.0, 5.0)]]);
    }

    #[test]
    fn labels_stand_above_the_plot_area_and_beside_each_other() {
        let mark = |at: f64, label: &str| Mark { at, label: label.into() };
        let marks =
            vec![mark(1.0, "overcurrent trip"), mark(1.2, "overcurrent retry"), mark(9.9, "lock-out")];
        let curves = vec![Curve::new("", vec![(0.0, 0.0), (10.0, 1.0)])];
        let chart = Chart { marks, curves, ..Chart::default() };
        let (x, _) = scales(&chart).unwrap();
        let placed = labels(&chart, &x, 80.0, 900.0);
        assert_eq!(placed.iter().map(|l| l.row).collect::<Vec<_>>(), [0, 1, 0]);
        assert_eq!(above(&chart, 80.0, 900.0), 2.0 * ROW);
        // The last one stays within the picture.
        assert!(placed[2].left + MARK.width(placed[2].text) <= 900.0);
    }

    #[test]
    fn thinning_keeps_extremes() {
        let many: Vec<Place> =
            (0..10_000).map(|k| (1e-3 * f64::from(k), if k == 4321 { 9.0 } else { 5.0 })).collect();
        let few = thinned(many);
        assert!(few.len() < 100 && few.iter().any(|p| p.1 == 9.0));
    }
}
